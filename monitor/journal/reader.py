"""Reading the journal while a service may be writing it. Called by the page, the review, the
mirror, the export and, at start, by the service to rebuild its state.

One JournalReader is for one thread. Each call sees the journal as it was at one moment. `readings`,
`readings_of` and `samples` import numpy when called; the daemon uses `readings_plain`, which does
not."""

from __future__ import annotations

import json
import os
import sqlite3
import zlib
from array import array
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Self

from monitor.events import Change, Entry, Moment
from monitor.journal import opening, rows, schema
from monitor.journal.records import BadCount, Input, KnownProbe, OutboxRow, Snapshot
from monitor.journal.resolution import DAY_MS, first_id

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class ReadConnection:
    """It follows the path: when a damaged file was replaced by a new one, the next call reads the
    new one."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._connection: sqlite3.Connection | None = None
        self._inode = 0

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All queries within see the journal as it was when it began. Raises StorageFault."""
        try:
            connection = self._connected()
            nested = connection.in_transaction
            if not nested:
                connection.execute("BEGIN")
            try:
                yield connection
            finally:
                if not nested and connection.in_transaction:
                    connection.execute("COMMIT")
        except (sqlite3.Error, OSError, UnicodeDecodeError) as error:
            raise opening.fault_of(error, self.path) from error

    def close(self) -> None:
        """Closes the connection; the next call would open another."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _connected(self) -> sqlite3.Connection:
        inode = os.stat(self.path).st_ino
        if self._connection is not None and inode != self._inode:
            self.close()
        if self._connection is None:
            connection = opening.connect_to_read(self.path)
            try:
                schema.refuse_earlier(connection, self.path)
            except BaseException:
                connection.close()
                raise
            self._connection = connection
            self._inode = inode
        return self._connection


ALL_TIME = (0.0, 4_102_444_800.0)
_UNSENT = (
    "SELECT key, contact, at_ms, priority, message, tries FROM outbox"
    " WHERE state = 'pending' ORDER BY id"
)


class Latest(NamedTuple):
    """The newest reading of a probe by its own time."""

    at: float
    temp_c: float


class _Readings(ReadConnection):
    """What the probes said."""

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
        """Several probes at once (None: all), for the price of one pass. A key never heard of has
        an answer too."""
        from monitor.journal import bulk  # noqa: PLC0415 - numpy stays out of the daemon

        asked = None if probe_keys is None else list(probe_keys)
        with self.transaction() as connection:
            wanted = rows.probe_keys(connection, asked)
            found = bulk.series(connection, wanted, _ms(from_at), _ms(to_at), only_sure=only_sure)
        return found | {key: bulk.NOTHING for key in asked or () if key not in found}

    def columns(
        self, keys: Iterable[str], from_at: float, to_at: float, wide_s: float
    ) -> list[tuple[str, int, float, float]]:
        """(probe, column, lowest, highest) in degC, for a picture; a column is `wide_s` wide and
        numbered from 1970. Without numpy."""
        with self.transaction() as connection:
            numbers = rows.probe_keys(connection, keys)
            found = connection.execute(
                "SELECT probe_id, at_ms / ?, min(temp_c), max(temp_c) FROM readings"  # noqa: S608
                f" WHERE {rows.among(numbers)} AND id >= ? AND id < ? GROUP BY 1, 2",
                (_ms(wide_s), first_id(_ms(from_at)), first_id(_ms(to_at))),
            ).fetchall()
        return [(numbers[probe], column, low, high) for probe, column, low, high in found]

    def readings_plain(
        self, probe_key: str, from_at: float, to_at: float
    ) -> tuple[array[float], array[float]]:
        """As `readings`, in plain arrays and without numpy, for a page's small pictures."""
        with self.transaction() as connection:
            numbers = rows.probe_keys(connection, [probe_key])
            found = connection.execute(
                f"SELECT at_ms, temp_c FROM readings WHERE {rows.among(numbers)}"  # noqa: S608
                " AND id >= ? AND id < ? ORDER BY id",
                (first_id(_ms(from_at)), first_id(_ms(to_at))),
            ).fetchall()
        return array("d", [at / 1000 for at, _ in found]), array("d", [temp for _, temp in found])

    def samples(
        self, series: str, name: str, from_at: float = ALL_TIME[0], to_at: float = ALL_TIME[1]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """A derived number's times and values (target_c, low_c, ...)."""
        import numpy as np  # noqa: PLC0415 - numpy stays out of the daemon

        with self.transaction() as connection:
            found = connection.execute(
                "SELECT at_ms, value FROM derived WHERE brooder = ? AND name = ?"
                " AND at_ms >= ? AND at_ms < ? ORDER BY at_ms, id",
                (series, name, _ms(from_at), _ms(to_at)),
            ).fetchall()
        both = np.array(found, dtype=np.float64).reshape(-1, 2)
        return both[:, 0] / 1000, both[:, 1]

    def latest(self) -> dict[str, Latest]:
        """The newest reading of each probe heard within the last two days of the record."""
        newest: dict[str, Latest] = {}
        with self.transaction() as connection:
            last = connection.execute("SELECT ifnull(max(id), 0) FROM readings").fetchone()[0]
            for number, key in rows.probe_keys(connection).items():
                row = connection.execute(
                    "SELECT at_ms / 1000.0, temp_c FROM readings WHERE probe_id = ? AND id >= ?"
                    " ORDER BY id DESC LIMIT 1",
                    (number, last - first_id(2 * DAY_MS)),
                ).fetchone()
                found = None if row is None else Latest(*row)
                if found is not None and (key not in newest or found.at >= newest[key].at):
                    newest[key] = found
        return newest

    def span(self) -> tuple[float, float] | None:
        """From when to when there are readings at all, or None."""
        with self.transaction() as connection:
            ends = [
                connection.execute(
                    "SELECT at_ms / 1000.0 FROM readings WHERE clock_sure"  # noqa: S608
                    f" ORDER BY id {way} LIMIT 1"
                ).fetchone()
                for way in ("ASC", "DESC")
            ]
        return None if None in ends else (ends[0][0], ends[1][0])

    def nth_newest_at(self, count: int) -> float:
        """When the oldest of so many newest readings was taken; 0: there are not so many."""
        with self.transaction() as connection:
            row = connection.execute(
                "SELECT at_ms / 1000.0 FROM readings ORDER BY id DESC LIMIT 1 OFFSET ?", (count,)
            ).fetchone()
        return 0.0 if row is None else float(row[0])

    def known(self) -> dict[int, KnownProbe]:
        """Every probe as it was ever configured, by its number here."""
        with self.transaction() as connection:
            return rows.known(connection)

    def meters(self) -> dict[str, KnownProbe]:
        """Every meter as it was configured last, by key."""
        with self.transaction() as connection:
            return rows.meters(connection)

    def bad_values(
        self, from_at: float = ALL_TIME[0], to_at: float = ALL_TIME[1]
    ) -> list[BadCount]:
        """Values no floor can have, counted by probe, hour and reason."""
        with self.transaction() as connection:
            return rows.bad_counts(connection, _ms(from_at), _ms(to_at))


class _Happenings(ReadConnection):
    """What people wrote down, what alarms did, and how it was told."""

    def entries(self) -> list[Entry]:
        """The ledger and the acts on alarms, by number. A damaged one is left out."""
        with self.transaction() as connection:
            return rows.entries(connection)[0]

    def damaged_entries(self) -> list[int]:
        """The numbers of the entries that `entries` leaves out."""
        with self.transaction() as connection:
            return rows.entries(connection)[1]

    def changes(self, from_at: float = ALL_TIME[0], to_at: float = ALL_TIME[1]) -> list[Change]:
        """Alarm changes with from <= at < to, in order of time. A damaged one is left out."""
        with self.transaction() as connection:
            found = [
                rows.change(row)
                for row in connection.execute(
                    rows.CHANGES + " WHERE at_ms >= ? AND at_ms < ? ORDER BY at_ms, id",
                    (_ms(from_at), _ms(to_at)),
                )
            ]
        return [change for change in found if change is not None]

    def outbox_pending(self) -> list[OutboxRow]:
        """Messages not yet delivered, oldest first."""
        with self.transaction() as connection:
            found = [rows.outbox_row(row) for row in connection.execute(_UNSENT)]
        return [row for row in found if row is not None]

    def reached(self, from_at: float) -> dict[str, float]:
        """The contacts that were reached since then, and when they last were."""
        with self.transaction() as connection:
            return {
                contact: tried / 1000
                for contact, tried in connection.execute(
                    "SELECT contact, max(tried_ms) FROM deliveries"
                    " WHERE tried_ms >= ? AND failure IS NULL GROUP BY contact",
                    (_ms(from_at),),
                )
            }


class _LastRun(ReadConnection):
    """Where the service left off."""

    def snapshot(self, name: str) -> Snapshot | None:
        """The newest state kept under a name."""
        with self.transaction() as connection:
            row = connection.execute(
                "SELECT seq, at_ms, tick_ms, state FROM snapshots WHERE name = ?", (name,)
            ).fetchone()
        if row is None:
            return None
        mark, at_ms, tick_ms, state = row
        return Snapshot(
            name=name,
            mark=mark,
            now=Moment(at_ms / 1000, tick_ms / 1000),
            state=json.loads(zlib.decompress(state)),
        )

    def inputs_since(self, mark: int) -> Iterator[Input]:
        """What the engine was given after a snapshot, in the same order. Of what came before the
        oldest snapshot nothing but the readings themselves is kept."""
        with self.transaction() as connection:
            yield from rows.inputs(connection, mark)

    def newest_commit(self) -> int:
        """Its number: no input was kept after it. 0: there is none."""
        with self.transaction() as connection:
            row = connection.execute("SELECT ifnull(max(seq), 0) FROM commits").fetchone()
        return int(row[0])

    def advanced_to(self) -> Moment | None:
        """How far the engine's time had come at the last commit whose time is one; None: there
        was none, as in a journal that was only brought in."""
        with self.transaction() as connection:
            return rows.ended(connection)

    def redelivery_marks(self) -> bytes:
        """The marks of the last messages, oldest first."""
        with self.transaction() as connection:
            return b"".join(
                marks
                for (marks,) in connection.execute("SELECT marks FROM commits ORDER BY seq")
                if isinstance(marks, bytes)
            )

    def cursor(self, name: str) -> Any:
        """What `Journal.set_cursor` kept, or None."""
        with self.transaction() as connection:
            row = connection.execute("SELECT value FROM cursors WHERE name = ?", (name,)).fetchone()
        return None if row is None else json.loads(row[0])


class JournalReader(_Readings, _Happenings, _LastRun):
    """Answers about a journal, from a read-only connection that follows its path."""


def _ms(at: float) -> int:
    return round(at * 1000)
