"""Settled readings move from the log to one packed row for each stream and hour. Called by
`store.Journal.tidy` (the writer) and by the import command.

Only log rows that no snapshot needs any more are packed, and only when their hour is over; a
reading is always in exactly one of the two places, because it moves in one transaction. A late
reading goes into its own hour, which is read, merged and written again."""

from __future__ import annotations

import json
import sqlite3
from array import array
from collections.abc import Iterator
from typing import Any, TypeAlias

from monitor.journal import codec, schema
from monitor.journal.codec import Fresh

Streams: TypeAlias = "dict[tuple[int, int], tuple[array[int], array[int], list[int]]]"
"""(hour, stream) -> times in ms, values, and the one newest log number among them."""

SLACK_MS = 10 * 60_000  # readings a few minutes late still find their hour in the log
MARK_BYTES = 8192


def rows(
    connection: sqlite3.Connection, after: int, upto: int = schema.ALL
) -> Iterator[tuple[int, list[Fresh]]]:
    """Log rows with every reading and bad value in it, times absolute, in order of arrival."""
    columns = "seq, at_ms, tick_ms, readings, others"
    for seq, at_ms, tick_ms, blob, others in schema.whole_log(connection, columns, after, upto):
        found = [
            (at_ms + at, tick_ms + tick, value, stream)
            for at, tick, value, stream in codec.read_fresh(blob)
        ]
        if others:
            for item in others_of(others):
                if item[1] == "reading":
                    found.append(tuple(item[2:6]))
                elif item[1] == "bad" and item[6] is not None:
                    found.append(
                        (item[2], item[3], codec.to_kept(item[6]), item[4] * 4 + codec.BAD)
                    )
        yield seq, found


def others_of(text: object) -> list[list[Any]]:
    """What else is in a row, as `log_row` has written it; nothing of what is damaged."""
    try:
        found = json.loads(text) if isinstance(text, str) and text else []
    except ValueError:
        return []
    return [item for item in found if _is_other(item)] if isinstance(found, list) else []


def _is_other(item: object) -> bool:
    match item:
        case [int(), str(), at, tick, *_] if not (codec.is_ms(at) and codec.is_ms(tick)):
            return False
        case [int(), "reading", _, _, value, stream]:
            return codec.is_kept(value) and codec.is_stream(stream)
        case [int(), "bad", _, _, series, str(), int() | float() | None]:
            return codec.is_stream(series * 4 + codec.BAD if isinstance(series, int) else None)
        case [int(), "entry", _, _, int()] | [int(), "fault", _, _, str(), bool(), dict()]:
            return True
    return False


def gather(connection: sqlite3.Connection, after: int, upto: int) -> Streams:
    """The readings of a stretch of the log, sorted into streams and hours."""
    streams: Streams = {}
    for seq, found in rows(connection, after, upto):
        for at_ms, _tick_ms, value, stream in found:
            place = (codec.hour_of(at_ms), stream)
            held = streams.get(place)
            if held is None:
                held = streams[place] = (array("q"), array("i"), [seq])
            held[0].append(at_ms)
            held[1].append(value)
            held[2][0] = seq
    return streams


def merged(connection: sqlite3.Connection, streams: Streams) -> Iterator[tuple[int, int, bytes]]:
    """The packed rows (key, changed_seq, blob) that take these readings in."""
    for (hour, stream), (times, values, newest) in sorted(streams.items()):
        key = codec.packed_key(stream, hour)
        old = connection.execute(
            "SELECT readings, changed_seq FROM packed WHERE key = ?", (key,)
        ).fetchone()
        both = codec.merge(hour, old[0] if old else None, times, values)
        changed = max(newest[0], old[1] if old else 0)
        yield key, changed, codec.pack(hour, *both)


def put(connection: sqlite3.Connection, rows: list[tuple[int, int, bytes]]) -> None:
    """Writes packed rows, inside the caller's transaction."""
    connection.executemany(
        "INSERT INTO packed (key, changed_seq, readings) VALUES (?, ?, ?) ON CONFLICT (key) DO"
        " UPDATE SET changed_seq = excluded.changed_seq, readings = excluded.readings",
        rows,
    )


def settled_upto(connection: sqlite3.Connection, now_ms: int) -> int:
    """The newest log number that may be packed, or 0: before the running hour, not needed by a
    snapshot, and never the very newest row, whose number the next one counts on from."""
    needed = connection.execute("SELECT min(seq) FROM snapshots").fetchone()[0]
    if needed is None:
        return 0
    border_ms = (codec.hour_of(now_ms - SLACK_MS)) * codec.HOUR_MS
    row = connection.execute(
        "SELECT max(seq) FROM log WHERE seq <= ? AND seq < (SELECT max(seq) FROM log)"
        " AND at_ms < ?",
        (needed, border_ms),
    ).fetchone()
    return int(row[0] or 0)


def marks(connection: sqlite3.Connection, upto: int = schema.ALL) -> list[bytes]:
    """Redelivery marks commit by commit, oldest first: those carried over from packed rows, then
    those of the log up to a number. Kept to the newest whole parts within MARK_BYTES."""
    old = connection.execute("SELECT value FROM meta WHERE name = 'marks'").fetchone()
    parts = _carried(old[0]) if old else []
    fresh = schema.whole_log(connection, "marks", 0, upto)
    parts += [one for (one,) in fresh if isinstance(one, bytes) and one]
    size = 0
    for start in range(len(parts), 0, -1):
        size += len(parts[start - 1])
        if size > MARK_BYTES:
            return parts[start:] or parts[-1:]
    return parts


def _carried(text: object) -> list[bytes]:
    try:
        return [bytes.fromhex(part) for part in json.loads(str(text))]
    except (ValueError, TypeError):  # damaged: a redelivery of that age is not known as one
        return []


def carry_marks(connection: sqlite3.Connection, upto: int) -> None:
    """Keeps the marks of rows about to leave the log, inside the caller's transaction."""
    parts = json.dumps([part.hex() for part in marks(connection, upto)])
    connection.execute("INSERT OR REPLACE INTO meta (name, value) VALUES ('marks', ?)", (parts,))
