"""A commit, and in it the record that a database will not take. Used by `writer`."""

import logging
import sqlite3
from collections.abc import Iterator
from typing import Any

from monitor.journal.records import LISTS, Commit, StorageFault
from monitor.journal.store import Journal
from monitor.service.logs import facts

log = logging.getLogger(__name__)

_ABOUT_THE_DATA = (
    sqlite3.IntegrityError,
    sqlite3.DataError,
    sqlite3.ProgrammingError,
    sqlite3.InterfaceError,
)


class NotKept(Exception):
    """The disk refused; what of the commit is still owed to it."""

    def __init__(self, why: StorageFault, owed: Commit) -> None:
        super().__init__(why)
        self.why = why
        self.owed = owed


def commit_all(journal: Journal, batch: Commit) -> None:
    """Commits all of it, but for records that the database will not take whatever the disk does:
    one of those must not keep everything after it from being kept. Raises NotKept."""
    waiting = [batch]
    while waiting:
        part = waiting.pop()
        try:
            journal.commit(part)
            continue
        except StorageFault as fault:
            if not isinstance(fault.__cause__, _ABOUT_THE_DATA):
                while waiting:
                    part.extend(waiting.pop())
                raise NotKept(fault, part) from fault
            why: Exception = fault
        except Exception as error:
            why = error
        smaller = _halves(part)
        if smaller is None:
            log.error(
                "A record could not be kept and is left out.",
                extra=facts(record=_shown(part), why=f"{type(why).__name__}: {why}"),
            )
        else:
            waiting += reversed(smaller)


def _halves(batch: Commit) -> tuple[Commit, Commit] | None:
    """The batch in two, in order; None: there is but one record in it."""
    records = list(_records(batch))
    if len(records) < 2:
        return None
    middle = len(records) // 2
    return _batch(records[:middle], batch), _batch(records[middle:], batch)


def _shown(batch: Commit) -> str:
    """A batch of one record, for the log."""
    return "; ".join(f"{name}: {str(value)[:200]}" for name, value in _records(batch)) or "nothing"


def _records(batch: Commit) -> Iterator[tuple[str, Any]]:
    for name in LISTS:
        for item in getattr(batch, name):
            yield name, item
    # Last, because they speak of everything before them.
    for name, state in batch.snapshots.items():
        yield "snapshots", (name, state)
    if batch.redelivery_marks:
        yield "redelivery_marks", batch.redelivery_marks


def _batch(records: list[tuple[str, Any]], of: Commit) -> Commit:
    part = Commit(advanced_to=of.advanced_to)
    for name, value in records:
        if name == "snapshots":
            part.snapshots[value[0]] = value[1]
        elif name == "redelivery_marks":
            part.redelivery_marks = value
        else:
            getattr(part, name).append(value)
    return part
