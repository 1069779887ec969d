"""What is taken over from a journal of the form before this one: the ledger, the alarms and the
unsent messages, so that no birds are forgotten. Called by `salvage`.

That form kept readings packed, which is read by the version that wrote it (`brooder export`)."""

import json
import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from typing import Any

from monitor.events import AlarmName, Cause, Change, ChangeKind, Entry, EntryKind, Priority
from monitor.journal import writing
from monitor.journal.bringing_in import id_of

_FIRST, _LAST = 1, 2  # its versions
_UNREADABLE = (sqlite3.DatabaseError, UnicodeDecodeError)


def is_it(source: sqlite3.Connection) -> bool:
    """Is this file in that form?"""
    with suppress(*_UNREADABLE):
        version = source.execute("PRAGMA user_version").fetchone()[0]
        return bool(_FIRST <= version <= _LAST)
    return False


def copy(source: sqlite3.Connection, into: sqlite3.Connection, table: str) -> int:
    """Copies what that form has for a table of this one; how many rows it was."""
    match table:
        case "entries":
            return _entries(source, into)
        case "alarms":
            found = [change for row in _read(source, "body", "changes") if (change := _change(row))]
            writing.write_changes(into, found)
            return len(found)
        case "outbox":
            found_rows = _read(
                source,
                "key, contact, at_ms, priority, message, state, tries, next_try_ms",
                "outbox",
            )
            return into.executemany(
                "INSERT OR IGNORE INTO outbox (key, contact, at_ms, priority, message, state,"
                " tries, next_try_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                list(found_rows),
            ).rowcount
    return 0


def _entries(source: sqlite3.Connection, into: sqlite3.Connection) -> int:
    ids: dict[int, str] = {}
    of_moment: Counter[float] = Counter()
    for number, text in _read(source, "number, entry", "entries"):
        entry = _entry(number, text)
        if entry is not None and number not in ids:
            if entry.undoes is not None:
                entry = replace(entry, undoes_id=ids.get(entry.undoes))
            ids[number] = id_of(entry, of_moment[entry.at])
            of_moment[entry.at] += 1
            writing.write_entry(into, replace(entry, id=ids[number]))
    return len(ids)


def _read(source: sqlite3.Connection, columns: str, table: str) -> Iterator[tuple[Any, ...]]:
    """Every row up to the first that cannot be read, and from the far end back to it."""
    for order in ("ASC", "DESC"):
        try:
            yield from source.execute(
                f"SELECT {columns} FROM {table} NOT INDEXED ORDER BY rowid {order}"  # noqa: S608
            )
            return
        except _UNREADABLE:
            continue


def _entry(number: int, text: object) -> Entry | None:
    try:
        said = json.loads(text) if isinstance(text, str) else None
        if isinstance(said, dict):
            return Entry(**{**said, "entry": EntryKind(said["entry"]), "number": number})
    except (ValueError, TypeError, KeyError):
        pass
    return None


def _change(row: tuple[Any, ...]) -> Change | None:
    try:
        said = json.loads(row[0])
        return Change(
            **{
                **said,
                "alarm": AlarmName(said["alarm"]),
                "change": ChangeKind(said["change"]),
                "priority": Priority(said["priority"]),
                "cause": Cause(said["cause"]),
            }
        )
    except (ValueError, TypeError, KeyError):
        return None
