"""Two million readings as numpy arrays in a fraction of a second. Called by `reader`, which
imports this module only when asked, so that the daemon never loads numpy."""

import sqlite3

import numpy as np
from numpy.typing import NDArray

from monitor.journal import codec, packing, rows, schema

_RECORD = np.dtype([("at", "<i4"), ("tick", "<i4"), ("value", "<i4"), ("stream", "<u2")])
Numbers = tuple[NDArray[np.float64], NDArray[np.float64]]


def series(
    connection: sqlite3.Connection, wanted: dict[int, str], from_ms: int, to_ms: int
) -> dict[str, Numbers]:
    """Times (Unix s) and values of each key, ordered by time, from <= at < to."""
    times: dict[str, list[NDArray[np.int64]]] = {key: [] for key in wanted.values()}
    values: dict[str, list[NDArray[np.int32]]] = {key: [] for key in wanted.values()}
    for stream, hour, raw in rows.packed(connection, set(wanted), from_ms, to_ms):
        at, value = unpack(hour, raw)
        times[wanted[stream]].append(at)
        values[wanted[stream]].append(value)
    at, value, streams = fresh(connection)
    for stream, key in wanted.items():
        mine = streams == stream
        if mine.any():
            times[key].append(at[mine])
            values[key].append(value[mine])
    return {key: _joined(times[key], values[key], from_ms, to_ms) for key in times}


def unpack(hour: int, raw: bytes) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """As codec.unpack, into arrays."""
    planes = np.frombuffer(raw, dtype=np.uint8).reshape(2, 4, -1)
    differences = np.ascontiguousarray(planes.transpose(0, 2, 1)).view("<i4")[:, :, 0]
    summed = np.cumsum(differences, axis=1, dtype=np.int64)
    return summed[0] + hour * codec.HOUR_MS, summed[1].astype(np.int32)


def fresh(
    connection: sqlite3.Connection, *, bad: bool = False
) -> tuple[NDArray[np.int64], NDArray[np.int32], NDArray[np.int64]]:
    """Times (ms), values and streams of everything not yet packed; `bad` values too if asked."""
    bases: list[int] = []
    lengths: list[int] = []
    parts: list[bytes] = []
    late: list[list[int]] = []
    for at_ms, blob, others in schema.whole_log(connection, "at_ms, readings, others"):
        if body := codec.fresh_body(blob):
            bases.append(at_ms)
            lengths.append(len(body) // codec.RECORD_BYTES)
            parts.append(body)
        if others:
            for item in packing.others_of(others):
                if item[1] == "reading":
                    late.append([item[2], item[4], item[5]])
                elif bad and item[1] == "bad" and item[6] is not None:
                    late.append([item[2], codec.to_kept(item[6]), item[4] * 4 + codec.BAD])
    records = np.frombuffer(b"".join(parts), dtype=_RECORD)
    at = records["at"].astype(np.int64) + np.repeat(np.array(bases, dtype=np.int64), lengths)
    value = records["value"].astype(np.int32)
    stream = records["stream"].astype(np.int64)
    if late:
        more = np.array(late, dtype=np.int64)
        at = np.concatenate([at, more[:, 0]])
        value = np.concatenate([value, more[:, 1].astype(np.int32)])
        stream = np.concatenate([stream, more[:, 2]])
    return at, value, stream


def _joined(
    times: list[NDArray[np.int64]], values: list[NDArray[np.int32]], from_ms: int, to_ms: int
) -> Numbers:
    if not times:
        return np.empty(0), np.empty(0)
    at, value = np.concatenate(times), np.concatenate(values)
    inside = (at >= from_ms) & (at < to_ms)
    if not inside.all():
        at, value = at[inside], value[inside]
    if at.size > 1 and (at[1:] < at[:-1]).any():
        order = np.argsort(at, kind="stable")
        at, value = at[order], value[order]
    return at / 1000, value / codec.PER_DEGREE
