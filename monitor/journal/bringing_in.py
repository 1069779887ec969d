"""Readings and entries from elsewhere into the journal, all or nothing. Called by the import and
restore commands, which hold the write lock.

What is there already is recognised and not doubled: a reading by probe, millisecond and value; an
entry by its identity or, where it comes without one, by its time and everything it says; an alarm's
change by occurrence, kind and time; a derived number by name and time. The hours
that grew are noted under a new commit, so that the mirror sends them too."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from array import array
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from enum import IntEnum
from heapq import merge
from itertools import islice, repeat
from operator import le

from monitor.events import Change, Entry, EntryKind
from monitor.journal import rows, tidying, writing
from monitor.journal.records import Sample, entry_fields
from monitor.journal.resolution import HOUR_MS, PER_DEGREE, ten_thousandths

Told = Callable[[int, int], None]  # readings done, readings in all
_AT_ONCE = 10_000
NO_FLOOR = "a value no floor can have"
# As in `writing`, unless a probe of this key has said this in this millisecond (oftener than ?5).
_UNKNOWN = " WHERE (SELECT count(*) FROM {} WHERE {} AND temp_c = ?3 AND {}) <= ?5"


class Sort(IntEnum):
    """What a number is."""

    SURE = 0  # a reading
    UNSURE = 1  # one taken before the board knew the time
    BAD = 2  # a value no floor can have


@dataclass(slots=True)
class Arrivals:
    """What is to be brought in, gathered before anything is written."""

    readings: dict[str, tuple[array[int], array[int]]] = field(default_factory=dict)
    bad: dict[str, tuple[array[int], array[int]]] = field(default_factory=dict)
    unsure: dict[str, tuple[array[int], array[int]]] = field(default_factory=dict)
    entries: list[Entry] = field(default_factory=list)
    measured: list[Sample] = field(default_factory=list)  # what meters said, and derived numbers
    changes: list[Change] = field(default_factory=list)
    distinct: bool = False  # two equal readings in one millisecond are two, not one said twice
    places: dict[str, str] = field(default_factory=dict)  # by probe, where the source tells them

    def add(self, probe: str, at: float, temp_c: float, *, sort: Sort = Sort.SURE) -> None:
        """One number of a probe: times in ms and values in 0.0001 degC are gathered."""
        home = (self.readings, self.unsure, self.bad)[sort]
        held = home.get(probe)
        if held is None:
            held = home[probe] = (array("q"), array("i"))
        held[0].append(max(0, round(at * 1000)))
        held[1].append(ten_thousandths(temp_c))


@dataclass(frozen=True, slots=True)
class BroughtIn:
    """How many of what came in were new, and how many were here already."""

    readings: int
    readings_known: int
    entries: int
    entries_known: int
    changes: int


def bring_in(
    connection: sqlite3.Connection,
    arrivals: Arrivals,
    told: Told,
    *,
    seq: int,
    probe_number: Callable[[str, str | None], int],
    next_number: Callable[[], int],
) -> BroughtIn:
    """As commit `seq`; the journal lends its ways to number probes and entries."""
    homes = {Sort.SURE: arrivals.readings, Sort.UNSURE: arrivals.unsure, Sort.BAD: arrivals.bad}
    total = sum(len(times) for home in homes.values() for times, _ in home.values())
    added = done = 0
    changed: dict[tuple[int, int], int] = {}
    for sort, home in homes.items():
        numbers = {key: probe_number(key, arrivals.places.get(key)) for key in home}
        for statement, keys in _statements(connection, sort, numbers):
            # In order of time across the probes: the table grows at its end.
            ordered = merge(*(_in_order(numbers[key], *home[key]) for key in keys))
            counted = _counted(ordered) if arrivals.distinct else zip(ordered, repeat(0))
            while some := list(islice(counted, _AT_ONCE)):
                if sort is not Sort.BAD:
                    for (at, number, _), _ in some:
                        changed[at // HOUR_MS, number] = seq
                last = NO_FLOOR if sort is Sort.BAD else sort is Sort.SURE
                given = [
                    (at, number, value / PER_DEGREE, last, before)
                    for (at, number, value), before in some
                ]
                added += connection.executemany(statement, given).rowcount
                done += len(some)
                told(done, total)
    tidying.note_changed(connection, changed)
    entries, entries_known = _entries(connection, arrivals.entries, next_number)
    changes = writing.write_changes(connection, arrivals.changes)
    writing.bring_derived(connection, arrivals.measured)
    return BroughtIn(added, total - added, entries, entries_known, changes)


def _statements(
    connection: sqlite3.Connection, sort: Sort, numbers: dict[str, int]
) -> Iterator[tuple[str, list[str]]]:
    """How to insert, and whose numbers: a probe that was configured more than once is known by all
    its numbers, and asked about by itself."""
    table, then, insert = (
        ("bad_values", "at_ms = ?1", writing.BAD_VALUE)
        if sort is Sort.BAD
        else ("readings", writing.IN_MS, writing.READING)
    )
    plain: list[str] = []
    for key, number in numbers.items():
        own = rows.probe_keys(connection, [key])
        if len(own) > 1:
            yield insert + _UNKNOWN.format(table, then, rows.among([*own, number])), [key]
        else:
            plain.append(key)
    if plain:
        yield insert + _UNKNOWN.format(table, then, "probe_id = ?2"), plain


def _in_order(number: int, times: array[int], values: array[int]) -> Iterable[tuple[int, int, int]]:
    numbered = zip(times, repeat(number), values)
    if all(map(le, times, times[1:])):
        return numbered  # one by one: a month of readings is not copied
    return sorted(numbered)


def _counted(
    ordered: Iterable[tuple[int, int, int]],
) -> Iterator[tuple[tuple[int, int, int], int]]:
    """Each with how often it was there before."""
    seen: Counter[tuple[int, int, int]] = Counter()
    moment = -1
    for one in ordered:
        if one[0] != moment:
            moment = one[0]
            seen.clear()
        yield one, seen[one]
        seen[one] += 1


def _entries(
    connection: sqlite3.Connection, entries: list[Entry], next_number: Callable[[], int]
) -> tuple[int, int]:
    """Writes new entries in order of time. An undo that names no identity names a number of the
    file (or, where the file has none, the entry's place in it): it is given that entry's identity.
    """
    here, _ = rows.entries(connection)
    ids = {entry.id for entry in here}
    said_here = {_said(entry): entry.id for entry in here}
    of_number: dict[int, str] = {}  # of the file's, the identity here
    of_moment: Counter[float] = Counter()
    added = 0
    for place, entry in enumerate(entries, start=1):
        undoes_id = entry.undoes_id
        if entry.entry is EntryKind.UNDO and undoes_id is None and entry.undoes is not None:
            undoes_id = of_number.get(entry.undoes, f"unknown {entry.undoes}")
        arriving = replace(entry, undoes_id=undoes_id)
        # Without an identity of its own it is known by what it says.
        own = entry.id or said_here.get(_said(arriving)) or _id_of(arriving, of_moment[entry.at])
        of_moment[entry.at] += 1
        of_number[entry.number or place] = own
        if own in ids:
            continue
        writing.write_entry(connection, replace(arriving, id=own, number=next_number()))
        ids.add(own)
        said_here.setdefault(_said(arriving), own)
        added += 1
    return added, len(entries) - added


def _id_of(entry: Entry, nth: int) -> str:
    """The identity of an entry that was kept before entries had one: two journals that are given
    the same old record give it the same. `nth`: of the entries of its moment, to keep their order.
    """
    return f"{nth:08x}{hashlib.sha256(_said(entry).encode()).hexdigest()[:24]}"


def _said(entry: Entry) -> str:
    """What an entry says, whatever its number in this or that journal."""
    fields = entry_fields(replace(entry, id=None, number=0, undoes=None))
    fields["at"] = round(entry.at * 1000)
    if entry.minutes is not None:
        fields["minutes"] = float(entry.minutes)  # 30 and 30.0 are one
    return json.dumps(fields, sort_keys=True)
