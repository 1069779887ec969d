"""The journal: one SQLite file, one writer. Called by the service's writer thread, the import,
restore and replay commands. Nothing is promised before `commit` has returned: then it is on disk.

Readings are kept for ever: 30 days of 8 probes every 10 s are about 5 MB."""

import itertools
import json
import sqlite3
import time
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from monitor.journal import codec, opening, packing, schema
from monitor.journal.records import Batch, Entered, Fault, Outcome, StorageFault, entry_fields
from monitor.site import Probe
from monitor.watch.events import BadValue, Change, Moment, Reading

LARGEST_MS = 4_102_444_800_000  # the year 2100; a time beyond is a probe's nonsense
REFUSED_ROWS = 500
_BAD_REASONS_AN_HOUR = 20


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
        self._series: dict[tuple[str, str], int] = {}
        for series_id, kind, key in connection.execute(
            "SELECT id, kind, key FROM series ORDER BY id"
        ):
            self._series[kind, key] = series_id
        self._seq = int(connection.execute("SELECT ifnull(max(seq), 0) FROM log").fetchone()[0])
        newest = connection.execute("SELECT ifnull(max(number), 0) FROM entries").fetchone()[0]
        self._entry_numbers = itertools.count(int(newest) + 1)

    @classmethod
    def open(cls, path: Path, *, wall: float | None = None) -> "Journal":
        """Opens or makes the journal. A damaged file is set aside (`set_aside` says where) and a
        new one begun with whatever ledger, snapshots and unsent messages could still be read.
        Raises StorageFault: in-use, read-only, full, newer, failed."""
        lock = opening.WriterLock(path)
        connection: sqlite3.Connection | None = None
        try:
            aside = None
            if opening.damage(path) is not None:
                aside = opening.set_aside(path, time.time() if wall is None else wall)
            connection = opening.connect_to_write(path)
            schema.prepare(connection)
            schema.bring_up_to_date(connection, path)
            return cls(path, connection, lock, aside)
        except (sqlite3.Error, OSError, StorageFault) as error:
            if connection is not None:
                connection.close()
            lock.release()
            raise opening.fault_of(error, path) from error

    def know(self, probes: Iterable[Probe]) -> None:
        """Tells the journal how probes are configured, at start and after a reload."""
        with self._transaction():
            for probe in probes:
                self._know(probe)

    def next_entry_number(self) -> int:
        """Reserves a number for a ledger entry."""
        return next(self._entry_numbers)

    @property
    def newest(self) -> int:
        """The log number of the last commit."""
        return self._seq

    def commit(self, batch: Batch) -> None:
        """Writes the batch as one transaction and returns when it is on the disk. Raises
        StorageFault with nothing of it written; the batch stays with the caller."""
        with self._transaction() as connection:
            self._write_inputs(connection, batch)
            if batch.changes:
                connection.executemany(
                    "INSERT OR IGNORE INTO changes (at_ms, occurrence, change, body)"
                    " VALUES (?, ?, ?, ?)",
                    [
                        (_ms(c.at), c.occurrence, c.change.value, _change_json(c))
                        for c in batch.changes
                    ],
                )
            if batch.outbox:
                connection.executemany(
                    "INSERT OR IGNORE INTO outbox (key, contact, at_ms, priority, message, state,"
                    " tries, next_try_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                    [
                        (
                            row.key,
                            row.contact,
                            _ms(row.at),
                            row.priority,
                            _dumps(dict(row.message)),
                            row.state,
                            row.tries,
                            None if row.next_try_at is None else _ms(row.next_try_at),
                        )
                        for row in batch.outbox
                    ],
                )
            for outcome in batch.outcomes:
                _write_outcome(connection, outcome)
            if batch.refused:
                self._write_refused(connection, batch)
            now = batch.advanced_to or Moment(0.0, 0.0)
            for name, state in batch.snapshots.items():
                connection.execute(
                    "INSERT OR REPLACE INTO snapshots (name, seq, at_ms, tick_ms, state)"
                    " VALUES (?, ?, ?, ?, ?)",
                    (name, self._seq + 1, _ms(now.at), _ms(now.tick), _squeezed(state)),
                )
            seq = self._seq + 1
        self._seq = seq

    def tidy(self, now_at: float) -> int:
        """Packs what has settled; returns how many log rows moved. Call it when idle, every few
        minutes: some milliseconds a probe and hour."""
        upto = packing.settled_upto(self._connection, _ms(now_at))
        if not upto:
            return 0
        streams = packing.gather(self._connection, 0, upto)
        rows = list(packing.merged(self._connection, streams))
        with self._transaction() as connection:
            packing.put(connection, rows)
            packing.carry_marks(connection, upto)
            return connection.execute("DELETE FROM log WHERE seq <= ?", (upto,)).rowcount

    def set_cursor(self, name: str, value: Any) -> None:
        """Keeps how far a reader of the journal has come (the mirror)."""
        with self._transaction() as connection:
            connection.execute(
                "INSERT OR REPLACE INTO cursors (name, value) VALUES (?, ?)", (name, _dumps(value))
            )

    def close(self) -> None:
        """Checkpoints, so that one file holds everything, and gives the lock free."""
        try:
            self._connection.close()
        finally:
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
        known = dict(self._series)
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            yield self._connection
            self._connection.execute("COMMIT")
        except BaseException as error:
            self._series = known  # a series registered in a transaction undone is not known
            if self._connection.in_transaction:
                with suppress(sqlite3.Error):  # a full disk may have rolled it back already
                    self._connection.execute("ROLLBACK")
            if isinstance(error, sqlite3.Error | OSError):
                raise opening.fault_of(error, self.path) from error
            raise

    def _write_inputs(self, connection: sqlite3.Connection, batch: Batch) -> None:
        now = batch.advanced_to
        if now is None:
            now = _moment_of(batch)
        at_ms, tick_ms = _ms(now.at), _ms(now.tick)
        fresh: list[codec.Fresh] = []
        others: list[list[Any]] = []
        ids = self._series
        for item in batch.inputs:
            if isinstance(item, Reading):
                series = ids.get(("probe", item.probe)) or self._know_by_key("probe", item.probe)
                stream = series * 4 + (codec.SURE if item.clock_sure else codec.UNSURE)
                place = len(fresh) + len(others)
                at, tick, value = _ms(item.at), _ms(item.tick), codec.to_kept(item.temp_c)
                if codec.fits(at - at_ms, tick - tick_ms, value, stream):
                    fresh.append((at - at_ms, tick - tick_ms, value, stream))
                else:
                    others.append([place, "reading", at, tick, value, stream])
            elif isinstance(item, BadValue):
                place = len(fresh) + len(others)
                series = ids.get(("probe", item.probe)) or self._know_by_key("probe", item.probe)
                temp_c = item.temp_c if item.temp_c is None or abs(item.temp_c) < 1e9 else None
                others.append(
                    [place, "bad", _ms(item.at), _ms(item.tick), series, item.reason, temp_c]
                )
                _count_bad(connection, item, temp_c)
            elif isinstance(item, Entered):
                place = len(fresh) + len(others)
                others.append(
                    [place, "entry", _ms(item.now.at), _ms(item.now.tick), item.entry.number]
                )
                connection.execute(
                    "INSERT INTO entries (number, at_ms, entry) VALUES (?, ?, ?)",
                    (item.entry.number, _ms(item.entry.at), _dumps(entry_fields(item.entry))),
                )
            else:
                place = len(fresh) + len(others)
                others.append(_fault_row(place, item))
        for sample in batch.samples:
            key = f"{sample.series}/{sample.name}"
            series = ids.get(("sample", key)) or self._know_by_key("sample", key)
            stream = series * 4 + codec.SURE
            place = len(fresh) + len(others)
            at, value = _ms(sample.at), codec.to_kept(sample.value)
            if codec.fits(at - at_ms, at - at_ms, value, stream):
                fresh.append((at - at_ms, at - at_ms, value, stream))
            else:
                others.append([place, "reading", at, at, value, stream])
        connection.execute(
            "INSERT INTO log (seq, at_ms, tick_ms, readings, others, marks)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            (
                self._seq + 1,
                at_ms,
                tick_ms,
                codec.write_fresh(fresh) if fresh else None,
                _dumps(others) if others else None,
                batch.redelivery_marks or None,
            ),
        )

    def _know(self, probe: Probe) -> None:
        wanted = (
            probe.brooder,
            probe.topic,
            probe.place.value,
            probe.unit.value,
            probe.value_pointer,
            probe.time_pointer,
            probe.senml_name,
            probe.offset_c,
        )
        found = self._connection.execute(
            "SELECT id FROM series WHERE kind = 'probe' AND key = ? AND brooder IS ? AND topic IS ?"
            " AND place IS ? AND unit IS ? AND value_pointer IS ? AND time_pointer IS ?"
            " AND senml_name IS ? AND offset_c IS ?",
            (probe.key, *wanted),
        ).fetchone()
        if found is None:
            found = self._connection.execute(
                "INSERT INTO series (kind, key, brooder, topic, place, unit, value_pointer,"
                " time_pointer, senml_name, offset_c) VALUES ('probe', ?, ?, ?, ?, ?, ?, ?, ?, ?)"
                " RETURNING id",
                (probe.key, *wanted),
            ).fetchone()
        self._series["probe", probe.key] = int(found[0])

    def _know_by_key(self, kind: str, key: str) -> int:
        """A series nobody configured: a sample, or a probe in a journal made by hand."""
        row = self._connection.execute(
            "INSERT INTO series (kind, key, topic, offset_c) VALUES (?, ?, ?, 0) RETURNING id",
            (kind, key, key),
        ).fetchone()
        self._series[kind, key] = int(row[0])
        return int(row[0])

    def _write_refused(self, connection: sqlite3.Connection, batch: Batch) -> None:
        connection.executemany(
            "INSERT INTO refused (topic, reason, count, first_ms, last_ms, excerpt)"
            " VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (topic, reason) DO UPDATE SET"
            " count = count + excluded.count, last_ms = excluded.last_ms,"
            " excerpt = excluded.excerpt",
            [
                (
                    _text(r.topic),
                    _text(r.reason),
                    r.count,
                    _ms(r.first_at),
                    _ms(r.last_at),
                    _text(r.excerpt),
                )
                for r in batch.refused
            ],
        )
        connection.execute(
            "DELETE FROM refused WHERE (topic, reason) IN (SELECT topic, reason FROM refused"
            " ORDER BY last_ms DESC LIMIT -1 OFFSET ?)",
            (REFUSED_ROWS,),
        )


