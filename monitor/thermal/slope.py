"""How fast something rises or falls: the straight line through a few samples, asked for every probe
when the status is drawn, so it goes over them once; and how far a fall goes on."""

from collections.abc import Iterable, Sequence
from math import pow, sqrt
from statistics import fmean

CORRELATED_S = 100.0  # a floor's own wandering is alike over this: readings closer say less
_LEAST = 3  # samples that can show a scatter about their line


def slope_per_h(samples: Iterable[tuple[float, float]]) -> float:
    """Slope by least squares over (seconds, value), per hour; 0 for fewer than two times."""
    count = 0
    first_t = first_v = sum_t = sum_v = sum_tt = sum_tv = 0.0
    for t, value in samples:
        if count == 0:
            first_t, first_v = t, value  # from here on small numbers, so that none cancel
        count += 1
        t -= first_t  # noqa: PLW2901
        value -= first_v  # noqa: PLW2901
        sum_t += t
        sum_v += value
        sum_tt += t * t
        sum_tv += t * value
    across = count * sum_tt - sum_t * sum_t
    return 3600.0 * (count * sum_tv - sum_t * sum_v) / across if across > 0.0 else 0.0


def sure_per_h(samples: Sequence[tuple[float, float]], per_h: float) -> float:
    """A slope of them, as `slope_per_h` says it, less what the way they lie about the line may make
    of it: a slope that is no more than twice its standard error is none, and of a steeper one that
    share is taken off by squares (as James and Stein do). Those within `CORRELATED_S` of each other
    stray alike and count as one. Of fewer than three nobody can say."""
    count = len(samples)
    if count < _LEAST or not per_h:
        return 0.0
    mid_t, mid_v = (fmean(column) for column in zip(*samples, strict=True))
    off = [v - mid_v - per_h / 3600.0 * (t - mid_t) for t, v in samples]
    across = sum((t - mid_t) ** 2 for t, _ in samples)
    error_per_h = 3600.0 * sqrt(sum(k * k for k in off) / (count - 2) / across)
    alike = max(1.0, CORRELATED_S * (count - 1) / (samples[-1][0] - samples[0][0]))
    return per_h * max(0.0, 1.0 - alike * (2.0 * error_per_h / per_h) ** 2)


def goes_on_k(before_k: float, last_k: float, times: float) -> float:
    """What a change comes to in `times` more stretches like the last two, of `before_k` and
    `last_k`: one that slackens does so by the same share in each, as on the way to a new level."""
    share = last_k / before_k if before_k * last_k > 0.0 else 1.0
    if share >= 1.0:
        return last_k * times
    return last_k * share * (1.0 - pow(share, times)) / (1.0 - share)
