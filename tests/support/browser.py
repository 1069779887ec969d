"""A real Chromium for a test, and the page served in a thread of its own.

    with chromium() as browser, Served(desk) as served:
        tab = open_tab(browser, served.url, PHONE)
        tab.goto(served.url)

Screenshots go to tests/artefacts, which is not kept in the repository."""

import asyncio
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from monitor.page.access import Access
from monitor.page.app import build_app
from monitor.page.serve import serve

CHROMIUM = shutil.which("chromium", path="/usr/bin:/usr/local/bin")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
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
    page.set_default_timeout(20_000)
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda fault: complaints.append(str(fault)))
    try:
        yield page
    finally:
        context.close()
    mine = [c for c in complaints if "Content Security Policy" in c or "Error:" in c]
    assert not mine, mine


def keep(page: Page, name: str) -> Path:
    """A screenshot of the whole page, to be looked at."""
    ARTEFACTS.mkdir(exist_ok=True)
    path = ARTEFACTS / f"{name}.png"
    page.screenshot(path=path, full_page=True)
    return path


class Served:
    """The page on a port of its own, in a thread with its own event loop."""

    def __init__(
        self,
        desk: Any,
        access: Access | None = None,
        *,
        clock: Callable[[], float] = time.time,
        passphrase: str | None = None,
    ) -> None:
        self.desk = desk
        self._folder = tempfile.TemporaryDirectory()
        self.access = access or Access.prepare(
            folder=Path(self._folder.name), passphrase=passphrase
        )
        self._clock = clock
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop: asyncio.Event | None = None
        self._ready = threading.Event()
        self._fault: BaseException | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)
        self.port = 0
        self.app: Any = None

    def __enter__(self) -> "Served":
        self._thread.start()
        assert self._ready.wait(30), "the page did not start"
        if self._fault is not None:
            raise self._fault
        return self

    def __exit__(self, *_: object) -> None:
        if self._loop is not None and self._stop is not None:
            self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(20)
        assert not self._thread.is_alive(), "the page did not stop"
        self._folder.cleanup()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def show(self, status: Any) -> None:
        """As a newer reading would."""
        assert self._loop is not None
        self._loop.call_soon_threadsafe(self.desk.show, status)

    def _run(self) -> None:
        try:
            asyncio.run(self._serve())
        except BaseException as fault:
            self._fault = fault
        finally:
            self._ready.set()

    async def _serve(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._stop = asyncio.Event()
        self.app = build_app(self.desk, self.access, clock=self._clock)
        serving = await serve(self.app, "127.0.0.1", 0)
        self.port = serving.port
        self._ready.set()
        await self._stop.wait()
        await serving.stop()
