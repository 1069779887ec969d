"""What was committed is there, in order and to the digit; what failed left nothing."""

import sqlite3
from pathlib import Path

import pytest
from support.journals import T0, batch, floor_probe, reading

from monitor.events import (
    AlarmName,
    BadValue,
    Cause,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Moment,
    Priority,
    Reading,
)
from monitor.intake.redelivered import EVERY, MARK_BYTES
from monitor.journal.reader import JournalReader
from monitor.journal.records import (
    Commit,
    Entered,
    OutboxRow,
    Outcome,
    Sample,
    StorageFault,
    WatcherFault,
)
from monitor.journal.store import Journal

CHANGE = Change(
    at=T0 + 200.0,
    brooder="porch",
    alarm=AlarmName.COLD,
    change=ChangeKind.RAISED,
    priority=Priority.WARNING,
    cause=Cause.COLD_NIGHT,
    probe="porch/floor",
    occurrence="porch/cold/1770685400",
    facts={"temp_c": 29.5, "mend": ["cover the box"]},
)


def entered(journal: Journal, at: float, **said: object) -> Entered:
    entry = Entry(at=at, number=journal.next_entry_number(), **said)  # type: ignore[arg-type]
    return Entered(entry, Moment(at, at + 0.5))


def test_inputs_come_back_in_the_order_and_to_the_digit_they_were_given(
    journal: Journal, path: Path
) -> None:
    placed = entered(journal, T0 + 3, entry=EntryKind.PLACED, brooder="porch", count=100)
    given = [
        reading(T0, 33.0625),
        BadValue(T0 + 1, T0 + 1, "porch/floor", "85.0 is its power-up value", 85.0),
        reading(T0 + 2.125, -4.0001),
        placed,
        Reading(T0 - 86_400.0, T0 + 3.25, "porch/floor", 20.0),  # a late one, a day old
        Reading(5.5, T0 + 4.0, "porch/floor", 21.5, clock_sure=False),  # before the clock was set
        WatcherFault(AlarmName.BROKER_LOST, True, Moment(T0 + 5, T0 + 5), {"reason": "refused"}),
        BadValue(T0 + 6, T0 + 6, "porch/floor", "beyond any thermometer", None),
        reading(T0 + 7, 33.5, "porch/shade"),
    ]
    for one in given:  # one commit each
        journal.commit(Commit(inputs=[one], advanced_to=Moment(T0, T0)))
    again = [one._replace(probe="porch/again") for one in given if isinstance(one, Reading)]
    journal.commit(Commit(inputs=list(again), advanced_to=Moment(T0 + 9, T0 + 9)))
    with JournalReader(path) as reader:
        assert list(reader.inputs_since(0)) == given + again
        assert reader.advanced_to() == Moment(T0 + 9, T0 + 9)


def test_a_snapshot_names_the_inputs_that_follow_it(journal: Journal, path: Path) -> None:
    journal.commit(batch(reading(T0)))
    journal.commit(
        Commit(
            inputs=[reading(T0 + 10)],
            snapshots={"engine": {"porch": [1, None, "warm"]}},
            advanced_to=Moment(T0 + 11, T0 + 12),
        )
    )
    journal.commit(batch(reading(T0 + 20), reading(T0 + 30)))
    with JournalReader(path) as reader:
        snapshot = reader.snapshot("engine")
        assert snapshot is not None
        assert snapshot.state == {"porch": [1, None, "warm"]}
        assert snapshot.now == Moment(T0 + 11, T0 + 12)
        assert [r.at for r in reader.inputs_since(snapshot.mark)] == [T0 + 20, T0 + 30]  # type: ignore[union-attr]
        assert reader.snapshot("plan") is None


def test_tidying_changes_no_reading(journal: Journal, path: Path) -> None:
    for n in range(600):  # 100 minutes, two probes, some late
        at = T0 + n * 10
        late = [reading(T0 - 5000 + n, 10 + n / 16, "porch/cool")] if n % 7 == 0 else []
        journal.commit(batch(*late, reading(at, 30 + n / 16), reading(at, 5.5, "porch/cool")))
    journal.commit(
        Commit(
            inputs=[reading(T0 + 6001, 31.0)],
            snapshots={"engine": {}},
            advanced_to=Moment(T0 + 6001, T0 + 6001),
        )
    )
    with JournalReader(path) as reader:
        before = {
            key: reader.readings_plain(key, 0, T0 * 2) for key in ("porch/floor", "porch/cool")
        }
        latest = reader.latest()
        assert journal.tidy(T0 + 6100) == 600, "all but the last commit"
        for key, (times, temps) in before.items():
            assert reader.readings_plain(key, 0, T0 * 2) == (times, temps)
            at, temp = reader.readings(key)
            assert (at.tolist(), temp.tolist()) == (times.tolist(), temps.tolist())
        assert reader.latest() == latest
        assert reader.span() == (T0 - 5000, T0 + 6001)
        assert sum(at.size for at, _ in reader.readings_of().values()) == 600 * 2 + 86 + 1


