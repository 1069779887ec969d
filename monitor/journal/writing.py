"""A batch into the tables of the database, inside the caller's transaction. Called by `store`.

The inputs of a commit also stand in `commits`, in the order in which the engine was given them and
with its own time, until a snapshot has taken them in: compressed JSON (a card wears by the page), a
list of

    [probe_id, at, tick, temp_c]        a reading; with a 0 behind it, its clock was not sure
    ["bad", at, tick, probe_id, reason, temp_c]
    ["measured", at, tick, meter's key, value]; with a 0 behind it, its clock was not sure
    ["entry", at, tick, number]
    ["fault", at, tick, alarm, active, facts]
    ["late", at, tick, key of the probe or meter, ms by which its newest stamp was old]

with times in ms after the commit's own."""

import json
import sqlite3
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import chain
from typing import Any

from monitor.events import (
    BadValue,
    CameLate,
    Change,
    Entry,
    EntryKind,
    Measured,
    Moment,
    Reading,
    State,
    new_id,
)
from monitor.journal.forms.lines import entry_line
from monitor.journal.known_probes import Probes
from monitor.journal.records import (
    Commit,
    Entered,
    OutboxRow,
    Outcome,
    Sample,
    WatcherFault,
)
from monitor.journal.resolution import PER_MS, bounded_c, first_id, to_ms
from monitor.journal.schema import ENTRY_COLUMNS

_AT_ONCE = 200  # readings of one statement
LONGEST_REASON = 200
LONGEST_NOTE = 120  # of what a ledger line repeats
IN_MS = f"id >= ?1 * {PER_MS} AND id < (?1 + 1) * {PER_MS}"
READING = (
    "INSERT INTO readings (id, probe_id, temp_c, clock_sure)"  # noqa: S608
    f" SELECT ifnull((SELECT max(id) + 1 FROM readings WHERE {IN_MS}), ?1 * {PER_MS}), ?2, ?3, ?4"
)
BAD_VALUE = (
    "INSERT INTO bad_values (at_ms, probe_id, nth, temp_c, reason) SELECT ?1, ?2,"
    " (SELECT count(*) FROM bad_values WHERE at_ms = ?1 AND probe_id = ?2), ?3, ?4"
)
_ENTRY = (
    f"INSERT INTO entries (number, id, at_ms, entry, {', '.join(ENTRY_COLUMNS)})"  # noqa: S608
    f" VALUES (?, ?, ?, ?{', ?' * len(ENTRY_COLUMNS)})"
)


def write_batch(connection: sqlite3.Connection, batch: Commit, seq: int, probes: Probes) -> None:
    """All of it, as commit number `seq`."""
    _write_inputs(connection, batch, seq, probes)
    write_derived(connection, batch.samples)
    write_changes(connection, batch.changes)
    _write_outbox(connection, batch.outbox)
    for outcome in batch.outcomes:
        _write_outcome(connection, outcome)
    _write_snapshots(connection, batch.snapshots, seq, batch.advanced_to or Moment(0.0, 0.0))


def write_commit(
    connection: sqlite3.Connection,
    seq: int,
    ms: tuple[int, int],
    inputs: list[list[Any]],
    marks: bytes = b"",
) -> None:
    """The row by which a commit is known; `ms` is how far wall and steady time had come."""
    connection.execute(
        "INSERT INTO commits (seq, at_ms, tick_ms, inputs, marks) VALUES (?, ?, ?, ?, ?)",
        (seq, *ms, zlib.compress(_dumps(inputs).encode()), marks or None),
    )


def write_cursors(connection: sqlite3.Connection, cursors: Mapping[str, Any]) -> None:
    connection.executemany(
        "INSERT OR REPLACE INTO cursors (name, value) VALUES (?, ?)",
        [(name, _dumps(value)) for name, value in cursors.items()],
    )


