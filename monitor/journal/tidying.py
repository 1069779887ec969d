"""What nobody needs any more leaves the journal, inside the caller's transaction. Called by
`store.Journal.tidy`.

The inputs of a commit are kept in their order until a snapshot has taken them in. Which hours of
which probes they belonged to is noted then, so that the mirror finds the readings themselves also
after an outage of weeks."""

import sqlite3

from monitor.journal.resolution import HOUR_MS, PER_MS, first_id
from monitor.journal.rows import items_of

MARK_BYTES = 8 * 65_536  # of the newest redelivery marks stay: what `redelivered` remembers
_SPAN_MS = 6 * HOUR_MS  # of old readings that go at once: nobody waits long for it
_CHANGED = (
    "INSERT INTO changed_hours (hour, probe_id, seq) VALUES (?, ?, ?)"
    " ON CONFLICT DO UPDATE SET seq = max(seq, excluded.seq)"
)


def drop_commits(connection: sqlite3.Connection) -> int:
    """Drops the commits that every snapshot has taken in, but for the newest marks and the very
    last one, whose number the next one counts on from. How many went."""
    upto = _needed_upto(connection)
    if upto <= 0:
        return 0
    changed: dict[tuple[int, int], int] = {}
    for seq, at_ms, text in connection.execute(
        "SELECT seq, at_ms, inputs FROM commits WHERE seq <= ? ORDER BY seq", (upto,)
    ):
        for item in items_of(text):
            if isinstance(item[0], int):
                changed[(at_ms + item[1]) // HOUR_MS, item[0]] = seq
    note_changed(connection, changed)
    return connection.execute("DELETE FROM commits WHERE seq <= ?", (upto,)).rowcount


def note_changed(connection: sqlite3.Connection, changed: dict[tuple[int, int], int]) -> None:
    """(hour, probe number) -> the commit by which it grew."""
    connection.executemany(_CHANGED, [(*place, seq) for place, seq in changed.items()])


def drop_old_readings(connection: sqlite3.Connection, before_ms: int) -> None:
    """Drops readings of before that time, the oldest hours of them; the next call goes on. The
    ledger and the alarms stay for ever."""
    oldest = connection.execute("SELECT min(id) FROM readings").fetchone()[0]
    if oldest is None or oldest >= first_id(before_ms):
        return
    upto = min(before_ms, oldest // PER_MS + _SPAN_MS)
    connection.execute("DELETE FROM readings WHERE id < ?", (first_id(upto),))
    for table in ("bad_values", "derived"):
        connection.execute(f"DELETE FROM {table} WHERE at_ms < ?", (upto,))  # noqa: S608
    connection.execute("DELETE FROM changed_hours WHERE hour < ?", (upto // HOUR_MS,))


def _needed_upto(connection: sqlite3.Connection) -> int:
    taken_in = connection.execute("SELECT min(seq) FROM snapshots").fetchone()[0]
    newest = connection.execute("SELECT max(seq) FROM commits").fetchone()[0]
    if taken_in is None or newest is None:
        return 0
    upto, size = min(int(taken_in), int(newest) - 1), 0
    for seq, marks in connection.execute(
        "SELECT seq, marks FROM commits WHERE marks IS NOT NULL ORDER BY seq DESC"
    ):
        if size >= MARK_BYTES:
            break
        size += len(marks)
        upto = min(upto, seq - 1)
    return upto
