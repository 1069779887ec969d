"""Reading the journal while a service may be writing it. Called by the page, the review, the
mirror, the export and, at start, by the service to rebuild its state.

One JournalReader is for one thread. SQLite gives each call one consistent picture, so a reading
that is just being packed is seen once. `readings` and `readings_of` import numpy when called; the
daemon uses `readings_plain`, which does not."""

from __future__ import annotations

import json
import os
import sqlite3
import zlib
from array import array
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, NamedTuple, Self

from monitor.events import Change, Entry, Moment
from monitor.journal import codec, opening, packing, rows, schema, tail
from monitor.journal.records import (
    BadCount,
    Delivered,
    Input,
    KnownProbe,
    OutboxRow,
    RefusedCount,
    Snapshot,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

ALL_TIME = (0.0, 4_102_444_800.0)


_ENDED = f"SELECT at_ms, tick_ms FROM {{}} WHERE at_ms > 0 AND {schema.IS_TIMED} ORDER BY seq DESC"  # noqa: S608
_OUTBOX = "SELECT key, contact, at_ms, priority, message, state, tries, next_try_ms FROM outbox "


class Latest(NamedTuple):
    """The newest reading of a probe by its own time."""

    at: float
    temp_c: float


class JournalReader:
    """A read-only connection that follows the path: when a damaged file was replaced by a new one,
    the next call reads the new one."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._connection: sqlite3.Connection | None = None
        self._inode = 0
        self._journal_id = 0
        self._gap = (0, 0)

    # -- readings -------------------------------------------------------------------------------

    def readings(
        self, probe_key: str, from_at: float = ALL_TIME[0], to_at: float = ALL_TIME[1]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Times (Unix s) and temperatures (degC) of a probe, ordered by time, from <= at < to."""
        return self.readings_of([probe_key], from_at, to_at)[probe_key]

    def readings_of(
        self,
        probe_keys: Iterable[str] | None = None,
        from_at: float = ALL_TIME[0],
        to_at: float = ALL_TIME[1],
        *,
        only_sure: bool = False,
    ) -> dict[str, tuple[NDArray[np.float64], NDArray[np.float64]]]:
        """Several probes at once (None: all), for the price of one pass."""
        from monitor.journal import bulk  # noqa: PLC0415 - numpy stays out of the daemon

        kinds = (codec.SURE,) if only_sure else (codec.SURE, codec.UNSURE)
        with self._picture() as connection:
            wanted = self._wanted(connection, probe_keys, kinds)
            return bulk.series(connection, wanted, round(from_at * 1000), round(to_at * 1000))

    def readings_plain(
        self, probe_key: str, from_at: float, to_at: float
    ) -> tuple[array[float], array[float]]:
        """As `readings`, in plain arrays and without numpy, for a page's small pictures."""
        from_ms, to_ms = round(from_at * 1000), round(to_at * 1000)
        with self._picture() as connection:
            streams = set(self._wanted(connection, [probe_key], (codec.SURE, codec.UNSURE)))
            found = list(rows.settled(connection, streams, from_ms, to_ms))
            for _seq, fresh in packing.rows(connection, 0):
                found += [(at, value) for at, _t, value, s in fresh if s in streams]
        found = [pair for pair in found if from_ms <= pair[0] < to_ms]
        found.sort(key=lambda pair: pair[0])
        return (
            array("d", [at / 1000 for at, _ in found]),
            array("d", [value / codec.PER_DEGREE for _, value in found]),
        )

    def samples(
        self, series: str, name: str, from_at: float = ALL_TIME[0], to_at: float = ALL_TIME[1]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """A derived number's times and values (target_c, low_c, ...)."""
        from monitor.journal import bulk  # noqa: PLC0415 - numpy stays out of the daemon

        key = f"{series}/{name}"
        with self._picture() as connection:
            wanted = self._wanted(connection, [key], (codec.SURE,), kind="sample")
            return bulk.series(connection, wanted, round(from_at * 1000), round(to_at * 1000))[key]

    def latest(self) -> dict[str, Latest]:
        """The newest reading of each probe heard within the last two days of the record."""
        newest: dict[str, tuple[int, int]] = {}
        with self._picture() as connection:
            names = rows.probe_keys(connection)
            for at_ms, value, stream in rows.last_two_days(connection):
                key = names.get(stream // 4)
                if key is None or stream % 4 == codec.BAD:
                    continue
                if key not in newest or at_ms >= newest[key][0]:
                    newest[key] = (at_ms, value)
        return {
            key: Latest(at / 1000, value / codec.PER_DEGREE) for key, (at, value) in newest.items()
        }

    def first_at(self, probe_key: str) -> float | None:
        """When the record of a probe begins (its surely timed readings)."""
        with self._picture() as connection:
            streams = self._wanted(connection, [probe_key], (codec.SURE,))
            return rows.first_at(connection, set(streams))

    def span(self) -> tuple[float, float] | None:
        """From when to when there are readings at all, or None."""
        with self._picture() as connection:
            return rows.span(connection)

    def counts_by_day(self, probe_key: str | None = None) -> dict[str, int]:
        """How many readings there are for each UTC day (ISO date)."""
        with self._picture() as connection:
            keys = None if probe_key is None else [probe_key]
            streams = set(self._wanted(connection, keys, (codec.SURE, codec.UNSURE)))
            return rows.counts_by_day(connection, streams)

    def unreadable(self) -> int:
        """How many stored hours and commits fail their checksum and are shown as gaps. Reads
        everything: for `brooder check`."""
        with self._picture() as connection:
            return rows.unreadable(connection)

    def known(self) -> dict[int, KnownProbe]:
        """Every probe as it was ever configured, by series number."""
        with self._picture() as connection:
            return rows.known(connection)

    # -- what else is kept ----------------------------------------------------------------------

    def entries(self) -> list[Entry]:
        """The ledger and the acts on alarms, by number. A damaged one is left out."""
        with self._picture() as connection:
            return rows.entries(connection)[0]

    def damaged_entries(self) -> list[int]:
        """The numbers of the entries that `entries` leaves out."""
        with self._picture() as connection:
            return rows.entries(connection)[1]

    def changes(self, from_at: float = ALL_TIME[0], to_at: float = ALL_TIME[1]) -> list[Change]:
        """Alarm changes with from <= at < to, in order of time. A damaged one is left out."""
        with self._picture() as connection:
            found = [
                rows.change(body)
                for (body,) in connection.execute(
                    "SELECT body FROM changes WHERE at_ms >= ? AND at_ms < ? ORDER BY at_ms, id",
                    (round(from_at * 1000), round(to_at * 1000)),
                )
            ]
        return [change for change in found if change is not None]

    def outbox_pending(self) -> list[OutboxRow]:
        """Messages not yet delivered, oldest first."""
        return self._outbox("WHERE state = 'pending' ORDER BY id")

    def outbox(self, limit: int = 100) -> list[OutboxRow]:
        """The newest messages in whatever state, newest first."""
        return self._outbox(f"ORDER BY id DESC LIMIT {int(limit)}")

    def deliveries(
        self, from_at: float = ALL_TIME[0], to_at: float = ALL_TIME[1]
    ) -> list[Delivered]:
        """Tries to reach contacts with from <= tried_at < to."""
        with self._picture() as connection:
            return [
                Delivered(
                    key=key,
                    contact=contact,
                    tried_at=tried / 1000,
                    late_s=late / 1000,
                    failure=failure,
                )
                for key, contact, tried, late, failure in connection.execute(
                    "SELECT key, contact, tried_ms, late_ms, failure FROM deliveries"
                    " WHERE tried_ms >= ? AND tried_ms < ? ORDER BY id",
                    (round(from_at * 1000), round(to_at * 1000)),
                )
            ]

    def bad_values(
        self, from_at: float = ALL_TIME[0], to_at: float = ALL_TIME[1]
    ) -> list[BadCount]:
        """Values no floor can have, counted by probe, hour and reason."""
        with self._picture() as connection:
            return [
                BadCount(probe, reason, count, first / 1000, last / 1000)
                for probe, reason, count, first, last in connection.execute(
                    "SELECT probe, reason, count, first_ms, last_ms FROM bad_values"
                    " WHERE last_ms >= ? AND first_ms < ? ORDER BY first_ms",
                    (round(from_at * 1000), round(to_at * 1000)),
                )
            ]

    def refused(self) -> list[RefusedCount]:
        """What could not be read, newest first."""
        with self._picture() as connection:
            return [
                RefusedCount(topic, reason, count, first / 1000, last / 1000, excerpt)
                for topic, reason, count, first, last, excerpt in connection.execute(
                    "SELECT topic, reason, count, first_ms, last_ms, excerpt FROM refused"
                    " ORDER BY last_ms DESC"
                )
            ]

    # -- rebuilding -----------------------------------------------------------------------------

    def snapshot(self, name: str) -> Snapshot | None:
        """The newest state kept under a name."""
        with self._picture() as connection:
            row = connection.execute(
                "SELECT seq, at_ms, tick_ms, state FROM snapshots WHERE name = ?", (name,)
            ).fetchone()
        if row is None:
            return None
        state = json.loads(zlib.decompress(row[3]))
        return Snapshot(
            name=name, mark=row[0], now=Moment(row[1] / 1000, row[2] / 1000), state=state
        )

    def inputs_since(self, mark: int) -> Iterator[Input]:
        """What the engine was given after a snapshot, in the same order. Readings packed before
        that snapshot are not among them."""
        with self._picture() as connection:
            yield from rows.inputs(connection, mark)

    def advanced_to(self) -> Moment | None:
        """How far the engine's time had come at the last commit whose time is one; None: there
        was none, as in a journal that was only brought in."""
        with self._picture() as connection:
            row = (
                connection.execute(_ENDED.format("temp.tail")).fetchone()
                or connection.execute(_ENDED.format("main.log")).fetchone()
            )
        return None if row is None else Moment(row[0] / 1000, row[1] / 1000)

    def redelivery_marks(self) -> bytes:
        """The marks of the last messages, oldest first."""
        with self._picture() as connection:
            return b"".join(packing.marks(connection))

    def cursor(self, name: str) -> Any:
        """What `Journal.set_cursor` kept, or None."""
        with self._picture() as connection:
            row = connection.execute("SELECT value FROM cursors WHERE name = ?", (name,)).fetchone()
        return None if row is None else json.loads(row[0])

    # -- the connection -------------------------------------------------------------------------

    @contextmanager
    def picture(self) -> Iterator[sqlite3.Connection]:
        """One consistent picture for several queries of the journal's own parts."""
        with self._picture() as connection:
            yield connection

    def close(self) -> None:
        """Closes the connection; the next call would open another."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

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
    def _picture(self) -> Iterator[sqlite3.Connection]:
        try:
            connection = self._connected()
            nested = connection.in_transaction
            if not nested:
                self._begin(connection)
            try:
                yield connection
            finally:
                if not nested and connection.in_transaction:
                    connection.execute("COMMIT")
        except (sqlite3.Error, OSError, UnicodeDecodeError) as error:
            raise opening.fault_of(error, self.path) from error

    def _begin(self, connection: sqlite3.Connection) -> None:
        """Begins a picture: the database as it is now, and those rows of the tail that follow it.
        If the writer moved the tail into the database between the two looks, both are taken
        again; it does so once an hour or at most some times a second."""
        while True:
            connection.execute("BEGIN")
            newest = connection.execute("SELECT ifnull(max(seq), 0) FROM main.log").fetchone()[0]
            found = tail.read(self.path, self._journal_id, newest)
            if not found or found[0].seq == newest + 1:
                break
            connection.execute("COMMIT")
            if self._gap == (newest, found[0].seq):  # nobody writes: a tail that lost its database
                connection.execute("BEGIN")
                found = []
                break
            self._gap = (newest, found[0].seq)
        connection.execute("DELETE FROM temp.tail")
        connection.executemany(
            "INSERT INTO temp.tail VALUES (?, ?, ?, ?, NULL, ?)",
            [(r.seq, r.at_ms, r.tick_ms, r.readings or None, r.marks or None) for r in found],
        )

    def _connected(self) -> sqlite3.Connection:
        inode = os.stat(self.path).st_ino
        if self._connection is not None and inode != self._inode:
            self.close()
        if self._connection is None:
            self._connection = opening.connect_to_read(self.path)
            self._connection.execute(schema.TAIL_TABLE)
            self._journal_id = schema.journal_id(self._connection)
            self._inode = inode
        return self._connection

    def _outbox(self, order: str) -> list[OutboxRow]:
        with self._picture() as connection:
            found = [rows.outbox_row(row) for row in connection.execute(_OUTBOX + order)]
        return [row for row in found if row is not None]

    @staticmethod
    def _wanted(
        connection: sqlite3.Connection,
        keys: Iterable[str] | None,
        kinds: tuple[int, ...],
        kind: str = "probe",
    ) -> dict[int, str]:
        """stream -> key, for every key asked for; a key never heard of still has an answer."""
        asked = None if keys is None else list(keys)
        return rows.streams(connection, asked, kinds, kind)
