"""The journal as others see it: plain tables, views in the site's time and units, the forms of
before and after."""

import sqlite3
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
from monitor.journal import local_views
from monitor.journal.opening import about_aside
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
        assert offset == local_views._offset_s(where, at)


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
