"""The journal: one SQLite file, one writer. Called by the service's writer thread, the import,
restore and replay commands. Nothing is promised before `commit` has returned: then it is on disk.

Readings are kept for ever unless `keep_days` says otherwise: 30 days of 8 probes every 10 s are
about 60 MB."""

import itertools
import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from datetime import tzinfo
from pathlib import Path
from typing import Any, Self

from monitor.journal import bringing_in, local_views, opening, salvaging, schema, tidying, writing
from monitor.journal.bringing_in import Arrivals, BroughtIn
from monitor.journal.known_probes import Probes
from monitor.journal.records import BROUGHT_IN, Commit, StorageFault
from monitor.journal.resolution import DAY_MS, to_ms
from monitor.site import Meter, Probe, Site
from monitor.units import Unit

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
    ) -> None:
        self.path = path
        self.set_aside = aside  # where a damaged predecessor was put by this opening
        self._connection = connection
        self._lock = lock
        self.keep_days: int | None = None  # readings older than this go when it is tidied
        self._probes = Probes(connection)
        self._seq = int(connection.execute("SELECT ifnull(max(seq), 0) FROM commits").fetchone()[0])
        newest = connection.execute("SELECT ifnull(max(number), 0) FROM entries").fetchone()[0]
        self._entry_numbers = itertools.count(int(newest) + 1)
        self._cursors: dict[str, Any] = {}
        self._cursors_at = 0.0

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
        with a sound one that a newer version has written. One of an earlier version is moved
        forward; one from before `schema.OLDEST` is set aside too.
        Raises StorageFault: in-use, read-only, full, newer, failed."""
        lock = opening.WriterLock(path)
        at = time.time() if wall is None else wall
        try:
            aside = None
            if opening.damage(path) is not None or (distrust and path.exists()):
                aside = opening.set_aside(path, at)
            elif (form := schema.form_of(path)) < schema.OLDEST:
                aside = opening.set_aside(path, at, opening.EARLIER)
            elif replace_newer and form > schema.VERSION:
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
            schema.bring_to(connection)
            if aside is not None and f".{opening.EARLIER}-" not in aside.name:
                with suppress(Exception):  # a watch without its past is still a watch
                    salvaging.carry_over(aside, connection)
            return cls(path, connection, lock, aside)
        except BaseException:
            connection.close()
            raise

    def know(
        self,
        probes: Iterable[Probe],
        *,
        meters: Iterable[Meter] = (),
        zone: tzinfo | None = None,
        units: Unit | None = None,
    ) -> None:
        """Tells the journal how probes and meters are configured, at start and after a reload; and,
        for the views that people read, the site's zone and units."""
        with self._transaction() as connection:
            self._probes.know(probes)
            self._probes.know_meters(meters)
            if zone is not None and units is not None:
                local_views.make(connection, zone, units)

    def know_site(self, site: Site) -> None:
        """As `know`, all of it."""
        self.know(site.all_probes, meters=site.all_meters, zone=site.timezone, units=site.units)

    def next_entry_number(self) -> int:
        """Reserves a number for a ledger entry."""
        return next(self._entry_numbers)

    def commit(self, batch: Commit) -> None:
        """Writes the batch as one transaction and returns when it is on the disk. Raises
        StorageFault with nothing of it written; the batch stays with the caller."""
        with self._transaction() as connection:
            writing.write_batch(connection, batch, self._seq + 1, self._probes)
            writing.write_cursors(connection, self._cursors)
        self._seq += 1
        self._cursors.clear()

    def tidy(self, now_at: float) -> int:
        """Drops what is not needed any more; how many commits' inputs that were. Call it when
        idle, every few minutes."""
        if self._cursors and now_at - self._cursors_at > CURSOR_S:
            self.flush()
        with self._transaction() as connection:
            if self.keep_days is not None:
                old = to_ms(now_at) - self.keep_days * DAY_MS
                tidying.drop_old_readings(connection, old)
            return tidying.drop_commits(connection)

    def bring_in(
        self, arrivals: Arrivals, told: bringing_in.Told = lambda _done, _all: None
    ) -> BroughtIn:
        """Readings and entries from elsewhere, in one transaction. Raises StorageFault."""
        with self._transaction() as connection:
            seq = self._seq + 1
            done = bringing_in.bring_in(
                connection, arrivals, told, seq=seq,
                probe_number=self._probes.number, next_number=self.next_entry_number,
            )  # fmt: skip
            last = connection.execute(
                "SELECT at_ms, tick_ms FROM commits ORDER BY seq DESC LIMIT 1"
            ).fetchone()
            # 0: no engine has run yet
            writing.write_commit(connection, seq, last or (0, 0), [])
            if done.readings or done.entries:
                writing.write_cursors(connection, {BROUGHT_IN: seq})
        self._seq += 1
        return done

    def set_cursor(self, name: str, value: Any, at: float = 0.0) -> None:
        """Keeps how far a reader of the journal has come (the mirror): with the next transaction,
        a `tidy` some minutes later, or at the close. What it names can be sent twice."""
        if not self._cursors:
            self._cursors_at = at
        self._cursors[name] = value

    def flush(self) -> None:
        with self._transaction() as connection:
            writing.write_cursors(connection, self._cursors)
        self._cursors.clear()

    def close(self) -> None:
        """Checkpoints everything into one file and gives the lock free."""
        try:
            if self._cursors:
                with suppress(StorageFault):  # what they name can be sent twice
                    self.flush()
            self._connection.close()
        finally:
            self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        known = self._probes.so_far()
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            yield self._connection
            self._connection.execute("COMMIT")
        except BaseException as error:
            self._probes.back_to(known)
            if self._connection.in_transaction:
                with suppress(sqlite3.Error):  # a full disk may have rolled it back already
                    self._connection.execute("ROLLBACK")
            if isinstance(error, sqlite3.Error | OSError | UnicodeDecodeError):
                raise opening.fault_of(error, self.path) from error
            raise
