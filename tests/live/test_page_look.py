"""Every screen in a real Chromium, at phone and desk width, on light and dark paper: readable,
reachable, within its own policy."""

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser
from support import nightjournal
from support.browser import DESK, PHONE, keep, needs_chromium, tab
from support.fake_api import (
    NIGHT,
    FakeApi,
    alarm,
    batch,
    brooder,
    failing_porch,
    placed,
    site,
    status,
)
from support.served import Served

from monitor.events import AlarmName, Entry, EntryKind, Priority
from monitor.thermal.diagnosis import Interval
from monitor.watch.life_cycle import AlarmState

pytestmark = [pytest.mark.live, needs_chromium]

SCREENS = {
    "now": "/",
    "record": "/record",
    "night": f"/record/span?brooder=porch&from={NIGHT - 14 * 3600:.0f}&to={NIGHT:.0f}",
    "loss": f"/record/loss?brooder=porch&batch=1&at={NIGHT - 600:.3f}",
    "batches": "/record/batches",
    "do": "/do?kept=4",
    "do-loss": "/do/loss?brooder=porch",
    "do-place": "/do/place",
    "do-arrival": "/do/arrival?brooder=porch",
    "do-arrival-sheet": "/do/arrival/sheet?brooder=porch",
    "do-expect": "/do/expect?brooder=porch",
    "do-tonight": "/do/tonight?brooder=porch&cover=blanket&watts=100&low=&ask=yes",
    "put-aside": "/do/put-aside?brooder=porch",
    "contacts": "/do/contacts",
    "undo": "/do/undo/2",
    "set-up": "/set-up",
    "set-up-box": "/set-up/step/box",
    "set-up-heat": "/set-up/step/heat",
    "set-up-probe": "/set-up/step/probes?about=porch/floor",
    "set-up-contacts": "/set-up/step/contacts",
    "set-up-heard": "/set-up/heard",
    "set-up-new-probe": "/set-up/new-probe",
    "probe-check": "/set-up/probes",
    "answer": "/answer/abc",
    "alarm": f"/alarm/{quote(failing_porch().alarms[0].occurrence, safe='')}/acknowledge",
    "bedside": "/bedside",
    "nowhere": "/nowhere",
}

# What passes is not told: hundreds of nodes a screen, which nobody reads.
ONLY_WRONG = {"resultTypes": ["violations"]}
ALL_RULES = ONLY_WRONG | {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
}
# Dark paper is the same sheet in other colours.
RULES_OF_COLOUR = ONLY_WRONG | {
    "runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
}


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    path: Path = tmp_path_factory.mktemp("journal") / "journal.db"
    entries = placed()
    lost = Entry(
        at=NIGHT - 600, entry=EntryKind.LOSS, brooder="porch", number=4, count=3, note="in a heap"
    )
    entries.append(lost)
    nightjournal.write(path, site(), entries, start=NIGHT - 8 * 86400, stop=NIGHT, every_s=120)
    aside = alarm(
        AlarmName.COLD_NIGHT,
        box="shed",
        priority=Priority.WARNING,
        state=AlarmState.SHELVED,
        shelved_until=NIGHT + 1800,
        shelved_note="cleaning out",
        by="page",
    )
    shed = brooder("shed", None, batch=batch(kind="duck"), alarms=(aside,))
    crowded = alarm(AlarmName.CROWDED, box="barn", priority=Priority.ADVICE)
    falling = Interval(12, 8, 18)
    barn = brooder("barn", trend_c_per_h=-27.8, minutes_to_chill=falling, alarms=(crowded,))
    api = FakeApi(site(), status(failing_porch(), shed, barn), journal_path=path)
    api.entries = entries
    api.links = {"abc": (failing_porch().alarms[0].occurrence,)}
    api.heard_topics = [
        {
            "topic": "shed/new probe",
            "count": 14,
            "last_at": NIGHT - 20,
            "excerpt": '{"temperature": 31.4}',
            "lines": '[[brooders.probes]]\nname = "new probe"\ntopic = "shed/new probe"',
        }
    ]
    api.refused_messages = [
        {
            "topic": "brooder/porch/floor",
            "reason": "not a number",
            "count": 3,
            "last_at": NIGHT - 900,
            "excerpt": "NaN",
        }
    ]
    with Served(api, clock=lambda: NIGHT) as page:
        yield page


