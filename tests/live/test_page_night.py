"""A night goes wrong, seen on the page: the real service, real MQTT, a real Chromium, a real
receiver of messages."""

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect
from support.browser import PHONE, keep, needs_chromium, tab
from support.receivers import Receiver, http_receiver
from support.service import Service, Thermometer, quick_service, wait_until
from support.visitor import Visitor

pytestmark = [pytest.mark.live, needs_chromium]

WORDS = "ten chicks in a box"
SHED = """
[[brooders]]
name = "shed"
length_m = 1.5
width_m = 1.5
  [[brooders.probes]]
  name = "floor"
  topic = "brooder/shed/floor"
  place = "floor"
  [brooders.limits]
  band_delay_s = 1
  harm_delay_s = 0.5
  clear_delay_s = 1
"""


@pytest.fixture
def phone() -> Iterator[Receiver]:
    with http_receiver() as receiver:
        yield receiver


def place_chicks(page: Page, url: str, box: str) -> None:
    """As a grower does it, on the page."""
    page.goto(f"{url}/do/place?brooder={box}")
    page.check("text=Meat chicks")
    page.fill("#count", "50")
    page.fill("#hatched", page.evaluate("new Date().toLocaleDateString('en-CA')"))
    page.click("text=Next: look it over")
    expect(page.locator(".said")).to_contain_text("50 meat chicks placed")
    page.click("text=Yes, write it down")
    expect(page.locator(".kept")).to_contain_text("Written down")


def test_a_night_goes_wrong_is_seen_acknowledged_and_no_longer_repeated(
    browser: Browser, phone: Receiver, tmp_path: Path
):
    service = quick_service(
        tmp_path, phone.url, page=True, tell="urgent_repeat_minutes = 1", more=SHED
    )
    with (
        service,
        Thermometer(service.broker_port) as probe,
        tab(browser, PHONE, timezone_id="America/Chicago") as page,
    ):
        url = f"http://127.0.0.1:{service.page_port}"
        for box in ("porch", "shed"):
            place_chicks(page, url, box)
        page.goto(url)
        page.evaluate("window.notReloaded = true")
        porch = page.locator("section", has=page.locator("h2", has_text="Porch"))
        for topic in ("brooder/porch/floor", "brooder/shed/floor"):
            probe.say(34.0, topic)
        expect(porch.locator(".figure")).to_have_text("34.0 °C")
        expect(porch.locator(".stamp")).to_have_text("Right")
        keep(page, "night-right")

        # A single jump is doubted until the next readings say the same. The shed is too hot, which
        # is another trouble: two cold boxes would be one, with one answer.
        for temp_c in (26.1, 26.0, 26.0):
            probe.say(temp_c, "brooder/porch/floor")
            probe.say(73.0 - temp_c, "brooder/shed/floor")
            page.wait_for_timeout(700)
        expect(porch.locator(".figure")).to_have_text("26.0 °C")
        expect(porch.locator(".stamp")).to_have_text("Dangerously cold")
        assert page.evaluate("window.notReloaded")
        keep(page, "night-wrong")
        phone.wait_until(lambda me: told(me, "porch") >= 1 and told(me, "shed") >= 1)

        page.locator(".calls a", has_text="Porch: dangerously cold").click()
        page.click("text=Yes, I am seeing to it")
        expect(page.locator(".state")).to_contain_text("answered at")
        page.click("text=Back to Now")
        expect(porch.locator(".standing").first).to_contain_text("Acknowledged by page")
        keep(page, "night-answered")
        before = told(phone, "porch")
        # The other box, which nobody answered, shows that the time for a repeat has come.
        first = told(phone, "shed")
        phone.wait_until(lambda me: told(me, "shed") > first, 150)
        assert told(phone, "porch") == before
        kept = {(c.brooder, c.alarm.value, c.change.value) for c in service.changes()}
        assert ("porch", "chill", "acknowledged") in kept
        assert ("shed", "overheat", "acknowledged") not in kept


def told(phone: Receiver, box: str) -> int:
    """Messages of an alarm in that box, without the word that somebody has answered."""
    return sum(
        box in f"{got.title} {got.body}".lower() and "seen to" not in got.title
        for got in list(phone.got)
    )


def test_a_link_in_a_message_acknowledges_once_by_its_button_without_signing_in(
    browser: Browser, phone: Receiver, tmp_path: Path
):
    service = quick_service(
        tmp_path,
        phone.url,
        page=True,
        page_lines=f'passphrase = "{WORDS}"\npublic_url = "http://127.0.0.1:9/"',
    )
    with service, Thermometer(service.broker_port) as probe, tab(browser, PHONE) as page:
        assert service.page_port is not None
        service.placed()
        for temp_c in (26.1, 26.0, 26.0):
            probe.say(temp_c)
        phone.wait_until(lambda me: any("/answer/" in got.body for got in me.got))
        body = next(got.body for got in phone.got if "/answer/" in got.body)
        found = re.search(r"http://127\.0\.0\.1:9/answer/[A-Za-z0-9_.~-]+", body)
        assert found is not None, body
        path = urlsplit(found[0]).path

        scanner = Visitor(service.page_port)
        assert [scanner.get(path).status for _ in range(3)] == [200] * 3
        assert not acknowledged(service)

        url = f"http://127.0.0.1:{service.page_port}"
        page.goto(url + path)
        keep(page, "link-question")
        page.click("text=Yes, I am seeing to it")
        expect(page.locator(".state").first).to_contain_text("Phone answered at")
        keep(page, "link-done")
        wait_until(lambda: acknowledged(service), 30, "the acknowledgement in the journal")
        page.goto(url + path)
        expect(page.locator(".state").first).to_contain_text("Phone answered at")
        expect(page.locator("form.answer")).to_have_count(0)
        page.goto(url + "/")
        expect(page.locator("h1")).to_have_text("Sign in")


def acknowledged(service: Service) -> bool:
    return any(c.change.value == "acknowledged" for c in service.changes())
