"""The outside temperature of the coming hours, and how wrong it may be. Made by `outside_heard`
from what the outside probe said, by `forecast_share` from a forecast, and here from a low that the
grower names."""

from bisect import bisect_right
from dataclasses import dataclass
from typing import NamedTuple

from monitor.events import Moment
from monitor.thermal.day_course import fallen

_STEPS = 24
_NAMED_SD_K = 0.8  # how well a grower knows the coming low. Assumed
_AFTER_DAWN_S = 4 * 3600.0


class ExpectedOutside(NamedTuple):
    """The air at a time (Unix s), its middle in degC and its standard deviation in K."""

    at: float
    temp_c: float
    sd_k: float


@dataclass(frozen=True, slots=True)
class OutsideCurve:
    """`points` in time order; between them straight, beyond them level."""

    points: tuple[ExpectedOutside, ...]
    source: str  # for the grower: "the low you gave", "forecast, 3 h old", ...
    weight: float = 1.0  # how likely the weather is that it stands for, 0..1
    usual: bool = False  # a night as nights are, of which little is known yet
    front: bool = False  # it may be windy
    by_floor: bool = False  # as the floor itself has shown it, for want of an outside probe
    felt_c: float | None = None  # as a floor feels it by now; None: as it is

    def expected(self, at: float) -> tuple[float, float]:
        """The air at a time, its middle in degC and its standard deviation in K."""
        points = self.points
        index = bisect_right(points, (at, 1e9, 1e9))
        if index == 0 or index == len(points):
            _, temp_c, sd_k = points[max(0, index - 1)]
            return temp_c, sd_k
        before_at, before_c, before_sd_k = points[index - 1]
        after_at, after_c, after_sd_k = points[index]
        share = (at - before_at) / (after_at - before_at)
        return (
            before_c + share * (after_c - before_c),
            before_sd_k + share * (after_sd_k - before_sd_k),
        )

    def at(self, at: float) -> float:
        """Its middle at a time, degC."""
        return self.expected(at)[0]


Skies = tuple[OutsideCurve, ...]  # what the outside may do, their weights 1 together


def from_low(now: Moment, now_c: float, low_c: float, low_at: float) -> OutsideCurve:
    """Down to `low_c` by `low_at` as evenings cool: fast at first, level before dawn."""
    span_s = max(1800.0, low_at - now.at)
    points = [
        ExpectedOutside(
            now.at + span_s * k / _STEPS, now_c + (low_c - now_c) * fallen(k / _STEPS), _NAMED_SD_K
        )
        for k in range(_STEPS + 1)
    ]
    warmed_c = low_c + 0.5 * abs(now_c - low_c)
    points.append(ExpectedOutside(low_at + _AFTER_DAWN_S, warmed_c, _NAMED_SD_K))
    return OutsideCurve(tuple(points), "the low you gave")
