"""The page served for a test, on a port of its own, in a thread with its own event loop.

with Served(FakeApi()) as served:
    Visitor(served.port).get("/")
"""

import asyncio
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from support.patience import LEAST_S

from monitor.page import review_worker
from monitor.page.access import Access
from monitor.page.app import build_app
from monitor.page.serve import serve

# A busy machine takes longer to start the child that draws than a grower is to wait for it.
review_worker.KILL_AFTER_S = LEAST_S


class Served:
    """The page on a port of its own, in a thread with its own event loop."""

    def __init__(
        self,
        api: Any,
        access: Access | None = None,
        *,
        clock: Callable[[], float] = time.time,
        passphrase: str | None = None,
        port: int = 0,
    ) -> None:
        self.api = api
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
        self.port = port
        self.app: Any = None

    def __enter__(self) -> "Served":
        self._thread.start()
        assert self._ready.wait(LEAST_S), "the page did not start"
        if self._fault is not None:
            raise self._fault
        return self

    def __exit__(self, *_: object) -> None:
        if self._loop is not None and self._stop is not None:
            self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(LEAST_S)
        assert not self._thread.is_alive(), "the page did not stop"
        self._folder.cleanup()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def show(self, status: Any) -> None:
        """As a newer reading would; returns when it stands."""
        assert self._loop is not None
        done = threading.Event()
        self._loop.call_soon_threadsafe(lambda: (self.api.show(status), done.set()))
        assert done.wait(LEAST_S)

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
        self.app = build_app(self.api, self.access, clock=self._clock)
        serving = await serve(self.app, "127.0.0.1", self.port)
        self.port = serving.port
        self._ready.set()
        await self._stop.wait()
        await serving.stop()
