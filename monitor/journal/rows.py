"""Rows of the journal's tables as records. Called by `reader`, `salvage` and the mirror; each
function runs in the transaction of the connection it is given. A row of a damaged file may hold
anything: what is not sane is None, or left out."""

import json
import math
import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from monitor.events import (
    ALARM_NAMES,
    AlarmName,
    BadValue,
    CameLate,
    Cause,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Measured,
    Moment,
    Priority,
    Reading,
)
from monitor.journal.records import BadCount, Entered, Input, KnownProbe, OutboxRow, WatcherFault
from monitor.journal.resolution import HOUR_MS, LARGEST_MS, is_ms
from monitor.journal.schema import ENTRY_COLUMNS

ENTRIES = (
    f"SELECT e.number, e.id, e.at_ms, e.entry, {', '.join(f'e.{n}' for n in ENTRY_COLUMNS)},"  # noqa: S608
    " target.number FROM entries AS e NOT INDEXED LEFT JOIN entries AS target"
    " ON target.id = e.undoes_id"
)
CHANGES = (
    "SELECT id, at_ms, brooder, alarm, change, priority, cause, probe, occurrence, facts"
    " FROM alarms"
)
_BAD_REASONS_AN_HOUR = 20
_OTHER_REASONS = "other values no floor can have"
_NUMBERS: dict[str, Any] = {"count": int, "minutes": (int, float)}
_IS_TIMED = " AND ".join(
    f"typeof({name}) = 'integer' AND {name} BETWEEN 0 AND {LARGEST_MS}"
    for name in ("at_ms", "tick_ms")
)


def known(connection: sqlite3.Connection) -> dict[int, KnownProbe]:
    """Every configuration of every probe, by number."""
    return {
        row[0]: KnownProbe(*row)
        for row in connection.execute(
            f"SELECT {', '.join(KnownProbe._fields)} FROM probes ORDER BY id"  # noqa: S608
        )
    }


def meters(connection: sqlite3.Connection) -> dict[str, KnownProbe]:
    """Every meter as it was configured last, by key; its `unit` is none of temperature."""
    row = connection.execute("SELECT value FROM meta WHERE name = 'meters'").fetchone()
    try:
        said = json.loads(row[0]) if row is not None else []
        return {one[1]: KnownProbe(*one) for one in said}
    except (ValueError, TypeError, IndexError):  # damaged
        return {}


def measured(
    connection: sqlite3.Connection, key: str, from_ms: int, to_ms: int
) -> list[tuple[int, float]]:
    """(at ms, value) of a meter, ordered by time, from <= at < to."""
    place, _, name = key.partition("/")
    return connection.execute(
        "SELECT at_ms, value FROM derived WHERE brooder = ? AND name = ? AND at_ms >= ?"
        " AND at_ms < ? ORDER BY at_ms, id",
        (place, name, from_ms, to_ms),
    ).fetchall()


def probe_keys(connection: sqlite3.Connection, keys: Iterable[str] | None = None) -> dict[int, str]:
    """Number -> probe key, of these probes or of all."""
    wanted = None if keys is None else set(keys)
    return {
        number: key
        for number, key in connection.execute("SELECT id, key FROM probes")
        if wanted is None or key in wanted
    }


def among(numbers: Iterable[int]) -> str:
    """A condition on `probe_id`."""
    return f"probe_id IN ({', '.join(str(int(number)) for number in numbers)})"


def bad_counts(connection: sqlite3.Connection, from_ms: int, to_ms: int) -> list[BadCount]:
    """Values no floor can have, counted by probe, hour and reason. A probe that gives a reason of
    its own each time has the rest of an hour's under one."""
    names = probe_keys(connection)
    found: dict[tuple[str, int, str], BadCount] = {}
    reasons: dict[tuple[str, int], int] = {}
    for at_ms, number, reason in connection.execute(
        "SELECT at_ms, probe_id, reason FROM bad_values WHERE at_ms >= ? AND at_ms < ?"
        " ORDER BY at_ms, probe_id, nth",
        (from_ms, to_ms),
    ):
        if number not in names:
            continue
        probe, hour = names[number], at_ms // HOUR_MS
        if (probe, hour, reason) not in found:
            seen = reasons[probe, hour] = reasons.get((probe, hour), 0) + 1
            if seen > _BAD_REASONS_AN_HOUR:
                reason = _OTHER_REASONS  # noqa: PLW2901
        at, place = at_ms / 1000, (probe, hour, reason)
        old = found.get(place)
        found[place] = BadCount(
            probe,
            reason,
            1 if old is None else old.count + 1,
            at if old is None else old.first_at,
            at,
        )
    return sorted(found.values(), key=lambda count: count.first_at)


def inputs(connection: sqlite3.Connection, mark: int) -> Iterator[Input]:
    """The engine's inputs after a commit, in the order it was given them."""
    names = probe_keys(connection)
    for at_ms, tick_ms, text in connection.execute(
        f"SELECT at_ms, tick_ms, inputs FROM commits WHERE seq > ? AND {_IS_TIMED} ORDER BY seq",  # noqa: S608
        (mark,),
    ).fetchall():
        for item in items_of(text):
            found = _input(connection, names, item, at_ms, tick_ms)
            if found is not None:
                yield found


