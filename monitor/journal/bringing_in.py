"""Readings and entries from elsewhere into the journal, all or nothing. Called by the import and
restore commands, which hold the write lock.

What is there already is recognised and not doubled: a reading by probe, millisecond and value, an
entry by its time and everything it says. The new readings go where settled ones lie, under a new
log number, so that the mirror sends them too."""

from __future__ import annotations

import json
import sqlite3
from array import array
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from monitor.events import Entry
from monitor.journal import codec, packing
from monitor.journal.packing import Streams
from monitor.journal.records import entry_fields
from monitor.journal.rows import entry as entry_of


@dataclass(slots=True)
class Arrivals:
    """What is to be brought in, gathered before anything is written."""

    readings: dict[str, tuple[array[int], array[int]]] = field(default_factory=dict)
    bad: dict[str, tuple[array[int], array[int]]] = field(default_factory=dict)
    unsure: dict[str, tuple[array[int], array[int]]] = field(default_factory=dict)
    entries: list[Entry] = field(default_factory=list)
    places: dict[str, str] = field(default_factory=dict)  # by probe, where the source tells them

    def add(self, probe: str, at: float, temp_c: float, *, sort: int = codec.SURE) -> None:
        """One reading, one taken before the clock was set, or one bad value."""
        home = (self.readings, self.unsure, self.bad)[sort]
        held = home.get(probe)
        if held is None:
            held = home[probe] = (array("q"), array("i"))
        held[0].append(max(0, round(at * 1000)))
        held[1].append(codec.to_kept(temp_c))


@dataclass(frozen=True, slots=True)
class BroughtIn:
    """What came of it."""

    readings: int
    readings_known: int
    entries: int
    entries_known: int


Told = Callable[[int, int], None]  # hours done, hours in all


@dataclass(frozen=True, slots=True)
class Here:
    """What the journal lends: the log number this goes under, and its ways to name and count."""

    seq: int
    stream_of: Callable[[str], int]  # of a probe's readings
    next_number: Callable[[], int]


def bring_in(
    connection: sqlite3.Connection, here: Here, arrivals: Arrivals, told: Told
) -> BroughtIn:
    """Does it, inside the caller's transaction."""
    streams: Streams = {}
    for kind, home in ((codec.SURE, arrivals.readings), (codec.UNSURE, arrivals.unsure),
                       (codec.BAD, arrivals.bad)):  # fmt: skip
        for key, (times, values) in home.items():
            _sort_in(streams, here.stream_of(key) + kind, times, values, here.seq)
    given = sum(len(times) for times, _, _ in streams.values())
    same = _siblings(connection)
    fresh = packing.gather(connection, 0, 2**62)
    added = 0
    done: list[tuple[int, int, bytes]] = []
    for number, ((hour, stream), (times, values, newest)) in enumerate(sorted(streams.items())):
        known = _known(connection, fresh, hour, same.get(stream, [stream]))
        kept_times, kept_values = array("q"), array("i")
        for pair in zip(times, values, strict=True):
            if pair not in known:
                known.add(pair)
                kept_times.append(pair[0])
                kept_values.append(pair[1])
        if kept_times:
            added += len(kept_times)
            new: Streams = {(hour, stream): (kept_times, kept_values, newest)}
            done += packing.merged(connection, new)
        if number % 100 == 99:
            told(number + 1, len(streams))
    packing.put(connection, done)
    told(len(streams), len(streams))
    entries, entries_known = _entries(connection, arrivals.entries, here.next_number)
    return BroughtIn(added, given - added, entries, entries_known)


def _sort_in(
    streams: Streams, stream: int, times: Iterable[int], values: Iterable[int], seq: int
) -> None:
    for at_ms, value in zip(times, values, strict=True):
        place = (codec.hour_of(at_ms), stream)
        held = streams.get(place)
        if held is None:
            held = streams[place] = (array("q"), array("i"), [seq])
        held[0].append(at_ms)
        held[1].append(value)


def _siblings(connection: sqlite3.Connection) -> Mapping[int, list[int]]:
    """stream -> the streams of the same probe under any configuration."""
    by_key: dict[str, list[int]] = {}
    for series, key in connection.execute("SELECT id, key FROM series WHERE kind = 'probe'"):
        by_key.setdefault(key, []).append(series)
    return {
        series * 4 + kind: [one * 4 + kind for one in group]
        for group in by_key.values()
        for series in group
        for kind in (codec.SURE, codec.UNSURE, codec.BAD)
    }


def _known(
    connection: sqlite3.Connection, fresh: Streams, hour: int, streams: list[int]
) -> set[tuple[int, int]]:
    known: set[tuple[int, int]] = set()
    for stream in streams:
        row = connection.execute(
            "SELECT readings FROM packed WHERE key = ?", (codec.packed_key(stream, hour),)
        ).fetchone()
        if row is not None:
            known.update(zip(*codec.unpack(hour, codec.planes_of(row[0])), strict=True))
        if (hour, stream) in fresh:
            times, values, _ = fresh[hour, stream]
            known.update(zip(times, values, strict=True))
    return known


def _entries(
    connection: sqlite3.Connection, entries: list[Entry], next_number: Callable[[], int]
) -> tuple[int, int]:
    """Writes new entries in order of time. An undo names a number of the file (or, where the file
    has none, the entry's place in it); it is given the number that entry has here."""
    numbers: dict[str, int] = {}
    for text, number in connection.execute("SELECT entry, number FROM entries ORDER BY number"):
        known = entry_of(text)
        if known is not None:
            numbers[_said(known, numbers={})] = number
    renumbered: dict[int, int] = {}
    added = 0
    for place, entry in enumerate(entries, start=1):
        said = _said(entry, renumbered)
        own = entry.number or place
        if said in numbers:
            renumbered[own] = numbers[said]
            continue
        number = numbers[said] = renumbered[own] = next_number()
        undoes = None if entry.undoes is None else renumbered.get(entry.undoes, entry.undoes)
        kept = replace(entry, number=number, undoes=undoes)
        connection.execute(
            "INSERT INTO entries (number, at_ms, entry) VALUES (?, ?, ?)",
            (number, max(0, round(entry.at * 1000)), json.dumps(entry_fields(kept))),
        )
        added += 1
    return added, len(entries) - added


def _said(entry: Entry, numbers: Mapping[int, int]) -> str:
    """What an entry says, without its number in this or that journal."""
    fields = entry_fields(entry)
    fields["at"] = round(entry.at * 1000)
    fields.pop("number", None)
    if entry.undoes is not None:
        fields["undoes"] = numbers.get(entry.undoes, entry.undoes)
    return json.dumps(fields, sort_keys=True)
