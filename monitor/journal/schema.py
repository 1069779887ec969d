"""The journal file's tables and how an older file becomes a newer one. Called by `store` alone.

Why these settings (SQLite's own documentation, sqlite.org/pragma.html#pragma_synchronous and
sqlite.org/wal.html): in WAL mode a transaction is atomic and isolated under every setting, but
only `synchronous=FULL` syncs the log at each commit, so that what was committed is still there
after a power cut; NORMAL may roll the last commits back, and those readings are acknowledged
already. That is why FULL is paid for, and paid once for up to 20 readings (see `pacing`).

Commits of nothing but readings do not even come here (see `tail`). Pages of 1 KiB: an SD card is
worn by whole pages, and most transactions change a few hundred bytes; tests/bench/bench_journal.py
prints what they cost. The log is checkpointed rarely, because pages that changed twice are then
copied once, and it is not truncated between, so that the file system's own journal has nothing to
do."""

import secrets
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from monitor.journal import codec
from monitor.journal.records import StorageFault

PAGE_BYTES = 1024
CHECKPOINT_PAGES = 2000

TABLES = """
CREATE TABLE meta (name TEXT PRIMARY KEY, value) WITHOUT ROWID;
CREATE TABLE series (           -- probes as configured, and derived numbers (sample)
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,         -- probe | sample
    key TEXT NOT NULL,          -- Probe.key, or series/name of a sample
    brooder TEXT, topic TEXT, place TEXT, unit TEXT,
    value_pointer TEXT, time_pointer TEXT, senml_name TEXT, offset_c REAL);
CREATE TABLE log (              -- inputs in order of arrival, one row a commit (see codec)
    seq INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL, tick_ms INTEGER NOT NULL,  -- how far time had been advanced
    readings BLOB,
    others TEXT,                -- JSON: bad values, entries, faults, with their place in the order
    marks BLOB);                -- redelivery marks of these messages
CREATE TABLE packed (           -- settled readings, one row a stream and hour (see codec)
    key INTEGER PRIMARY KEY,
    changed_seq INTEGER NOT NULL,
    readings BLOB NOT NULL);
CREATE INDEX packed_by_change ON packed (changed_seq);
CREATE TABLE entries (number INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, entry TEXT NOT NULL);
CREATE TABLE changes (
    id INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    occurrence TEXT NOT NULL, change TEXT NOT NULL,
    body TEXT NOT NULL,
    UNIQUE (occurrence, change, at_ms));
CREATE INDEX changes_by_time ON changes (at_ms);
CREATE TABLE outbox (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL, contact TEXT NOT NULL,
    at_ms INTEGER NOT NULL, priority TEXT NOT NULL, message TEXT NOT NULL,
    state TEXT NOT NULL, tries INTEGER NOT NULL, next_try_ms INTEGER,
    UNIQUE (key, contact));
CREATE INDEX outbox_pending ON outbox (state) WHERE state = 'pending';
CREATE TABLE deliveries (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL, contact TEXT NOT NULL,
    tried_ms INTEGER NOT NULL, late_ms INTEGER NOT NULL, failure TEXT);
CREATE INDEX deliveries_by_time ON deliveries (tried_ms);
CREATE TABLE snapshots (
    name TEXT PRIMARY KEY, seq INTEGER NOT NULL,
    at_ms INTEGER NOT NULL, tick_ms INTEGER NOT NULL, state BLOB NOT NULL);
CREATE TABLE bad_values (       -- counted by hour, so that a stuck probe cannot fill the disk
    probe TEXT NOT NULL, hour INTEGER NOT NULL, reason TEXT NOT NULL,
    count INTEGER NOT NULL, first_ms INTEGER NOT NULL, last_ms INTEGER NOT NULL, temp_c REAL,
    PRIMARY KEY (probe, hour, reason)) WITHOUT ROWID;
CREATE TABLE refused (
    topic TEXT NOT NULL, reason TEXT NOT NULL,
    count INTEGER NOT NULL, first_ms INTEGER NOT NULL, last_ms INTEGER NOT NULL, excerpt TEXT,
    PRIMARY KEY (topic, reason)) WITHOUT ROWID;
CREATE TABLE cursors (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
"""


def _first_to_second(connection: sqlite3.Connection) -> None:
    """Version 1 had no cursors: the mirror began with version 2."""
    connection.execute(
        "CREATE TABLE cursors (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID"
    )


