"""Rows of the journal's tables as records. Called by `reader` only; each function runs in the
transaction of the connection it is given."""

import datetime
import json
import sqlite3
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from monitor.events import (
    AlarmName,
    BadValue,
    Cause,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Moment,
    Priority,
    Reading,
)
from monitor.journal import codec, packing, schema
from monitor.journal.records import Entered, Input, KnownProbe, OutboxRow, WatcherFault

_ENTRY_FIELDS: dict[str, Any] = {
    "at": int | float,
    "number": int,
    "count": int,
    "minutes": int | float,
    "undoes": int,
    **dict.fromkeys(
        ("entry", "brooder", "hatched", "kind", "note", "alarm", "probe", "by"),
        str,
    ),
}
_ALARMS = frozenset(name.value for name in AlarmName)


def known(connection: sqlite3.Connection) -> dict[int, KnownProbe]:
    """Every configuration of every probe, by series number."""
    return {
        row[0]: KnownProbe(*row)
        for row in connection.execute(
            "SELECT id, key, brooder, topic, place, unit, value_pointer, time_pointer, senml_name,"
            " offset_c FROM series WHERE kind = 'probe' ORDER BY id"
        )
    }


def probe_keys(connection: sqlite3.Connection) -> dict[int, str]:
    """Series number -> probe key."""
    return dict(connection.execute("SELECT id, key FROM series WHERE kind = 'probe'"))


def streams(
    connection: sqlite3.Connection,
    keys: Sequence[str] | None,
    kinds: Sequence[int],
    kind: str = "probe",
) -> dict[int, str]:
    """stream -> key. A key never recorded has the impossible stream number -1 downwards."""
    wanted = None if keys is None else set(keys)
    found: dict[int, str] = {}
    for series, key in connection.execute("SELECT id, key FROM series WHERE kind = ?", (kind,)):
        if wanted is None or key in wanted:
            found |= {series * 4 + one: key for one in kinds}
    missing = sorted((wanted or set()) - set(found.values()))
    return found | {-1 - n: key for n, key in enumerate(missing)}


def packed(
    connection: sqlite3.Connection, wanted: set[int], from_ms: int, to_ms: int
) -> Iterator[tuple[int, int, bytes]]:
    """(stream, hour, planes) of settled hours that touch from <= at < to, by hour. Few streams over
    a short time are looked up one by one, which does not grow with the number of other probes;
    else the stretch is read through."""
    first, last = codec.hour_of(from_ms), codec.hour_of(max(from_ms, to_ms - 1))
    low, high = connection.execute("SELECT min(key), max(key) FROM packed").fetchone()
    if low is None:
        return
    first = max(first, codec.stream_and_hour(low)[1])
    last = min(last, codec.stream_and_hour(high)[1])
    real = [stream for stream in wanted if stream >= 0]
    all_series = connection.execute("SELECT count(*) FROM series").fetchone()[0]
    if len(real) < all_series and len(real) * (last - first + 1) < 20_000:
        keys = json.dumps(
            [codec.packed_key(s, hour) for hour in range(first, last + 1) for s in real]
        )
        found = connection.execute(
            "SELECT p.key, p.readings FROM json_each(?) AS j CROSS JOIN packed AS p"
            " ON p.key = j.value",
            (keys,),
        )
    else:
        found = connection.execute(
            "SELECT key, readings FROM packed WHERE key >= ? AND key < ? ORDER BY key",
            (codec.packed_key(0, first), codec.packed_key(0, last + 1)),
        )
    for key, blob in found:
        stream, hour = codec.stream_and_hour(key)
        if stream in wanted and (raw := codec.planes_of(blob)):
            yield stream, hour, raw


def settled(
    connection: sqlite3.Connection, wanted: set[int], from_ms: int, to_ms: int
) -> Iterator[tuple[int, int]]:
    """(at ms, value) of settled readings in hours that touch the stretch."""
    for _stream, hour, raw in packed(connection, wanted, from_ms, to_ms):
        yield from zip(*codec.unpack(hour, raw), strict=True)


