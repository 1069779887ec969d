"""Beside the bed, in a real Chromium: sounds until answered, and when the watch is gone."""

import pytest
from playwright.sync_api import Browser, expect
from support.browser import PHONE, keep, needs_chromium, tab
from support.fake_api import NIGHT, FakeApi, alarm, brooder, failing_porch, status
from support.served import Served

from monitor.events import AlarmName, Priority

pytestmark = [pytest.mark.live, needs_chromium]


def test_it_sounds_for_what_is_urgent_until_that_is_answered(browser: Browser):
    with Served(FakeApi(), clock=lambda: NIGHT) as served, tab(browser, PHONE) as page:
        page.goto(served.url + "/bedside")
        page.click("text=Begin the night")
        body = page.locator("body")
        expect(page.locator(".big")).to_have_text("89.2 °F")
        expect(body).to_have_attribute("data-sounds", "no")
        keep(page, "bedside-right")
        cold = alarm(AlarmName.COLD, priority=Priority.WARNING)
        served.show(status(brooder(temp_c=28.0, in_band=False, alarms=(cold,))))
        expect(page.locator(".title")).to_have_text("Porch: too cold")
        expect(body).to_have_attribute("data-sounds", "no")  # it wakes for what is urgent only
        served.show(status(failing_porch()))
        expect(body).to_have_attribute("data-sounds", "yes")
        keep(page, "bedside-urgent")
        page.click("text=I am seeing to it")
        expect(body).to_have_attribute("data-sounds", "no")
        assert [e.alarm for e in served.api.submitted] == ["heat-loss"]
        assert page.url.endswith("/bedside"), "or the next alarm would be mute"


def test_it_says_that_the_watch_is_gone_and_sounds_when_it_does_not_come_back(browser: Browser):
    with tab(browser, PHONE) as page:
        page.clock.install(time=NIGHT)
        page.clock.pause_at(NIGHT + 3600)  # none passes while a busy machine works
        with Served(FakeApi(), clock=lambda: NIGHT) as served:
            page.goto(served.url + "/bedside")
            page.click("text=Begin the night")
            expect(page.locator(".big")).to_have_text("89.2 °F")
        page.clock.run_for(50_000)
        expect(page.locator("#lost")).to_contain_text("No word from the watch since")
        expect(page.locator("body")).to_have_attribute("data-sounds", "no")
        page.clock.run_for(150_000)
        expect(page.locator("body")).to_have_attribute("data-sounds", "yes")
        keep(page, "bedside-lost")
        page.mouse.click(50, 50)
        expect(page.locator("body")).to_have_attribute("data-sounds", "no")


def test_it_can_be_put_on_a_home_screen(browser: Browser):
    with Served(FakeApi(), clock=lambda: NIGHT) as served, tab(browser, PHONE) as page:
        page.goto(served.url)
        manifest = page.request.get(
            served.url + str(page.get_attribute("link[rel=manifest]", "href"))
        ).json()
        assert (manifest["display"], manifest["start_url"]) == ("standalone", "/")
        for icon in manifest["icons"]:
            answer = page.request.get(f"{served.url}/static/{icon['src']}")
            assert answer.headers["content-type"] == "image/png"
            assert answer.body().startswith(b"\x89PNG")
        session = page.context.new_cdp_session(page)
        found = session.send("Page.getAppManifest")
        assert found["errors"] == []
