"""A batch into the tables of the database, inside the caller's transaction. Called by `store`."""

import json
import sqlite3
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from monitor.events import BadValue, Change, Moment, Reading, State
from monitor.journal import codec
from monitor.journal.log_row import LogRow, stream_of
from monitor.journal.records import Commit, Entered, OutboxRow, Outcome, RefusedCount, entry_fields
from monitor.journal.series import Series
from monitor.journal.tail import Row

REFUSED_ROWS = 500
_LOG = "INSERT INTO log (seq, at_ms, tick_ms, readings, others, marks) VALUES (?, ?, ?, ?, ?, ?)"
_BAD_REASONS_AN_HOUR = 20


def write_batch(connection: sqlite3.Connection, batch: Commit, seq: int, series: Series) -> None:
    """All of it, under the log number `seq`."""
    _write_inputs(connection, batch, seq, series)
    _write_changes(connection, batch.changes)
    _write_outbox(connection, batch.outbox)
    for outcome in batch.outcomes:
        _write_outcome(connection, outcome)
    _write_refused(connection, batch.refused)
    _write_snapshots(connection, batch.snapshots, seq, batch.advanced_to or Moment(0.0, 0.0))


def write_rows(connection: sqlite3.Connection, rows: Iterable[Row]) -> None:
    """Rows of the log that are readings and marks alone."""
    connection.executemany(_LOG, [_columns(row) for row in rows])


def write_cursors(connection: sqlite3.Connection, cursors: Mapping[str, Any]) -> None:
    """How far the readers of the journal have come."""
    connection.executemany(
        "INSERT OR REPLACE INTO cursors (name, value) VALUES (?, ?)",
        [(name, _dumps(value)) for name, value in cursors.items()],
    )


def _write_inputs(connection: sqlite3.Connection, batch: Commit, seq: int, series: Series) -> None:
    made = LogRow(batch)
    for item in batch.inputs:
        if isinstance(item, Reading):
            number = series.of_probe(item.probe)
            if not made.reading(item, number):
                kept, stream = codec.to_kept(item.temp_c), stream_of(item, number)
                made.other("reading", item.at, item.tick, kept, stream)
        elif isinstance(item, BadValue):
            number = series.of_probe(item.probe)
            temp_c = item.temp_c if item.temp_c is None or abs(item.temp_c) < 1e9 else None
            made.other("bad", item.at, item.tick, number, item.reason, temp_c)
            _count_bad(connection, item, temp_c)
        elif isinstance(item, Entered):
            made.other("entry", item.now.at, item.now.tick, item.entry.number)
            connection.execute(
                "INSERT INTO entries (number, at_ms, entry) VALUES (?, ?, ?)",
                (
                    item.entry.number,
                    codec.to_ms(item.entry.at),
                    _dumps(entry_fields(item.entry)),
                ),
            )
        else:
            made.other(
                "fault", item.now.at, item.now.tick, item.name.value, item.active, item.facts
            )
    for sample in batch.samples:
        number = series.of_sample(sample)
        if not made.sample(sample, number):
            made.other("reading", sample.at, sample.at, codec.to_kept(sample.value), number * 4)
    others = _dumps(made.others) if made.others else None
    connection.execute(_LOG, _columns(made.row(seq), others))


def _columns(row: Row, others: str | None = None) -> tuple[Any, ...]:
    return (
        row.seq,
        row.at_ms,
        row.tick_ms,
        row.readings or None,
        others,
        row.marks or None,
    )


def _count_bad(connection: sqlite3.Connection, bad: BadValue, temp_c: float | None) -> None:
    at_ms = codec.to_ms(bad.at)
    hour = codec.hour_of(at_ms)
    reason = _text(bad.reason[:200])
    others = connection.execute(
        "SELECT count(*) FROM bad_values WHERE probe = ? AND hour = ? AND reason <> ?",
        (bad.probe, hour, reason),
    ).fetchone()[0]
    if others >= _BAD_REASONS_AN_HOUR:
        reason = "other values no floor can have"
    connection.execute(
        "INSERT INTO bad_values (probe, hour, reason, count, first_ms, last_ms, temp_c)"
        " VALUES (?, ?, ?, 1, ?, ?, ?) ON CONFLICT (probe, hour, reason) DO UPDATE SET"
        " count = count + 1, last_ms = excluded.last_ms, temp_c = excluded.temp_c",
        (bad.probe, hour, reason, at_ms, at_ms, temp_c),
    )