def last_two_days(connection: sqlite3.Connection) -> Iterator[tuple[int, int, int]]:
    """(at ms, value, stream): the last of each settled hour of the last two days of the record,
    then every fresh one."""
    high = connection.execute("SELECT max(key) FROM packed").fetchone()[0]
    if high is not None:
        newest_hour = codec.stream_and_hour(high)[1]
        seen: set[int] = set()
        for key, blob in connection.execute(
            "SELECT key, readings FROM packed WHERE key >= ? ORDER BY key DESC",
            (codec.packed_key(0, max(0, newest_hour - 48)),),
        ):
            stream, hour = codec.stream_and_hour(key)
            if stream not in seen and (raw := codec.planes_of(blob)):
                seen.add(stream)
                times, values = codec.unpack(hour, raw)
                yield times[-1], values[-1], stream
    for _seq, fresh in packing.rows(connection, 0):
        for at_ms, _tick, value, stream in fresh:
            yield at_ms, value, stream


def first_at(connection: sqlite3.Connection, wanted: set[int]) -> float | None:
    """The first time of any of these streams."""
    found: list[int] = []
    for key, blob in connection.execute("SELECT key, readings FROM packed ORDER BY key"):
        stream, hour = codec.stream_and_hour(key)
        if stream in wanted and (raw := codec.planes_of(blob)):
            found.append(codec.unpack(hour, raw)[0][0])
            break
    for _seq, fresh in packing.rows(connection, 0):
        found += [at for at, _tick, _value, stream in fresh if stream in wanted]
    return min(found) / 1000 if found else None


def span(connection: sqlite3.Connection) -> tuple[float, float] | None:
    """The first and the last time of any surely timed reading of a probe."""
    mine = set(streams(connection, None, (codec.SURE,)))
    times: list[int] = []
    for order in ("ASC", "DESC"):
        found_hour: int | None = None
        for key, blob in connection.execute(
            f"SELECT key, readings FROM packed ORDER BY key {order}"  # noqa: S608 - two constants
        ):
            stream, hour = codec.stream_and_hour(key)
            if found_hour not in (None, hour):
                break
            if stream in mine and (raw := codec.planes_of(blob)):
                found_hour = hour
                found = codec.unpack(hour, raw)[0]
                times += [found[0], found[-1]]
    for _seq, fresh in packing.rows(connection, 0):
        times += [at for at, _tick, _value, stream in fresh if stream in mine]
    return (min(times) / 1000, max(times) / 1000) if times else None


