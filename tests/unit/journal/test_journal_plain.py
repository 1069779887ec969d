"""The journal as others see it: plain tables, views in the site's time and units, the forms of
before and after."""

import sqlite3
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from support.journals import T0, batch, floor_probe, reading

from monitor.events import (
    AlarmName,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Moment,
    Priority,
    Reading,
)
from monitor.journal import local_views, schema
from monitor.journal.copying_out import restore
from monitor.journal.opening import about_aside, connect_to_write
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered, StorageFault
from monitor.journal.store import Journal
from monitor.units import Unit

CHICAGO = ZoneInfo("America/Chicago")


def asked(path: Path, query: str) -> list[Any]:
    """As any tool would ask, beside the service."""
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as connection:
        found = connection.execute(query).fetchall()
    connection.close()
    return found


def test_readings_are_rows_that_any_tool_reads_while_the_service_writes(
    journal: Journal, path: Path
) -> None:
    journal.know([floor_probe()])
    journal.commit(batch(reading(T0, 33.0625), Reading(5.5, T0, "porch/floor", 21.5, False)))
    assert asked(path, "SELECT at_ms, probe_id, temp_c, clock_sure FROM readings") == [
        (5500, 1, 21.5, 0),
        (1770685200000, 1, 33.0625, 1),
    ]


def test_the_views_have_local_time_on_both_sides_of_the_clocks_change_and_the_sites_units(
    journal: Journal, path: Path
) -> None:
    journal.know([floor_probe()], zone=CHICAGO, units=Unit.FAHRENHEIT)
    spring = 1_772_956_800.0  # 2026-03-08 08:00 UTC, when 02:00 in Chicago became 03:00
    journal.commit(batch(reading(spring - 1, 35.0), reading(spring, 33.0625)))
    assert asked(path, "SELECT local_time, brooder, place, temp_f FROM readings_local") == [
        ("2026-03-08 01:59:59", "porch", "floor", 95.0),
        ("2026-03-08 03:00:00", "porch", "floor", 91.51),
    ]
    journal.know([floor_probe()], zone=ZoneInfo("Europe/Berlin"), units=Unit.CELSIUS)
    assert asked(path, "SELECT local_time, temp_c FROM readings_local")[1] == (
        "2026-03-08 09:00:00",
        33.06,
    )


@pytest.mark.parametrize("zone", ["America/Chicago", "Australia/Lord_Howe", "UTC", "Asia/Kolkata"])
def test_the_offsets_of_the_views_are_those_of_the_zone(zone: str) -> None:
    where = ZoneInfo(zone)
    found = local_views.offsets(where)
    for at in range(1_600_000_000, 1_900_000_000, 1_234_567):
        offset = next(off for start, off in reversed(found) if start <= at * 1000)
        assert timedelta(seconds=offset) == datetime.fromtimestamp(at, where).utcoffset()


def test_alarms_and_entries_are_rows_with_their_words_in_columns(
    journal: Journal, path: Path
) -> None:
    journal.know([], zone=CHICAGO, units=Unit.FAHRENHEIT)
    loss = Entry(at=T0, entry=EntryKind.LOSS, brooder="porch", count=2, note="piled", number=1)
    undo = Entry(at=T0 + 60, entry=EntryKind.UNDO, undoes=1, number=2)
    cold = Change(
        at=T0 + 5,
        brooder="porch",
        alarm=AlarmName.COLD,
        change=ChangeKind.RAISED,
        priority=Priority.WARNING,
        occurrence="porch/cold/1",
        facts={"temp_c": 28.5},
    )
    now = Moment(T0, T0)
    journal.commit(Commit(inputs=[Entered(loss, now), Entered(undo, now)], changes=[cold]))
    assert asked(path, "SELECT entry, count, note, taken_back FROM entries_local") == [
        ("loss", 2, "piled", 1),
        ("undo", None, None, 0),
    ]
    assert asked(path, "SELECT local_time, alarm, change, temp_f FROM alarms_local") == [
        ("2026-02-09 19:00:05", "cold", "raised", 83.3)
    ]


def test_old_readings_go_where_that_is_asked_for_and_the_ledger_stays(
    journal: Journal, path: Path
) -> None:
    journal.keep_days = 10
    day = 86_400.0
    entry = Entry(at=T0, entry=EntryKind.NOTE, note="x", number=1)
    journal.commit(Commit(inputs=[Entered(entry, Moment(T0, T0))]))
    for n in range(40):
        journal.commit(batch(reading(T0 + n * day / 2)))
    for _ in range(50):  # some hours of the record each time
        journal.tidy(T0 + 20 * day)
    with JournalReader(path) as reader:
        assert reader.readings("porch/floor")[0].tolist() == [
            T0 + n * day / 2 for n in range(20, 40)
        ]
        assert reader.entries() == [entry]
    journal.keep_days = None
    journal.tidy(T0 + 1e9)
    with JournalReader(path) as reader:
        assert reader.readings("porch/floor")[0].size == 20, "kept for ever otherwise"