def test_a_stretch_is_from_inclusive_to_exclusive(journal: Journal, path: Path) -> None:
    journal.commit(batch(*(reading(T0 + n) for n in range(5))))
    with JournalReader(path) as reader:
        assert reader.readings("porch/floor", T0 + 1, T0 + 3)[0].tolist() == [T0 + 1, T0 + 2]
        assert reader.readings_plain("porch/floor", T0 + 1, T0 + 3)[0].tolist() == [T0 + 1, T0 + 2]
        assert reader.readings("nobody/here")[0].tolist() == []


def test_a_message_is_kept_once_however_often_it_is_written(journal: Journal, path: Path) -> None:
    row = OutboxRow(
        key="cold/1", contact="me", at=T0, priority="urgent", message={"title": "porch: cold"}
    )
    for _ in range(2):
        journal.commit(Commit(changes=[CHANGE], outbox=[row]))
    with JournalReader(path) as reader:
        assert reader.outbox_pending() == [row]
        assert reader.changes() == [CHANGE]
        journal.commit(
            Commit(
                outcomes=[
                    Outcome(
                        key="cold/1",
                        contact="me",
                        tried_at=T0 + 3,
                        state="pending",
                        tries=1,
                        failure="no route",
                    ),
                    Outcome(key="cold/1", contact="me", tried_at=T0 + 33, state="sent", tries=2),
                ]
            )
        )
        assert reader.outbox_pending() == []
        with reader.transaction() as connection:
            tries = connection.execute("SELECT tried_ms, failure FROM deliveries ORDER BY id")
            assert [(tried / 1000 - T0, why) for tried, why in tries] == [
                (3, "no route"),
                (33, None),
            ]
        assert reader.reached(T0) == {"me": T0 + 33}
        assert reader.reached(T0 + 34) == {}
        journal.commit(Commit(outbox=[row]))  # rebuilt after a crash: not told again
        assert reader.outbox_pending() == []


def test_bad_values_are_counted_by_hour(journal: Journal, path: Path) -> None:
    stuck = [BadValue(T0 + n, T0 + n, "porch/floor", "85.0 at power-up", 85.0) for n in range(50)]
    journal.commit(Commit(inputs=list(stuck)))
    wild = [BadValue(T0 + n, T0 + n, "porch/floor", f"{n} is too hot", n) for n in range(500, 600)]
    journal.commit(Commit(inputs=list(wild)))
    with JournalReader(path) as reader:
        counts = reader.bad_values()
        assert next(c for c in counts if "power-up" in c.reason).count == 50
        assert sum(c.count for c in counts) == 150
        assert len(counts) <= 22


def test_samples_are_a_series_of_their_own(journal: Journal, path: Path) -> None:
    for n in range(3):
        journal.commit(Commit(samples=[Sample(T0 + n, "porch", "target_c", 35.0 - n)]))
    with JournalReader(path) as reader:
        assert reader.samples("porch", "target_c")[1].tolist() == [35.0, 34.0, 33.0]
        assert reader.readings_of() == {}
        assert list(reader.inputs_since(0)) == []
        assert reader.latest() == {}


def test_marks_come_back_in_order_and_the_newest_survive_tidying(
    journal: Journal, path: Path
) -> None:
    for n in range(700):
        journal.commit(
            Commit(
                inputs=[reading(T0 + n * 10)],
                redelivery_marks=n.to_bytes(1000, "big"),
                snapshots={"engine": {}} if n == 699 else {},
                advanced_to=Moment(T0 + n * 10, T0 + n * 10),
            )
        )
    want = b"".join(n.to_bytes(1000, "big") for n in range(700))
    with JournalReader(path) as reader:
        assert reader.redelivery_marks() == want
        assert journal.tidy(T0 + 7000) > 150
        left = reader.redelivery_marks()
        assert len(left) >= EVERY * MARK_BYTES, "all that is remembered"
        assert want.endswith(left)


