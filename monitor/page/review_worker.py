"""Asks the review in a child process: neither its memory nor a hang of it reaches the watch.

The child is started when somebody opens the Record screen and ended when nobody has asked for two
minutes; a request has a kill time. Answers are kept for a minute, so that turning pages back and
forth costs nothing. Called by the Record screen, in the event loop."""

import asyncio
import pickle
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.bounded import Bounded
from monitor.brooding.objection import Objection
from monitor.child import Child, ChildFailed, ChildLate
from monitor.site import Site

KILL_AFTER_S = 40.0
IDLE_S = 120.0
KEEP_S = 60.0
MOST_KEPT = 16
MOST_WAITING = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One box; a batch of it (counted from 1), or a span."""

    journal: Path
    site: Site
    now: float
    brooder: str
    batch: int | None = None
    start: float | None = None
    stop: float | None = None  # of a loss: when it was written down
    dark: bool = False
    entries: int = 0  # in the ledger: who has just entered a loss wants to see it

    @property
    def key(self) -> tuple[object, ...]:
        """Two questions with the same key have the same answer for a minute."""
        return (self.brooder, self.batch, self.start, self.stop, self.dark, self.entries)


class ReviewWorker:
    """One child at most, one request at a time."""

    def __init__(self) -> None:
        self._child: Child | None = None
        self._one_at_a_time = asyncio.Lock()
        self._waiting = 0
        self._kept: Bounded[tuple[Any, ...], tuple[float, Any]] = Bounded(MOST_KEPT)
        self._idle: asyncio.TimerHandle | None = None
        self._ending: asyncio.Future[None] | None = None  # kept, or it could be lost half done

    async def ask(self, name: str, question: Question | None = None) -> Any:
        """The answer of that function of `review_work`; one of the last minute is good enough.
        Raises Objection with what to tell the person."""
        key = (name, question.key if question else None)
        if (kept := self._kept.get(key)) and time.monotonic() - kept[0] < KEEP_S:
            return kept[1]
        if self._waiting >= MOST_WAITING:
            raise Objection("Too many questions at once. Try again in a moment.")
        self._waiting += 1
        try:
            async with self._one_at_a_time:
                answer = await self._asked(name, () if question is None else (question,))
        finally:
            self._waiting -= 1
        self._kept[key] = (time.monotonic(), answer)
        return answer

    async def warm_up(self) -> None:
        async with self._one_at_a_time:
            await self._started()

    async def end(self) -> None:
        """Ends the child, and whatever it has started."""
        if self._idle is not None:
            self._idle.cancel()
            self._idle = None
        child, self._child = self._child, None
        if child is not None:
            await asyncio.to_thread(child.end)

    async def _asked(self, name: str, arguments: tuple[Any, ...]) -> Any:
        child = await self._started()
        request = pickle.dumps((name, arguments))
        try:
            said = await asyncio.to_thread(child.ask, request, KILL_AFTER_S)
        except ChildLate:
            await self.end()
            raise Objection(f"It took longer than {KILL_AFTER_S:.0f} s and was stopped.") from None
        except ChildFailed:
            await self.end()
            raise Objection("It could not be worked out, which is a fault of ours.") from None
        except BaseException:
            await self.end()  # half an exchange: its answer must not be taken for that of the next
            raise
        kind, answer = pickle.loads(said)  # noqa: S301 - our own child
        self._rest()
        if kind == "objection":
            raise Objection(str(answer))
        return answer

    async def _started(self) -> Child:
        if self._child is None or not self._child.alive:
            self._child = await asyncio.to_thread(Child, "monitor.page.review_child")
            self._rest()
        return self._child

    def _rest(self) -> None:
        if self._idle is not None:
            self._idle.cancel()
        self._idle = asyncio.get_running_loop().call_later(IDLE_S, self._end_if_idle)

    def _end_if_idle(self) -> None:
        if self._waiting:
            self._rest()
        else:
            self._ending = asyncio.ensure_future(self.end())
