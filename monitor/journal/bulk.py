"""Two million readings as numpy arrays in about a second. Called by `reader`, which
imports this module only when asked, so that the daemon never loads numpy.

A row fetched through Python costs more than all that SQLite does for it. So SQLite itself writes
the numbers of some ten thousand rows into one text, which numpy reads at once."""

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.journal.resolution import HOUR_MS, PER_DEGREE, PER_MS, first_id
from monitor.journal.rows import among

Numbers = tuple[NDArray[np.float64], NDArray[np.float64]]
NOTHING: Numbers = (np.empty(0), np.empty(0))
_ROWS = 50_000  # of a stretch, about
_LONGEST_MS = 30 * 24 * HOUR_MS
# As a whole number of ten-thousandths, which SQLite writes several times as fast as a decimal.
_VALUE = f"cast({{}} * {PER_DEGREE}.0 + iif({{}} < 0, -0.5, 0.5) AS INTEGER)"


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of one stretch, ordered by time: as many of each."""

    times_ms: NDArray[np.int64]
    probes: NDArray[np.int64]
    values: NDArray[np.int64]  # in 0.0001 degC


def series(
    connection: sqlite3.Connection,
    wanted: dict[int, str],
    from_ms: int,
    to_ms: int,
    *,
    only_sure: bool = False,
) -> dict[str, Numbers]:
    """Times (Unix s) and temperatures (degC) of each key, ordered by time, from <= at < to."""
    keys = list(dict.fromkeys(wanted.values()))
    place = np.zeros(max(wanted, default=0) + 1, dtype=np.int64)  # of a number's key
    for number, key in wanted.items():
        place[number] = keys.index(key)
    parts: list[list[tuple[NDArray[np.int64], NDArray[np.int64]]]] = [[] for _ in keys]
    for rows in stretches(connection, list(wanted), from_ms, to_ms, only_sure=only_sure):
        whose = place[rows.probes]
        for which, found in enumerate(parts):
            mine = whose == which
            found.append((rows.times_ms[mine], rows.values[mine]))
    return {key: _joined(found) for key, found in zip(keys, parts, strict=True)}


def stretches(
    connection: sqlite3.Connection,
    numbers: Sequence[int],
    from_ms: int,
    to_ms: int,
    *,
    only_sure: bool = False,
) -> Iterator[Rows]:
    """All of it in pieces that follow one another; silences cost nothing."""
    if not numbers:
        return
    which = _whose(connection, numbers) + (" AND clock_sure" if only_sure else "")
    span_ms = HOUR_MS
    at = from_ms
    while True:
        first = connection.execute(
            f"SELECT at_ms FROM readings WHERE id >= ? AND id < ?{which}"  # noqa: S608
            " ORDER BY id LIMIT 1",
            (first_id(at), first_id(to_ms)),
        ).fetchone()
        if first is None:
            return
        start, at = first[0], min(to_ms, first[0] + span_ms)
        found = _stretch(connection, (start, at), which)
        yield found
        # So long that the next holds about _ROWS.
        share = min(4.0, max(0.25, _ROWS / max(1, found.times_ms.size)))
        span_ms = min(_LONGEST_MS, max(1000, int(span_ms * share)))


def _stretch(connection: sqlite3.Connection, from_to_ms: tuple[int, int], also: str) -> Rows:
    """The readings of a stretch; `also` is a further condition."""
    which = f"FROM readings WHERE id >= ?1 * {PER_MS} AND id < ?2 * {PER_MS}{also}"
    found = connection.execute(
        "SELECT group_concat(at_ms - ?1), group_concat(probe_id),"
        f" group_concat({_VALUE.format('temp_c', 'temp_c')}) {which}",
        from_to_ms,
    ).fetchone()
    offsets, probes, values = (_parsed(text) for text in found)
    if not offsets.size == probes.size == values.size:  # a damaged row: left out, read one by one
        sane = [
            row
            for row in connection.execute(
                f"SELECT at_ms - ?1, probe_id, temp_c {which}", from_to_ms
            )
            if all(isinstance(number, int | float) for number in row)
        ]
        table_of = np.array(sane, dtype=np.float64).reshape(-1, 3)
        offsets, probes = table_of[:, 0].astype(np.int64), table_of[:, 1].astype(np.int64)
        values = np.round(table_of[:, 2] * PER_DEGREE).astype(np.int64)
    return Rows(offsets + from_to_ms[0], probes, values)


def _whose(connection: sqlite3.Connection, numbers: Sequence[int]) -> str:
    """A condition on the probe, but for all of them: it costs as much as the readings."""
    all_of_them = {number for (number,) in connection.execute("SELECT id FROM probes")}
    return "" if all_of_them <= set(numbers) else f" AND {among(numbers)}"


def _parsed(text: str | None) -> NDArray[np.int64]:
    return np.fromstring(text or "", dtype=np.int64, sep=",")


def _joined(parts: list[tuple[NDArray[np.int64], NDArray[np.int64]]]) -> Numbers:
    if not parts:
        return NOTHING
    at = np.concatenate([times for times, _ in parts])
    return at / 1000, np.concatenate([values for _, values in parts]) / PER_DEGREE