MIGRATIONS: dict[int, Callable[[sqlite3.Connection], None]] = {1: _first_to_second}
VERSION = max(MIGRATIONS) + 1


def prepare(connection: sqlite3.Connection) -> None:
    """The settings of a write connection. The page size only counts for a file still empty."""
    connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")
    connection.execute("PRAGMA cache_size = -2000")
    connection.execute("PRAGMA temp_store = MEMORY")


def version_of(connection: sqlite3.Connection) -> int:
    """0 for an empty file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def refuse_newer(connection: sqlite3.Connection, path: Path) -> None:
    """Before anything is changed: a file of a later version is none that this one may write."""
    version = version_of(connection)
    if version > VERSION:
        raise StorageFault(
            "newer",
            f"{path} was written by a newer version of brooder (format {version}, this one"
            f" knows {VERSION}); install that version again",
        )


def is_newer(path: Path) -> bool:
    """Was this file written by a version later than this one? A missing one was not."""
    if not path.exists():
        return False
    connection = sqlite3.connect(path)
    try:
        return version_of(connection) > VERSION
    finally:
        connection.close()


def unlike_its_version(connection: sqlite3.Connection) -> str | None:
    """What the file's tables are not, though its version says so: a name that was
    overwritten, which no check of SQLite's sees. None: they are what they should be, or nobody
    here can know (an older version, or a newer one)."""
    if version_of(connection) != VERSION:
        return None
    made = sqlite3.connect(":memory:", isolation_level=None)
    try:
        bring_up_to_date(made)
        ours = _columns(made)
    finally:
        made.close()
    return None if _columns(connection) == ours else "its tables are not those of a journal"


def _columns(connection: sqlite3.Connection) -> set[tuple[Any, ...]]:
    """Every column of every table and index."""
    of_tables = (
        'SELECT m.type, m.name, m.tbl_name, c.name, c.type, c."notnull", c.dflt_value, c.pk'
        " FROM sqlite_schema AS m, pragma_table_xinfo(m.name) AS c WHERE m.type = 'table'"
    )
    of_indexes = (
        'SELECT m.name, l.name, l."unique", l.origin, l.partial, c.seqno, c.name'
        " FROM sqlite_schema AS m, pragma_index_list(m.name) AS l, pragma_index_info(l.name) AS c"
        " WHERE m.type = 'table'"
    )
    # SQLite itself adds tables of its own where somebody asked it to (ANALYZE).
    return {
        row
        for query in (of_tables, of_indexes)
        for row in connection.execute(query)
        if not str(row[1]).startswith("sqlite_stat")
    }


def bring_up_to_date(connection: sqlite3.Connection) -> None:
    """Makes the tables, or migrates step by step, in one transaction."""
    version = version_of(connection)
    if version == VERSION:
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        if version == 0:
            for statement in TABLES.split(";"):
                if statement.strip():
                    connection.execute(statement)
            connection.execute(
                "INSERT INTO meta (name, value) VALUES ('id', ?)", (secrets.randbits(32),)
            )
        while 0 < version < VERSION:
            MIGRATIONS[version](connection)
            version += 1
        connection.execute(f"PRAGMA user_version = {VERSION}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise


def journal_id(connection: sqlite3.Connection) -> int:
    """The random number of this journal: a tail of another one does not fit it."""
    return int(connection.execute("SELECT value FROM meta WHERE name = 'id'").fetchone()[0])


# The rows of the tail that follow the table `log`, while a reader holds a picture; a writer's is
# always empty. See `whole_log`.
TAIL_TABLE = (
    "CREATE TEMP TABLE tail (seq INTEGER PRIMARY KEY, at_ms, tick_ms, readings, others, marks)"
)


ALL = 2**62  # above any log number
IS_TIMED = " AND ".join(
    f"typeof({column}) = 'integer' AND {column} BETWEEN 0 AND {codec.LARGEST_MS}"
    for column in ("at_ms", "tick_ms")
)


def whole_log(
    connection: sqlite3.Connection, columns: str, after: int = 0, upto: int = ALL
) -> Iterator[tuple[Any, ...]]:
    """Rows of the log with numbers above `after`, in order: the database's and then the tail's. A
    row whose time was overwritten by something that is none is left out."""
    for table in ("main.log", "temp.tail"):
        yield from connection.execute(
            f"SELECT {columns} FROM {table} WHERE seq > ? AND seq <= ?"  # noqa: S608
            f" AND {IS_TIMED} ORDER BY seq",
            (after, upto),
        )
