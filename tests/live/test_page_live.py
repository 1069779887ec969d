"""Live numbers in a real Chromium: they come without a reload, and their loss is said."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect
from support.browser import PHONE, chromium, keep, needs_chromium, tab
from support.fake_api import NIGHT, FakeApi, alarm, brooder, failing_porch, status
from support.served import Served

from monitor.watch.life_cycle import AlarmState

pytestmark = [pytest.mark.live, needs_chromium]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


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
        expect(page.locator("article.alarm h3")).to_contain_text("heat has stopped")
        expect(page.locator("#announce")).to_have_text("Porch: heat has stopped")
        expect(page).to_have_title("Porch: heat has stopped – Hillside")
        keep(page, "live-after")
        assert page.evaluate("window.notReloaded")


def test_acknowledging_goes_from_the_alarm_over_the_question_back_to_now(
    browser: Browser, served: Served
):
    served.show(status(failing_porch()))
    with tab(browser, PHONE) as page:
        page.goto(served.url)
        page.click("article.alarm a:has-text('Acknowledge')")
        page.click("text=Yes, I am seeing to it")
        page.wait_for_url(served.url + "/")
        assert [e.alarm for e in served.api.submitted] == ["heat-loss"]
        answered = alarm(state=AlarmState.ACKNOWLEDGED, by="page", acknowledged_at=NIGHT)
        served.show(status(brooder(alarms=(answered,))))
        expect(page.locator("article.alarm .standing")).to_contain_text("Acknowledged by page")


def test_what_has_the_focus_keeps_it_when_the_numbers_change(browser: Browser, served: Served):
    served.show(status(failing_porch()))
    with tab(browser, PHONE) as page:
        page.goto(served.url)
        page.focus("article.alarm a:has-text('Acknowledge')")
        served.show(status(brooder(temp_c=29.9, alarms=failing_porch().alarms)))
        expect(page.locator(".figure")).to_have_text("85.8 °F")
        assert page.evaluate("document.activeElement.textContent").startswith("Acknowledge")


def test_a_page_that_lost_its_service_says_so(browser: Browser):
    with tab(browser, PHONE) as page:
        with Served(FakeApi(), clock=lambda: NIGHT) as served:
            page.goto(served.url)
            expect(page.locator("#lost")).to_be_hidden()
        expect(page.locator("#lost")).to_contain_text("No live connection since")
        keep(page, "live-lost")


def test_ages_are_counted_on_between_readings(browser: Browser, served: Served):
    with tab(browser, PHONE) as page:
        page.clock.install()
        page.goto(served.url)
        expect(page.locator(".probes time").first).to_have_text("12 s ago")
        page.clock.run_for(20_000)
        expect(page.locator(".probes time").first).to_have_text("32 s ago")
