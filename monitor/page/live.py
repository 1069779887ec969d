"""The live numbers: server-sent events, one update made for all open pages together.

However many pages are open, the screen is drawn at most once a second, and only while somebody
looks. A stream holds no queue: it takes the newest update when it can, so a slow phone delays
nobody and fills no memory."""

import asyncio
import json
import logging
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import Any

from monitor.service.service_api import ServiceApi

MOST_STREAMS = 64
AT_MOST_EVERY_S = 1.0
SHARE = 0.01  # of a core for drawing: a site of a thousand boxes is drawn less often
SELDOM_S = 10.0
KEEP_ALIVE_S = 15.0
LONGEST_S = 1800.0  # then the page asks anew, and whoever signed out meanwhile is not let in

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveUpdate:
    """The screen in pieces of HTML by element id, and what goes along with them."""

    parts: dict[str, str]
    also: dict[str, Any]


class LiveStream:
    """Hands the newest update to every open stream. Lives in one event loop."""

    def __init__(self, api: ServiceApi, draw: Callable[[], LiveUpdate]) -> None:
        self._api = api
        self._draw = draw
        self._parts: dict[str, tuple[int, str]] = {}  # id -> (version it changed in, HTML)
        self._also: dict[str, Any] = {}
        self._version = 0
        self._newer = asyncio.Event()  # set and replaced whenever there is a newer version
        self._streams = 0
        self._closed = False
        self._generation = 0  # streams of an earlier one end
        self._pump: asyncio.Task[None] | None = None

    @property
    def has_room(self) -> bool:
        """May one more page be kept up to date?"""
        return not self._closed and self._streams < MOST_STREAMS

    def close(self) -> None:
        """Ends every stream, so that the server can stop."""
        self._closed = True
        self._wake()
        if self._pump is not None:
            self._pump.cancel()
            self._pump = None

    async def stream(self) -> AsyncIterator[bytes]:
        """One page's events: first everything, then what has changed."""
        self._streams += 1
        try:
            if self._pump is None or self._pump.done():
                self._redraw()
                self._pump = asyncio.create_task(self._keep_drawing())
            seen, generation = 0, self._generation
            until = time.monotonic() + LONGEST_S
            while self._goes_on(generation, until):
                newer = self._newer
                if seen < self._version:
                    event = self._event(seen)
                    seen = self._version  # not after the yield, which may last
                    yield event
                    continue
                try:
                    await asyncio.wait_for(newer.wait(), KEEP_ALIVE_S)
                except TimeoutError:
                    yield b"data: {}\n\n"  # an event, so that the script too knows it lives
        finally:
            self._streams -= 1

    def _goes_on(self, generation: int, until: float) -> bool:
        return not self._closed and generation == self._generation and time.monotonic() < until

    def _event(self, seen: int) -> bytes:
        parts = {key: html for key, (version, html) in self._parts.items() if version > seen}
        said = {"parts": parts, **self._also}
        return f"data: {json.dumps(said, ensure_ascii=False)}\n\n".encode()

    async def _keep_drawing(self) -> None:
        while self._streams and not self._closed:
            # Asked before drawing: what comes while we draw or rest is news for the next round.
            news = asyncio.ensure_future(self._api.changed(KEEP_ALIVE_S))
            try:
                began = time.monotonic()
                self._redraw()
                took_s = time.monotonic() - began
                await asyncio.sleep(max(AT_MOST_EVERY_S, min(SELDOM_S, took_s / SHARE)))
                await news
            except Exception:
                # An open page must not go on showing old figures as if they were live: the
                # streams end, and each page says that it has lost its connection.
                log.exception("The live numbers could not be drawn.")
                self._generation += 1
                self._wake()
                return
            finally:
                news.cancel()

    def _redraw(self) -> None:
        update = self._draw()
        changed = {
            key: html
            for key, html in update.parts.items()
            if key not in self._parts or self._parts[key][1] != html
        }
        gone = self._parts.keys() - update.parts.keys()
        if not changed and not gone and update.also == self._also:
            return
        self._version += 1
        for key in gone:
            del self._parts[key]
        for key, html in changed.items():
            self._parts[key] = (self._version, html)
        self._also = update.also
        self._wake()

    def _wake(self) -> None:
        self._newer, woken = asyncio.Event(), self._newer
        woken.set()
