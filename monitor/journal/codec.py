"""How readings lie in the journal's blobs. Called by `store` and `packing` (writing) and by
`reader` and `bulk` (reading); no SQL here.

Fresh readings: 14 bytes each in the order of arrival, one blob for each commit. Settled readings:
one blob for each stream and hour, about 1 to 3 bytes a reading: first differences of the times and
of the values, as 32-bit integers whose bytes are sorted into four planes (most planes are nothing
but zeros or sign bytes then), compressed by zlib, whose own checksum guards every blob.

A stream is a series and what its numbers are: `series id * 4 + kind`."""

from __future__ import annotations

import zlib
from array import array
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, chain
from operator import sub
from struct import Struct

HOUR_MS = 3_600_000
SURE, UNSURE, BAD = 0, 1, 2  # a reading; one taken before the board knew the time; a bad value
PER_DEGREE = 10_000
LARGEST_MS = 4_102_444_800_000  # the year 2100; a time beyond is a probe's nonsense

_RECORD = Struct("<iiiH")  # at and tick in ms after the row's own, value, stream
RECORD_BYTES = _RECORD.size
MAX_STREAM = 0xFFFF
_INT32 = 2**31
_LARGEST = 2**30  # so that a difference of two values fits 32 bits too
_FORMAT = b"\x01"  # first byte of a packed blob
_STREAM_BITS = 24
_LAST_HOUR = 2**36  # keeps a key within 63 bits; far beyond any clock

Fresh = tuple[int, int, int, int]  # at ms, tick ms, value, stream


def fits(at_off: int, tick_off: int, value: int, stream: int) -> bool:
    """Can this reading be a 14-byte record of a row with that base? If not it goes in as text."""
    return (
        -_INT32 <= at_off < _INT32
        and -_INT32 <= tick_off < _INT32
        and -_LARGEST <= value < _LARGEST
        and stream <= MAX_STREAM
    )


def is_ms(number: object) -> bool:
    """Is it a time as `to_ms` gives it?"""
    return isinstance(number, int) and 0 <= number <= LARGEST_MS


def is_kept(number: object) -> bool:
    """Is it a temperature as `to_kept` gives it?"""
    return isinstance(number, int) and -_LARGEST <= number < _LARGEST


def is_stream(number: object) -> bool:
    """Can a packed hour be that of this stream?"""
    return isinstance(number, int) and 0 <= number < 1 << _STREAM_BITS


def to_ms(seconds: float) -> int:
    """Milliseconds, within what a clock can say (a broken one says anything)."""
    if not 0 <= seconds <= LARGEST_MS / 1000:
        return LARGEST_MS if seconds > 0 else 0
    return round(seconds * 1000)


def to_kept(temp_c: float) -> int:
    """degC as the whole number that is kept. Beyond what fits it is the largest that does."""
    if temp_c != temp_c:  # noqa: PLR0124 - NaN
        return -_LARGEST
    return max(-_LARGEST, min(_LARGEST - 1, round(max(-1e9, min(1e9, temp_c)) * PER_DEGREE)))


def write_fresh(records: Iterable[Fresh]) -> bytes:
    """Records whose times count from the row's own, and their checksum: SQLite has none, and a
    broken page would else be read as temperatures."""
    pack = _RECORD.pack
    body = b"".join([pack(*record) for record in records])
    return body + zlib.crc32(body).to_bytes(4, "little") if body else b""


def fresh_body(blob: object) -> bytes:
    """The records without their checksum; none if it does not fit: a gap, never a wrong value."""
    if not isinstance(blob, bytes) or len(blob) % RECORD_BYTES != 4:
        return b""
    body = blob[:-4]
    return body if zlib.crc32(body).to_bytes(4, "little") == blob[-4:] else b""


def read_fresh(blob: object) -> Iterator[Fresh]:
    """The records of one row, in order of arrival."""
    return _RECORD.iter_unpack(fresh_body(blob))


def packed_key(stream: int, hour: int) -> int:
    """Where a stream's hour lies. Hours first: the tree only ever grows at its end."""
    return (hour << _STREAM_BITS) | stream


def stream_and_hour(key: int) -> tuple[int, int]:
    """The inverse of `packed_key`."""
    return key & ((1 << _STREAM_BITS) - 1), key >> _STREAM_BITS


def hour_of(at_ms: int) -> int:
    """The hour since 1970 that holds this time. Times before 1970 count to the first."""
    return min(max(at_ms // HOUR_MS, 0), _LAST_HOUR)


def pack(hour: int, times_ms: Sequence[int], values: Sequence[int]) -> bytes:
    """One stream's hour, ordered by time, as a blob."""
    if not times_ms:
        raise ValueError("an hour without readings is not packed")
    start = hour * HOUR_MS
    planes = _planes(_differences(times_ms, start)) + _planes(_differences(values, 0))
    return _FORMAT + zlib.compress(planes, 6)


def unpack(hour: int, raw: bytes) -> tuple[array[int], array[int]]:
    """The times (ms since 1970) and values of an hour's planes."""
    half = len(raw) // 2
    times = array("q", accumulate(_from_planes(raw[:half]), initial=hour * HOUR_MS))
    values = array("i", accumulate(_from_planes(raw[half:])))
    return times[1:], values


def planes_of(blob: object) -> bytes:
    """The uncompressed planes: n*4 bytes of times, n*4 bytes of values. None of a damaged blob:
    a gap, never a wrong value."""
    if not isinstance(blob, bytes) or blob[:1] != _FORMAT:
        return b""
    try:
        raw = zlib.decompress(blob[1:])
    except zlib.error:
        return b""
    return raw if len(raw) % 8 == 0 else b""


def merge(
    hour: int, blob: bytes | None, times_ms: Sequence[int], values: Sequence[int]
) -> tuple[array[int], array[int]]:
    """An hour's readings together with later arrivals, ordered by time. Nothing is dropped:
    equal times stay side by side in order of arrival."""
    old_times: Sequence[int] = ()
    old_values: Sequence[int] = ()
    if blob is not None:
        old_times, old_values = unpack(hour, planes_of(blob))
    pairs = sorted(
        chain(zip(old_times, old_values, strict=True), zip(times_ms, values, strict=True)),
        key=_first,
    )
    return array("q", [t for t, _ in pairs]), array("i", [v for _, v in pairs])


def _first(pair: tuple[int, int]) -> int:
    return pair[0]


def _differences(numbers: Sequence[int], start: int) -> array[int]:
    return array("i", chain((numbers[0] - start,), map(sub, numbers[1:], numbers)))


def _planes(numbers: array[int]) -> bytes:
    raw = numbers.tobytes()
    return raw[0::4] + raw[1::4] + raw[2::4] + raw[3::4]


def _from_planes(raw: bytes) -> array[int]:
    count = len(raw) // 4
    mixed = bytearray(len(raw))
    for plane in range(4):
        mixed[plane::4] = raw[plane * count : (plane + 1) * count]
    return array("i", bytes(mixed))