def counts_by_day(connection: sqlite3.Connection, wanted: set[int]) -> dict[str, int]:
    """Readings for each UTC day. Lengths of blobs are known only by opening them."""
    days: Counter[int] = Counter()
    for _stream, hour, raw in packed(connection, wanted, 0, 2**62):
        days[hour // 24] += len(raw) // 8
    for _seq, fresh in packing.rows(connection, 0):
        for at_ms, _tick, _value, stream in fresh:
            if stream in wanted:
                days[codec.hour_of(at_ms) // 24] += 1
    epoch = datetime.date(1970, 1, 1)
    return {str(epoch + datetime.timedelta(days=day)): days[day] for day in sorted(days)}


def unreadable(connection: sqlite3.Connection) -> int:
    """How many stored hours and commits fail their checksum."""
    hours = connection.execute("SELECT readings FROM packed")
    fresh = schema.whole_log(connection, "readings")
    return sum(1 for (blob,) in hours if not codec.planes_of(blob)) + sum(
        1 for (blob,) in fresh if blob and not codec.fresh_body(blob)
    )


def inputs(connection: sqlite3.Connection, mark: int) -> Iterator[Input]:
    """The engine's inputs after a log number, in the order it was given them."""
    names = probe_keys(connection)
    columns = "at_ms, tick_ms, readings, others"
    for at_ms, tick_ms, blob, text in schema.whole_log(connection, columns, mark):
        others = packing.others_of(text)
        place = 0
        waiting = iter(others)
        other = next(waiting, None)
        for at, tick, value, stream in codec.read_fresh(blob):
            while other is not None and other[0] == place:
                yield from _other(connection, names, other)
                other = next(waiting, None)
                place += 1
            place += 1
            yield from _reading(names, at_ms + at, tick_ms + tick, value, stream)
        while other is not None:
            yield from _other(connection, names, other)
            other = next(waiting, None)


def entries(connection: sqlite3.Connection) -> tuple[list[Entry], list[int]]:
    """The ledger and the acts on alarms, and the numbers of those that are damaged."""
    found: list[Entry] = []
    damaged: list[int] = []
    for number, text in connection.execute("SELECT number, entry FROM entries ORDER BY number"):
        said = entry(text)
        if said is None:
            damaged.append(number)
        else:
            found.append(replace(said, number=number))
    return found, damaged


def entry(text: object) -> Entry | None:
    """A ledger entry from its JSON; None: it is damaged."""
    fields = _fields(text)
    if fields is None or any(
        name not in _ENTRY_FIELDS or not isinstance(value, _ENTRY_FIELDS[name])
        for name, value in fields.items()
    ):
        return None
    try:
        said = Entry(**{**fields, "entry": EntryKind(fields["entry"])})
    except (ValueError, TypeError, KeyError):
        return None
    sane = abs(said.at) <= codec.LARGEST_MS / 1000  # also what is no number is not
    return said if sane else None


def change(text: object) -> Change | None:
    """An alarm change from its JSON; None: it is damaged."""
    fields = _fields(text)
    if fields is None:
        return None
    try:
        fields["alarm"] = AlarmName(fields["alarm"])
        fields["change"] = ChangeKind(fields["change"])
        fields["priority"] = Priority(fields["priority"])
        fields["cause"] = Cause(fields["cause"])
        return Change(**fields)
    except (ValueError, TypeError, KeyError):
        return None


def outbox_row(row: tuple[Any, ...]) -> OutboxRow | None:
    """A message for a contact from the columns of its row; None: it is damaged."""
    key, contact, at_ms, priority, text, state, tries, next_ms = row
    message = _fields(text)
    numbers = (at_ms, tries, 0 if next_ms is None else next_ms)
    if message is None or not all(isinstance(number, int) for number in numbers):
        return None
    return OutboxRow(
        key=key,
        contact=contact,
        at=at_ms / 1000,
        priority=priority,
        message=message,
        state=state,
        tries=tries,
        next_try_at=None if next_ms is None else next_ms / 1000,
    )


def _fields(text: object) -> dict[str, Any] | None:
    try:
        fields = json.loads(text) if isinstance(text, str) else None
    except ValueError:
        return None
    return fields if isinstance(fields, dict) else None


def _reading(
    names: dict[int, str], at_ms: int, tick_ms: int, value: int, stream: int
) -> Iterator[Input]:
    key = names.get(stream // 4)
    if key is not None:  # else it is a derived number, which is no input
        sure = stream % 4 == codec.SURE
        yield Reading(at_ms / 1000, tick_ms / 1000, key, value / codec.PER_DEGREE, sure)


def _other(
    connection: sqlite3.Connection, names: dict[int, str], item: list[Any]
) -> Iterator[Input]:
    _place, kind, at_ms, tick_ms, *rest = item
    now = Moment(at_ms / 1000, tick_ms / 1000)
    if kind == "reading":
        yield from _reading(names, at_ms, tick_ms, rest[0], rest[1])
    elif kind == "bad":
        if rest[0] in names:
            yield BadValue(now.at, now.tick, names[rest[0]], rest[1], rest[2])
    elif kind == "entry":
        row = connection.execute("SELECT entry FROM entries WHERE number = ?", rest).fetchone()
        said = entry(row[0]) if row is not None else None
        if said is not None:
            yield Entered(replace(said, number=rest[0]), now)
    elif kind == "fault" and rest[0] in _ALARMS:
        yield WatcherFault(AlarmName(rest[0]), rest[1], now, rest[2])
