"""A floor that a thermostat swings, and whether its next rise is overdue: the heat that should have
come on has not. Asked by `fall`; whether a thermostat was declared does not matter. Figures are
this project's (assumed); tests/bench measures what they do."""

from collections.abc import Sequence

_SWING_K = 0.8  # from peak to trough, at least
_FALLS = 2  # seen to end before
_OVERDUE, _OVERDUE_S = 1.5, 120.0  # of the longest of them, and so much more
_BELOW_K = 0.2  # than any of their troughs


def overdue(ticks: Sequence[float], means: Sequence[float], tick: float, temp_c: float) -> bool:
    """Does a floor whose course (K by seconds) came down and went up again and again come down for
    far longer now, and to where it has not been?"""
    falls: list[tuple[float, float]] = []  # how long, and down to where
    falling = False
    peak_at, peak_c = trough_at, trough_c = ticks[0], means[0]
    for at, mean in zip(ticks, means, strict=True):
        if falling and mean > trough_c + _SWING_K:
            falls.append((trough_at - peak_at, trough_c))
            falling, peak_at, peak_c = False, at, mean
        elif falling and mean < trough_c:
            trough_at, trough_c = at, mean
        elif not falling and mean > peak_c:
            peak_at, peak_c = at, mean
        elif not falling and mean < peak_c - _SWING_K:
            falling, trough_at, trough_c = True, at, mean
    if not falling or len(falls) < _FALLS:
        return False
    longest_s, lowest_c = max(s for s, _ in falls), min(c for _, c in falls)
    late = tick - peak_at > _OVERDUE * longest_s + _OVERDUE_S
    return late and temp_c < lowest_c - _BELOW_K
