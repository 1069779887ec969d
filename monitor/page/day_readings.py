"""What the pictures of Now are drawn from: the last day's readings, alarms and entries out of the
journal, in columns of five minutes. Read in a thread of its own while somebody looks, at most once
a minute and only what is new; a disk that hangs holds up that thread and nothing else. Owned by
`screen_now`."""

import asyncio
import logging
from collections.abc import Iterable
from math import ceil
from pathlib import Path
from typing import NamedTuple

from monitor.events import Change, Entry, EntryKind
from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault

COLUMN_S = 300.0
BACK_S = 86400.0
FRESH_S = 60.0
MOST_BOXES = 12  # of a site with more, the record has the pictures

log = logging.getLogger(__name__)


class Reach(NamedTuple):
    """The lowest and the highest of a column, degC."""

    low_c: float
    high_c: float


class DayFound(NamedTuple):
    """What was found: columns by probe key, changes of alarms, entries of the ledger."""

    columns: dict[str, dict[int, Reach]]
    changes: list[Change]
    entries: list[Entry]
    read_at: float  # Unix s
    wide_s: float = COLUMN_S  # of a column


class DayReadings:
    """The newest day; None until it was read once."""

    def __init__(self) -> None:
        self.day: DayFound | None = None
        self._reading: asyncio.Task[None] | None = None
        self._failed = False

    def refresh(self, path: Path, keys: Iterable[str], now: float) -> asyncio.Task[None] | None:
        """Begins to read what is new, where that is due; the task of whatever is under way."""
        if self._reading is not None and self._reading.done():
            self._reading = None
        day = self.day
        due = day is None or not 0 <= now - day.read_at < FRESH_S
        if self._reading is None and due:
            self._reading = asyncio.create_task(self._read(path, tuple(keys), now))
        return self._reading

    async def _read(self, path: Path, keys: tuple[str, ...], now: float) -> None:
        try:
            self.day = await asyncio.to_thread(_read, path, keys, now, self.day)
            self._failed = False
        except StorageFault as fault:
            if not self._failed:
                log.warning("The day's picture could not be read: %s", fault)
            self._failed = True
            known = self.day
            self.day = DayFound({}, [], [], now) if known is None else known._replace(read_at=now)


def _read(path: Path, keys: tuple[str, ...], now: float, known: DayFound | None) -> DayFound:
    begins = now - BACK_S - COLUMN_S
    since = begins
    columns: dict[str, dict[int, Reach]] = {key: {} for key in keys}
    if known is not None and known.read_at <= now and known.columns.keys() >= set(keys):
        first = int(begins // COLUMN_S)
        # What came late, out of a probe's own store, may lie an hour back.
        since = max(begins, known.read_at // COLUMN_S * COLUMN_S - 3600.0)
        for key in keys:
            kept = known.columns[key]
            columns[key] = {n: reach for n, reach in kept.items() if first <= n}
    with JournalReader(path) as reader:
        _fill(columns, reader, (since, now + 1.0), COLUMN_S)
        changes = reader.changes(begins, now + 1.0)
        entries = _written(reader, begins, now + 1.0)
    return DayFound(columns, changes, entries, now)


def read_span(
    path: Path, keys: tuple[str, ...], start: float, stop: float, columns: int
) -> DayFound:
    """Any stretch of the record, in so many columns at most. Raises StorageFault."""
    wide_s = max(COLUMN_S, ceil((stop - start) / columns / 60.0) * 60.0)
    found: dict[str, dict[int, Reach]] = {key: {} for key in keys}
    with JournalReader(path) as reader:
        _fill(found, reader, (start, stop), wide_s)
        changes = reader.changes(start, stop)
        entries = _written(reader, start, stop)
    return DayFound(found, changes, entries, stop, wide_s)


def _written(reader: JournalReader, start: float, stop: float) -> list[Entry]:
    """The entries of that time that were not taken back."""
    entries = reader.entries()
    undone = {entry.undoes for entry in entries if entry.entry is EntryKind.UNDO}
    return [e for e in entries if start <= e.at < stop and e.number not in undone]


def _fill(
    columns: dict[str, dict[int, Reach]],
    reader: JournalReader,
    span: tuple[float, float],
    wide_s: float,
) -> None:
    """A probe that was configured anew has several numbers and is one all the same."""
    for key, column, low_c, high_c in reader.columns(columns, *span, wide_s):
        kept_c = columns[key].get(column, (low_c, high_c))
        columns[key][column] = Reach(min(low_c, *kept_c), max(high_c, *kept_c))
