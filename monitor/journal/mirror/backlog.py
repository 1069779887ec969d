"""What the mirror has to send: slice by slice in the order in which it came, or a day once more;
and how many points of it there must be. Called by `sending` and `comparing`; only reads.

Readings whose commits were dropped while the other end was away are found again by the commit by
which their hour last changed, and are sent as whole hours: sending twice changes nothing there."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from monitor.events import Entry, EntryKind
from monitor.journal import rows
from monitor.journal.mirror import influx_schema as schema
from monitor.journal.mirror.state import Cursor, Scope
from monitor.journal.reader import JournalReader
from monitor.journal.resolution import DAY_MS, HOUR_MS, LARGEST_MS, first_id, ten_thousandths
from monitor.site import SITE_WIDE

LINES = 5000  # InfluxDB's own advice for a batch
Counts = dict[tuple[str, str, int], int]  # points by measurement, brooder and day since 1970


@dataclass(frozen=True, slots=True)
class Slice:
    """Lines to send, and the cursor once they are there. `rest`: is there more already?"""

    lines: list[str]
    then: Cursor
    rest: bool


def next_slice(reader: JournalReader, scope: Scope, cursor: Cursor) -> Slice:
    """The next lines, about LINES of them. Ledger, alarms and derived numbers first: they are
    few."""
    with reader.transaction() as connection:
        journal = _Journal(connection, scope)
        lines: list[str] = []

        def after(query: str, key: str, number: int) -> Any:
            limit = max(0, LINES - len(lines))
            return connection.execute(
                f"{query} WHERE {key} > ? ORDER BY {key} LIMIT ?", (number, limit)
            )

        for row in after(rows.ENTRIES, "e.number", cursor.entry):
            lines += journal.entry(row)
            cursor = replace(cursor, entry=row[0])
        for row in after(rows.CHANGES, "id", cursor.change):
            lines += journal.change(row)
            cursor = replace(cursor, change=row[0])
        for number, *sample in after(_DERIVED, "id", cursor.derived):
            lines += journal.sample(*sample)
            cursor = replace(cursor, derived=number)
        changed = connection.execute(
            "SELECT seq, hour, probe_id FROM changed_hours"
            " WHERE (seq, hour, probe_id) > (?, ?, ?) ORDER BY seq, hour, probe_id",
            (cursor.seq, cursor.hour, cursor.probe),
        )
        fresh = connection.execute(
            "SELECT seq, at_ms, inputs FROM commits WHERE seq > ? ORDER BY seq", (cursor.seq,)
        )
        hour, commit = next(changed, None), next(fresh, None)
        while len(lines) < LINES and (hour is not None or commit is not None):
            if hour is not None and (commit is None or hour[0] <= commit[0]):
                lines += journal.hour(hour[1], hour[2])
                cursor = replace(cursor, seq=hour[0], hour=hour[1], probe=hour[2])
                hour = next(changed, None)
            elif commit is not None:
                lines += journal.commit(commit[1], commit[2])
                cursor = cursor.after_commit(commit[0])
                commit = next(fresh, None)
        return Slice(lines, cursor, hour is not None or commit is not None)


def end(reader: JournalReader) -> Cursor:
    """Where everything that is in the journal now is sent."""
    with reader.transaction() as connection:
        newest = [
            connection.execute(f"SELECT ifnull(max({key}), 0) FROM {table}").fetchone()[0]  # noqa: S608
            for key, table in (
                ("seq", "commits"), ("number", "entries"), ("id", "alarms"), ("id", "derived"),
            )
        ]  # fmt: skip
    seq, entry, change, derived = newest
    return Cursor(entry=entry, change=change, derived=derived).after_commit(seq)


def days(reader: JournalReader) -> list[int]:
    """The days since 1970 (UTC) of which there is anything to send."""
    with reader.transaction() as connection:
        few = {day for _, _, day in _few(connection, (0, LARGEST_MS + 1))}
        return sorted(few.union(_days_of_readings(connection, 0)))


def day_lines(reader: JournalReader, scope: Scope, day: int) -> Iterator[Any]:
    """All lines of a day (UTC, since 1970), in lists of about LINES."""
    lines: list[str] = []
    span = (day * DAY_MS, (day + 1) * DAY_MS)
    with reader.transaction() as connection:
        journal = _Journal(connection, scope)
        for row in connection.execute(_ENTRIES_WITHIN, span):
            lines += journal.entry(row)
        for row in connection.execute(_CHANGES_WITHIN, span):
            lines += journal.change(row)
        for _, *sample in connection.execute(f"{_DERIVED}{_WITHIN}", span):
            lines += journal.sample(*sample)
    for hour in range(day * 24, (day + 1) * 24):
        with reader.transaction() as connection:
            journal = _Journal(connection, scope)
            for number in journal.heads:
                lines += journal.hour(hour, number)
        while len(lines) >= LINES:
            yield lines[:LINES]
            del lines[:LINES]
    if lines:
        yield lines


def counts(reader: JournalReader, scope: Scope, span_ms: tuple[int, int]) -> Counts:
    """How many points there must be, from <= at < to."""
    with reader.transaction() as connection:
        journal = _Journal(connection, scope)
        found = {
            (measurement, schema.tag_text(brooder), day): number
            for (measurement, brooder, day), number in _few(connection, span_ms).items()
        }
        for day in _days_of_readings(connection, span_ms[0]):
            span = (
                first_id(max(day * DAY_MS, span_ms[0])),
                first_id(min((day + 1) * DAY_MS, span_ms[1])),
            )
            for probe, number in connection.execute(
                "SELECT probe_id, count(*) FROM readings WHERE id >= ? AND id < ? AND clock_sure"
                " GROUP BY probe_id",
                span,
            ):
                if probe in journal.heads:
                    box = journal.box_of[probe]
                    place = (schema.TEMPERATURE, schema.tag_text(box), day)
                    found[place] = found.get(place, 0) + number
    return {
        place: number
        for place, number in found.items()
        if scope.answers_for(schema.name_of(place[1]))
        or (place[0], place[1], scope.site_probes) == (schema.TEMPERATURE, SITE_WIDE, True)
    }


_WITHIN = " WHERE at_ms >= ? AND at_ms < ?"
_ENTRIES_WITHIN = f"{rows.ENTRIES} WHERE e.at_ms >= ? AND e.at_ms < ?"
_CHANGES_WITHIN = f"{rows.CHANGES}{_WITHIN}"
_DERIVED = "SELECT id, at_ms, brooder, name, value FROM derived"


def _days_of_readings(connection: Any, from_ms: int) -> Iterator[int]:
    at = from_ms
    while True:
        row = connection.execute(
            "SELECT at_ms FROM readings WHERE id >= ? ORDER BY id LIMIT 1", (first_id(at),)
        ).fetchone()
        if row is None:
            return
        day = row[0] // DAY_MS
        yield day
        at = (day + 1) * DAY_MS


def _few(connection: Any, span_ms: tuple[int, int]) -> Counts:
    """The points of everything but the readings, from <= at < to."""
    found: Counts = {}

    def add(measurement: str, brooder: str | None, at_ms: int, number: int = 1) -> None:
        place = (measurement, brooder or SITE_WIDE, at_ms // DAY_MS)
        found[place] = found.get(place, 0) + number

    for row in connection.execute(_ENTRIES_WITHIN, span_ms):
        if (said := rows.entry(row)) is not None:
            add(schema.LEDGER_TEXT, said.brooder, round(said.at * 1000))
    for row in connection.execute(_CHANGES_WITHIN, span_ms):
        if (change := rows.change(row)) is not None:
            add(schema.ALARM_TEXT, change.brooder, round(change.at * 1000))
    for brooder, at_ms, number in connection.execute(
        f"SELECT brooder, at_ms, count(DISTINCT name) FROM derived{_WITHIN}"  # noqa: S608
        " GROUP BY brooder, at_ms",
        span_ms,
    ):
        add(schema.BROODER, brooder, at_ms, number)
    return found


class _Journal:
    """A journal's rows as lines, inside one transaction."""

    def __init__(self, connection: Any, scope: Scope) -> None:
        self._connection, self._site = connection, scope.site
        known = {n: k for n, k in rows.known(connection).items() if scope.has(k.key)}
        self.box_of = {n: k.key.rpartition("/")[0] or SITE_WIDE for n, k in known.items()}
        self.heads = {
            n: schema.temperature_head(scope.site, k.key, k.place) for n, k in known.items()
        }

    def entry(self, row: Any) -> list[str]:
        """An entry; an undo also marks the entry that it takes back."""
        said = rows.entry(row)
        if said is None:
            return []
        lines = self._entry_lines(said)
        if said.entry is EntryKind.UNDO and said.undoes is not None:
            target = self._connection.execute(
                f"{rows.ENTRIES} WHERE e.number = ?", (said.undoes,)
            ).fetchone()
            undone = None if target is None else rows.entry(target)
            lines += [] if undone is None else self._entry_lines(undone)
        return lines

    def _entry_lines(self, said: Entry) -> list[str]:
        undone = self._connection.execute(
            "SELECT 1 FROM entries WHERE entry = 'undo' AND undoes_id = ?", (said.id,)
        ).fetchone()
        return schema.entry_lines(self._site, said, undone=undone is not None)

    def change(self, row: Any) -> list[str]:
        said = rows.change(row)
        if said is None:
            return []
        number, at_ms, *_ = row
        before = self._connection.execute(
            "SELECT count(*) FROM alarms WHERE at_ms = ? AND id < ?", (at_ms, number)
        ).fetchone()
        return schema.alarm_lines(self._site, said, before[0])

    def sample(self, at_ms: int, brooder: str, name: str, value: float) -> list[str]:
        head = schema.sample_head(self._site, brooder, name)
        return schema.numbers(head, (at_ms,), (ten_thousandths(value),))

    def commit(self, at_ms: int, text: object) -> list[str]:
        """The surely timed readings of a commit that is still there, with all that their probes
        said in the same millisecond: which of those one is, the table knows."""
        moments = dict.fromkeys(
            (item[0], at_ms + item[1])
            for item in rows.items_of(text)
            if isinstance(item[0], int) and len(item) == 4
        )
        return [line for number, at in moments for line in self._readings(number, at, at + 1)]

    def hour(self, hour: int, number: int) -> list[str]:
        return self._readings(number, hour * HOUR_MS, (hour + 1) * HOUR_MS)

    def _readings(self, number: int, from_ms: int, to_ms: int) -> list[str]:
        if number not in self.heads:
            return []
        found = self._connection.execute(
            "SELECT at_ms, temp_c FROM readings WHERE id >= ? AND id < ? AND probe_id = ?"
            " AND clock_sure ORDER BY id",
            (first_id(from_ms), first_id(to_ms), number),
        ).fetchall()
        values = (ten_thousandths(temp) for _, temp in found)
        return schema.numbers(self.heads[number], (at for at, _ in found), values)
