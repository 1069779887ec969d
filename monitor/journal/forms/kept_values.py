"""All that probes and meters said, in order of time, for whoever writes it out."""

import sqlite3
from collections.abc import Collection, Iterator
from heapq import merge
from operator import attrgetter
from typing import NamedTuple

from monitor.journal import rows
from monitor.journal.reader import JournalReader
from monitor.journal.resolution import first_id, ten_thousandths


class KeptValue(NamedTuple):
    """One value of a probe or a meter."""

    at_ms: int
    key: str
    value: int  # in 0.0001 degC, or of the meter's unit
    sure: bool = True
    bad: bool = False


def kept_values(
    reader: JournalReader, keys: Collection[str], from_at: float, to_at: float
) -> Iterator[KeptValue]:
    """Of these probes and meters, from <= at < to, as of one moment. Damaged rows are left out."""
    span = round(from_at * 1000), round(to_at * 1000)
    with reader.transaction() as connection:
        probes = rows.probe_keys(connection, keys)
        meters = [key for key in rows.meters(connection) if key in keys]
        sources = [_measured(connection, key, span) for key in meters]
        if probes:
            sources[:0] = [_readings(connection, probes, span), _bad(connection, probes, span)]
        yield from merge(*sources, key=attrgetter("at_ms"))


def _readings(
    connection: sqlite3.Connection, probes: dict[int, str], span: tuple[int, int]
) -> Iterator[KeptValue]:
    for at_ms, number, temp_c, sure in connection.execute(
        f"SELECT at_ms, probe_id, temp_c, clock_sure FROM readings WHERE {rows.among(probes)}"  # noqa: S608
        " AND id >= ? AND id < ? ORDER BY id",
        tuple(map(first_id, span)),
    ):
        if isinstance(temp_c, float):
            yield KeptValue(at_ms, probes[number], ten_thousandths(temp_c), bool(sure))


def _bad(
    connection: sqlite3.Connection, probes: dict[int, str], span: tuple[int, int]
) -> Iterator[KeptValue]:
    for at_ms, number, temp_c in connection.execute(
        f"SELECT at_ms, probe_id, temp_c FROM bad_values WHERE {rows.among(probes)}"  # noqa: S608
        " AND at_ms >= ? AND at_ms < ? ORDER BY at_ms, probe_id, nth",
        span,
    ):
        if isinstance(temp_c, float):
            yield KeptValue(at_ms, probes[number], ten_thousandths(temp_c), bad=True)


def _measured(
    connection: sqlite3.Connection, key: str, span: tuple[int, int]
) -> Iterator[KeptValue]:
    for at_ms, value in rows.measured(connection, key, *span):
        yield KeptValue(at_ms, key, ten_thousandths(value))
