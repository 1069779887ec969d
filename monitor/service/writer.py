"""The journal's one writer: a thread of its own, so that a slow card never holds up the watch.

Batches go in, in order; each is told about when it is on the disk, or when the disk refused it.
What was refused stays in memory and is tried again together with what came since, up to a stated
number of readings; then the oldest readings are let go, never the ledger or an alarm."""

import logging
import queue
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import KW_ONLY, dataclass, field
from functools import partial
from typing import Any

from monitor.brooding.ledger import Ledger
from monitor.events import BadValue, CameLate, Entry, Reading
from monitor.intake.inbox import AckToken
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered, StorageFault
from monitor.journal.store import Journal
from monitor.service.bisection import NotKept, commit_all
from monitor.service.journal_file import JournalFile
from monitor.service.logs import facts, quietly
from monitor.service.second_copy import SecondCopy
from monitor.site import Site

log = logging.getLogger(__name__)

MOST_IN_MEMORY = 200_000  # inputs: about 40 MB, a day of 8 probes every 10 s is 69,120
RETRY_S = 5.0
TIDY_EVERY_S = 300.0


@dataclass(slots=True)
class Submission:
    """One batch on its way to the disk."""

    batch: Commit
    tokens: list[AckToken]
    by_age: bool = False
    submitted: float = field(default_factory=time.monotonic)
    settled: threading.Event = field(default_factory=threading.Event)
    kept: bool = False  # on the disk; False while settled: in memory only
    ledger: Ledger | None = None  # as it stands with this batch, for the second copy
    readings: int = 0  # how many it brings; the batch itself may be joined with others


_WAKE = Submission(Commit(), [])  # nothing to write, something to look after