def _change_json(change: Change) -> str:
    return _dumps({k: v for k, v in asdict(change).items() if v is not None})


def _fault_row(place: int, fault: Fault) -> list[Any]:
    at, tick = _ms(fault.now.at), _ms(fault.now.tick)
    return [place, "fault", at, tick, fault.name.value, fault.active, fault.facts]


def _moment_of(batch: Batch) -> Moment:
    """The time of a batch that says none: that of its last input."""
    for item in reversed(batch.inputs):
        if isinstance(item, Entered | Fault):
            return item.now
        return Moment(item.at, item.tick)
    newest = max((s.at for s in batch.samples), default=0.0)
    return Moment(newest, newest)


def _count_bad(connection: sqlite3.Connection, bad: BadValue, temp_c: float | None) -> None:
    at_ms = _ms(bad.at)
    hour = codec.hour_of(at_ms)
    reason = _text(bad.reason[:200])
    others = connection.execute(
        "SELECT count(*) FROM bad_values WHERE probe = ? AND hour = ? AND reason <> ?",
        (bad.probe, hour, reason),
    ).fetchone()[0]
    if others >= _BAD_REASONS_AN_HOUR:
        reason = "other values no floor can have"
    connection.execute(
        "INSERT INTO bad_values (probe, hour, reason, count, first_ms, last_ms, temp_c)"
        " VALUES (?, ?, ?, 1, ?, ?, ?) ON CONFLICT (probe, hour, reason) DO UPDATE SET"
        " count = count + 1, last_ms = excluded.last_ms, temp_c = excluded.temp_c",
        (bad.probe, hour, reason, at_ms, at_ms, temp_c),
    )


