"""Exposures of spans that follow one another, joined without reading anything again: days to weeks.
Called by the sheet."""

from collections.abc import Sequence
from functools import reduce
from math import inf

from monitor.review.exposure import Exposure, Runs, Spell

_SUMS = (
    "span_s", "gap_s", "some_silent_s", "judged_s", "below_s", "above_s", "below_ks", "above_ks",
    "chill_s", "chill_ks", "overheat_s",
)  # fmt: skip


def joined(parts: Sequence[Exposure]) -> Exposure:
    """The exposure of spans that follow one another without a gap, from theirs."""
    return reduce(_two, parts)


def _two(a: Exposure, b: Exposure) -> Exposure:
    lowest = min((a, b), key=lambda part: inf if part.low_c is None else part.low_c)
    highest = max((a, b), key=lambda part: -inf if part.high_c is None else part.high_c)
    read_a, read_b = a.span_s - a.gap_s, b.span_s - b.gap_s
    average = b.average_c if a.average_c is None else a.average_c
    if a.average_c is not None and b.average_c is not None:
        average = (a.average_c * read_a + b.average_c * read_b) / (read_a + read_b)
    return Exposure(
        **{name: getattr(a, name) + getattr(b, name) for name in _SUMS},
        low_c=lowest.low_c,
        low_at=lowest.low_at,
        high_c=highest.high_c,
        high_at=highest.high_at,
        average_c=average,
        below_runs=_join_runs(a.below_runs, b.below_runs, a.span_s, b.span_s),
        above_runs=_join_runs(a.above_runs, b.above_runs, a.span_s, b.span_s),
    )


def _join_runs(a: Runs, b: Runs, a_s: float, b_s: float) -> Runs:
    bridge = None
    if a.last is not None and b.first is not None:
        bridge = Spell(start=a.last.start, lasted_s=a.last.lasted_s + b.first.lasted_s)
    candidates = [spell for spell in (a.longest, bridge, b.longest) if spell is not None]
    longest = max(candidates, key=lambda spell: spell.lasted_s, default=None)
    first, last = a.first, b.last
    if bridge is not None and a.first is not None and a.first.lasted_s >= a_s:
        first = bridge
    if bridge is not None and b.last is not None and b.last.lasted_s >= b_s:
        last = bridge
    return Runs(first, longest, last)