def ended(connection: sqlite3.Connection) -> Moment | None:
    """How far the engine's time had come at the last commit whose time is one."""
    row = connection.execute(
        f"SELECT at_ms, tick_ms FROM commits WHERE at_ms > 0 AND {_IS_TIMED}"  # noqa: S608
        " ORDER BY seq DESC LIMIT 1"
    ).fetchone()
    return None if row is None else Moment(row[0] / 1000, row[1] / 1000)


def items_of(inputs: object) -> list[list[Any]]:
    """What a commit held, as `writing` has written it; nothing of what is damaged."""
    try:
        found = json.loads(zlib.decompress(inputs)) if isinstance(inputs, bytes) else []
    except (ValueError, zlib.error):
        return []
    return [item for item in found if _is_item(item)] if isinstance(found, list) else []


def _is_item(item: object) -> bool:
    match item:
        case [int(), int(), int(), int() | float() as temp_c, *_]:
            return math.isfinite(temp_c)
        case ["bad", int(), int(), int(), str(), int() | float() | None]:
            return True
        case ["measured", int(), int(), str(), int() | float() as value, *_]:
            return math.isfinite(value)
        case ["entry", int(), int(), int()] | ["fault", int(), int(), str(), bool(), dict()]:
            return True
        case ["late", int(), int(), str(), int() as lag_ms]:
            return is_ms(lag_ms)
    return False


def _input(
    connection: sqlite3.Connection, names: dict[int, str], item: list[Any], at_ms: int, tick_ms: int
) -> Input | None:
    at, tick = at_ms + item[1], tick_ms + item[2]
    if not (is_ms(at) and is_ms(tick)):
        return None
    now = Moment(at / 1000, tick / 1000)
    found: Input | None = None
    match item[0]:
        case int(number) if number in names:
            found = Reading(now.at, now.tick, names[number], float(item[3]), len(item) == 4)
        case "bad" if item[3] in names:
            found = BadValue(now.at, now.tick, names[item[3]], item[4], item[5])
        case "measured":
            found = Measured(now.at, now.tick, item[3], float(item[4]), len(item) == 5)
        case "entry":
            row = connection.execute(ENTRIES + " WHERE e.number = ?", (item[3],)).fetchone()
            said = None if row is None else entry(row)
            found = None if said is None else Entered(said, now)
        case "fault" if item[3] in ALARM_NAMES:
            found = WatcherFault(AlarmName(item[3]), item[4], now, item[5])
        case "late":
            found = CameLate(now.at, now.tick, item[3], item[4] / 1000)
    return found


def entries(connection: sqlite3.Connection) -> tuple[list[Entry], list[int]]:
    """The ledger and the acts on alarms, and the numbers of those that are damaged."""
    found: list[Entry] = []
    damaged: list[int] = []
    for row in connection.execute(ENTRIES + " ORDER BY e.number"):
        said = entry(row)
        if said is None:
            damaged.append(row[0])
        else:
            found.append(said)
    return found, damaged


def entry(row: Sequence[Any]) -> Entry | None:
    """A ledger entry from its columns as ENTRIES has them; None: it is damaged."""
    number, own, at_ms, kind, *rest, undoes = row
    said = dict(zip(ENTRY_COLUMNS, rest, strict=True))
    sane = all(
        value is None or isinstance(value, _NUMBERS.get(name, str)) for name, value in said.items()
    )
    if not (sane and is_ms(at_ms) and isinstance(own, str) and isinstance(kind, str)):
        return None
    try:
        return Entry(
            at=at_ms / 1000, entry=EntryKind(kind), number=number, id=own, undoes=undoes, **said
        )
    except ValueError:
        return None


def change(row: Sequence[Any]) -> Change | None:
    """An alarm change from its columns as CHANGES has them; None: it is damaged."""
    _id, at_ms, brooder, alarm, what, priority, cause, probe, occurrence, text = row
    facts = facts_of(text)
    if facts is None or not is_ms(at_ms):
        return None
    try:
        return Change(
            at=at_ms / 1000,
            brooder=brooder,
            alarm=AlarmName(alarm),
            change=ChangeKind(what),
            priority=Priority(priority),
            cause=Cause(cause),
            probe=probe,
            occurrence=occurrence,
            facts=facts,  # type: ignore[arg-type]
        )
    except ValueError:
        return None


def outbox_row(row: tuple[Any, ...]) -> OutboxRow | None:
    """A message for a contact from the columns of its row; None: it is damaged."""
    key, contact, at_ms, priority, text, tries = row
    message = facts_of(text)
    if message is None or not (isinstance(at_ms, int) and isinstance(tries, int)):
        return None
    return OutboxRow(
        key=key,
        contact=contact,
        at=at_ms / 1000,
        priority=priority,
        message=message,
        tries=tries,
    )


def facts_of(text: object) -> dict[str, Any] | None:
    """What stands in a column of JSON; None: it is damaged."""
    try:
        fields = json.loads(text) if isinstance(text, str) else None
    except ValueError:
        return None
    return fields if isinstance(fields, dict) else None