@dataclass(eq=False, repr=False)
class Writer:
    """Owns the journal from `start` to `stop`."""

    journal: Journal | None
    _: KW_ONLY
    reopen: Callable[[], Journal]
    on_settled: Callable[[Submission], None]
    on_fault: Callable[[StorageFault | None], None]
    wall: Callable[[], float]
    on_other_journal: Callable[[list[Entry]], None]
    on_end: Callable[[], None] = lambda: None
    second_copy: SecondCopy | None = None
    known_number: int = 0

    def __post_init__(self) -> None:
        self.failed: BaseException | None = None  # what ended the thread, against all care
        self._ledger: Ledger | None = None  # the newest that was submitted
        self._file = JournalFile(self.journal, self.reopen)
        self._queue: queue.Queue[Submission | None] = queue.Queue()
        self._know: queue.SimpleQueue[Site] = queue.SimpleQueue()
        self._cursors: queue.SimpleQueue[tuple[str, dict[str, Any]]] = queue.SimpleQueue()
        self._owed: Commit | None = None  # refused by the disk so far
        self.failing = self.journal is None  # the disk refuses
        self._said: tuple[str, str] | None = None  # the fault that was reported
        self._try_at = 0.0  # a disk that refuses is asked again no sooner
        self._ending = False
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        # Told the ledger of a journal that was opened while the watch ran: it may be another one
        # than the watch began with.
        self._kept_number = self.known_number  # of the newest ledger entry on the disk
        self.last_kept_at: float | None = None
        self.let_go = 0  # readings dropped because memory was full

    def start(self) -> None:
        self._thread.start()

    def submit(self, submission: Submission) -> None:
        """Takes a batch; never waits."""
        self._queue.put(submission)

    def know(self, site: Site) -> None:
        """The site was configured anew (a reload)."""
        self._know.put(site)
        self._queue.put(_WAKE)

    def has(self, entry_number: int) -> bool:
        """Is an entry on the disk? They are kept in the order of their numbers."""
        return self._kept_number >= entry_number

    def keep_cursor(self, name: str, value: dict[str, Any]) -> None:
        """How far a reader of the journal has come; kept with the next transaction."""
        self._cursors.put((name, value))

    @property
    def behind(self) -> int:
        """How many batches are not written yet."""
        return self._queue.qsize()

    @property
    def why_failing(self) -> str | None:
        """What it says; None: it does not refuse."""
        return self._said[1] if self.failing and self._said is not None else None

    def alive(self) -> bool:
        """Is the thread alive? A disk that hangs holds it up, but does not end it."""
        return self._thread.is_alive()

    def stop(self, within_s: float) -> bool:
        """Writes what is waiting, closes the journal. False: it did not get done in time."""
        self._queue.put(None)
        self._thread.join(within_s)
        return not self._thread.is_alive() and self._owed is None

    def _run(self) -> None:
        try:
            self._work()
        except BaseException as error:
            self.failed = error
            log.exception("The journal's thread has ended; the service ends to be started anew.")
            self.on_end()

    def _work(self) -> None:
        tidied = time.monotonic()
        while True:
            try:
                submission = self._queue.get(timeout=RETRY_S if self.failing else TIDY_EVERY_S)
            except queue.Empty:
                submission = _WAKE
            if submission is None:
                break
            quietly("New probes could not be noted.", self._learn_probes)
            quietly("How far the mirror has come could not be kept.", self._take_cursors)
            kept = not self.failing
            if submission.batch or self._owed is not None:
                kept = self._write_somehow(submission.batch)
            self._ledger = submission.ledger or self._ledger
            quietly("The second copy could not be kept.", self._keep_second_copy)
            if submission is not _WAKE:
                # Also one with nothing in it: a message that was known already, or dropped, is
                # acknowledged like any other, or it fills the broker's window for ever.
                submission.kept = kept
                submission.settled.set()
                quietly(
                    "Who waits for the disk was not told.", partial(self.on_settled, submission)
                )
            if not self.failing and time.monotonic() - tidied >= TIDY_EVERY_S:
                tidied = time.monotonic()
                quietly("The journal could not be tidied.", self._tidy)
        self._ending = True
        if self._owed is not None:
            self._write_somehow(Commit())
        self._file.put_away()

    def _write_somehow(self, batch: Commit) -> bool:
        """As `_write`; whatever goes wrong in it, nothing is lost and the thread goes on."""
        try:
            return self._write(batch)
        except Exception as error:
            log.exception("The journal stumbled.")
            why = f"the journal could not be written ({type(error).__name__}: {error})"
            quietly("A fault could not be told.", lambda: self._fail(StorageFault("failed", why)))
            self._file.put_away()
            return False

    def _write(self, batch: Commit) -> bool:
        """Is everything up to this batch on the disk now?"""
        if self._owed is not None:
            self._owed.extend(batch)
            batch = self._owed
        self._owed = batch  # until it is kept
        if self.failing and time.monotonic() < self._try_at and not self._ending:
            self._owe(batch)
            return False
        try:
            journal = self._file.opened(self._say)
        except StorageFault as fault:
            self._owe(batch)
            self._fail(fault)
            return False
        try:
            commit_all(journal, batch)
        except NotKept as some:
            self._owe(some.owed)
            self._fail(some.why)
            if some.why.kind == "damaged":
                self._file.put_away(damaged=True)
            return False
        self._owed = None
        written = (i.entry.number for i in batch.inputs if isinstance(i, Entered))
        self._kept_number = max((self._kept_number, *written))
        if self._file.opened_anew:  # now that what was owed is in it
            self._file.opened_anew = False
            quietly("The ledger of the new journal was not compared.", self._compare)
        self.last_kept_at = self.wall()
        if self.failing:
            self.failing = False
            log.info("The journal is written again.", extra=facts(let_go=self.let_go))
        said, self._said = self._said, None
        if said is not None and said[0] != "damaged":  # that is read first; the watcher ends it
            self.on_fault(None)
        return True

    def _keep_second_copy(self) -> None:
        if self.second_copy is not None and self._ledger is not None:
            self.second_copy.keep(self._ledger)

    def _compare(self) -> None:
        if self._file.journal is not None:
            with JournalReader(self._file.journal.path) as reader:
                self.on_other_journal(reader.entries())

    def _fail(self, fault: StorageFault) -> None:
        self._try_at = time.monotonic() + RETRY_S
        self.failing = True
        self._say(fault)

    def _say(self, fault: StorageFault) -> None:
        """Once for each kind of trouble: the report is a record that waits for the disk too."""
        if self._said != (fault.kind, fault.words):
            self._said = (fault.kind, fault.words)
            log.error("Trouble with the journal.", extra=facts(why=fault.words))
            self.on_fault(fault)

    def _owe(self, batch: Commit) -> None:
        self._owed = batch
        over = len(batch.inputs) - MOST_IN_MEMORY
        if over <= 0:
            return
        kept = []
        for item in batch.inputs:
            if over > 0 and isinstance(item, Reading | BadValue | CameLate):
                over -= 1
                self.let_go += not isinstance(item, CameLate)
            else:
                kept.append(item)
        batch.inputs = kept

    def _take_cursors(self) -> None:
        while not self._cursors.empty():
            name, value = self._cursors.get()
            with suppress(StorageFault):  # sent again after a restart, which changes nothing there
                if self._file.journal is not None:
                    self._file.journal.set_cursor(name, value, at=self.wall())

    def _learn_probes(self) -> None:
        while not self._know.empty():
            site = self._know.get()
            try:
                if self._file.journal is not None:
                    self._file.journal.know_site(site)
            except StorageFault as fault:
                log.warning("New probes could not be noted.", extra=facts(why=fault.words))

    def _tidy(self) -> None:
        try:
            if self._file.journal is not None:
                self._file.journal.tidy(self.wall())
        except StorageFault as fault:
            log.warning("The journal could not be tidied.", extra=facts(why=fault.words))
