"""The journal file's tables, and which form a file is in. Called by `store`, `opening`, `salvage`.

Why these settings (SQLite's own documentation, sqlite.org/pragma.html#pragma_synchronous and
sqlite.org/wal.html): in WAL mode a transaction is atomic and isolated under every setting, but
only `synchronous=FULL` syncs the log at each commit, so that what was committed is still there
after a power cut; NORMAL may roll the last commits back, and those readings are acknowledged
already. That is why FULL is paid for, and paid once for up to 20 readings (see `pacing`).

An SD card is worn by whole pages, and a commit changes a few hundred bytes: hence pages of 1 KiB,
and readings numbered by their time, so that a commit touches the end of one table and not a page
for each probe. The log is checkpointed about once an hour: pages that changed often are then copied
once. tests/bench/bench_journal.py prints what all of it costs."""

import sqlite3
from dataclasses import fields
from pathlib import Path
from typing import Any

from monitor.events import Entry
from monitor.journal.records import StorageFault

PAGE_BYTES = 1024
CHECKPOINT_PAGES = 2000
VERSION = 5
OLDEST = 3  # the first version that is a plain database; what was before it is not moved
# A site of more probes than this has an index by probe, or one box's night would be looked for
# among everybody's. It takes as much room again as the readings.
MANY_PROBES = 200
BY_PROBE = "readings_by_probe"

# As version 3 had them, to the letter: see MOVES.
TABLES = """
CREATE TABLE meta (name TEXT PRIMARY KEY, value) WITHOUT ROWID;
CREATE TABLE probes (           -- as configured, and once more for each time that was changed
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL,          -- brooder/name, or site/name of an outside probe
    brooder TEXT, topic TEXT, place TEXT, unit TEXT,
    value_pointer TEXT, time_pointer TEXT, senml_name TEXT, offset_c REAL);
CREATE TABLE readings (         -- in order of time
    id INTEGER PRIMARY KEY,     -- its at_ms and, in the last six digits, which of that millisecond
    at_ms INTEGER GENERATED ALWAYS AS (id / 1000000) VIRTUAL,  -- Unix time (UTC) in milliseconds
    probe_id INTEGER NOT NULL,
    temp_c REAL NOT NULL,
    clock_sure INTEGER NOT NULL);  -- 0: read before the board knew the time
CREATE TABLE bad_values (       -- what no floor can have
    at_ms INTEGER NOT NULL, probe_id INTEGER NOT NULL, nth INTEGER NOT NULL,
    temp_c REAL, reason TEXT NOT NULL,
    PRIMARY KEY (at_ms, probe_id, nth)) WITHOUT ROWID;
CREATE TABLE entries (          -- the ledger, and the acts on alarms
    number INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,    -- the entry's own, in whatever journal it is
    at_ms INTEGER NOT NULL, entry TEXT NOT NULL, brooder TEXT,
    count INTEGER, hatched TEXT, kind TEXT, note TEXT, alarm TEXT, probe TEXT, minutes REAL,
    undoes_id TEXT, by TEXT);
CREATE TABLE ledger_lines (     -- each entry once more, as its journal line: see `salvage`
    number INTEGER PRIMARY KEY, line TEXT NOT NULL);
CREATE TABLE alarms (           -- every change of every alarm
    id INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL, brooder TEXT, alarm TEXT NOT NULL, change TEXT NOT NULL,
    priority TEXT NOT NULL, cause TEXT NOT NULL, probe TEXT,
    occurrence TEXT NOT NULL,   -- the same from raised to cleared
    facts TEXT NOT NULL,        -- JSON: the numbers behind it
    UNIQUE (occurrence, change, at_ms));
CREATE INDEX alarms_by_time ON alarms (at_ms);
CREATE TABLE derived (          -- target_c, low_c, rise_k, ... of a brooder: the names say the unit
    id INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL, brooder TEXT NOT NULL, name TEXT NOT NULL, value REAL NOT NULL);
CREATE INDEX derived_by_name ON derived (brooder, name, at_ms);
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
CREATE TABLE refused (          -- no longer written: the next form is without it
    topic TEXT NOT NULL, reason TEXT NOT NULL,
    count INTEGER NOT NULL, first_ms INTEGER NOT NULL, last_ms INTEGER NOT NULL, excerpt TEXT,
    PRIMARY KEY (topic, reason)) WITHOUT ROWID;
CREATE TABLE commits (          -- the engine's inputs since the last snapshot, in their order
    seq INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL, tick_ms INTEGER NOT NULL,  -- how far time had been advanced
    inputs BLOB NOT NULL,       -- compressed JSON, see `writing`
    marks BLOB);                -- redelivery marks of these messages
CREATE TABLE changed_hours (    -- by which commit an hour (since 1970) of a probe grew last
    hour INTEGER NOT NULL, probe_id INTEGER NOT NULL, seq INTEGER NOT NULL,
    PRIMARY KEY (hour, probe_id)) WITHOUT ROWID;
CREATE INDEX changed_hours_by_seq ON changed_hours (seq);
CREATE TABLE snapshots (
    name TEXT PRIMARY KEY, seq INTEGER NOT NULL,
    at_ms INTEGER NOT NULL, tick_ms INTEGER NOT NULL, state BLOB NOT NULL);
CREATE TABLE cursors (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE utc_offsets (      -- of the site's zone, for the views in local time
    from_ms INTEGER PRIMARY KEY, offset_s INTEGER NOT NULL);
"""
# What makes each later version of the one before it. A new journal goes the same way as an old one,
# so that both have their tables in the same places: `salvage` counts on it.
MOVES = {
    # Nobody read them. How long a message waited: `tried_ms` less the `at_ms` of the outbox.
    4: "ALTER TABLE deliveries DROP COLUMN late_ms; DROP TABLE refused",
    5: "ALTER TABLE outbox DROP COLUMN next_try_ms",
}
# What an entry says, as columns; `undoes` is the other entry's number here, found by its id.
ENTRY_COLUMNS = (
    "brooder", "count", "hatched", "kind", "note", "alarm", "probe", "minutes", "undoes_id", "by",
)  # fmt: skip
assert {"at", "entry", "number", "id", "undoes", *ENTRY_COLUMNS} == {
    field.name for field in fields(Entry)
}, "a new field of Entry needs its column, and a new version its ALTER TABLE"


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


