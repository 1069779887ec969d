"""The journal's readings an hour at a time, settled and fresh together, for whoever goes through
all of it in bounded memory. Called by the exports; imports numpy."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from itertools import groupby, pairwise
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from monitor.journal import bulk, codec, rows
from monitor.journal.reader import JournalReader

Times = NDArray[np.int64]
Values = NDArray[np.int32]
Run = tuple[int, Times, Values]  # stream, times in ms, values


@dataclass(frozen=True, slots=True)
class Part:
    """One probe's readings of one sort within the hour, ordered by time."""

    times_ms: list[int]
    values: list[int]  # in 0.0001 degC
    sure: bool
    bad: bool


@dataclass(frozen=True, slots=True)
class Hour:
    """An hour (UTC) and its readings by probe key."""

    start_ms: int
    end_ms: int
    parts: list[tuple[str, Part]]


def hours(
    reader: JournalReader, keys: Collection[str], from_at: float, to_at: float
) -> Iterator[Hour]:
    """Every hour with readings of these probes, from <= at < to, in one consistent picture."""
    from_ms, to_ms = round(from_at * 1000), round(to_at * 1000)
    with reader.picture() as connection:
        kinds = (codec.SURE, codec.UNSURE, codec.BAD)
        found = rows.streams(connection, list(keys), kinds)
        wanted = {stream: key for stream, key in found.items() if stream >= 0}
        fresh = _by_hour(bulk.fresh(connection, bad=True), wanted)
        settled = rows.packed(connection, set(wanted), from_ms, to_ms)
        for hour, group in groupby(settled, key=itemgetter(1)):
            for early in sorted(h for h in fresh if h < hour):
                yield _hour(early, fresh.pop(early), wanted, from_ms, to_ms)
            runs = [(stream, *bulk.unpack(hour, raw)) for stream, _, raw in group]
            yield _hour(hour, runs + fresh.pop(hour, []), wanted, from_ms, to_ms)
        for late in sorted(fresh):
            yield _hour(late, fresh[late], wanted, from_ms, to_ms)


def _by_hour(fresh: tuple[Times, Values, Times], wanted: Collection[int]) -> dict[int, list[Run]]:
    """What is not packed yet, as runs of one stream in one hour."""
    at, value, streams = fresh
    if not at.size:
        return {}
    order = np.lexsort((at, streams, at // codec.HOUR_MS))
    at, value, streams = at[order], value[order], streams[order]
    hour = at // codec.HOUR_MS
    edges = np.flatnonzero((np.diff(hour) != 0) | (np.diff(streams) != 0)) + 1
    found: dict[int, list[Run]] = {}
    for start, end in pairwise([0, *edges.tolist(), at.size]):
        if int(streams[start]) in wanted:
            run = (int(streams[start]), at[start:end], value[start:end])
            found.setdefault(int(hour[start]), []).append(run)
    return found


def _hour(hour: int, runs: list[Run], wanted: dict[int, str], from_ms: int, to_ms: int) -> Hour:
    start_ms = hour * codec.HOUR_MS
    end_ms = start_ms + codec.HOUR_MS
    whole = from_ms <= start_ms and end_ms <= to_ms
    parts = []
    for stream, at, value in runs:
        if not whole:
            inside = (at >= from_ms) & (at < to_ms)
            at, value = at[inside], value[inside]  # noqa: PLW2901 - the rest is not asked for
        kind = stream % 4
        part = Part(at.tolist(), value.tolist(), kind != codec.UNSURE, kind == codec.BAD)
        parts.append((wanted[stream], part))
    return Hour(start_ms, end_ms, parts)
