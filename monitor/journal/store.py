"""The journal: one SQLite file, one writer. Called by the service's writer thread, the import,
restore and replay commands. Nothing is promised before `commit` has returned: then it is on disk.

Readings are kept for ever: 30 days of 8 probes every 10 s are about 5 MB."""

import itertools
import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from monitor.journal import bringing_in, codec, opening, packing, salvage, schema, tail, writing
from monitor.journal.bringing_in import Arrivals, BroughtIn
from monitor.journal.log_row import plain_row
from monitor.journal.records import Commit, StorageFault
from monitor.journal.series import Series
from monitor.journal.tail import Row
from monitor.site import Probe

CURSOR_S = 600.0  # a cursor is worth a transaction of its own after this


class Journal:
    """The one write connection. Not for two threads at once; `next_entry_number` may be called
    from any."""

    def __init__(
        self,
        path: Path,
        connection: sqlite3.Connection,
        lock: opening.WriterLock,
        aside: Path | None,
        carried: salvage.Report | None,
    ) -> None:
        self.path = path
        self.set_aside = aside  # where a damaged predecessor was put by this opening
        self.carried_over = carried  # what of it the new journal begins with
        self._connection = connection
        self._lock = lock
        self._series = Series(connection)
        self._seq = int(connection.execute("SELECT ifnull(max(seq), 0) FROM log").fetchone()[0])
        newest = connection.execute("SELECT ifnull(max(number), 0) FROM entries").fetchone()[0]
        self._entry_numbers = itertools.count(int(newest) + 1)
        self._cursors: dict[str, Any] = {}
        self._cursors_at = 0.0
        journal_id = schema.journal_id(connection)
        left = tail.read(path, journal_id, self._seq)
        self._tail = tail.Tail(path, journal_id)
        if left and left[0].seq == self._seq + 1:  # else it belongs to a newer copy of this journal
            self._tail.rows = left
            self._seq = left[-1].seq
            try:
                self.flush()
            except BaseException:
                self._tail.close()
                raise

    @classmethod
    def open(
        cls,
        path: Path,
        *,
        wall: float | None = None,
        distrust: bool = False,
        replace_newer: bool = False,
    ) -> "Journal":
        """Opens or makes the journal. A damaged file is set aside (`set_aside` says where) and a
        new one begun with whatever ledger, snapshots and unsent messages could still be read;
        `distrust` does so with a file that only a commit has found to be damaged, `replace_newer`
        with a sound one that a newer version has written.
        Raises StorageFault: in-use, read-only, full, newer, failed."""
        lock = opening.WriterLock(path)
        at = time.time() if wall is None else wall
        try:
            aside = None
            if opening.damage(path) is not None or (distrust and path.exists()):
                aside = opening.set_aside(path, at)
            elif replace_newer and schema.is_newer(path):
                aside = opening.set_aside(path, at, opening.NEWER)
            try:
                return cls._begin(path, lock, aside)
            except Exception as error:
                if aside is not None or not opening.is_damaged(error):
                    raise
            # What the check does not see, it stumbled over.
            return cls._begin(path, lock, opening.set_aside(path, at))
        except BaseException as error:
            lock.release()
            if isinstance(error, Exception):
                raise opening.fault_of(error, path) from error
            raise

    @classmethod
    def _begin(cls, path: Path, lock: opening.WriterLock, aside: Path | None) -> "Journal":
        connection = opening.connect_to_write(path)
        try:
            schema.refuse_newer(connection, path)
            schema.prepare(connection)
            schema.bring_up_to_date(connection)
            carried = None
            if aside is not None:
                with suppress(Exception):  # a watch without its past is still a watch
                    carried = salvage.carry_over(aside, connection)
            connection.execute(schema.TAIL_TABLE)
            return cls(path, connection, lock, aside, carried)
        except BaseException:
            connection.close()
            raise

    def know(self, probes: Iterable[Probe]) -> None:
        """Tells the journal how probes are configured, at start and after a reload."""
        with self._transaction():
            self._series.know(probes)

    def next_entry_number(self) -> int:
        """Reserves a number for a ledger entry."""
        return next(self._entry_numbers)

    @property
    def newest(self) -> int:
        """The log number of the last commit."""
        return self._seq

    def commit(self, batch: Commit) -> None:
        """Writes the batch as one transaction and returns when it is on the disk. Raises
        StorageFault with nothing of it written; the batch stays with the caller."""
        row = plain_row(batch, self._seq + 1, self._series)
        if row is not None and self._tail.takes(row):
            try:
                self._tail.append(row)
            except OSError as error:
                raise opening.fault_of(error, self.path) from error
            self._seq += 1
            return
        with self._transaction() as connection:
            writing.write_rows(connection, self._tail.rows)
            writing.write_batch(connection, batch, self._seq + 1, self._series)
            writing.write_cursors(connection, self._cursors)
        self._seq += 1
        self._tail.taken()
        self._cursors.clear()

    def tidy(self, now_at: float) -> int:
        """Packs what has settled; returns how many log rows moved. Call it when idle, every few
        minutes: some milliseconds a probe and hour."""
        if self._cursors and now_at - self._cursors_at > CURSOR_S:
            self.flush()
        upto = packing.settled_upto(self._connection, codec.to_ms(now_at))
        if not upto:
            return 0
        streams = packing.gather(self._connection, 0, upto)
        rows = list(packing.merged(self._connection, streams))
        with self._transaction() as connection:
            packing.put(connection, rows)
            packing.carry_marks(connection, upto)
            return connection.execute("DELETE FROM log WHERE seq <= ?", (upto,)).rowcount

    def bring_in(
        self, arrivals: Arrivals, told: bringing_in.Told = lambda _done, _all: None
    ) -> BroughtIn:
        """Readings and entries from elsewhere, in one transaction. Raises StorageFault."""
        self.flush()
        here = bringing_in.Here(
            seq=self._seq + 1,
            stream_of=lambda key: self._series.of_probe(key) * 4,
            next_number=self.next_entry_number,
        )
        with self._transaction() as connection:
            done = bringing_in.bring_in(connection, here, arrivals, told)
            last = connection.execute(
                "SELECT at_ms, tick_ms FROM log ORDER BY seq DESC LIMIT 1"
            ).fetchone()
            at_ms, tick_ms = last or (0, 0)  # 0: no engine has run yet
            writing.write_rows(connection, [Row(here.seq, at_ms, tick_ms, b"", b"")])
        self._seq = here.seq
        return done

    def set_cursor(self, name: str, value: Any, at: float = 0.0) -> None:
        """Keeps how far a reader of the journal has come (the mirror): with the next transaction,
        a `tidy` some minutes later, or at the close. What it names can be sent twice."""
        if not self._cursors:
            self._cursors_at = at
        self._cursors[name] = value

    def flush(self) -> None:
        """Moves the tail and the cursors into the database."""
        with self._transaction() as connection:
            writing.write_rows(connection, self._tail.rows)
            writing.write_cursors(connection, self._cursors)
        self._tail.taken()
        self._cursors.clear()

    def close(self) -> None:
        """Moves everything into one file, checkpoints it, and gives the lock free. A disk that
        refuses loses nothing: the tail is read at the next opening."""
        try:
            if self._tail.rows or self._cursors:
                with suppress(StorageFault):
                    self.flush()
            self._connection.close()
        finally:
            self._tail.close()
            self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        known = self._series.so_far()
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            yield self._connection
            self._connection.execute("COMMIT")
        except BaseException as error:
            self._series.back_to(known)
            if self._connection.in_transaction:
                with suppress(sqlite3.Error):  # a full disk may have rolled it back already
                    self._connection.execute("ROLLBACK")
            if isinstance(error, sqlite3.Error | OSError | UnicodeDecodeError):
                raise opening.fault_of(error, self.path) from error
            raise
