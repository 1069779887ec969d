"""What can still be read of a damaged journal, into a new one. Called by `brooder salvage`, and for
the small tables by `store` itself when it sets a journal aside: a ledger that was lost with the
file would leave a batch of chicks unwatched.

SQLite stops at the first broken page it meets; the rows behind it are mostly well. So each table
is read from both ends, and what lies between two breaks from its middle. The ledger stands in the
file a second time, as journal lines, which are found in its bytes whatever became of the tables.
What that leaves behind SQLite's own recovery may find (sqlite.org/recovery.html): the command
`.recover` of the program sqlite3, where it was built with it (Debian 12 leaves it out)."""

import math
import re
import shutil
import sqlite3
import struct
import tempfile
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from mmap import ACCESS_READ, mmap
from pathlib import Path
from typing import Any

from monitor.events import Entry
from monitor.journal import opening, rows, schema, writing
from monitor.journal.forms import lines
from monitor.journal.forms.lines import LineFault
from monitor.journal.resolution import PER_MS, is_ms

TABLES = (
    "probes", "entries", "ledger_lines", "snapshots", "outbox", "alarms", "deliveries",
    "bad_values", "derived", "changed_hours", "cursors", "commits", "readings",
)  # fmt: skip
SMALL = ("probes", "entries", "ledger_lines", "snapshots", "outbox", "alarms")
MOST_CUTS = 400  # of one table: enough to get round some dozens of broken pages
_LINE = re.compile(rb'\{"at":"[^"\x00]{20,24}","entry":"[^\x00\n]{1,1000}\}\n')
_LAST = 2**63 - 1
_NEWEST = "the newest changes (-wal)"
_ORDERED_BY = {"bad_values": "at_ms", "changed_hours": "hour"}
_UNORDERED = ("cursors", "snapshots")  # small, and no whole number to go by


@dataclass(slots=True)
class Report:
    """How many rows of each table came through, and which could not be read to the end."""

    rows: dict[str, int] = field(default_factory=dict)
    broken: list[str] = field(default_factory=list)

    @property
    def readings(self) -> int:
        return self.rows.get("readings", 0)

    def __str__(self) -> str:
        parts = [f"{self.readings} readings", f"{self.rows.get('entries', 0)} ledger entries"]
        parts.append(f"{self.rows.get('alarms', 0)} alarm changes")
        text = "saved " + ", ".join(parts)
        if self.broken:
            text += "; parts may be lost of: " + ", ".join(self.broken)
        return text


def salvage(
    damaged: Path,
    into: sqlite3.Connection,
    tables: Sequence[str] = TABLES,
    told: Callable[[str], None] = lambda _table: None,
) -> Report:
    """Copies what can be read of `damaged` (left as it is) into an empty, prepared journal."""
    report = Report()
    with tempfile.TemporaryDirectory(dir=damaged.parent) as folder:
        broken = set(tables)
        for source in _ways(damaged, Path(folder), report):
            with _all_or_nothing(into):
                for table in tables:
                    told(table)
                    whole = _copy(source, into, table, report)
                    broken -= {table} if whole else set()
            if not broken:
                break
        if "entries" in tables:
            with _all_or_nothing(into):
                _copy_lines(damaged, into, report)
    report.broken += [table for table in tables if table in broken]
    return report


def carry_over(aside: Path, into: sqlite3.Connection) -> Report:
    """The small tables that the watch cannot do without. The new journal's commits begin at 1, so
    snapshots are taken as of before it."""
    report = salvage(aside, into, SMALL)
    into.execute("UPDATE snapshots SET seq = 0")
    return report


@contextmanager
def _all_or_nothing(into: sqlite3.Connection) -> Iterator[None]:
    into.execute("BEGIN IMMEDIATE")
    try:
        yield
        into.execute("COMMIT")
    except BaseException:
        into.execute("ROLLBACK")
        raise


def _ways(damaged: Path, folder: Path, report: Report) -> Iterator[sqlite3.Connection]:
    """The damaged file, opened in one way after the other, each of a copy: opening a database that
    has a -wal file would change it. As it is; and with a sound first page, since the rest of the
    file does not depend on what it says of itself."""
    for name in ("as-it-is", "new-head"):
        copy = folder / f"{name}.db"
        _duplicate(damaged, copy)
        if name == "new-head" and not _new_head(copy):
            continue
        connection = _opened(copy, report)
        if connection is not None:
            with closing(connection):
                yield connection


def _copy_lines(damaged: Path, into: sqlite3.Connection, report: Report) -> None:
    """The ledger's lines, wherever in the file they lie."""
    for side in ("", "-wal"):
        part = damaged.with_name(damaged.name + side)
        if not part.exists() or part.stat().st_size == 0:
            continue
        with part.open("rb") as file, mmap(file.fileno(), 0, access=ACCESS_READ) as raw:
            for found in _LINE.finditer(raw):
                with suppress(LineFault):
                    entry = lines.parse(found[0].decode("utf-8", "replace"))
                    if isinstance(entry, Entry) and entry.id is not None and entry.number > 0:
                        report.rows["entries"] = report.rows.get("entries", 0) + _add(into, entry)


def _add(into: sqlite3.Connection, entry: Entry) -> int:
    known = "SELECT 1 FROM entries WHERE id = ? OR number = ?"
    if into.execute(known, (entry.id, entry.number)).fetchone():
        return 0
    writing.write_entry(into, entry)
    return 1