def write_entry(connection: sqlite3.Connection, entry: Entry) -> int:
    """A ledger entry; its number here. One without an identity is given one; one whose identity is
    here already changes nothing; one whose number is another's here is given the next."""
    known = connection.execute("SELECT number FROM entries WHERE id = ?", (entry.id,)).fetchone()
    if known is not None:
        return int(known[0])
    number = entry.number
    taken = "SELECT 1 FROM entries WHERE number = ?"
    if number < 1 or connection.execute(taken, (number,)).fetchone():
        newest = "SELECT ifnull(max(number), 0) + 1 FROM entries"
        number = int(connection.execute(newest).fetchone()[0])
    own = entry.id or new_id(number)
    undoes_id = entry.undoes_id
    if entry.entry is EntryKind.UNDO and undoes_id is None:
        row = connection.execute(
            "SELECT id FROM entries WHERE number = ?", (entry.undoes,)
        ).fetchone()
        # An entry that nobody knows is named by no number: it could be another's here.
        undoes_id = f"unknown {entry.undoes}" if row is None else row[0]
    said = replace(entry, undoes_id=undoes_id)
    values = [getattr(said, name) for name in ENTRY_COLUMNS]
    texts = [_text(value) if isinstance(value, str) else value for value in values]
    connection.execute(_ENTRY, (number, own, to_ms(entry.at), entry.entry.value, *texts))
    # Short, so that it lies on one page.
    note = None if said.note is None else _text(said.note[:LONGEST_NOTE])
    line = entry_line(replace(said, id=own, number=number, note=note))
    connection.execute("INSERT OR REPLACE INTO ledger_lines VALUES (?, ?)", (number, _text(line)))
    return number


def write_changes(connection: sqlite3.Connection, changes: Iterable[Change]) -> int:
    """Alarm changes; one that is kept already changes nothing. How many are new."""
    return connection.executemany(
        "INSERT OR IGNORE INTO alarms (at_ms, brooder, alarm, change, priority, cause, probe,"
        " occurrence, facts) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (
                to_ms(change.at),
                change.brooder,
                change.alarm.value,
                change.change.value,
                change.priority.value,
                change.cause.value,
                change.probe,
                change.occurrence,
                _dumps(change.facts),
            )
            for change in changes
        ],
    ).rowcount


def bring_derived(connection: sqlite3.Connection, samples: Iterable[Sample]) -> None:
    """Derived numbers from elsewhere, but for those that are there."""
    connection.executemany(
        "INSERT INTO derived (at_ms, brooder, name, value) SELECT ?1, ?2, ?3, ?4 WHERE NOT EXISTS"
        " (SELECT 1 FROM derived WHERE brooder = ?2 AND name = ?3 AND at_ms = ?1)",
        [(to_ms(s.at), s.series, s.name, bounded_c(s.value)) for s in samples],
    )


def _write_inputs(connection: sqlite3.Connection, batch: Commit, seq: int, probes: Probes) -> None:
    now = batch.advanced_to or _moment_of(batch)
    at_ms, tick_ms = to_ms(now.at), to_ms(now.tick)
    items: list[list[Any]] = []
    readings: list[tuple[int, int, float, bool]] = []
    measured: list[Sample] = []

    def other(kind: str, at: float, tick: float, *rest: Any) -> None:
        items.append([kind, to_ms(at) - at_ms, to_ms(tick) - tick_ms, *rest])

    for item in batch.inputs:
        if isinstance(item, Reading):
            number, at, temp_c = probes.number(item.probe), to_ms(item.at), bounded_c(item.temp_c)
            readings.append((at, number, temp_c, item.clock_sure))
            said = [number, at - at_ms, to_ms(item.tick) - tick_ms, temp_c]
            items.append(said if item.clock_sure else [*said, 0])
        elif isinstance(item, BadValue):
            number = probes.number(item.probe)
            bad_c = None if item.temp_c is None else bounded_c(item.temp_c)
            other("bad", item.at, item.tick, number, item.reason, bad_c)
            reason = _text(item.reason[:LONGEST_REASON])
            connection.execute(BAD_VALUE, (to_ms(item.at), number, bad_c, reason))
        elif isinstance(item, Measured):
            sure = () if item.clock_sure else (0,)
            other("measured", item.at, item.tick, item.meter, bounded_c(item.value), *sure)
            if item.clock_sure:
                measured.append(sample_of(item))
        elif isinstance(item, Entered):
            other("entry", item.now.at, item.now.tick, write_entry(connection, item.entry))
        elif isinstance(item, CameLate):
            other("late", item.at, item.tick, item.sensor, to_ms(item.lag_s))
        else:
            other("fault", item.now.at, item.now.tick, item.name.value, item.active, item.facts)
    _write_readings(connection, readings)
    write_derived(connection, measured)
    write_commit(connection, seq, (at_ms, tick_ms), items, batch.redelivery_marks)