def test_a_journal_of_the_form_before_is_set_aside_and_named(path: Path) -> None:
    with sqlite3.connect(path) as old:
        old.executescript(
            "CREATE TABLE log (seq INTEGER PRIMARY KEY, at_ms, tick_ms, readings, others, marks);"
            "CREATE TABLE entries (number INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, entry TEXT);"
            "PRAGMA user_version = 2;"
        )
    old.close()
    path.with_name(path.name + "-tail").write_bytes(bytes(65536))
    before = path.read_bytes()
    with pytest.raises(StorageFault, match="in the form of an earlier version"):
        JournalReader(path).entries()
    with Journal.open(path, wall=T0) as journal, JournalReader(path) as reader:
        aside = journal.set_aside
        assert aside == path.with_name("journal.db.earlier-form-20260210T010000Z")
        assert aside.read_bytes() == before
        assert aside.with_name(aside.name + "-tail").exists()
        assert reader.entries() == []
        journal.commit(batch(reading(T0)))
    said = about_aside(aside)
    assert "enter the birds anew" in said
    assert "`brooder import`" in said
    with Journal.open(path) as journal:
        assert journal.set_aside is None


def of_version_3(path: Path) -> None:
    """A journal as version 3 wrote it: birds, three readings, an alarm, one message that was sent
    at the second try and one that waits."""
    with sqlite3.connect(path) as old:
        old.executescript(Path(__file__).with_name("journal_of_version_3.sql").read_text("utf-8"))
    old.close()


def everything(path: Path) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table and view, by the names of its columns."""
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as connection:
        connection.row_factory = sqlite3.Row
        names = connection.execute("SELECT name FROM sqlite_schema WHERE type IN ('table', 'view')")
        found = {
            name: [dict(row) for row in connection.execute(f"SELECT * FROM {name}")]
            for (name,) in names.fetchall()
        }
    connection.close()
    return found


def test_a_journal_of_the_version_before_is_moved_forward_once_and_nothing_is_lost(
    path: Path,
) -> None:
    of_version_3(path)
    before = everything(path)
    assert before.pop("refused"), "what nobody read any more"
    assert [row.pop("late_ms") for row in before["deliveries"]] == [3000, 33000]
    assert [row.pop("next_try_ms") for row in before["outbox"]] == [None, None]
    with JournalReader(path) as reader:  # before the service has moved it
        unmoved = reader.entries(), reader.changes(), reader.outbox_pending()
    for _ in range(2):
        Journal.open(path, wall=T0).close()
        assert everything(path) == before
        assert asked(path, "PRAGMA user_version") == [(schema.VERSION,)]
    with Journal.open(path) as journal, JournalReader(path) as reader:
        assert journal.set_aside is None
        assert (reader.entries(), reader.changes(), reader.outbox_pending()) == unmoved
        assert [entry.entry for entry in unmoved[0]] == [EntryKind.PLACED]
        assert [row.key for row in unmoved[2]] == ["cold/2"]
        assert reader.reached(T0) == {"me": T0 + 33}
        assert [item.at for item in reader.inputs_since(1)] == [T0 + 3]  # type: ignore[union-attr]
        journal.commit(batch(reading(T0 + 50)))
        assert reader.latest()["porch/floor"].at == T0 + 50


def test_a_journal_of_each_version_before_is_moved_with_what_waits_to_be_sent(path: Path) -> None:
    for version in range(schema.OLDEST, schema.VERSION):
        old = path.with_name(f"of-{version}.db")
        of_version_3(old)
        with closing(connect_to_write(old)) as connection:
            schema.bring_to(connection, version)
        with Journal.open(old, wall=T0) as journal, JournalReader(old) as reader:
            assert journal.set_aside is None
            assert [row.key for row in reader.outbox_pending()] == ["cold/2"]
            assert "next_try_ms" not in everything(old)["outbox"][0]


def test_a_move_that_breaks_off_leaves_the_journal_as_it_was(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    of_version_3(path)
    before = everything(path)
    monkeypatch.setitem(schema.MOVES, 4, schema.MOVES[4] + "; SELECT abs(-9223372036854775808)")
    with closing(connect_to_write(path)) as connection:
        with pytest.raises(sqlite3.Error):
            schema.bring_to(connection)
        assert schema.version_of(connection) == 3
    assert everything(path) == before


def test_what_says_that_it_is_of_the_version_before_and_is_none_is_set_aside(path: Path) -> None:
    of_version_3(path)
    with sqlite3.connect(path) as old:
        old.execute("ALTER TABLE alarms RENAME TO alarns")
    old.close()
    with Journal.open(path, wall=T0) as journal, JournalReader(path) as reader:
        assert journal.set_aside == path.with_name("journal.db.damaged-20260210T010000Z")
        assert [entry.entry for entry in reader.entries()] == [EntryKind.PLACED]


def test_a_back_up_of_the_version_before_is_put_back_and_moved_forward(path: Path) -> None:
    copy = path.with_name("copy.db")
    of_version_3(copy)
    restore(copy, path)
    with Journal.open(path), JournalReader(path) as reader:
        assert [entry.count for entry in reader.entries()] == [100]


def test_a_journal_that_was_moved_lies_in_the_file_as_a_new_one_does(path: Path) -> None:
    """What saves a file whose first page is gone puts a new journal's in its place."""
    moved = path.with_name("moved.db")
    for file, first in ((path, schema.VERSION), (moved, 3)):
        with closing(connect_to_write(file)) as connection:
            schema.prepare(connection)
            schema.bring_to(connection, first)
            schema.bring_to(connection)
    where = "SELECT name, rootpage FROM sqlite_schema"
    assert asked(moved, where) == asked(path, where)