def _write_changes(connection: sqlite3.Connection, changes: Iterable[Change]) -> None:
    connection.executemany(
        "INSERT OR IGNORE INTO changes (at_ms, occurrence, change, body) VALUES (?, ?, ?, ?)",
        [(codec.to_ms(c.at), c.occurrence, c.change.value, _change_json(c)) for c in changes],
    )


def _change_json(change: Change) -> str:
    return _dumps({k: v for k, v in asdict(change).items() if v is not None})


def _write_outbox(connection: sqlite3.Connection, rows: Iterable[OutboxRow]) -> None:
    connection.executemany(
        "INSERT OR IGNORE INTO outbox (key, contact, at_ms, priority, message, state, tries,"
        " next_try_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (
                row.key,
                row.contact,
                codec.to_ms(row.at),
                row.priority,
                _dumps(dict(row.message)),
                row.state,
                row.tries,
                None if row.next_try_at is None else codec.to_ms(row.next_try_at),
            )
            for row in rows
        ],
    )


def _write_outcome(connection: sqlite3.Connection, outcome: Outcome) -> None:
    tried_ms = codec.to_ms(outcome.tried_at)
    row = connection.execute(
        "UPDATE outbox SET state = ?, tries = ?, next_try_ms = ? WHERE key = ? AND contact = ?"
        " RETURNING at_ms",
        (
            outcome.state,
            outcome.tries,
            None if outcome.next_try_at is None else codec.to_ms(outcome.next_try_at),
            outcome.key,
            outcome.contact,
        ),
    ).fetchone()
    if outcome.state == "superseded" and outcome.failure is None:
        return
    connection.execute(
        "INSERT INTO deliveries (key, contact, tried_ms, late_ms, failure) VALUES (?, ?, ?, ?, ?)",
        (
            outcome.key,
            outcome.contact,
            tried_ms,
            tried_ms - row[0] if row else 0,
            outcome.failure,
        ),
    )


def _write_refused(connection: sqlite3.Connection, refused: list[RefusedCount]) -> None:
    if not refused:
        return
    connection.executemany(
        "INSERT INTO refused (topic, reason, count, first_ms, last_ms, excerpt)"
        " VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (topic, reason) DO UPDATE SET"
        " count = count + excluded.count, last_ms = excluded.last_ms,"
        " excerpt = excluded.excerpt",
        [
            (
                _text(r.topic),
                _text(r.reason),
                r.count,
                codec.to_ms(r.first_at),
                codec.to_ms(r.last_at),
                _text(r.excerpt),
            )
            for r in refused
        ],
    )
    connection.execute(
        "DELETE FROM refused WHERE (topic, reason) IN (SELECT topic, reason FROM refused"
        " ORDER BY last_ms DESC LIMIT -1 OFFSET ?)",
        (REFUSED_ROWS,),
    )


def _write_snapshots(
    connection: sqlite3.Connection, snapshots: Mapping[str, State], seq: int, now: Moment
) -> None:
    connection.executemany(
        "INSERT OR REPLACE INTO snapshots (name, seq, at_ms, tick_ms, state)"
        " VALUES (?, ?, ?, ?, ?)",
        [
            (name, seq, codec.to_ms(now.at), codec.to_ms(now.tick), _squeezed(state))
            for name, state in snapshots.items()
        ],
    )


def _squeezed(state: State) -> bytes:
    return zlib.compress(_dumps(state).encode(), 6)


def _dumps(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"))  # ASCII: lone surrogates too


def _text(text: str) -> str:
    """Text that a database takes: lone surrogates become question marks."""
    return text.encode("utf-8", "replace").decode()
