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

from monitor.journal import bringing_in, codec, opening, packing, salvage, schema, tail
from monitor.journal.bringing_in import Arrivals, BroughtIn
from monitor.journal.records import (
    Batch,
    Entered,
    Fault,
    Outcome,
    Sample,
    StorageFault,
    entry_fields,
)
from monitor.journal.tail import Row
from monitor.site import Probe
from monitor.watch.events import BadValue, Change, Moment, Reading

LARGEST_MS = 4_102_444_800_000  # the year 2100; a time beyond is a probe's nonsense
REFUSED_ROWS = 500
CURSOR_S = 600.0  # a cursor is worth a transaction of its own after this
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
        carried: salvage.Report | None,
    ) -> None:
        self.path = path
        self.set_aside = aside  # where a damaged predecessor was put by this opening
        self.carried_over = carried  # what of it the new journal begins with
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
        self._cursors: dict[str, Any] = {}
        self._cursors_at = 0.0
        journal_id = schema.journal_id(connection)
        left = tail.read(path, journal_id, self._seq)
        self._tail = tail.Tail(path, journal_id)
        if left and left[0].seq == self._seq + 1:  # else it belongs to a newer copy of this journal
            self._tail.rows = left
            self._seq = left[-1].seq
            self.flush()

    @classmethod
    def open(cls, path: Path, *, wall: float | None = None, distrust: bool = False) -> "Journal":
        """Opens or makes the journal. A damaged file is set aside (`set_aside` says where) and a
        new one begun with whatever ledger, snapshots and unsent messages could still be read;
        `distrust` does so with a file that only a commit has found to be damaged.
        Raises StorageFault: in-use, read-only, full, newer, failed."""
        lock = opening.WriterLock(path)
        connection: sqlite3.Connection | None = None
        try:
            aside = None
            if opening.damage(path) is not None or (distrust and path.exists()):
                aside = opening.set_aside(path, time.time() if wall is None else wall)
            connection = opening.connect_to_write(path)
            schema.refuse_newer(connection, path)
            schema.prepare(connection)
            schema.bring_up_to_date(connection)
            carried = None
            if aside is not None:
                with suppress(sqlite3.Error, OSError):  # a watch without its past is still a watch
                    carried = salvage.carry_over(aside, connection)
            connection.execute(schema.TAIL_TABLE)
            return cls(path, connection, lock, aside, carried)
        except (sqlite3.Error, OSError, StorageFault) as error:
            if connection is not None:
                connection.close()
            lock.release()
            raise opening.fault_of(error, path) from error

    def know(self, probes: Iterable[Probe]) -> None:
        """Tells the journal how probes are configured, at start and after a reload."""
        with self._transaction() as connection:
            known = {
                row[1:]: int(row[0])
                for row in connection.execute(
                    "SELECT id, key, brooder, topic, place, unit, value_pointer, time_pointer,"
                    " senml_name, offset_c FROM series WHERE kind = 'probe' ORDER BY id DESC"
                )
            }
            for probe in probes:
                self._know(probe, known)

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
        row = self._plain(batch)
        if row is not None and self._tail.takes(row):
            try:
                self._tail.append(row)
            except OSError as error:
                raise opening.fault_of(error, self.path) from error
            self._seq += 1
            return
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
            self._write_cursors(connection)
        self._seq += 1
        self._tail.taken()
        self._cursors.clear()

    def tidy(self, now_at: float) -> int:
        """Packs what has settled; returns how many log rows moved. Call it when idle, every few
        minutes: some milliseconds a probe and hour."""
        if self._cursors and now_at - self._cursors_at > CURSOR_S:
            self.flush()
        upto = packing.settled_upto(self._connection, _ms(now_at))
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
            stream_of=lambda key: self._series_of("probe", key) * 4,
            next_number=self.next_entry_number,
        )
        with self._transaction() as connection:
            done = bringing_in.bring_in(connection, here, arrivals, told)
            last = connection.execute(
                "SELECT at_ms, tick_ms FROM log ORDER BY seq DESC LIMIT 1"
            ).fetchone()
            connection.execute(
                "INSERT INTO log (seq, at_ms, tick_ms) VALUES (?, ?, ?)",
                (here.seq, *(last or (0, 0))),
            )
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
            connection.executemany(
                "INSERT INTO log (seq, at_ms, tick_ms, readings, marks) VALUES (?, ?, ?, ?, ?)",
                [(*row[:3], row.readings or None, row.marks or None) for row in self._tail.rows],
            )
            self._write_cursors(connection)
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

    def _plain(self, batch: Batch) -> Row | None:
        """The batch as one row of the tail, if it is nothing but readings of known series."""
        if batch.needs_database:
            return None
        built = _Builder(batch)
        for item in batch.inputs:
            series = self._series.get(("probe", item.probe)) if isinstance(item, Reading) else None
            if series is None or not built.reading(item, series):  # type: ignore[arg-type]
                return None
        for sample in batch.samples:
            series = self._series.get(("sample", f"{sample.series}/{sample.name}"))
            if series is None or not built.sample(sample, series):
                return None
        return built.row(self._seq + 1)

    def _write_inputs(self, connection: sqlite3.Connection, batch: Batch) -> None:
        connection.executemany(
            "INSERT INTO log (seq, at_ms, tick_ms, readings, marks) VALUES (?, ?, ?, ?, ?)",
            [
                (row.seq, row.at_ms, row.tick_ms, row.readings or None, row.marks or None)
                for row in self._tail.rows
            ],
        )
        built = _Builder(batch)
        for item in batch.inputs:
            if isinstance(item, Reading):
                series = self._series_of("probe", item.probe)
                if not built.reading(item, series):
                    built.other(
                        "reading",
                        item.at,
                        item.tick,
                        codec.to_kept(item.temp_c),
                        _stream(series, item),
                    )
            elif isinstance(item, BadValue):
                series = self._series_of("probe", item.probe)
                temp_c = item.temp_c if item.temp_c is None or abs(item.temp_c) < 1e9 else None
                built.other("bad", item.at, item.tick, series, item.reason, temp_c)
                _count_bad(connection, item, temp_c)
            elif isinstance(item, Entered):
                built.other("entry", item.now.at, item.now.tick, item.entry.number)
                connection.execute(
                    "INSERT INTO entries (number, at_ms, entry) VALUES (?, ?, ?)",
                    (item.entry.number, _ms(item.entry.at), _dumps(entry_fields(item.entry))),
                )
            else:
                built.other(
                    "fault", item.now.at, item.now.tick, item.name.value, item.active, item.facts
                )
        for sample in batch.samples:
            series = self._series_of("sample", f"{sample.series}/{sample.name}")
            if not built.sample(sample, series):
                built.other(
                    "reading", sample.at, sample.at, codec.to_kept(sample.value), series * 4
                )
        row = built.row(self._seq + 1)
        connection.execute(
            "INSERT INTO log (seq, at_ms, tick_ms, readings, others, marks)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            (
                row.seq,
                row.at_ms,
                row.tick_ms,
                row.readings or None,
                _dumps(built.others) if built.others else None,
                row.marks or None,
            ),
        )

    def _write_cursors(self, connection: sqlite3.Connection) -> None:
        connection.executemany(
            "INSERT OR REPLACE INTO cursors (name, value) VALUES (?, ?)",
            [(name, _dumps(value)) for name, value in self._cursors.items()],
        )

    def _series_of(self, kind: str, key: str) -> int:
        return self._series.get((kind, key)) or self._know_by_key(kind, key)

    def _know(self, probe: Probe, known: dict[tuple[Any, ...], int]) -> None:
        said = (
            probe.key,
            probe.brooder,
            probe.topic,
            probe.place.value,
            probe.unit.value,
            probe.value_pointer,
            probe.time_pointer,
            probe.senml_name,
            probe.offset_c,
        )
        number = known.get(said)
        if number is None:
            row = self._connection.execute(
                "INSERT INTO series (kind, key, brooder, topic, place, unit, value_pointer,"
                " time_pointer, senml_name, offset_c) VALUES ('probe', ?, ?, ?, ?, ?, ?, ?, ?, ?)"
                " RETURNING id",
                said,
            ).fetchone()
            number = int(row[0])
        self._series["probe", probe.key] = number

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


