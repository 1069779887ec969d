"""The watch thread, the journal thread and a real journal, with a disk that hangs, stumbles or
refuses one record. Only the disk and the far end of the broker are made up."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.patience import LEAST_S
from support.service import wait_until
from support.watch_rig import TOPIC, Rig, changes, place, running, site_of

from monitor.events import AlarmName, EntryKind
from monitor.intake.inbox import AckToken, MqttMessage
from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault
from monitor.journal.store import Journal
from monitor.service import commit_queue as commits_module
from monitor.service import writer as writer_module
from monitor.site import Site

pytestmark = pytest.mark.faults


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return site_of(tmp_path)


@pytest.fixture
def rig(tmp_path: Path, site: Site) -> Iterator[Rig]:
    with running(Rig(tmp_path, site)) as made:
        yield made


def test_a_message_is_acknowledged_only_when_the_disk_has_it(rig: Rig) -> None:
    rig.say("30.0")
    wait_until(lambda: rig.far.acknowledged == [1])
    assert rig.temps() == [30.0]
    rig.journal.goes_on.clear()
    rig.say("31.0")
    wait_until(lambda: rig.at_disk(31.0))
    rig.goes_round()  # a wrong acknowledgement would have gone out with the commit
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
    rig.inbox.put(MqttMessage("of/nobody", b"1", rig.clock.now(), AckToken(1, 9)))
    wait_until(lambda: 9 in rig.far.acknowledged)


def test_a_payload_that_the_broker_did_not_take_is_among_what_could_not_be_read(rig: Rig) -> None:
    rig.inbox.put(MqttMessage(TOPIC, b"", rig.clock.now(), None, too_large=200_000))
    wait_until(lambda: len(rig.core.hearing.refused.latest()) == 1)
    (kind,) = rig.core.hearing.refused.latest()
    assert (kind.topic, kind.reason) == (TOPIC, "is 200000 bytes long; at most 65536 are read")


def test_a_full_window_does_not_wait_for_the_clock(tmp_path: Path, site: Site) -> None:
    """Group commit with a long patience: the broker sends no more than its window."""
    rig = Rig(tmp_path, site)
    rig.pacing.longest_s = 3600.0
    rig.allowance.regain_s = 1e9
    rig.allowance._saved = 0.0  # spent, as by many prompt commits
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
    monkeypatch.setattr(commits_module, "DISK_PATIENCE_S", 1.0)
    rig.say("30.0")
    wait_until(lambda: rig.far.acknowledged == [1])
    rig.journal.goes_on.clear()
    for n in range(10):
        rig.say(f"31.{n}")
    wait_until(lambda: len(rig.far.acknowledged) == 11, 20, "acknowledgements from memory")
    wait_until(lambda: any(c.alarm is AlarmName.STORAGE_FAULT for c in rig.heard.changes), 20)
    rig.journal.goes_on.set()
    wait_until(lambda: len(rig.temps()) == 11, 20)
    rig.say("32.0")
    wait_until(lambda: 12 in rig.far.acknowledged)
    # A number acknowledged again, before that one, might be another message's by then.
    assert sorted(rig.far.acknowledged) == list(range(1, 13))


def test_a_disk_that_is_known_to_hang_is_not_waited_for_again(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a minute for each window of readings would let the watch fall behind for ever."""
    monkeypatch.setattr(commits_module, "DISK_PATIENCE_S", 1.0)
    rig.journal.goes_on.clear()
    rig.say("30.0")
    wait_until(lambda: rig.far.acknowledged == [1], 20)
    monkeypatch.setattr(commits_module, "DISK_PATIENCE_S", 10_000.0)
    for n in range(60):
        rig.say(f"31.{n:02}")
        if n % 20 == 19:
            wait_until(lambda n=n: len(rig.far.acknowledged) == n + 2, 20, "the next window")
    assert rig.commits.only_in_memory >= 20
    rig.journal.goes_on.set()
    wait_until(lambda: len(rig.temps()) == 61, 20)
    rig.say("32.0")
    wait_until(lambda: len(rig.far.acknowledged) == 62, 20)
    assert rig.commits.only_in_memory == 0


def test_a_stop_keeps_its_state_also_where_nothing_has_come_since_the_last_commit(
    tmp_path: Path, site: Site
) -> None:
    """Else the next start lives through a record that may be another configuration's."""
    rig = Rig(tmp_path, site)
    with running(rig):
        rig.say("35.0")
        wait_until(lambda: rig.far.acknowledged == [1])
        place(rig)
        rig.goes_round()
        wait_until(lambda: not rig.commits.untold and rig.writer.has(1))
    with JournalReader(rig.path) as reader:
        states = [reader.snapshot(name) for name in ("engine", "plan", "hearing")]
        assert [list(reader.inputs_since(s.mark)) for s in states if s is not None] == [[]] * 3


