"""What the mirror has still to send, slice by slice, in the order in which it came to be settled.
Called by `mirror`; only reads.

The cursor says how far sending has come: every log row below `seq`, and of the packed rows that
changed last at `seq` those up to `key`; the newest entry; the newest alarm change. Readings that
were packed while the other end was away are found again by the log number at which their hour
last changed, and are sent as whole hours: sending twice changes nothing there."""

from dataclasses import asdict, dataclass, replace
from typing import Any

from monitor.journal import codec, packing, rows
from monitor.journal import schema as journal_schema
from monitor.journal.mirror import influx_schema as schema
from monitor.journal.reader import JournalReader

LINES = 5000  # InfluxDB's own advice for a batch
_ALL_KEYS = 2**62


@dataclass(frozen=True, slots=True)
class Cursor:
    """How far sending has come. Kept in the journal as JSON."""

    seq: int = 0
    key: int = _ALL_KEYS
    entry: int = 0
    change: int = 0

    @classmethod
    def of(cls, kept: dict[str, Any] | None) -> "Cursor":
        """From what the journal kept; None: nothing was ever sent."""
        return cls() if kept is None else cls(**kept)

    def to_json(self) -> dict[str, int]:
        """For the journal."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Slice:
    """Lines to send, and the cursor once they are there. `rest`: is there more already?"""

    lines: list[str]
    then: Cursor
    rest: bool


def next_slice(reader: JournalReader, site: str, cursor: Cursor, most: int = LINES) -> Slice:
    """The next lines, about `most` of them. Ledger and alarms first: they are few."""
    with reader.picture() as connection:
        lines: list[str] = []
        for number, text in connection.execute(
            "SELECT number, entry FROM entries WHERE number > ? ORDER BY number LIMIT ?",
            (cursor.entry, most),
        ):
            if (entry := rows.entry(text)) is not None:
                lines.append(schema.entry_line(site, entry))
            cursor = replace(cursor, entry=number)
        for number, text in connection.execute(
            "SELECT id, body FROM changes WHERE id > ? ORDER BY id LIMIT ?",
            (cursor.change, max(0, most - len(lines))),
        ):
            if (change := rows.change(text)) is not None:
                lines.append(schema.alarm_line(site, number, change))
            cursor = replace(cursor, change=number)
        heads = _heads(connection, site)
        packed = connection.execute(
            "SELECT changed_seq, key, readings FROM packed WHERE changed_seq > ?1"
            " OR (changed_seq = ?1 AND key > ?2) ORDER BY changed_seq, key",
            (cursor.seq, cursor.key),
        )
        fresh = packing.rows(connection, cursor.seq)
        hour, row = next(packed, None), next(fresh, None)
        while len(lines) < most and (hour is not None or row is not None):
            if hour is not None and (row is None or hour[0] <= row[0]):
                seq, key, blob = hour
                lines += _hour_lines(heads, key, blob)
                cursor = replace(cursor, seq=seq, key=key)
                hour = next(packed, None)
                if hour is None or hour[0] != seq:
                    # Whatever else bears this number is fresh or sent: the number is done.
                    done = row is None or row[0] != seq
                    cursor = replace(cursor, key=_ALL_KEYS if done else key)
            elif row is not None:
                seq, found = row
                for at_ms, _tick, value, stream in found:
                    if stream in heads:
                        lines += schema.numbers(heads[stream], (at_ms,), (value,))
                cursor = replace(cursor, seq=seq, key=_ALL_KEYS)
                row = next(fresh, None)
        return Slice(lines, cursor, hour is not None or row is not None)


def behind(reader: JournalReader, cursor: Cursor) -> float | None:
    """Since when (Unix s) readings wait to be sent; None: all is there."""
    with reader.picture() as connection:
        first = connection.execute(
            "SELECT key FROM packed WHERE (changed_seq, key) > (?, ?)"
            " ORDER BY changed_seq, key LIMIT 1",
            (cursor.seq, cursor.key),
        ).fetchone()
        if first is not None:
            return codec.stream_and_hour(first[0])[1] * 3600.0
        for at_ms, blob in journal_schema.whole_log(connection, "at_ms, readings", cursor.seq):
            if blob:
                return float(at_ms / 1000)
    return None


def _heads(connection: Any, site: str) -> dict[int, str]:
    heads = {
        series * 4 + codec.SURE: schema.temperature_head(site, known)
        for series, known in rows.known(connection).items()
    }
    for series, key in connection.execute("SELECT id, key FROM series WHERE kind = 'sample'"):
        heads[series * 4 + codec.SURE] = schema.sample_head(site, key)
    return heads


def _hour_lines(heads: dict[int, str], key: int, blob: bytes) -> list[str]:
    stream, hour = codec.stream_and_hour(key)
    if stream not in heads:
        return []
    return schema.numbers(heads[stream], *codec.unpack(hour, codec.planes_of(blob)))
