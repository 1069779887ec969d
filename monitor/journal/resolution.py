"""How times and temperatures are kept: whole milliseconds, and ten-thousandths of a degree, which
hold every step of a 12-bit thermometer (0.0625 K) and every decimal that a probe sends. Used by
whatever writes the journal or writes it out. Pure. In lines, CSV and events a time is ISO 8601 in
UTC."""

from datetime import UTC, datetime

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
PER_DEGREE = 10_000
PER_MS = 1_000_000  # readings are numbered by their time: so many have room in a millisecond
LARGEST_MS = 4_102_444_800_000  # the year 2100; a time beyond is a probe's nonsense
_LARGEST = 2**30  # in ten-thousandths: far above any fire


def to_ms(seconds: float) -> int:
    """Milliseconds, within what a clock can say (a broken one says anything)."""
    if not 0 <= seconds <= LARGEST_MS / 1000:
        return LARGEST_MS if seconds > 0 else 0
    return round(seconds * 1000)


def is_ms(number: object) -> bool:
    """Is it a time as `to_ms` gives it?"""
    return type(number) is int and 0 <= number <= LARGEST_MS


def first_id(at_ms: int) -> int:
    """The number of the first reading of this millisecond."""
    return at_ms * PER_MS


def ten_thousandths(temp_c: float) -> int:
    """degC as a whole number of 0.0001 degC. Beyond what fits it is the largest that does."""
    if temp_c != temp_c:  # noqa: PLR0124 - NaN
        return -_LARGEST
    return max(-_LARGEST, min(_LARGEST - 1, round(max(-1e9, min(1e9, temp_c)) * PER_DEGREE)))


def bounded_c(temp_c: float) -> float:
    """degC as the journal keeps it, also where it is no number at all."""
    return ten_thousandths(temp_c) / PER_DEGREE


def kept_at(at: float) -> float:
    """`at` as the journal keeps it. Give the engine this, and a rebuild is exact."""
    return round(at * 1000) / 1000


def kept_temp_c(temp_c: float) -> float:
    """A temperature as the journal keeps it. Give the engine this, and a rebuild is exact."""
    return round(temp_c * PER_DEGREE) / PER_DEGREE


FRACTION = [""] + [f".{ms:03d}" for ms in range(1, 1000)]  # of a second, by its milliseconds


def iso(at_ms: int) -> str:
    """`2026-02-10T02:15:30Z`, with milliseconds where there are any."""
    moment = datetime.fromtimestamp(at_ms // 1000, UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}{FRACTION[at_ms % 1000]}Z"
