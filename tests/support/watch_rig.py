"""The real watch thread, journal thread and journal in this process; only the disk's mood, the far
end of the broker and, if asked for, the clock are made up.

    with running(Rig(tmp_path, site_of(tmp_path))) as rig:
        rig.say("33.4")
        wait_until(lambda: rig.far.acknowledged == [1])"""

import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from support.birds import chicks_in
from support.one_box import ONE_BOX, settings_of
from support.patience import LEAST_S
from support.service import no_daily_message_soon

from monitor.events import AlarmName, Change, Entry, Facts, Moment, Reading
from monitor.intake.held import HeldTimes
from monitor.intake.inbox import AckToken, Inbox, MqttMessage
from monitor.intake.link import BrokerState, Link
from monitor.intake.redelivered import RedeliveryMemory
from monitor.journal.pacing import CommitAllowance, Pacing
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, StorageFault
from monitor.journal.store import Journal
from monitor.service.clock import Clock, LiveClock
from monitor.service.commit_queue import CommitQueue
from monitor.service.core import Core
from monitor.service.readiness import Readiness
from monitor.service.status_board import StatusBoard
from monitor.service.watch_calls import WatchCalls
from monitor.service.watch_thread import WatchThread
from monitor.service.writer import Writer
from monitor.site import Site
from monitor.tell.message import Message
from monitor.tell.policy import Policy
from monitor.watch.status import SiteStatus

TOPIC = "brooder/porch/floor"
CONFIG = (
    ONE_BOX
    + """
  [brooders.limits]
  band_delay_s = 1
  harm_delay_s = 0.5
"""
)


