"""The journal's one writer: a thread of its own, so that a slow card never holds up the watch.

Batches go in, in order; each is told about when it is on the disk, or when the disk refused it.
What was refused stays in memory and is tried again together with what came since, up to a stated
number of readings; then the oldest readings are let go, never the ledger or an alarm."""

import logging
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from monitor.intake.inbox import AckToken
from monitor.journal.records import Batch, StorageFault
from monitor.journal.store import Journal
from monitor.service.logs import facts
from monitor.site import Probe
from monitor.watch.events import Reading

log = logging.getLogger(__name__)

MOST_IN_MEMORY = 200_000  # inputs: about 40 MB, a day of 8 probes every 10 s is 69,120
RETRY_S = 5.0
TIDY_EVERY_S = 300.0


@dataclass(slots=True)
class Submission:
    """One batch on its way to the disk."""

    batch: Batch
    tokens: list[AckToken]
    by_age: bool = False
    submitted: float = field(default_factory=time.monotonic)
    settled: threading.Event = field(default_factory=threading.Event)
    kept: bool = False  # on the disk; False while settled: in memory only


class Writer:
    """Owns the journal from `start` to `stop`."""

    def __init__(
        self,
        journal: Journal | None,
        *,
        reopen: Callable[[], Journal],
        on_settled: Callable[[Submission], None],
        on_fault: Callable[[StorageFault | None], None],
        wall: Callable[[], float],
    ) -> None:
        self._journal = journal  # None: the disk refused it so far
        self._reopen = reopen
        self._on_settled = on_settled
        self._on_fault = on_fault
        self._wall = wall
        self._queue: queue.Queue[Submission | None] = queue.Queue()
        self._know: queue.SimpleQueue[tuple[Probe, ...]] = queue.SimpleQueue()
        self._owed: Batch | None = None  # refused by the disk so far
        self._failing = journal is None
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self.last_kept_at: float | None = None
        self.let_go = 0  # readings dropped because memory was full

    def start(self) -> None:
        """Begins to write."""
        self._thread.start()

    def submit(self, submission: Submission) -> None:
        """Takes a batch; never waits."""
        self._queue.put(submission)

    def know(self, probes: tuple[Probe, ...]) -> None:
        """The probes were configured anew (a reload)."""
        self._know.put(probes)
        self._queue.put(Submission(Batch(), []))

    @property
    def behind(self) -> int:
        """Batches not yet settled."""
        return self._queue.qsize()

    @property
    def failing(self) -> bool:
        """The disk refuses."""
        return self._failing

    def stop(self, within_s: float) -> bool:
        """Writes what is waiting, closes the journal. False: it did not get done in time."""
        self._queue.put(None)
        self._thread.join(within_s)
        return not self._thread.is_alive() and self._owed is None

    def _run(self) -> None:
        tidied = time.monotonic()
        while True:
            try:
                submission = self._queue.get(timeout=RETRY_S if self._failing else TIDY_EVERY_S)
            except queue.Empty:
                if self._owed is not None:
                    self._write(Submission(Batch(), []))
                submission = Submission(Batch(), [])
            if submission is None:
                break
            self._learn_probes()
            if submission.batch:
                self._write(submission)
                submission.settled.set()
                self._on_settled(submission)
            if not self._failing and time.monotonic() - tidied >= TIDY_EVERY_S:
                tidied = time.monotonic()
                self._tidy()
        if self._owed is not None:
            self._write(Submission(Batch(), []))
        if self._journal is not None:
            self._journal.close()

    def _write(self, submission: Submission) -> None:
        batch = submission.batch
        if self._owed is not None:
            self._owed.extend(batch)
            batch = self._owed
        try:
            if self._journal is None:
                self._journal = self._reopen()
            self._journal.commit(batch)
        except StorageFault as fault:
            self._owed = batch
            self._bound()
            if not self._failing:
                log.error("The journal cannot be written.", extra=facts(why=fault.words))
            self._failing = True
            self._on_fault(fault)
            return
        self._owed = None
        submission.kept = True
        self.last_kept_at = self._wall()
        if self._failing:
            self._failing = False
            log.info("The journal is written again.", extra=facts(let_go=self.let_go))
            self._on_fault(None)

    def _bound(self) -> None:
        if self._owed is None or len(self._owed.inputs) <= MOST_IN_MEMORY:
            return
        over = len(self._owed.inputs) - MOST_IN_MEMORY
        kept = []
        for item in self._owed.inputs:
            if over > 0 and isinstance(item, Reading):
                over -= 1
                self.let_go += 1
            else:
                kept.append(item)
        self._owed.inputs = kept

    def _learn_probes(self) -> None:
        while not self._know.empty():
            probes = self._know.get()
            try:
                if self._journal is not None:
                    self._journal.know(probes)
            except StorageFault as fault:
                log.warning("New probes could not be noted.", extra=facts(why=fault.words))

    def _tidy(self) -> None:
        try:
            if self._journal is not None:
                self._journal.tidy(self._wall())
        except StorageFault as fault:
            log.warning("The journal could not be tidied.", extra=facts(why=fault.words))
