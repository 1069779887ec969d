"""The moving picture in a real browser: under a strict content policy, and offline as one file."""

import dataclasses
import functools
import json
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import cycle

import pytest
from playwright.sync_api import Browser, Page
from support.answering import Answer, Answering, Asked
from support.patience import LEAST_S
from support.review_scenes import night
from support.service import wait_until

from monitor.review import interactive
from monitor.review.chart import describe
from monitor.review.draw import script_bundle
from monitor.review.interactive import SCRIPT, STYLE, offline
from monitor.review.scene import Event

pytestmark = pytest.mark.live
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src data:"  # the page's own icon, so that the browser asks for none
)
PAGE = """<!doctype html><html lang="en"><title>night</title><link rel="icon" href="data:,">
<meta name="viewport" content="width=device-width"><link rel="stylesheet" href="/chart.css">
<figure data-chart="/chart.json"></figure>
<script src="/library.js"></script><script src="/chart.js"></script></html>"""


@functools.cache
def library() -> bytes:
    """Made once: it takes a busy machine longer than the page would wait."""
    return script_bundle(kill_after_s=LEAST_S)


@contextmanager
def served(policy: str) -> Iterator[str]:
    files = {
        "/": (PAGE.encode(), "text/html"),
        "/chart.json": (
            json.dumps(describe(night(), wide_px=700, moving=True)).encode(),
            "application/json",
        ),
        "/library.js": (library(), "text/javascript"),
        "/chart.js": (SCRIPT.read_bytes(), "text/javascript"),
        "/chart.css": (STYLE.read_bytes(), "text/css"),
    }

    def answer(asked: Asked) -> Answer:
        body, kind = files[asked.path]
        kind = f"{kind}; charset=utf-8"
        return Answer(200, body, {"Content-Type": kind, "Content-Security-Policy": policy})

    with closing(Answering(answer)) as server:
        yield f"{server.url}/"


def opened(browser: Browser, address: str, width: int) -> tuple[Page, list[str]]:
    """The page once its picture is drawn, and what the browser complained of."""
    page = browser.new_page(viewport={"width": width, "height": 900}, timezone_id="Asia/Tokyo")
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda fault: said.append(str(fault)))
    page.goto(address)
    page.wait_for_selector("[data-drawn]", timeout=LEAST_S * 1000)
    assert page.get_attribute("[data-drawn]", "data-drawn") == "yes", said
    return page, said


def drawn(page: Page) -> bytes:
    """The chart as it is drawn at this moment."""
    return page.locator("canvas").screenshot()


def drawn_anew(page: Page, before: bytes) -> bytes:
    """The chart once it is another than `before`."""
    wait_until(lambda: drawn(page) != before, what="another span")
    return drawn(page)


def hover_until_told(page: Page) -> str:
    """Moves along the floor's curve until a value shows."""
    box = page.locator("canvas").bounding_box()
    assert box is not None
    steps = cycle(range(60))

    def told() -> str:
        step = next(steps)
        page.mouse.move(box["x"] + box["width"] * 0.3 + step * 3, box["y"] + 95 + step % 30)
        shown = page.locator("#vg-tooltip-element.visible")
        return shown.inner_text() if shown.count() else ""

    return str(wait_until(told, what="a value along the curve"))


@pytest.mark.parametrize("width", [390, 1000])
def test_it_draws_and_tells_values_under_a_strict_content_policy(browser, width):
    with served(POLICY) as address:
        page, said = opened(browser, address, width)
        assert said == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        told = hover_until_told(page)
        # The site's units and the site's time, though this browser lives in another zone.
        assert "°F" in told
        assert any(f" {hour:02}:" in told for hour in (*range(18, 24), *range(9))), told
        assert said == []
        page.close()


def test_the_policy_is_really_in_force(browser):
    """The same page without leave to run scripts stays empty: the test above could fail."""
    with served("default-src 'none'") as address:
        page = browser.new_page()
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.goto(address)
        assert page.locator("canvas").count() == 0
        assert any("Content Security Policy" in text for text in said)
        page.close()


def test_closer_wider_later_and_all_move_the_span_by_keyboard_too(browser):
    with served(POLICY) as address:
        page, said = opened(browser, address, 390)
        whole = drawn(page)
        page.get_by_role("button", name="Closer").focus()
        page.keyboard.press("Enter")
        closer = drawn_anew(page, whole)
        page.get_by_role("button", name="Later").click()
        later = drawn_anew(page, closer)
        page.get_by_role("button", name="All").focus()
        page.keyboard.press("Enter")
        drawn_anew(page, later)
        sizes = [b.bounding_box() for b in page.get_by_role("button").all()]
        assert all(box is not None and min(box["width"], box["height"]) >= 44 for box in sizes)
        assert said == []
        page.close()


def test_the_one_file_opens_offline_and_a_note_cannot_break_out(browser, tmp_path, monkeypatch):
    scene = night()
    evil = "</script><script>document.title='broken'</script><!-- <b>x</b>"
    note = Event(at=scene.start + 3600, what="note", text=evil)
    path = tmp_path / "night.html"
    monkeypatch.setattr(interactive, "script_bundle", library)
    path.write_text(offline(dataclasses.replace(scene, events=(*scene.events, note))))
    context = browser.new_context(offline=True, viewport={"width": 390, "height": 900})
    asked: list[str] = []
    page = context.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    page.wait_for_selector("[data-drawn=yes]", timeout=LEAST_S * 1000)
    assert page.title() == scene.title
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert "°F" in hover_until_told(page)
    context.close()