def _write_readings(
    connection: sqlite3.Connection, readings: list[tuple[int, int, float, bool]]
) -> None:
    """Those that are newer than all in the table go in by one statement for many: between two
    statements the thread would wait each time for the one that listens to the broker."""
    newest = connection.execute("SELECT ifnull(max(id), -1) FROM readings").fetchone()[0]
    if any(first_id(at) <= newest for at, *_ in readings):
        connection.executemany(READING, readings)
        return
    rows: list[tuple[int, int, float, bool]] = []
    following: dict[int, int] = {}  # by millisecond, the number of its next reading
    for at, probe, temp_c, sure in readings:
        number = following.get(at, first_id(at))
        following[at] = number + 1
        rows.append((number, probe, temp_c, sure))
    for start in range(0, len(rows), _AT_ONCE):
        some = rows[start : start + _AT_ONCE]
        slots = ", ".join(["(?, ?, ?, ?)"] * len(some))
        connection.execute(
            f"INSERT INTO readings (id, probe_id, temp_c, clock_sure) VALUES {slots}",  # noqa: S608
            list(chain.from_iterable(some)),
        )


def _moment_of(batch: Commit) -> Moment:
    """The time of a batch that says none: that of its last input."""
    for item in reversed(batch.inputs):
        if isinstance(item, Entered | WatcherFault):
            return item.now
        return Moment(item.at, item.tick)
    newest = max((s.at for s in batch.samples), default=0.0)
    return Moment(newest, newest)


def sample_of(measured: Measured) -> Sample:
    """As it is kept: by place and by the meter's name within it."""
    place, _, name = measured.meter.partition("/")
    return Sample(measured.at, place, name, measured.value)


def write_derived(connection: sqlite3.Connection, samples: Iterable[Sample]) -> None:
    """Derived numbers, and what meters measured."""
    connection.executemany(
        "INSERT INTO derived (at_ms, brooder, name, value) VALUES (?, ?, ?, ?)",
        [(to_ms(s.at), s.series, s.name, bounded_c(s.value)) for s in samples],
    )


def _write_outbox(connection: sqlite3.Connection, rows: Iterable[OutboxRow]) -> None:
    connection.executemany(
        "INSERT OR IGNORE INTO outbox (key, contact, at_ms, priority, message, state, tries)"
        " VALUES (?, ?, ?, ?, ?, 'pending', ?)",
        [
            (
                row.key,
                row.contact,
                to_ms(row.at),
                row.priority,
                _dumps(dict(row.message)),
                row.tries,
            )
            for row in rows
        ],
    )


def _write_outcome(connection: sqlite3.Connection, outcome: Outcome) -> None:
    connection.execute(
        "UPDATE outbox SET state = ?, tries = ? WHERE key = ? AND contact = ?",
        (outcome.state, outcome.tries, outcome.key, outcome.contact),
    )
    if outcome.state == "superseded" and outcome.failure is None:
        return
    connection.execute(
        "INSERT INTO deliveries (key, contact, tried_ms, failure) VALUES (?, ?, ?, ?)",
        (outcome.key, outcome.contact, to_ms(outcome.tried_at), outcome.failure),
    )


def _write_snapshots(
    connection: sqlite3.Connection, snapshots: Mapping[str, State], seq: int, now: Moment
) -> None:
    connection.executemany(
        "INSERT OR REPLACE INTO snapshots (name, seq, at_ms, tick_ms, state)"
        " VALUES (?, ?, ?, ?, ?)",
        [
            (name, seq, to_ms(now.at), to_ms(now.tick), zlib.compress(_dumps(state).encode(), 6))
            for name, state in snapshots.items()
        ],
    )


def _dumps(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"))  # ASCII: lone surrogates too


def _text(text: str) -> str:
    """Text that a database takes: lone surrogates become question marks."""
    return text.encode("utf-8", "replace").decode()
