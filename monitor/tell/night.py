"""How one brooder's night was, from its readings. Pure; the service reads them from the journal
when the morning message is written."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

NIGHT_S = 12 * 3600.0  # the morning message looks back this far


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """Floor temperatures of one night. Temperatures degC, times Unix seconds."""

    lowest_c: float
    lowest_at: float
    lowest_target_c: float | None  # what it should have been then
    highest_c: float
    highest_at: float
    highest_target_c: float | None
    too_cold_s: float
    too_hot_s: float
    unseen_s: float  # longer than `silent_s` without a reading


def summarise(
    readings: Iterable[tuple[float, float]],
    *,
    target: Callable[[float], float | None],
    band_c: float,
    silent_s: float,
    from_at: float,
    to_at: float,
) -> Night | None:
    """`readings` are (at, degC) of one floor probe in order of time; None if there are none.

    A reading stands until the next one, but no longer than `silent_s`; beyond that nobody knows."""
    low: tuple[float, float] | None = None
    high: tuple[float, float] | None = None
    cold_s = hot_s = unseen_s = 0.0
    known_to = from_at
    last: tuple[float, float] | None = None

    def account(at: float, temp_c: float, until: float) -> None:
        nonlocal cold_s, hot_s
        want = target(at)
        if want is None:
            return
        if temp_c < want - band_c:
            cold_s += until - at
        elif temp_c > want + band_c:
            hot_s += until - at

    for at, temp_c in readings:
        if last is not None:
            account(*last, min(at, last[0] + silent_s))
            known_to = min(at, last[0] + silent_s)
        unseen_s += max(0.0, at - known_to)
        low = (temp_c, at) if low is None or temp_c < low[0] else low
        high = (temp_c, at) if high is None or temp_c > high[0] else high
        last = (at, temp_c)
    if last is None or low is None or high is None:
        return None
    end = min(to_at, last[0] + silent_s)
    account(*last, end)
    unseen_s += max(0.0, to_at - end)
    return Night(
        lowest_c=low[0],
        lowest_at=low[1],
        lowest_target_c=target(low[1]),
        highest_c=high[0],
        highest_at=high[1],
        highest_target_c=target(high[1]),
        too_cold_s=cold_s,
        too_hot_s=hot_s,
        unseen_s=unseen_s,
    )
