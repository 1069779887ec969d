"""A floor that a thermostat swings, and whether its next rise is overdue: the heat that should have
come on has not. Asked by `fall`; whether a thermostat was declared does not matter. Figures are
this project's (assumed); tests/bench measures what they do."""

from collections.abc import Sequence

_SWING_K, _TURN_K = 0.8, 0.35  # from peak to trough, at least; what turns it
_KINK = 0.5  # of the deepest
_FALLS = 2  # seen to end before, and alike: birds that run about make no two alike
_ALIKE = 1.5  # longest by shortest
_ALIKE_K, _ALIKE_SHARE = 0.5, 0.3  # peaks, and troughs: or by the swing
# So many times as long as the longest of them, and so far below any of their troughs (K).
_OVERDUE = ((1.5, 0.4), (2.2, 0.2))


def overdue(ticks: Sequence[float], means: Sequence[float], tick: float, temp_c: float) -> bool:
    """Does a floor whose course (K by seconds) came down and went up again and again come down for
    far longer now, and to where it has not been?"""
    falls: list[tuple[float, float, float]] = []  # how long, from where, and down to where
    falling = False
    peak_at, peak_c = trough_at, trough_c = ticks[0], means[0]
    for at, mean in zip(ticks, means, strict=True):
        if falling and mean > trough_c + _TURN_K:
            if peak_at > ticks[0]:  # else it began before that
                falls.append((trough_at - peak_at, peak_c, trough_c))
            falling, peak_at, peak_c = False, at, mean
        elif falling and mean < trough_c:
            trough_at, trough_c = at, mean
        elif not falling and mean > peak_c:
            peak_at, peak_c = at, mean
        elif not falling and mean < peak_c - _TURN_K:
            falling, trough_at, trough_c = True, at, mean
    # a kink on the way up is no fall
    falls = [one for one in falls if one[1] - one[2] > _KINK * max(p - t for _, p, t in falls)]
    if not falling or len(falls) < _FALLS:
        return False
    lasted_s, peaks_c, troughs_c = zip(*falls, strict=True)
    swing_k = min(peaks_c) - max(troughs_c)
    alike_k = max(_ALIKE_K, _ALIKE_SHARE * swing_k)
    alike = (
        swing_k > _SWING_K
        and max(lasted_s) <= _ALIKE * min(lasted_s)
        and all(max(turns_c) - min(turns_c) < alike_k for turns_c in (peaks_c, troughs_c))
    )
    long, below_k = (tick - peak_at) / max(lasted_s), min(troughs_c) - temp_c
    return alike and any(long > times and below_k > k for times, k in _OVERDUE)
