"""How fast something rises or falls: the straight line through a few samples. Called for every
probe whenever the status is drawn, so it goes over them once."""

from collections.abc import Iterable


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