def test_entry_numbers_go_on_after_a_restart(path: Path) -> None:
    with Journal.open(path) as journal:
        first = entered(journal, T0, entry=EntryKind.NOTE, note="new litter \u00e4")
        journal.commit(Commit(inputs=[first]))
    with Journal.open(path) as journal:
        assert journal.next_entry_number() == first.entry.number + 1
        with JournalReader(path) as reader:
            assert reader.entries() == [first.entry]


def test_a_second_writer_is_told_who_has_the_journal(journal: Journal, path: Path) -> None:
    with pytest.raises(StorageFault, match="another brooder service is using") as caught:
        Journal.open(path)
    assert caught.value.kind == "in-use"


def test_a_failed_batch_leaves_nothing_and_goes_through_when_tried_again(
    journal: Journal, path: Path
) -> None:
    journal.commit(batch(reading(T0)))
    blocker = sqlite3.connect(path)
    blocker.execute("PRAGMA busy_timeout = 0")
    journal._connection.execute("PRAGMA busy_timeout = 0")  # it would wait for ten seconds
    blocker.execute("BEGIN IMMEDIATE")
    again = Commit(inputs=[reading(T0 + 10, probe="porch/new")], changes=[CHANGE])
    with pytest.raises(StorageFault):
        journal.commit(again)
    with JournalReader(path) as reader:
        assert len(list(reader.inputs_since(0))) == 1
        assert reader.changes() == []
        blocker.execute("ROLLBACK")
        blocker.close()
        again.extend(batch(reading(T0 + 20)))
        journal.commit(again)
        assert [r.at for r in reader.inputs_since(0)] == [T0, T0 + 10, T0 + 20]  # type: ignore[union-attr]
        assert reader.changes() == [CHANGE]


def test_a_newer_file_is_refused_untouched(path: Path) -> None:
    newer = sqlite3.connect(path)
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    before = path.read_bytes()
    with pytest.raises(StorageFault, match="newer version of brooder") as caught:
        Journal.open(path)
    assert caught.value.kind == "newer"
    assert path.read_bytes() == before


def test_a_newer_file_is_replaced_with_its_ledger_where_that_is_asked_for(path: Path) -> None:
    with Journal.open(path) as journal:
        entry = Entry(at=T0, entry=EntryKind.NOTE, brooder="porch", note="x", number=1)
        journal.commit(Commit(inputs=[Entered(entry, Moment(T0, T0))]))
    newer = sqlite3.connect(path)
    newer.execute("ALTER TABLE entries ADD COLUMN feather TEXT")
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    before = path.read_bytes()
    with Journal.open(path, wall=T0, replace_newer=True) as journal, JournalReader(path) as reader:
        assert journal.set_aside == path.with_name("journal.db.newer-20260210T010000Z")
        assert journal.set_aside.read_bytes() == before
        assert reader.entries() == [entry]
    with Journal.open(path, replace_newer=True) as journal:
        assert journal.set_aside is None, "the new one is of this version"


def test_a_probe_configured_anew_keeps_its_old_readings(journal: Journal, path: Path) -> None:
    journal.know([floor_probe()])
    journal.commit(batch(reading(T0, 30.0)))
    journal.know([floor_probe(offset_c=0.5)])
    journal.commit(batch(reading(T0 + 1, 31.0)))
    journal.know([floor_probe()])
    journal.commit(batch(reading(T0 + 2, 32.0)))
    with JournalReader(path) as reader:
        assert reader.readings("porch/floor")[1].tolist() == [30.0, 31.0, 32.0]
        assert [one.offset_c for one in reader.known().values()] == [0.0, 0.5]
        assert len({one.at for one in reader.latest().values()}) == 1


def test_values_of_a_broken_clock_or_sensor_do_not_stop_a_commit(
    journal: Journal, path: Path
) -> None:
    wild = [
        Reading(float("nan"), float("inf"), "porch/floor", float("nan")),
        Reading(-1e300, 1e300, "porch/floor", 1e300),
        BadValue(1e18, -5.0, "porch/floor", "x" * 10_000, float("inf")),
    ]
    journal.commit(Commit(inputs=list(wild)))
    journal.commit(batch(reading(T0)))
    with JournalReader(path) as reader:
        assert len(list(reader.inputs_since(0))) == 4
