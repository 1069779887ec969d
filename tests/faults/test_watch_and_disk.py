"""The watch thread, the journal thread and a real journal, with a disk that hangs, stumbles or
refuses one record. Only the disk and the far end of the broker are made up."""

import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.service import wait_until

from monitor.intake.held import HeldTimes
from monitor.intake.inbox import AckToken, Delivery, Inbox
from monitor.intake.link import BrokerState, Link
from monitor.intake.redelivered import RedeliveryMemory
from monitor.journal.allowance import CommitAllowance
from monitor.journal.pacing import Pacing
from monitor.journal.reader import JournalReader
from monitor.journal.records import Batch, StorageFault
from monitor.journal.store import Journal
from monitor.service import watcher as watch_module
from monitor.service import writer as writer_module
from monitor.service.clock import LiveClock
from monitor.service.core import Core
from monitor.service.readiness import Readiness
from monitor.service.watcher import Watcher
from monitor.service.writer import Submission, Writer
from monitor.settings import load_settings
from monitor.site import Site
from monitor.tell.message import Message
from monitor.watch.events import AlarmName, Change, Entry, EntryKind, Facts, Moment
from monitor.watch.status import SiteStatus

pytestmark = pytest.mark.faults
TOPIC = "brooder/porch/floor"
CONFIG = """
[[brooders]]
name = "porch"
length_m = 1
width_m = 1
  [[brooders.probes]]
  name = "floor"
  topic = "brooder/porch/floor"
  place = "floor"
  [brooders.limits]
  band_delay_s = 1
  harm_delay_s = 0.5
"""


class MoodyJournal:
    """A real journal on a disk that may hang or refuse."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self.path = journal.path
        self.set_aside = None
        self.goes_on = threading.Event()
        self.goes_on.set()
        self.fails: StorageFault | None = None
        self.poison = -1.0
        self.commits = 0

    def commit(self, batch: Batch) -> None:
        self.goes_on.wait(60)
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

    def __init__(self, folder: Path, site: Site) -> None:
        self.path = folder / "journal.db"
        real = Journal.open(self.path)
        real.know(site.all_probes)
        self.journal = MoodyJournal(real)
        self.inbox, self.far, self.heard = Inbox(), FarEnd(), Heard()
        clock = LiveClock()
        self.faults: list[StorageFault | None] = []
        self.writer = Writer(
            self.journal,  # type: ignore[arg-type]
            reopen=lambda: Journal.open(self.path),
            on_settled=self._settled,
            on_fault=self._fault,
            wall=time.time,
        )
        self.watcher = Watcher(
            Core(site, clock.now(), next_entry_number=real.next_entry_number),
            clock=clock,
            inbox=self.inbox,
            writer=self.writer,
            told=self.heard,
            memory=RedeliveryMemory(),
            held=HeldTimes(),
            pacing=Pacing(longest_s=0.2),
            allowance=CommitAllowance(regain_s=0.2),
            readiness=Readiness(),
        )
        self.watcher.link = self.far  # type: ignore[assignment]
        self.clock = clock
        self._mid = 0

    def _settled(self, submission: Submission) -> None:
        self.watcher.note_settled(submission)

    def _fault(self, fault: StorageFault | None) -> None:
        self.faults.append(fault)
        about = Facts() if fault is None else Facts(reason=fault.words)
        self.watcher.fault(AlarmName.STORAGE_FAULT, fault is not None, about)

    def say(self, text: str, *, mid: int | None = None, dup: bool = False) -> int:
        """A message arrives."""
        if mid is None:
            self._mid += 1
            mid = self._mid
        token = AckToken(1, mid)
        self.inbox.put(Delivery(TOPIC, text.encode(), self.clock.now(), token, dup))
        return mid

    def temps(self) -> list[float]:
        with JournalReader(self.path) as reader:
            return list(reader.readings_plain("porch/floor", 0, 4e9)[1])


@pytest.fixture
def site(tmp_path: Path) -> Site:
    file = tmp_path / "brooder.toml"
    file.write_text(CONFIG)
    return load_settings(file, {}, check_contacts=False).site


@contextmanager
def running(rig: Rig) -> Iterator[Rig]:
    rig.writer.start()
    rig.watcher.start()
    try:
        yield rig
    finally:
        rig.journal.goes_on.set()
        rig.watcher.stop(20)
        rig.writer.stop(20)


@pytest.fixture
def rig(tmp_path: Path, site: Site) -> Iterator[Rig]:
    with running(Rig(tmp_path, site)) as made:
        yield made


def place(rig: Rig) -> None:
    """Birds of a day: 35 degC."""
    entry = Entry(
        at=time.time(),
        entry=EntryKind.PLACED,
        brooder="porch",
        count=50,
        hatched=time.strftime("%Y-%m-%d", time.gmtime(time.time() - 86400)),
        kind="broiler",
    )
    rig.watcher.call(lambda now: rig.watcher.core.enter(entry, now)).result(20)


def test_a_message_is_acknowledged_only_when_the_disk_has_it(rig: Rig) -> None:
    rig.say("30.0")
    wait_until(lambda: rig.far.acknowledged == [1])
    assert rig.temps() == [30.0]
    rig.journal.goes_on.clear()
    rig.say("31.0")
    wait_until(lambda: rig.writer.behind == 0 and len(rig.inbox) == 0)
    time.sleep(0.6)  # long enough for a wrong acknowledgement to come
    assert rig.far.acknowledged == [1]
    rig.journal.goes_on.set()
    wait_until(lambda: rig.far.acknowledged == [1, 2])
    assert rig.temps() == [30.0, 31.0]


def test_what_is_refused_or_known_or_nobodys_is_acknowledged_too(rig: Rig) -> None:
    """Else it lies in the broker's window for ever, and twenty of them are silence."""
    rig.say("30.0")
    wait_until(lambda: rig.far.acknowledged == [1])
    rig.say("not a number", mid=2)
    wait_until(lambda: 2 in rig.far.acknowledged)
    rig.say("30.0", mid=1, dup=True)  # with nothing else in its commit
    wait_until(lambda: rig.far.acknowledged.count(1) == 2)
    assert rig.temps() == [30.0], "counted once"
    rig.inbox.put(Delivery("of/nobody", b"1", rig.clock.now(), AckToken(1, 9)))
    wait_until(lambda: 9 in rig.far.acknowledged)


