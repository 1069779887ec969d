"""From the first start to the first urgent message that is answered, all on a phone's screen: a
real Chromium walks the guided set-up over real MQTT, with two probes and a real receiver."""

import re
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, Page, expect
from support.browser import PHONE, keep, needs_chromium, tab
from support.ports import free_port
from support.receivers import http_receiver
from support.service import Service, Thermometer, wait_until

from monitor.events import ChangeKind

pytestmark = [pytest.mark.live, needs_chromium]

EXAMPLE = Path(__file__).parents[2] / "config" / "brooder.toml"
WORDS = "ten chicks in a box"


class FirstStart(Service):
    """On the configuration that comes with the program, but for its ports and its patience."""

    def write_config(self) -> None:
        """Once: from then on the set-up writes it."""
        if self.config.exists():
            return
        text = EXAMPLE.read_text(encoding="utf-8")
        text = text.replace('folder = "../state"', f'folder = "{self.state}"\ncommit_s = 0.5')
        quick = "  [brooders.limits]\n  band_delay_s = 1\n  harm_delay_s = 0.5\n"
        text = text.replace("  # [brooders.limits]\n", quick)
        text += f"\n[built_in_broker]\nport = 0\n\n[page]\nport = {self.page_port}\n"
        self.config.write_text(text, encoding="utf-8")


def next_(page: Page) -> None:
    """See the change, and write it."""
    page.click("text=Next: see the change")
    expect(page.locator("h1")).to_contain_text("is that right?")
    page.click("text=Yes, write it")
    expect(page.locator("h1")).to_have_text("Written")


def test_a_phone_sets_everything_up_and_answers_its_first_urgent_message(
    tmp_path: Path, browser: Browser
) -> None:
    service = FirstStart(tmp_path, page=True)
    service.page_port = free_port()
    with (
        service,
        http_receiver() as phone,
        Thermometer(service.broker_port, "esp/1", client_id="one") as floor,
        Thermometer(service.broker_port, "esp/2", client_id="two") as yard,
        tab(browser, PHONE, color_scheme="light") as page,
    ):
        url = f"http://127.0.0.1:{service.page_port}"
        page.goto(url)
        expect(page.locator("h1")).to_contain_text("things are missing for tonight")
        keep(page, "walk-1-now")
        page.click("nav >> text=Set-up")
        keep(page, "walk-2-set-up")

        page.click('a[href="/set-up/step/site"]')
        page.fill("#name", "Ridge")
        page.click("text=Degrees Fahrenheit")
        next_(page)
        page.click("text=Next: the box")
        page.fill("#length", "4 ft 6 in")
        page.fill("#width", "4")
        page.click("text=Next: see the change")
        expect(page.locator("#width-wrong")).to_contain_text("of which unit?")
        keep(page, "walk-3-wrong")
        page.fill("#width", "4 ft")
        next_(page)
        page.click("text=Next: lamps and plates")
        page.locator('[id="2 name"]').fill("heat plate")
        page.locator('[name="2 kind"][value="plate"]').check()
        page.locator('[id="2 watts"]').fill("60")
        next_(page)

        page.click("text=Next: probes")
        for temp_c in (20.0, 20.1):
            floor.say(temp_c)
            yard.say(8.0)
        expect(page.locator("strong", has_text="esp/2")).to_be_visible()
        floor.say(25.0)
        expect(page.locator(".said")).to_contain_text("In your hand: esp/1")
        keep(page, "walk-4-in-hand")
        page.click('a[href$="topic=esp/1"]')
        page.click("text=porch/floor")
        next_(page)
        page.click("text=Back to the probes")
        expect(page.locator('a[href$="topic=esp/2"]')).to_be_visible()
        expect(page.locator('a[href$="topic=esp/1"]')).to_have_count(0)
        page.click('a[href$="topic=esp/2"]')
        page.click("text=site/shade")
        next_(page)
        floor.say(33.0)
        yard.say(8.1)
        page.click("text=Back to the probes")
        expect(page.locator("text=nothing heard yet")).to_have_count(0)

        page.goto(f"{url}/set-up/step/page")
        page.click("text=Whoever is on the home network")
        page.fill("#passphrase", WORDS)
        page.fill("#public_url", url)
        next_(page)
        service.wait_log("The page has moved")
        page.goto(url)
        page.fill("input[type=password]", WORDS)
        page.click("main button")
        page.goto(f"{url}/set-up/step/contacts")
        page.fill("#name", "my phone")
        page.fill("#url", phone.url)
        next_(page)
        page.click("text=Next: try whether it sounds")
        page.click("text=Send to all")
        expect(page.locator(".tried")).to_contain_text("sent in")
        phone.wait_for(1)
        keep(page, "walk-5-tried")

        page.goto(f"{url}/do/place")
        page.check("text=Meat chicks")
        page.fill("#count", "100")
        page.fill("#hatched", datetime.now(ZoneInfo("America/Chicago")).date().isoformat())
        page.click("text=Next: look it over")
        page.click("text=Yes, write it down")
        expect(page.locator(".kept")).to_contain_text("Written down")
        floor.say(34.8)
        page.goto(url)
        expect(page.locator("h1")).not_to_contain_text("missing")
        keep(page, "walk-6-set")
        checked = service.command("check")
        assert checked.returncode == 0, checked.stdout
        assert "no message has reached it" not in checked.stdout, "the trial has"
        assert "All well for tonight." in checked.stdout

        for step in range(8):
            floor.say(22.0 - step / 100)
        phone.wait_until(lambda me: any(_link(got.body, url) for got in me.got[1:]))
        urgent = next(got for got in phone.got[1:] if _link(got.body, url))
        assert "porch" in urgent.title
        page.goto(_link(urgent.body, url) or "")
        keep(page, "walk-7-link")
        page.click("main form button.main")
        wait_until(lambda: ChangeKind.ACKNOWLEDGED in [c.change for c in service.changes()])
        page.goto(url)
        keep(page, "walk-8-answered")
        text = service.config.read_text(encoding="utf-8")
        assert "# One thermometer outside" in text, "remarks stay"
        assert phone.url not in text
        assert WORDS not in text + service.log()


def _link(body: str, url: str) -> str | None:
    found = re.search(rf"{re.escape(url)}/answer/[A-Za-z0-9_.~-]+", body)
    return found[0] if found else None
