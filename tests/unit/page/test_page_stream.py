"""The live stream: drawn once for all, at most once a second, and holding nothing back."""

import asyncio
import json
from typing import Any

import pytest
from support.patience import LEAST_S

from monitor.page import live
from monitor.page.live import MOST_STREAMS, LiveStream, LiveUpdate


class StatusSource:
    """Says when there is something new."""

    def __init__(self) -> None:
        self.news = asyncio.Event()

    async def changed(self, wait_s: float) -> bool:
        try:
            async with asyncio.timeout(wait_s):
                await self.news.wait()
        except TimeoutError:
            return False
        self.news.clear()
        return True


class Drawer:
    """Counts how often the screen was drawn."""

    def __init__(self) -> None:
        self.parts = {"a": "1", "b": "1"}
        self.drawn = 0

    def __call__(self) -> LiveUpdate:
        self.drawn += 1
        return LiveUpdate(parts=dict(self.parts), also={"calls": []})


async def next_event(stream: Any) -> dict[str, Any]:
    async with asyncio.timeout(LEAST_S):
        while True:
            event = json.loads((await anext(stream)).removeprefix(b"data: "))
            if event:
                return event


async def settled() -> None:
    """All that can go on without time passing has."""
    for _ in range(20):
        await asyncio.sleep(0)


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "AT_MOST_EVERY_S", 0.02)


def test_first_everything_then_only_what_changed():
    async def story() -> None:
        api, draw = StatusSource(), Drawer()
        pages = LiveStream(api, draw)  # type: ignore[arg-type]
        stream = pages.stream()
        assert (await next_event(stream))["parts"] == {"a": "1", "b": "1"}
        draw.parts["b"] = "2"
        api.news.set()
        assert (await next_event(stream))["parts"] == {"b": "2"}
        pages.close()

    asyncio.run(story())


def test_fifty_pages_are_drawn_once():
    async def story() -> None:
        api, draw = StatusSource(), Drawer()
        pages = LiveStream(api, draw)  # type: ignore[arg-type]
        streams = [pages.stream() for _ in range(50)]
        for stream in streams:
            await next_event(stream)
        before = draw.drawn
        draw.parts["a"] = "2"
        api.news.set()
        seen = await asyncio.gather(*(next_event(stream) for stream in streams))
        assert all(event["parts"] == {"a": "2"} for event in seen)
        assert draw.drawn - before <= 2
        pages.close()

    asyncio.run(story())


def test_a_slow_page_gets_the_newest_and_no_backlog():
    async def story() -> None:
        api, draw = StatusSource(), Drawer()
        pages = LiveStream(api, draw)  # type: ignore[arg-type]
        slow, quick = pages.stream(), pages.stream()
        await next_event(slow)
        await next_event(quick)
        for value in range(2, 8):
            draw.parts["a"] = str(value)
            api.news.set()
            assert (await next_event(quick))["parts"] == {"a": str(value)}
        assert (await next_event(slow))["parts"] == {"a": "7"}
        pages.close()

    asyncio.run(story())


def test_news_that_comes_while_it_rests_is_not_lost(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(live, "AT_MOST_EVERY_S", 0.3)
    monkeypatch.setattr(live, "KEEP_ALIVE_S", 3600.0)

    async def story() -> None:
        api, draw = StatusSource(), Drawer()
        pages = LiveStream(api, draw)  # type: ignore[arg-type]
        stream = pages.stream()
        await next_event(stream)
        await settled()  # the pump has drawn and rests
        draw.parts["a"] = "2"
        api.news.set()
        assert (await next_event(stream))["parts"] == {"a": "2"}
        pages.close()

    asyncio.run(story())


def test_nobody_looking_costs_nothing():
    async def story() -> None:
        api, draw = StatusSource(), Drawer()
        pages = LiveStream(api, draw)  # type: ignore[arg-type]
        stream = pages.stream()
        await next_event(stream)
        await stream.aclose()
        async with asyncio.timeout(LEAST_S):
            while len(asyncio.all_tasks()) > 1:  # the one that draws ends by itself
                api.news.set()
                await asyncio.sleep(0.01)
        before = draw.drawn
        api.news.set()
        await settled()
        assert draw.drawn == before
        pages.close()

    asyncio.run(story())


def test_there_is_an_end_to_how_many_are_served():
    async def story() -> None:
        pages = LiveStream(StatusSource(), Drawer())  # type: ignore[arg-type]
        streams = [pages.stream() for _ in range(MOST_STREAMS)]
        for stream in streams:
            assert pages.has_room
            await next_event(stream)
        assert not pages.has_room
        await streams[0].aclose()
        assert pages.has_room
        pages.close()

    asyncio.run(story())


def test_closing_ends_every_stream():
    async def story() -> None:
        pages = LiveStream(StatusSource(), Drawer())  # type: ignore[arg-type]
        stream = pages.stream()
        await next_event(stream)
        waiting = asyncio.ensure_future(anext(stream))
        await settled()
        pages.close()
        with pytest.raises(StopAsyncIteration):
            async with asyncio.timeout(LEAST_S):
                await waiting

    asyncio.run(story())


def test_a_screen_that_cannot_be_drawn_ends_the_streams_instead_of_showing_old_figures(caplog):
    async def story() -> None:
        api, draw = StatusSource(), Drawer()
        pages = LiveStream(api, draw)  # type: ignore[arg-type]
        stream = pages.stream()
        await next_event(stream)
        draw.parts = None  # type: ignore[assignment]
        api.news.set()
        with pytest.raises(StopAsyncIteration):
            await next_event(stream)
        draw.parts = {"a": "well again"}
        assert (await next_event(pages.stream()))["parts"] == {"a": "well again"}
        pages.close()

    asyncio.run(story())
    assert "could not be drawn" in caplog.text