def _duplicate(damaged: Path, copy: Path) -> None:
    for side in ("", "-wal"):
        part = damaged.with_name(damaged.name + side)
        if part.exists():
            shutil.copyfile(part, copy.with_name(copy.name + side))


def _opened(copy: Path, report: Report) -> sqlite3.Connection | None:
    """Without its -wal if that is what cannot be opened."""
    wal = copy.with_name(copy.name + "-wal")
    while True:
        connection = opening.connect_to_write(copy)
        try:
            connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        except opening.UNREADABLE:
            connection.close()
            if not wal.exists():
                return None
            wal.unlink()
            if _NEWEST not in report.broken:
                report.broken.append(_NEWEST)
        else:
            connection.execute("PRAGMA writable_schema = ON")  # read on past a doubtful schema
            return connection


def _new_head(copy: Path) -> bool:
    """Puts the first page of an empty journal, and the others that tell of its tables, in place of
    broken ones. Every journal lays its tables out alike, so the roots are where those pages say."""
    with tempfile.TemporaryDirectory(dir=copy.parent) as folder:
        fresh = Path(folder) / "fresh.db"
        connection = opening.connect_to_write(fresh)
        schema.prepare(connection)
        schema.bring_to(connection)
        roots = {root for (root,) in connection.execute("SELECT rootpage FROM sqlite_schema")}
        connection.close()
        empty = fresh.read_bytes()
    pages = [empty[at : at + schema.PAGE_BYTES] for at in range(0, len(empty), schema.PAGE_BYTES)]
    head = bytearray(pages[0])
    unwritten = roots | _free_pages(pages)
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
            if number not in unwritten and number * schema.PAGE_BYTES <= size:
                file.seek((number - 1) * schema.PAGE_BYTES)
                file.write(page)
    return True


def _free_pages(pages: Sequence[bytes]) -> set[int]:
    """Those that hold nothing, and may hold anything in another file: the list begins in the head
    (sqlite.org/fileformat.html, section 1.5)."""
    free: set[int] = set()
    following = int.from_bytes(pages[0][32:36], "big")
    while following:
        page = pages[following - 1]
        free.add(following)
        following, count = struct.unpack(">II", page[:8])
        free.update(struct.unpack(f">{count}I", page[8 : 8 + 4 * count]))
    return free


def _copy(source: sqlite3.Connection, into: sqlite3.Connection, table: str, report: Report) -> bool:
    """Was all of the table read?"""
    columns = [row[1] for row in into.execute(f"PRAGMA table_info({table})")]
    slots = ", ".join("?" * len(columns))
    insert = f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}) VALUES ({slots})"  # noqa: S608
    count, whole = 0, True
    for row in _rows(source, table, columns):
        if row is None or not _sound(table, row):
            whole = False
            continue
        try:
            count += into.execute(insert, row).rowcount
        except sqlite3.IntegrityError:  # a NOT NULL that is NULL: a doubtful row
            whole = False
    report.rows[table] = report.rows.get(table, 0) + count
    return whole


def _rows(
    source: sqlite3.Connection, table: str, columns: list[str]
) -> Iterator[tuple[Any, ...] | None]:
    """Every row that can be read, some of them twice; None where one could not."""
    select = f"SELECT {', '.join(columns)} FROM {table} NOT INDEXED"  # noqa: S608 - own names
    if table in _UNORDERED:
        try:
            yield from source.execute(select)
        except opening.UNREADABLE:
            yield None
    else:
        key = _ORDERED_BY.get(table, columns[0])
        yield from _between_breaks(source, select, key, columns.index(key))


def _between_breaks(
    source: sqlite3.Connection, select: str, key: str, place: int
) -> Iterator[tuple[Any, ...] | None]:
    """From both ends to the breaks; what lies between two breaks from its middle."""
    stretches = deque([(-1, _LAST)])
    cuts = 0
    while stretches and cuts < MOST_CUTS:
        low, high = stretches.popleft()
        for order in ("ASC", "DESC"):
            query = f"{select} WHERE {key} BETWEEN ? AND ? ORDER BY {key} {order}"
            try:
                for row in source.execute(query, (low, high)):
                    yield row
                    if isinstance(row[place], int) and order == "ASC":
                        low = row[place]
                    elif isinstance(row[place], int):
                        high = row[place]
                break  # read to the end
            except opening.UNREADABLE:
                yield None
                cuts += 1
        else:
            middle = (low + high) // 2
            if low < middle < high:
                stretches += [(low, middle), (middle + 1, high)]


def _sound(table: str, row: tuple[Any, ...]) -> bool:
    match table:
        case "entries":
            return rows.entry((*row, None)) is not None
        case "alarms":
            return rows.change(row) is not None
        case "outbox":
            _, key, contact, at_ms, priority, text, _, tries = row
            return rows.outbox_row((key, contact, at_ms, priority, text, tries)) is not None
        case "readings":
            number, probe_id, temp_c, clock_sure = row
            whole = isinstance(probe_id, int) and isinstance(clock_sure, int)
            timed = isinstance(number, int) and is_ms(number // PER_MS)
            return timed and whole and isinstance(temp_c, float) and math.isfinite(temp_c)
    return True