def test_what_a_stop_loses_is_counted(tmp_path: Path, site: Site) -> None:
    with running(Rig(tmp_path, site)) as rig:
        rig.say("30.0")
        wait_until(lambda: rig.far.acknowledged == [1])
        rig.journal.fails = StorageFault("full", "the disk is full")
        for n in range(5):
            rig.say(f"31.{n}")
        wait_until(lambda: len(rig.far.acknowledged) == 6, 20, "acknowledgements from memory")
        assert rig.watcher.stop(LEAST_S)
        assert not rig.writer.stop(LEAST_S), "the disk still refuses"
        assert rig.commits.only_in_memory == 5
    assert rig.temps() == [30.0]


def test_a_stop_acknowledges_nothing_that_is_on_no_disk(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However long the disk has not answered: the broker still has it, for the next start."""
    rig.say("30.0")
    wait_until(lambda: rig.far.acknowledged == [1])
    rig.journal.goes_on.clear()
    rig.say("31.0")
    # A batch that is out of the queue and not yet on the disk is seen from nowhere else.
    wait_until(lambda: rig.commits._sent, what="it to be on its way to the disk")
    assert rig.watcher.stop(LEAST_S)
    monkeypatch.setattr(commits_module, "DISK_PATIENCE_S", 0.0)
    rig.commits.tell_what_settled(last=True)
    assert rig.far.acknowledged == [1]


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
    wait_until(lambda: rig.faults, what="the trouble")
    commits = rig.journal.commits - before
    passed_s = time.monotonic() - begun
    assert commits <= passed_s / 0.5 + 3
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


def test_what_is_not_needed_any_more_is_dropped_now_and_then(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else the record of a season fills the card."""
    monkeypatch.setattr(writer_module, "TIDY_EVERY_S", 0.1)
    tidied: list[float] = []
    monkeypatch.setattr(Journal, "tidy", lambda _journal, now_at: tidied.append(now_at))
    rig.say("30.0")
    wait_until(lambda: tidied, what="a tidying")


def test_a_journal_that_stumbles_over_a_fault_of_ours_goes_on_and_loses_nothing(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever it is: a thread that has died would take every later reading with it."""
    monkeypatch.setattr(writer_module, "RETRY_S", 0.3)
    monkeypatch.setattr(writer_module, "TIDY_EVERY_S", 0.2)

    def fails(*_: object, **__: object) -> None:
        raise UnicodeDecodeError("utf-8", b"\xb1", 0, 1, "a fault of ours")

    monkeypatch.setattr(Journal, "tidy", fails)
    rig.say("30.0")
    wait_until(lambda: rig.far.acknowledged == [1])
    with monkeypatch.context() as patched:
        patched.setattr(Journal, "open", fails)
        rig.journal.fails = StorageFault("damaged", "database disk image is malformed")
        for n in range(1, 10):
            rig.say(f"30.{n}")
            time.sleep(0.1)
        wait_until(lambda: len(rig.far.acknowledged) == 10, 20)  # from memory
        assert rig.writer.alive()
    wait_until(lambda: not rig.writer.failing, 20, "the new journal")
    wait_until(lambda: 30.9 in rig.temps(), 20)
    rig.say("31.0")
    wait_until(lambda: 31.0 in rig.temps(), 20)
    assert rig.temps() == [*(30 + n / 10 for n in range(1, 10)), 31.0]
    assert not rig.ended


def test_where_the_journals_thread_ends_nobody_is_told_that_the_service_lives(
    tmp_path: Path, site: Site
) -> None:
    rig = Rig(tmp_path, site)
    with running(rig):
        rig.say("30.0")
        wait_until(lambda: rig.far.acknowledged == [1])
        assert rig.watcher.alive()
        rig.journal.fails = SystemExit()
        rig.say("31.0")
        wait_until(lambda: rig.ended, 20, "the end of the service to be asked for")
        assert isinstance(rig.writer.failed, SystemExit)
        wait_until(lambda: not rig.writer.alive(), 20)
        assert not rig.watcher.alive()


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
    monkeypatch.setattr(rig.core.engine, "status", broken)
    place(rig)
    for n in range(12):
        rig.say(f"21.{n:02}")
        time.sleep(0.1)
    wait_until(lambda: len(rig.far.acknowledged) == 12, 20)
    wait_until(lambda: any(c.alarm is AlarmName.CHILL for c in changes(rig)), 20)
    assert rig.watcher.failed is None


def test_a_journal_that_is_there_only_later_brings_its_birds_along(
    tmp_path: Path, site: Site
) -> None:
    """The card was not mounted yet when the watch began: it began without the ledger."""
    with running(Rig(tmp_path, site)) as before:
        place(before)
        before.say("35.0")
        wait_until(lambda: before.far.acknowledged == [1])
    rig = Rig(tmp_path, site)
    rig.journal.close()
    rig.writer._file.journal, rig.writer.failing = None, True  # as a start on a full disk leaves it
    with running(rig):
        assert rig.core.ledger.running("porch") is None
        rig.say("34.5")
        wait_until(lambda: rig.core.ledger.running("porch"), 20, "the birds")
        for n in range(12):
            rig.say(f"21.{n:02}")
            time.sleep(0.1)
        wait_until(lambda: any(c.alarm is AlarmName.CHILL for c in changes(rig)), 20)
    with JournalReader(rig.path) as reader:
        assert [e.entry for e in reader.entries()] == [EntryKind.PLACED], "once"
