"""The journal's readings an hour at a time, for whoever goes through all of it in bounded memory.
Called by the exports; imports numpy."""

import sqlite3
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from monitor.journal import bulk, rows
from monitor.journal.reader import JournalReader
from monitor.journal.resolution import HOUR_MS, first_id, ten_thousandths


@dataclass(frozen=True, slots=True)
class Part:
    """One probe's readings of one sort within the hour, ordered by time."""

    times_ms: list[int]
    values: list[int]  # in 0.0001 degC, or of the meter's unit
    sure: bool
    bad: bool


@dataclass(frozen=True, slots=True)
class HourKept:
    """An hour (UTC) and its readings by the key of their probe or meter."""

    start_ms: int
    end_ms: int
    parts: list[tuple[str, Part]]


def hours(
    reader: JournalReader, keys: Collection[str], from_at: float, to_at: float
) -> Iterator[HourKept]:
    """Every hour with readings of these probes and meters, from <= at < to, as of one moment."""
    at, to_ms = round(from_at * 1000), round(to_at * 1000)
    with reader.transaction() as connection:
        wanted = rows.probe_keys(connection, keys)
        meters = [key for key in rows.meters(connection) if key in keys]
        while (first := _first(connection, wanted, meters, at, to_ms)) is not None:
            start = first // HOUR_MS * HOUR_MS
            end = start + HOUR_MS
            stretch = (max(at, start), min(end, to_ms))
            parts = list(_parts(connection, wanted, *stretch)) if wanted else []
            yield HourKept(start, end, [*parts, *_measured(connection, meters, *stretch)])
            at = end


def _measured(
    connection: sqlite3.Connection, meters: list[str], from_ms: int, to_ms: int
) -> Iterator[tuple[str, Part]]:
    for key in meters:
        found = rows.measured(connection, key, from_ms, to_ms)
        if found:
            values = [ten_thousandths(value) for _, value in found]
            yield key, Part([at for at, _ in found], values, sure=True, bad=False)


def _first(
    connection: sqlite3.Connection,
    wanted: dict[int, str],
    meters: list[str],
    from_ms: int,
    to_ms: int,
) -> int | None:
    found = [
        row[0]
        for table, key, low, high in (
            ("readings", "id", first_id(from_ms), first_id(to_ms)),
            ("bad_values", "at_ms", from_ms, to_ms),
        )
        if wanted
        and (
            row := connection.execute(
                f"SELECT at_ms FROM {table} WHERE {key} >= ? AND {key} < ?"  # noqa: S608
                f" AND {rows.among(wanted)} ORDER BY {key} LIMIT 1",
                (low, high),
            ).fetchone()
        )
    ]
    for key in meters:
        place, _, name = key.partition("/")
        row = connection.execute(
            "SELECT min(at_ms) FROM derived WHERE brooder = ? AND name = ? AND at_ms >= ?"
            " AND at_ms < ?",
            (place, name, from_ms, to_ms),
        ).fetchone()
        found += [row[0]] if row[0] is not None else []
    return min(found, default=None)


def _parts(
    connection: sqlite3.Connection, wanted: dict[int, str], from_ms: int, to_ms: int
) -> Iterator[tuple[str, Part]]:
    for table, also, sure, bad in (
        ("readings", " AND clock_sure", True, False),
        ("readings", " AND NOT clock_sure", False, False),
        ("bad_values", " AND temp_c IS NOT NULL", True, True),
    ):
        which = f"{also} AND {rows.among(wanted)}"
        found = bulk.stretch(connection, table, (from_ms, to_ms), which)
        for number, key in wanted.items():
            mine = found.probes == number
            if mine.any():
                times, values = found.times_ms[mine].tolist(), found.values[mine].tolist()
                yield key, Part(times, values, sure, bad)
