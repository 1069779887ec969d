"""What the mirror has still to send, slice by slice, in the order in which it came. Called by
`mirror`; only reads.

The cursor says how far sending has come: every commit up to `seq`, and of the hours that changed
last by commit `seq` those up to (`hour`, `probe`); the newest entry, alarm change and derived
number. Readings whose commits were dropped while the other end was away are found again by the
commit by which their hour last changed, and are sent as whole hours: sending twice changes nothing
there."""

from dataclasses import asdict, dataclass, replace
from typing import Any

from monitor.journal import rows
from monitor.journal.kept import HOUR_MS, first_id, ten_thousandths
from monitor.journal.mirror import influx_schema as schema
from monitor.journal.reader import JournalReader

LINES = 5000  # InfluxDB's own advice for a batch
_DONE = 2**62  # an hour after all hours: nothing is left of that commit


@dataclass(frozen=True, slots=True)
class Cursor:
    """How far sending has come. Kept in the journal as JSON."""

    seq: int = 0
    hour: int = _DONE
    probe: int = 0
    entry: int = 0
    change: int = 0
    derived: int = 0

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
    """The next lines, about `most` of them. Ledger, alarms and derived numbers first: they are
    few."""
    with reader.transaction() as connection:
        lines: list[str] = []

        def after(query: str, key: str, number: int) -> Any:
            limit = max(0, most - len(lines))
            return connection.execute(
                f"{query} WHERE {key} > ? ORDER BY {key} LIMIT ?", (number, limit)
            )

        for row in after(rows.ENTRIES, "e.number", cursor.entry):
            if (entry := rows.entry(row)) is not None:
                lines.append(schema.entry_line(site, entry))
            cursor = replace(cursor, entry=row[0])
        for row in after(rows.CHANGES, "id", cursor.change):
            if (change := rows.change(row)) is not None:
                lines.append(schema.alarm_line(site, row[0], change))
            cursor = replace(cursor, change=row[0])
        derived = "SELECT id, at_ms, brooder, name, value FROM derived"
        for number, at_ms, brooder, name, value in after(derived, "id", cursor.derived):
            head = schema.sample_head(site, brooder, name)
            lines += schema.numbers(head, (at_ms,), (ten_thousandths(value),))
            cursor = replace(cursor, derived=number)
        heads = _heads(connection, site)
        changed = connection.execute(
            "SELECT seq, hour, probe_id FROM changed_hours"
            " WHERE (seq, hour, probe_id) > (?, ?, ?) ORDER BY seq, hour, probe_id",
            (cursor.seq, cursor.hour, cursor.probe),
        )
        fresh = connection.execute(
            "SELECT seq, at_ms, inputs FROM commits WHERE seq > ? ORDER BY seq", (cursor.seq,)
        )
        hour, commit = next(changed, None), next(fresh, None)
        while len(lines) < most and (hour is not None or commit is not None):
            if hour is not None and (commit is None or hour[0] <= commit[0]):
                lines += _hour_lines(connection, heads, hour[1], hour[2])
                cursor = replace(cursor, seq=hour[0], hour=hour[1], probe=hour[2])
                hour = next(changed, None)
            elif commit is not None:
                lines += _commit_lines(heads, commit[1], commit[2])
                cursor = replace(cursor, seq=commit[0], hour=_DONE, probe=0)
                commit = next(fresh, None)
        return Slice(lines, cursor, hour is not None or commit is not None)


def behind(reader: JournalReader, cursor: Cursor) -> float | None:
    """Since when (Unix s) readings wait to be sent; None: all is there."""
    with reader.transaction() as connection:
        first = connection.execute(
            "SELECT hour FROM changed_hours WHERE (seq, hour, probe_id) > (?, ?, ?)"
            " ORDER BY seq, hour, probe_id LIMIT 1",
            (cursor.seq, cursor.hour, cursor.probe),
        ).fetchone()
        if first is not None:
            return float(first[0] * HOUR_MS / 1000)
        for at_ms, text in connection.execute(
            "SELECT at_ms, inputs FROM commits WHERE seq > ? ORDER BY seq", (cursor.seq,)
        ):
            if any(isinstance(item[0], int) for item in rows.items_of(text)):
                return float(at_ms / 1000)
    return None


def _heads(connection: Any, site: str) -> dict[int, str]:
    return {
        number: schema.temperature_head(site, known)
        for number, known in rows.known(connection).items()
    }


def _commit_lines(heads: dict[int, str], at_ms: int, text: str) -> list[str]:
    """The surely timed readings of a commit that is still there in its order."""
    return [
        line
        for item in rows.items_of(text)
        if isinstance(item[0], int) and len(item) == 4 and item[0] in heads
        for line in schema.numbers(heads[item[0]], (at_ms + item[1],), (ten_thousandths(item[3]),))
    ]


def _hour_lines(connection: Any, heads: dict[int, str], hour: int, probe: int) -> list[str]:
    if probe not in heads:
        return []
    found = connection.execute(
        "SELECT at_ms, temp_c FROM readings WHERE id >= ? AND id < ? AND probe_id = ?"
        " AND clock_sure ORDER BY id",
        (first_id(hour * HOUR_MS), first_id((hour + 1) * HOUR_MS), probe),
    ).fetchall()
    values = (ten_thousandths(temp) for _, temp in found)
    return schema.numbers(heads[probe], (at for at, _ in found), values)