def test_a_full_window_does_not_wait_for_the_clock(tmp_path: Path, site: Site) -> None:
    """Group commit with a long patience: the broker sends no more than its window."""
    rig = Rig(tmp_path, site)
    rig.watcher._pacing.longest_s = 3600.0
    rig.watcher._allowance.regain_s = 1e9
    rig.watcher._allowance._saved = 0.0
    with running(rig):
        for n in range(20):
            rig.say(f"30.{n:02}")
        wait_until(lambda: len(rig.far.acknowledged) >= 15, 20, "the window to move")


def test_an_alarm_is_told_though_the_disk_hangs(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    place(rig)
    rig.say("35.0")
    wait_until(lambda: rig.far.acknowledged)
    rig.journal.goes_on.clear()
    begun = time.monotonic()
    for n in range(12):
        rig.say(f"21.{n:02}")
        time.sleep(0.1)
    wait_until(lambda: rig.heard.messages, 20, "the alarm")
    at, message = rig.heard.messages[0]
    print(f"told {at - begun:.1f} s after the floor went cold, with the disk hanging")
    assert "cold" in message.title


def test_a_disk_that_hangs_for_long_does_not_deafen_the_watch(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Acknowledged from memory after a while, said, never acknowledged twice, kept in the end."""
    monkeypatch.setattr(watch_module, "DISK_PATIENCE_S", 1.0)
    rig.say("30.0")
    wait_until(lambda: rig.far.acknowledged == [1])
    rig.journal.goes_on.clear()
    for n in range(10):
        rig.say(f"31.{n}")
    wait_until(lambda: len(rig.far.acknowledged) == 11, 20, "acknowledgements from memory")
    wait_until(lambda: any(c.alarm is AlarmName.STORAGE_FAULT for c in rig.heard.changes), 20)
    rig.journal.goes_on.set()
    wait_until(lambda: len(rig.temps()) == 11, 20)
    wait_until(lambda: rig.writer.behind == 0)
    time.sleep(0.5)
    # A number acknowledged again might be another message's by then.
    assert sorted(rig.far.acknowledged) == list(range(1, 12))


def test_trouble_is_told_once_and_the_disk_is_not_hammered(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writer_module, "RETRY_S", 0.5)
    rig.journal.fails = StorageFault("full", "the disk is full")
    before = rig.journal.commits
    begun = time.monotonic()
    for n in range(60):
        rig.say(f"30.{n:02}")
        time.sleep(0.05)
    passed_s = time.monotonic() - begun
    assert rig.journal.commits - before <= passed_s / 0.5 + 3
    assert len(rig.faults) == 1
    rig.journal.fails = None
    wait_until(lambda: len(rig.temps()) == 60, 20, "all readings, in the end")
    wait_until(lambda: rig.faults[-1] is None, 20)
    assert len(rig.faults) == 2


def test_what_does_not_fit_in_memory_is_let_go_oldest_first_and_counted(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writer_module, "MOST_IN_MEMORY", 50)
    monkeypatch.setattr(writer_module, "RETRY_S", 0.3)
    rig.journal.fails = StorageFault("full", "the disk is full")
    place(rig)
    for n in range(120):
        rig.say(f"35.{n:03}")
        time.sleep(0.002)
    wait_until(lambda: len(rig.far.acknowledged) == 120, 30)
    rig.journal.fails = None
    wait_until(lambda: 35.119 in rig.temps(), 20)
    kept = rig.temps()
    assert kept == [float(f"35.{n:03}") for n in range(120 - len(kept), 120)], "the newest"
    assert len(kept) + rig.writer.let_go == 120
    assert len(kept) <= 50
    with JournalReader(rig.path) as reader:
        assert [e.entry for e in reader.entries()] == [EntryKind.PLACED], "the ledger never"


def test_one_record_that_cannot_be_kept_costs_only_itself(rig: Rig) -> None:
    rig.journal.poison = 33.3
    rig.journal.goes_on.clear()
    for n in range(9):
        rig.say(f"30.{n}")
    rig.say("33.3")
    for n in range(9):
        rig.say(f"31.{n}")
    rig.journal.goes_on.set()
    wait_until(lambda: len(rig.far.acknowledged) == 19, 20)
    assert rig.temps() == [*(30 + n / 10 for n in range(9)), *(31 + n / 10 for n in range(9))]
    rig.say("32.0")
    wait_until(lambda: 32.0 in rig.temps(), 20)


def test_an_error_in_a_message_or_a_status_does_not_end_the_watch(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr(rig.heard, "tell", broken)
    monkeypatch.setattr(rig.watcher.core.engine, "status", broken)
    place(rig)
    for n in range(12):
        rig.say(f"21.{n:02}")
        time.sleep(0.1)
    wait_until(lambda: len(rig.far.acknowledged) == 12, 20)
    wait_until(lambda: any(c.alarm is AlarmName.CHILL for c in changes(rig)), 20)
    assert rig.watcher.failed is None


def changes(rig: Rig) -> list[Change]:
    with JournalReader(rig.path) as reader:
        return reader.changes()
