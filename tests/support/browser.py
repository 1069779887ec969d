"""A real Chromium for a test.

    with chromium() as browser, tab(browser, PHONE) as page:
        page.goto(served.url)

With BROODER_LONG=1 screenshots go to tests/artefacts, to be looked at; that is not kept in the
repository."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright
from support.patience import LEAST_S

CHROMIUM = shutil.which("chromium", path="/usr/bin:/usr/local/bin")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
expect.set_options(timeout=LEAST_S * 1000)
ARTEFACTS = Path(__file__).parents[1] / "artefacts"
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1200, "height": 900}
_ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@contextmanager
def chromium() -> Iterator[Browser]:
    """Started once for a module, since that takes a second or two."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=_ARGS)
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def tab(browser: Browser, size: dict[str, int], **more: Any) -> Iterator[Page]:
    """A fresh window. Fails the test when the page tried what its own policy forbids."""
    context: BrowserContext = browser.new_context(viewport=size, **more)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(LEAST_S * 1000)
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda fault: complaints.append(str(fault)))
    try:
        yield page
    finally:
        context.close()
    mine = [c for c in complaints if "Content Security Policy" in c or "Error:" in c]
    assert not mine, mine


def keep(page: Page, name: str) -> None:
    """A screenshot of the whole page, to be looked at."""
    if os.environ.get("BROODER_LONG") == "1":
        ARTEFACTS.mkdir(exist_ok=True)
        page.screenshot(path=ARTEFACTS / f"{name}.png", full_page=True)