def _write_outcome(connection: sqlite3.Connection, outcome: Outcome) -> None:
    tried_ms = _ms(outcome.tried_at)
    row = connection.execute(
        "UPDATE outbox SET state = ?, tries = ?, next_try_ms = ? WHERE key = ? AND contact = ?"
        " RETURNING at_ms",
        (
            outcome.state,
            outcome.tries,
            None if outcome.next_try_at is None else _ms(outcome.next_try_at),
            outcome.key,
            outcome.contact,
        ),
    ).fetchone()
    if outcome.state == "superseded" and outcome.failure is None:
        return
    connection.execute(
        "INSERT INTO deliveries (key, contact, tried_ms, late_ms, failure) VALUES (?, ?, ?, ?, ?)",
        (
            outcome.key,
            outcome.contact,
            tried_ms,
            tried_ms - row[0] if row else 0,
            outcome.failure,
        ),
    )


def _squeezed(state: Any) -> bytes:
    return zlib.compress(_dumps(state).encode(), 6)


def _dumps(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"))  # ASCII: lone surrogates too


def _text(text: str) -> str:
    """Text that a database takes: lone surrogates become question marks."""
    return text.encode("utf-8", "replace").decode()


def _ms(seconds: float) -> int:
    """Milliseconds, within what a clock can say (a broken one says anything)."""
    if not 0 <= seconds <= LARGEST_MS / 1000:
        return LARGEST_MS if seconds > 0 else 0
    return round(seconds * 1000)
