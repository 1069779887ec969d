"""A floor that a thermostat swings, and whether its next rise is overdue: the heat that should have
come on has not. Asked by `fall`; whether a thermostat was declared does not matter. Figures are
this project's (assumed); tests/bench measures what they do."""

from collections.abc import Sequence

_SWING_K, _TURN_K = 0.8, 0.35  # from peak to trough, at least; what turns it
_FALLS = 2  # seen to end before, and alike: birds that run about make no two alike
_ALIKE, _ALIKE_K = 1.5, 0.5  # longest by shortest; peaks, and troughs
_OVERDUE, _OVERDUE_S = 2.0, 120.0  # of the longest of them, and so much more
_BELOW_K = 0.2  # than any of their troughs


def overdue(ticks: Sequence[float], means: Sequence[float], tick: float, temp_c: float) -> bool:
    """Does a floor whose course (K by seconds) came down and went up again and again come down for
    far longer now, and to where it has not been?"""
    falls: list[tuple[float, float, float]] = []  # how long, from where, and down to where
    falling = False
    peak_at, peak_c = trough_at, trough_c = ticks[0], means[0]
    for at, mean in zip(ticks, means, strict=True):
        if falling and mean > trough_c + _TURN_K:
            falls.append((trough_at - peak_at, peak_c, trough_c))
            falling, peak_at, peak_c = False, at, mean
        elif falling and mean < trough_c:
            trough_at, trough_c = at, mean
        elif not falling and mean > peak_c:
            peak_at, peak_c = at, mean
        elif not falling and mean < peak_c - _TURN_K:
            falling, trough_at, trough_c = True, at, mean
    if not falling or len(falls) < _FALLS:
        return False
    lasted_s, peaks_c, troughs_c = zip(*falls, strict=True)
    swings = min(peaks_c) - max(troughs_c) > _SWING_K
    alike = (
        swings
        and max(lasted_s) <= _ALIKE * min(lasted_s)
        and all(max(turns_c) - min(turns_c) < _ALIKE_K for turns_c in (peaks_c, troughs_c))
    )
    late = tick - peak_at > _OVERDUE * max(lasted_s) + _OVERDUE_S
    return alike and late and temp_c < min(troughs_c) - _BELOW_K