class MoodyJournal:
    """A real journal on a disk that may hang or refuse."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self.path = journal.path
        self.set_aside = None
        self.goes_on = threading.Event()
        self.goes_on.set()
        self.fails: BaseException | None = None
        self.poison = -1.0
        self.commits = 0
        self.at_disk: Commit | None = None  # what the disk was last asked to take

    def commit(self, batch: Commit) -> None:
        self.at_disk = batch
        self.goes_on.wait()
        self.commits += 1
        if self.fails is not None:
            raise self.fails
        if any(getattr(item, "temp_c", 0.0) == self.poison for item in batch.inputs):
            raise OverflowError("a record that no database takes")
        self._journal.commit(batch)

    def __getattr__(self, name: str) -> object:
        return getattr(self._journal, name)


class FarEnd:
    """What a broker would see."""

    state = BrokerState(link=Link.CONNECTED, words="well", since=Moment(0, 0))
    window = 20
    hold_s = 60.0

    def __init__(self) -> None:
        self.acknowledged: list[int] = []

    def acknowledge(self, tokens: Iterable[AckToken | None]) -> int:
        new = [t.mid for t in tokens if t is not None]
        self.acknowledged += new
        return len(new)

    def publish(self, *_: object, **__: object) -> bool:
        return True

    def set_topics(self, topics: Sequence[str]) -> None:
        pass

    def keep_going(self) -> None:
        pass


class Heard:
    """Whoever takes the word to people."""

    def __init__(self) -> None:
        self.messages: list[tuple[float, Message]] = []
        self.changes: list[Change] = []

    def tell(self, messages: list[Message]) -> None:
        self.messages += [(time.monotonic(), m) for m in messages]

    def changed(self, changes: list[Change], status: SiteStatus) -> None:
        self.changes += changes


class Rig:
    """All of it."""

    def __init__(self, folder: Path, site: Site, clock: Clock | None = None) -> None:
        self.path = folder / "journal.db"
        real = Journal.open(self.path)
        real.know(site.all_probes)
        self.journal = MoodyJournal(real)
        self.inbox, self.far, self.heard = Inbox(), FarEnd(), Heard()
        clock = clock or LiveClock()
        self.faults: list[StorageFault | None] = []
        self._ended = threading.Event()
        self.readiness = Readiness()
        self.clock = clock
        self.core = Core(
            site,
            clock.now(),
            policy=Policy(**no_daily_message_soon(site.timezone, clock.now().at)),
            next_entry_number=real.next_entry_number,
        )
        self.calls = WatchCalls(self.core, self.inbox.wake)
        self.writer = Writer(
            self.journal,  # type: ignore[arg-type]
            reopen=lambda: Journal.open(self.path),
            on_settled=self.calls.note_settled,
            on_fault=self._fault,
            on_other_journal=self._other_journal,
            wall=time.time,
            on_end=self._ended.set,
        )
        self.board = StatusBoard(self.core, clock, self.heard)
        self.pacing = Pacing(longest_s=0.2)
        self.pacing.window, self.pacing.hold_s = self.far.window, self.far.hold_s
        self.allowance = CommitAllowance(regain_s=0.2)
        memory = RedeliveryMemory()
        self.commits = CommitQueue(
            self.core,
            clock=clock,
            writer=self.writer,
            told=self.heard,
            memory=memory,
            pacing=self.pacing,
            allowance=self.allowance,
            inbox=self.inbox,
            calls=self.calls,
            board=self.board,
            link=lambda: self.far,
        )
        self.watcher = WatchThread(
            self.core,
            clock=clock,
            inbox=self.inbox,
            calls=self.calls,
            commits=self.commits,
            board=self.board,
            writer=self.writer,
            link=lambda: self.far,
            memory=memory,
            held=HeldTimes(),
            readiness=self.readiness,
        )
        self.readiness.needs("What keeps the records", self.writer.alive)
        self._mid = 0

    @property
    def ended(self) -> bool:
        """Has the journal's thread asked for the end of the service?"""
        return self._ended.is_set()

    def _other_journal(self, kept: list[Entry]) -> None:
        self.calls.post("not compared", lambda now: self.core.reconcile(kept, now))

    def _fault(self, fault: StorageFault | None) -> None:
        self.faults.append(fault)
        about = Facts() if fault is None else Facts(reason=fault.words)
        self.calls.fault(AlarmName.STORAGE_FAULT, fault is not None, about)

    def say(self, text: str, *, mid: int | None = None, dup: bool = False) -> int:
        """A message arrives."""
        if mid is None:
            self._mid += 1
            mid = self._mid
        token = AckToken(1, mid)
        self.inbox.put(MqttMessage(TOPIC, text.encode(), self.clock.now(), token, dup))
        return mid

    def at_disk(self, temp_c: float) -> bool:
        """Has the disk been asked to take this reading, and no other since?"""
        batch = self.journal.at_disk
        return batch is not None and any(
            isinstance(item, Reading) and item.temp_c == temp_c for item in batch.inputs
        )

    def goes_round(self) -> None:
        """Until the watch has ended the round that it is in."""
        for _ in range(2):  # the first may be answered in that round
            self.calls.call(lambda now: None).result(LEAST_S)

    def temps(self) -> list[float]:
        with JournalReader(self.path) as reader:
            return list(reader.readings_plain("porch/floor", 0, 4e9)[1])


@contextmanager
def running(rig: Rig) -> Iterator[Rig]:
    rig.writer.start()
    rig.watcher.start()
    try:
        yield rig
    finally:
        rig.journal.goes_on.set()
        rig.watcher.stop(LEAST_S)
        rig.writer.stop(LEAST_S)


def place(rig: Rig) -> None:
    """Birds of a day: 35 degC."""
    entry = chicks_in(
        time.time(), count=50, hatched=time.strftime("%Y-%m-%d", time.gmtime(time.time() - 86400))
    )
    rig.calls.call(lambda now: rig.core.enter(entry, now)).result(LEAST_S)


def site_of(folder: Path, more: str = "") -> Site:
    """One box, one floor probe, short delays."""
    return settings_of(folder, more + CONFIG).site


def changes(rig: Rig) -> list[Change]:
    """Alarm changes on the disk."""
    with JournalReader(rig.path) as reader:
        return reader.changes()
