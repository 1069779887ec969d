"""Which probe goes its own way: steadily and for hours, while all else in the box does not. Asked
by `probe_drift`.

A sensor that drifts does so. A floor does not: what warms or cools it is felt beside it too, a step
is somebody's hand, and what lost its heat falls fast at first. Within an hour nobody can tell: two
probes that lie at different places part by a kelvin within an hour of many a quiet night, and a
drift is no more by then."""

from collections.abc import Iterable

Way = list[float | None]  # what was said each ten minutes, oldest first; None: nothing

EVERY_S = 600.0
_FOR = 18  # three hours
_GONE_K = 2.5
_STRAIGHT_SHARE = 0.2  # of the way, that it may be off a straight line
_BESIDE_SHARE, _OUTSIDE_SHARE = 0.25, 0.5  # of it, that others may have gone too


def add(way: Way, temp_c: float | None) -> None:
    """Adds what the probe says now to its way."""
    way.append(temp_c)
    del way[: -(_FOR + 1)]


def gone_k(own: Way, beside: Iterable[Way], outside: Way) -> float | None:
    """How far it has gone by itself; None: it has not, or nobody can tell."""
    far_k = _far_k(own)
    if far_k is None or abs(far_k) < _GONE_K:
        return None
    others = [k for k in map(_far_k, beside) if k is not None]
    outside_k = _far_k(outside) or 0.0
    follows = any(k / far_k > _BESIDE_SHARE for k in others) or outside_k / far_k > _OUTSIDE_SHARE
    return None if follows or not others or not _straight(own, far_k) else far_k


def _far_k(way: Way) -> float | None:
    if len(way) <= _FOR or way[0] is None or way[-1] is None:
        return None
    return way[-1] - way[0]


def _straight(way: Way, far_k: float) -> bool:
    first_c = way[0] or 0.0
    return all(
        abs(temp_c - first_c - far_k * index / _FOR) < _STRAIGHT_SHARE * abs(far_k)
        for index, temp_c in enumerate(way)
        if temp_c is not None
    )
