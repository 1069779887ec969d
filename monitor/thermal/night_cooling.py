"""How far a night's cooling will go, from how it has begun. Called by `outside_curve`.

After sunset the air over open ground cools about as the square root of the time: D. Brunt, "Notes
on radiation in the atmosphere", Quart. J. Roy. Met. Soc. 58 (1932) 389-420 (from memory). The start
and the rate are fitted by least squares to the half-hour means since the warmest."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

_LEAST_FALL_K = 0.8  # less than this is no cooling to go by
_LEAST_POINTS = 4
_MOST_K_PER_ROOT_H = 4.5  # 15 K in twelve hours; common practice for a clear dry night


@dataclass(frozen=True, slots=True)
class Cooling:
    """The fall since `start_s` is `k_per_root_h` times the root of the hours since."""

    start_s: float
    k_per_root_h: float

    def further_k(self, from_s: float, to_s: float) -> float:
        """How much colder at `to_s` than at `from_s`."""
        begun = sqrt(max(0.0, from_s - self.start_s) / 3600.0)
        return self.k_per_root_h * (sqrt(max(0.0, to_s - self.start_s) / 3600.0) - begun)


def fit_cooling(points: Sequence[tuple[float, float]]) -> Cooling | None:
    """The cooling that `points` (seconds, degC; the last ten hours) show. None: there is none."""
    if len(points) < _LEAST_POINTS:
        return None
    warmest = max(range(len(points)), key=lambda k: points[k][1])
    tail = points[warmest:]
    if len(tail) < _LEAST_POINTS:
        return None
    best: tuple[float, Cooling] | None = None
    start_s = tail[0][0] - 900.0
    while start_s <= tail[-_LEAST_POINTS + 1][0]:
        roots = [sqrt(max(0.0, t - start_s) / 3600.0) for t, _ in tail]
        mean_r = sum(roots) / len(roots)
        mean_c = sum(c for _, c in tail) / len(tail)
        across = sum((r - mean_r) ** 2 for r in roots)
        pairs = [(r - mean_r, c - mean_c) for r, (_, c) in zip(roots, tail, strict=True)]
        rate = -sum(r * c for r, c in pairs) / across
        if rate > 0.0:
            error = sum((c + rate * r) ** 2 for r, c in pairs)
            if best is None or error < best[0]:
                best = error, Cooling(start_s, min(rate, _MOST_K_PER_ROOT_H))
        start_s += 600.0
    if best is None or points[warmest][1] - points[-1][1] < _LEAST_FALL_K:
        return None
    return best[1]
