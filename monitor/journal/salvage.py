"""What can still be read of a damaged journal, into a new one. Called by `brooder salvage`, and for
the small tables by `store` itself when it sets a damaged journal aside: a ledger that was lost
with the file would leave a batch of chicks unwatched.

SQLite stops at the first broken page it meets; the rows behind it are mostly well. So each table
is read page by page, in ranges of its key: a range that fails is cut in two until it holds one key
or is given up, and tables whose very root is broken are reported. What is doubtful is left out: a
packed hour must pass its own checksum, JSON must be JSON."""

import json
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from monitor.journal import codec, opening, schema, tail
from monitor.journal.leaf_ranges import LAST_KEY, leaf_ranges
from monitor.journal.ledger_scan import ledger_rows

COLUMNS: dict[str, tuple[str, ...]] = {
    "series": (
        "id",
        "kind",
        "key",
        "brooder",
        "topic",
        "place",
        "unit",
        "value_pointer",
        "time_pointer",
        "senml_name",
        "offset_c",
    ),
    "entries": ("number", "at_ms", "entry"),
    "snapshots": ("name", "seq", "at_ms", "tick_ms", "state"),
    "outbox": (
        "id",
        "key",
        "contact",
        "at_ms",
        "priority",
        "message",
        "state",
        "tries",
        "next_try_ms",
    ),
    "changes": ("id", "at_ms", "occurrence", "change", "body"),
    "deliveries": ("id", "key", "contact", "tried_ms", "late_ms", "failure"),
    "bad_values": ("probe", "hour", "reason", "count", "first_ms", "last_ms", "temp_c"),
    "cursors": ("name", "value"),
    "packed": ("key", "changed_seq", "readings"),
    "log": ("seq", "at_ms", "tick_ms", "readings", "others", "marks"),
}
SMALL = ("series", "entries", "snapshots", "outbox", "changes")
MOST_CUTS = 400  # of one page's range: enough to get round one row whose overflow is broken


@dataclass(slots=True)
class Report:
    """How many rows of each table came through, and which could not be read to the end."""

    rows: dict[str, int] = field(default_factory=dict)
    readings: int = 0
    broken: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        parts = [f"{self.readings} readings", f"{self.rows.get('entries', 0)} ledger entries"]
        parts.append(f"{self.rows.get('changes', 0)} alarm changes")
        text = "saved " + ", ".join(parts)
        if self.broken:
            text += "; parts were lost of: " + ", ".join(self.broken)
        return text


def salvage(
    damaged: Path,
    into: sqlite3.Connection,
    tables: Sequence[str] = tuple(COLUMNS),
    told: Callable[[str], None] = lambda _table: None,
) -> Report:
    """Copies what can be read of `damaged` (left as it is) into an empty, prepared journal."""
    report = Report()
    with tempfile.TemporaryDirectory(dir=damaged.parent) as folder:
        # A copy: opening a database that has a -wal file would change it.
        copy = Path(folder) / "copy.db"
        for side in ("", "-wal", tail.SUFFIX):
            part = damaged.with_name(damaged.name + side)
            if part.exists():
                shutil.copyfile(part, copy.with_name(copy.name + side))
        source = _opened(copy, report)
        into.execute("BEGIN IMMEDIATE")
        try:
            if source is not None:
                for table in tables:
                    told(table)
                    _copy(source, into, table, _ranges(copy, source, table), report)
                if "log" in tables:
                    _copy_tail(copy, source, into, report)
            if "entries" in tables:
                _copy_scattered(copy, into, report)
            into.execute("COMMIT")
        except BaseException:
            into.execute("ROLLBACK")
            raise
        finally:
            if source is not None:
                source.close()
    return report


def carry_over(aside: Path, into: sqlite3.Connection) -> Report:
    """The small tables that the watch cannot do without. The new log begins at 1, so snapshots
    are taken as of before it."""
    report = salvage(aside, into, SMALL)
    into.execute("UPDATE snapshots SET seq = 0")
    return report


def _opened(copy: Path, report: Report) -> sqlite3.Connection | None:
    """The damaged file, opened; without its -wal if that is what cannot be opened. A broken first
    page is given a sound one: the rest of the file does not depend on what it says of itself."""
    wal = copy.with_name(copy.name + "-wal")
    for attempt in ("as it is", "without -wal", "with a new head"):
        if attempt == "without -wal":
            if not wal.exists():
                continue
            wal.unlink()
            report.broken.append("the newest changes (-wal)")
        if attempt == "with a new head" and not _new_head(copy):
            return None
        connection = opening.connect_to_write(copy)
        try:
            connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        except opening.UNREADABLE:
            connection.close()
        else:
            connection.execute("PRAGMA writable_schema = ON")  # read on past a doubtful schema
            return connection
    return None