@pytest.mark.parametrize("paper", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_every_screen_passes_the_accessibility_rules(
    browser: Browser, served: Served, size: dict[str, int], paper: str
):
    rules = ALL_RULES if paper == "light" else RULES_OF_COLOUR
    wide = "phone" if size is PHONE else "desk"
    with tab(browser, size) as page:
        page.context.add_cookies([{"name": "brooder_paper", "value": paper, "url": served.url}])
        for name, path in SCREENS.items():
            page.goto(served.url + path)
            page.evaluate(
                "document.querySelectorAll('details').forEach((one) => (one.open = true))"
            )
            if "data-chart" in page.content():
                page.wait_for_selector("[data-drawn]")
                assert page.get_attribute("[data-chart]", "data-drawn") == "yes", name
            keep(page, f"{name}-{wide}-{paper}")
            found = Axe().run(page, options=rules).response["violations"]
            assert not found, (name, [(v["id"], v["nodes"][0]["html"]) for v in found])


def test_every_target_is_large_enough_for_a_thumb_in_a_glove(browser: Browser, served: Served):
    with tab(browser, PHONE) as page:
        for name, path in SCREENS.items():
            page.goto(served.url + path)
            small = page.evaluate(
                """() => [...document.querySelectorAll(
                     "a[href], button, select, textarea, input:not([type=hidden])")]
                   .filter((e) => e.checkVisibility() && !e.classList.contains("for")
                                  && !e.classList.contains("skip"))
                   .map((e) => {
                     // A round mark is tapped by its label as well.
                     const t = ["radio", "checkbox"].includes(e.type) ? e.closest(".choice") : e;
                     const r = t.getBoundingClientRect();
                     return [e.outerHTML.slice(0, 90), r.width, r.height];
                   })
                   .filter(([, w, h]) => w < 44 || h < 44)"""
            )
            assert small == [], name


def test_nothing_is_wider_than_a_phone(browser: Browser, served: Served):
    with tab(browser, {"width": 320, "height": 700}) as page:
        for name, path in SCREENS.items():
            page.goto(served.url + path)
            wide = page.evaluate(
                "() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]"
            )
            assert wide[0] <= wide[1], name


def test_letters_twice_as_large_still_fit_a_phone(browser: Browser, served: Served):
    with tab(browser, PHONE) as page:
        for name in ("now", "alarm", "record", "night", "do", "bedside"):
            page.goto(served.url + SCREENS[name])
            page.evaluate("document.documentElement.style.fontSize = '225%'")  # 112.5 by itself
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= PHONE["width"], name


def test_no_figure_beside_a_curve_is_cut_off_on_a_phone(browser: Browser, served: Served):
    with tab(browser, PHONE) as page:
        page.goto(served.url + SCREENS["record"])
        page.wait_for_selector(".weights text")
        cut = page.evaluate(
            """() => { const right = (e) => e.getBoundingClientRect().right;
               return [...document.querySelectorAll('.weights text')]
                 .filter((e) => right(e) > right(e.ownerSVGElement)).map((e) => e.textContent) }"""
        )
        assert cut == []


def test_a_report_says_that_it_is_being_made(browser: Browser, served: Served):
    with tab(browser, PHONE) as page:
        page.goto(served.url + "/record")
        page.evaluate(
            "addEventListener('click', (event) => event.preventDefault())"
        )  # it takes long
        page.get_by_text("All of it, to print").click()
        assert page.get_by_role("status").inner_text() == "Making it. This may take a minute"


def test_it_is_dark_at_night_by_the_clock_of_the_site(browser: Browser):
    def ink_at(at: float) -> str:
        with Served(FakeApi(), clock=lambda: at) as page_at, tab(browser, PHONE) as page:
            page.goto(page_at.url)
            colour = "getComputedStyle(document.body).backgroundColor.match(/[0-9]+/g).map(Number)"
            return "dark" if sum(page.evaluate(colour)) < 200 else "light"

    assert ink_at(NIGHT) == "dark"
    assert ink_at(NIGHT + 10 * 3600) == "light"


def test_every_screen_can_be_read_and_used_without_scripts(browser: Browser, served: Served):
    with tab(browser, PHONE, java_script_enabled=False) as page:
        page.goto(served.url)
        assert "these figures do not refresh by themselves" in page.inner_text("main")
        page.goto(served.url + SCREENS["night"])
        assert page.locator(".day .floor").is_visible()
        assert page.locator(".drawing").first.is_hidden()
        assert page.locator("details.closer").is_hidden(), "it needs a script"
        page.goto(served.url + "/do/note?brooder=porch")
        page.fill("#note", "raised the lamp")
        page.click("text=Next: look it over")
        page.click("text=Yes, write it down")
        assert "raised the lamp".capitalize() in page.inner_text(".kept")


def test_the_keyboard_reaches_the_alarm_and_sees_where_it_is(browser: Browser, served: Served):
    with tab(browser, DESK) as page:
        page.goto(served.url)
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "To the sheet"
        reached = []
        for _ in range(12):
            page.keyboard.press("Tab")
            reached.append(page.evaluate("document.activeElement.textContent.trim()"))
            outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert outline != "none", reached
        assert any(words.startswith("I am seeing to it") for words in reached)
