"""Live numbers in a real Chromium: they come without a reload, and their loss is said."""

import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect
from support import nightjournal
from support.browser import PHONE, keep, needs_chromium, tab
from support.fake_api import NIGHT, FakeApi, brooder, failing_porch, placed, site, status
from support.patience import LEAST_S
from support.served import Served

from monitor.page import day_readings

pytestmark = [pytest.mark.live, needs_chromium]


@pytest.fixture
def served() -> Iterator[Served]:
    with Served(FakeApi(), clock=lambda: NIGHT) as page:
        yield page


def test_a_night_going_wrong_shows_without_reload_and_is_read_out(browser: Browser, served: Served):
    with tab(browser, PHONE) as page:
        page.goto(served.url)
        page.evaluate("window.notReloaded = true")
        expect(page.locator(".figure")).to_have_text("89.2 °F")
        keep(page, "live-before")
        served.show(status(failing_porch()))
        expect(page.locator(".figure")).to_have_text("86.7 °F")
        expect(page.locator("details.alarm summary")).to_contain_text("heat has stopped")
        expect(page.locator("#announce")).to_have_text("Porch: heat has stopped")
        expect(page).to_have_title("Porch: heat has stopped – Hillside")
        keep(page, "live-after")
        assert page.evaluate("window.notReloaded")


def test_acknowledging_goes_from_the_alarm_to_its_screen_which_says_what_comes_next(
    browser: Browser, served: Served
):
    served.show(status(failing_porch()))
    with tab(browser, PHONE) as page:
        page.goto(served.url)
        page.click(".line a:has-text('I am seeing to it')")
        expect(page.locator(".first")).to_have_text("Go now. Check the west lamp first.")
        page.click("text=Yes, I am seeing to it")
        expect(page.locator(".state")).to_contain_text("answered at 02:00")
        expect(page.locator(".expects").first).to_contain_text("Look again at 02:20")
        assert [e.alarm for e in served.api.submitted] == ["heat-loss"]
        keep(page, "alarm-answered")
        page.click("text=Back to Now")
        expect(page.locator(".alarm .standing")).to_contain_text("Acknowledged by page")


def test_what_has_the_focus_keeps_it_when_the_numbers_change(browser: Browser, served: Served):
    served.show(status(failing_porch()))
    with tab(browser, PHONE) as page:
        page.goto(served.url)
        page.focus(".line a:has-text('I am seeing to it')")
        served.show(status(brooder(temp_c=29.9, alarms=failing_porch().alarms)))
        expect(page.locator(".figure")).to_have_text("85.8 °F")
        assert page.evaluate("document.activeElement.textContent").startswith("I am seeing")


def test_what_was_opened_stays_open_and_the_worst_box_moves_up(browser: Browser):
    two = replace(site(), brooders=(site().brooders[0], replace(site().brooders[0], name="shed")))
    well, shed = brooder(), brooder("shed")
    api = FakeApi(two, status(well, shed))
    with Served(api, clock=lambda: NIGHT) as served, tab(browser, PHONE) as page:
        page.goto(served.url)
        page.evaluate("window.notReloaded = true")
        expect(page.locator("#boxes h2").first).to_have_text("Porch")
        page.click("#box-1 > details > summary")
        page.click("#box-1 [data-fold^=probes] > summary")
        page.evaluate("document.activeElement.blur()")
        served.show(status(well, brooder("shed", 28.0, in_band=False)))
        expect(page.locator("#boxes h2").first).to_have_text("Shed")
        expect(page.locator("#box-1 .probes li").first).to_be_visible()
        expect(page.locator("#box-0 .probes li").first).to_be_hidden()
        assert page.evaluate("window.notReloaded")


def test_the_picture_says_that_it_is_drawn_and_comes_by_itself(
    browser: Browser, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    path, goes_on = tmp_path / "journal.db", threading.Event()
    nightjournal.write(path, site(), placed(), start=NIGHT - 86400, stop=NIGHT, every_s=300)
    reads = day_readings._read  # nothing else is slow enough to be seen, and only for so long

    def slow(*asked: Any) -> Any:
        assert goes_on.wait(LEAST_S)
        return reads(*asked)

    monkeypatch.setattr(day_readings, "_read", slow)
    api = FakeApi(journal_path=path)
    with Served(api, clock=lambda: NIGHT) as served, tab(browser, PHONE) as page:
        page.goto(served.url)
        expect(page.locator(".drawing")).to_have_text("Drawing …")
        goes_on.set()
        served.show(status(brooder(temp_c=31.9)))
        expect(page.locator(".day .floor")).to_be_visible()


def test_a_page_that_lost_its_service_says_so(browser: Browser):
    with tab(browser, PHONE) as page:
        with Served(FakeApi(), clock=lambda: NIGHT) as served:
            page.goto(served.url)
            expect(page.locator("#lost")).to_be_hidden()
        expect(page.locator("#lost")).to_contain_text("No live connection since")
        keep(page, "live-lost")


def test_ages_are_counted_on_between_readings(browser: Browser, served: Served):
    with tab(browser, PHONE) as page:
        page.clock.install(time=NIGHT)
        page.clock.pause_at(NIGHT + 3600)  # none passes while a busy machine works
        page.goto(served.url)
        page.click("[data-fold^=probes] > summary")
        expect(page.locator(".probes time").first).to_have_text("12 s ago")
        page.clock.run_for(20_000)
        expect(page.locator(".probes time").first).to_have_text("32 s ago")
        page.clock.run_for(43_000)  # said as the server says it
        expect(page.locator(".probes time").first).to_have_text("1 min ago")