def _new_head(copy: Path) -> bool:
    """Puts the first page of an empty journal, and the others that tell of its tables, in place of
    broken ones. Every journal of one version lays its tables out alike, so the roots are where
    those pages say."""
    with tempfile.TemporaryDirectory(dir=copy.parent) as folder:
        fresh = Path(folder) / "fresh.db"
        connection = opening.connect_to_write(fresh)
        schema.prepare(connection)
        schema.bring_up_to_date(connection)
        roots = {root for (root,) in connection.execute("SELECT rootpage FROM sqlite_schema")}
        connection.close()
        empty = fresh.read_bytes()
    pages = [empty[at : at + schema.PAGE_BYTES] for at in range(0, len(empty), schema.PAGE_BYTES)]
    head = bytearray(pages[0])
    size = copy.stat().st_size
    if size < schema.PAGE_BYTES:
        return False
    head[28:32] = (size // schema.PAGE_BYTES).to_bytes(4, "big")  # pages in the file
    head[92:96] = head[24:28]  # the size is valid for this change counter
    head[32:40] = bytes(8)  # no free pages: they are not wanted
    with copy.open("r+b") as file:
        file.write(head)
        # All that an empty journal holds besides its tables' roots is the description of them.
        for number, page in enumerate(pages[1:], start=2):
            if number not in roots and number * schema.PAGE_BYTES <= size:
                file.seek((number - 1) * schema.PAGE_BYTES)
                file.write(page)
    return True


def _ranges(copy: Path, source: sqlite3.Connection, table: str) -> list[tuple[int, int]]:
    """One a page of the table; all keys in one where its tree cannot be found."""
    try:
        query = "SELECT rootpage FROM sqlite_schema WHERE type = 'table' AND name = ?"
        (root,) = source.execute(query, (table,)).fetchone()
        return leaf_ranges(copy, root, schema.PAGE_BYTES)
    except (*opening.UNREADABLE, TypeError):
        return [(0, LAST_KEY)]


def _copy(
    source: sqlite3.Connection,
    into: sqlite3.Connection,
    table: str,
    ranges: list[tuple[int, int]],
    report: Report,
) -> None:
    columns = COLUMNS[table]
    slots = ", ".join("?" * len(columns))
    insert = f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}) VALUES ({slots})"  # noqa: S608
    count = 0
    for row in _rows(source, table, ranges):
        if row is None or not _sound(table, row):
            if table not in report.broken:
                report.broken.append(table)
            continue
        try:
            into.execute(insert, row)
        except sqlite3.IntegrityError:  # a NOT NULL that is NULL: a doubtful row
            continue
        count += 1
        if table == "packed":
            report.readings += len(codec.planes_of(row[2])) // 8
        elif table == "log":
            report.readings += len(row[3] or b"") // codec.RECORD_BYTES
    report.rows[table] = count


def _copy_scattered(copy: Path, into: sqlite3.Connection, report: Report) -> None:
    """Ledger entries that the table's broken tree no longer leads to."""
    for row in ledger_rows(copy, schema.PAGE_BYTES):
        added = into.execute(
            "INSERT OR IGNORE INTO entries (number, at_ms, entry) VALUES (?, ?, ?)", row
        ).rowcount
        report.rows["entries"] = report.rows.get("entries", 0) + added


def _rows(
    source: sqlite3.Connection, table: str, ranges: list[tuple[int, int]]
) -> Iterator[tuple[Any, ...] | None]:
    """Every row that can be read; None where some could not."""
    key, select = COLUMNS[table][0], ", ".join(COLUMNS[table])
    if table in ("bad_values", "cursors", "snapshots"):  # no whole-number key, and small
        try:
            yield from source.execute(f"SELECT {select} FROM {table}")  # noqa: S608 - own names
        except opening.UNREADABLE:
            yield None
        return
    query = f"SELECT {select} FROM {table} WHERE {key} BETWEEN ? AND ? ORDER BY {key}"  # noqa: S608
    for low, high in ranges:
        yield from _range(source, query, low, high)


def _range(
    source: sqlite3.Connection, query: str, low: int, high: int
) -> Iterator[tuple[Any, ...] | None]:
    ranges = [(low, high)]
    cuts = 0
    while ranges:
        low, high = ranges.pop()
        last = low - 1
        try:
            for row in source.execute(query, (low, high)):
                last = row[0]
                yield row
        except opening.UNREADABLE:
            yield None
            cuts += 1
            if last + 1 >= high or cuts > MOST_CUTS:
                continue
            # What lies behind the break: from the far end the range can often be read again.
            middle = (last + 1 + high) // 2
            ranges.append((middle + 1, high))
            if middle > last + 1:
                ranges.append((last + 1, middle))


def _sound(table: str, row: tuple[Any, ...]) -> bool:
    try:
        if table == "packed":
            return bool(codec.planes_of(row[2]))
        elif table == "entries":
            json.loads(row[2])
        elif table == "changes":
            json.loads(row[4])
        elif table == "outbox":
            json.loads(row[5])
        elif table == "log":
            if row[4] is not None:
                json.loads(row[4])
            return row[3] is None or bool(codec.fresh_body(row[3]))
    except Exception:  # whatever a damaged row makes of itself, it is not sound
        return False
    return True


def _copy_tail(
    copy: Path, source: sqlite3.Connection, into: sqlite3.Connection, report: Report
) -> None:
    try:
        journal_id = schema.journal_id(source)
    except (*opening.UNREADABLE, TypeError):
        report.broken.append("the last hour (tail)")
        return
    for row in tail.read(copy, journal_id, 0):
        added = into.execute(
            "INSERT OR IGNORE INTO log (seq, at_ms, tick_ms, readings, marks)"
            " VALUES (?, ?, ?, ?, ?)",
            (row.seq, row.at_ms, row.tick_ms, row.readings or None, row.marks or None),
        ).rowcount
        if added:
            report.readings += len(row.readings) // codec.RECORD_BYTES
