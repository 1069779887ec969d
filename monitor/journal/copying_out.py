"""A back-up of a journal in use, and putting one back. Called by `brooder backup` and `restore`.

It is made by SQLite's own online backup as of one moment, while the service goes
on writing; it is one plain file without side files. It gets its name only when it is whole and has
passed the check."""

import shutil
import sqlite3
import time
from pathlib import Path

from monitor.journal import opening, ownership, schema
from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault


def backup(journal: Path, to: Path) -> int:
    """Backs the journal up and returns the back-up's size in bytes. Raises StorageFault."""
    part = to.with_name(to.name + ".part")
    try:
        part.unlink(missing_ok=True)
        copy = opening.connect_to_write(part)
        try:
            with JournalReader(journal) as reader, reader.transaction() as source:
                source.backup(copy, pages=2000)
            copy.execute("PRAGMA journal_mode = DELETE")
            found = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
        finally:
            copy.close()
        if found != "ok":
            part.unlink()
            raise StorageFault("damaged", f"{journal} is damaged ({found}); use brooder salvage")
        ownership.settle(part, to)
    except (sqlite3.Error, OSError) as error:
        raise opening.fault_of(error, to) from error
    return to.stat().st_size


def check(copy: Path) -> None:
    """Is this file a journal that can be put back? Raises StorageFault that says why not."""
    if not copy.is_file():
        raise StorageFault("failed", f"{copy} is not there")
    try:
        wrong = opening.damage(copy)
    except sqlite3.Error as error:
        raise opening.fault_of(error, copy) from error
    if wrong is not None:
        raise StorageFault("damaged", f"{copy} is damaged ({wrong}); use brooder salvage")
    connection = opening.connect_to_read(copy)
    try:
        schema.refuse_newer(connection, copy)
        schema.refuse_earlier(connection, copy)
        if schema.version_of(connection) == 0:
            raise StorageFault("failed", f"{copy} is not a journal of brooder")
    except sqlite3.Error as error:
        raise opening.fault_of(error, copy) from error
    finally:
        connection.close()


def restore(copy: Path, journal: Path) -> Path | None:
    """Puts a checked back-up in the journal's place; what was there is moved aside, never deleted:
    where it is now. No service may be running. Raises StorageFault."""
    check(copy)
    lock = opening.WriterLock(journal)
    try:
        part = journal.with_name(journal.name + ".part")
        part.unlink(missing_ok=True)
        ownership.make_file(part)
        shutil.copyfile(copy, part)
        aside = opening.set_aside(journal, time.time(), "replaced") if journal.exists() else None
        ownership.settle(part, journal)
    except OSError as error:
        raise opening.fault_of(error, journal) from error
    finally:
        lock.release()
    return aside