class _Builder:
    """Puts a batch's inputs together as one row, in their order."""

    def __init__(self, batch: Batch) -> None:
        now = batch.advanced_to or _moment_of(batch)
        self._at_ms, self._tick_ms = _ms(now.at), _ms(now.tick)
        self._marks = batch.redelivery_marks
        self._fresh: list[codec.Fresh] = []
        self.others: list[list[Any]] = []

    def reading(self, item: Reading, series: int) -> bool:
        """Adds a reading, unless it does not fit the compact form."""
        return self._add(item.at, item.tick, item.temp_c, _stream(series, item))

    def sample(self, sample: Sample, series: int) -> bool:
        """Adds a derived number, unless it does not fit."""
        return self._add(sample.at, sample.at, sample.value, series * 4 + codec.SURE)

    def other(self, kind: str, at: float, tick: float, *rest: Any) -> None:
        """Adds whatever is no plain reading, with its place in the order."""
        place = len(self._fresh) + len(self.others)
        self.others.append([place, kind, _ms(at), _ms(tick), *rest])

    def row(self, seq: int) -> Row:
        """The row, without the others."""
        fresh = codec.write_fresh(self._fresh)
        return Row(seq, self._at_ms, self._tick_ms, fresh, self._marks)

    def _add(self, at: float, tick: float, number: float, stream: int) -> bool:
        record = (
            _ms(at) - self._at_ms,
            _ms(tick) - self._tick_ms,
            codec.to_kept(number),
            stream,
        )
        if not codec.fits(*record):
            return False
        self._fresh.append(record)
        return True


def _stream(series: int, item: Reading) -> int:
    return series * 4 + (codec.SURE if item.clock_sure else codec.UNSURE)


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