def refuse_earlier(connection: sqlite3.Connection, path: Path) -> None:
    """A file from before OLDEST is read by the version that wrote it; at a start of the service it
    is set aside. What readers ask for is the same in all later ones."""
    if 0 < version_of(connection) < OLDEST:
        raise StorageFault(
            "earlier",
            f"{path} is in the form of an earlier version of brooder; export it with that version"
            " and import what it wrote",
        )


def form_of(path: Path) -> int:
    """The version that the file says it is of; VERSION where there is none."""
    if not path.exists():
        return VERSION
    connection = sqlite3.connect(path)
    try:
        return version_of(connection) or VERSION
    finally:
        connection.close()


def unlike_its_version(connection: sqlite3.Connection) -> str | None:
    """What the file's tables are not, though its version says so: a name that was
    overwritten, which no check of SQLite's sees. None: they are what they should be, or nobody
    here can know (a version before OLDEST, or a newer one)."""
    version = version_of(connection)
    if not OLDEST <= version <= VERSION:
        return None
    made = sqlite3.connect(":memory:", isolation_level=None)
    try:
        bring_to(made, version)
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
        if not str(row[1]).startswith(("sqlite_stat", BY_PROBE))
    }


def bring_to(connection: sqlite3.Connection, version: int = VERSION) -> None:
    """Makes the tables where there are none, and moves those of an earlier version forward, in one
    transaction."""
    found = version_of(connection)
    if found == version:
        return
    steps = [TABLES] if found == 0 else []
    steps += [move for to, move in MOVES.items() if found < to <= version]
    connection.execute("BEGIN IMMEDIATE")
    try:
        for statement in ";".join(steps).split(";"):
            if statement.strip():
                connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {version}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
