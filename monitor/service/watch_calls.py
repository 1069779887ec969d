"""What other threads bring to the watch thread: work on the core, how a delivery went, what is on
the disk. Any thread may put something in; the watch thread takes it out each round."""

import asyncio
import queue
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, TypeVar

from monitor.events import AlarmName, Facts, Moment
from monitor.journal.records import Outcome
from monitor.service.core import Core
from monitor.service.logs import quietly
from monitor.service.writer import Submission

T = TypeVar("T")


class WatchCalls:
    """See the module. `wake` ends the watch thread's sleep."""

    def __init__(self, core: Core, wake: Callable[[], None]) -> None:
        self._core = core
        self._wake = wake
        self.calls: queue.SimpleQueue[tuple[Callable[[Moment], Any], Future[Any]]] = (
            queue.SimpleQueue()
        )
        self.outcomes: queue.SimpleQueue[Outcome] = queue.SimpleQueue()
        self.settled: queue.SimpleQueue[Submission] = queue.SimpleQueue()

    def call(self, work: Callable[[Moment], T]) -> Future[T]:
        """Runs `work` in the watch thread; it may use the core freely. Whoever calls reads the
        outcome: a fault of the work is in it, and nowhere else. `post` is for whoever does not."""
        done: Future[T] = Future()
        self.calls.put((work, done))
        self._wake()
        return done

    async def ask(self, work: Callable[[Moment], T]) -> T:
        """As `call`, for the event loop."""
        return await asyncio.wrap_future(self.call(work))

    def post(self, what_failed: str, work: Callable[[Moment], None]) -> None:
        """As `call`, for whoever cannot wait: a fault of the work is told to the log."""
        self.call(lambda now: quietly(what_failed, lambda: work(now)))  # Outcome: never a fault

    def fault(self, name: AlarmName, active: bool, about: Facts) -> None:
        """The watcher itself is not well, or is again."""
        self.post(
            "A fault of the watcher could not be told.",
            lambda now: self._core.fault(name, active, now, about),
        )

    def note_outcome(self, outcome: Outcome) -> None:
        """How a delivery went, to be kept at once."""
        self.outcomes.put(outcome)
        self._wake()

    def note_settled(self, submission: Submission) -> None:
        """The writer is done with a commit."""
        self.settled.put(submission)
        self._wake()
