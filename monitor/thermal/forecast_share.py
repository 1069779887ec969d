"""How much of a forecast's open air reaches the box's place, and how late. Held by `estimate`.

The place's air is taken for a level, a share of the forecast at the hour and a share of what it was
in the hours before (a shed follows late); `course_filter` learns all three from the outside probe,
from the forecast as late as the place's mornings were (`lateness`).
Without one the shares are those of a usual porch (assumed), and only changes are believed."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import field
from math import exp, hypot

from monitor.events import Moment
from monitor.kept import Kept, part
from monitor.thermal.course_filter import CourseFilter, Courses, Spread, Weather
from monitor.thermal.lateness import Lateness
from monitor.thermal.outside_curve import ExpectedOutside, OutsideCurve

_SHARES = Spread(mean=0.38, sd=0.18, walk=0.1)
_QUIET = Weather(drift_sd_k_per_h=0.1, drift_h=5.0, level_walk_k=0.2)
_STEP_S = 1800.0
_LATE_S, _LATE_BACK_H = 2.0 * 3600.0, 6
_AROUND_S = 3600.0  # the hour's own value is a mean with its neighbours: single hours are noise
_KEPT_S = 18 * 3600.0
_REACH_S, _SOON_S = 6 * 3600.0, 3 * 3600.0  # a forecast for tonight covers these
_FRESH_SD_K, _SD_K_A_DAY = 0.4, 1.0  # of a forecast's hours to come; common practice

Pairs = Sequence[tuple[float, float]]


@part
class ForecastShare(Kept):
    """Fed every half hour with the newest forecast and what the outside probe says."""

    _filter: CourseFilter
    _pairs: list[tuple[float, float]]  # what was foretold, also for hours gone by
    _late: Lateness = field(default_factory=Lateness)

    def __init__(self) -> None:
        self._filter, self._late = CourseFilter(_QUIET, _SHARES), Lateness()
        self._pairs = []

    def see(self, now: Moment, pairs: Pairs, outside_c: float | None, hour: float) -> None:
        """The newest forecast, and the outside where it is measured."""
        fresh = sorted(pairs)
        first = fresh[0][0] if fresh else now.at
        gone = [pair for pair in self._pairs if now.at - _KEPT_S < pair[0] < first]
        self._pairs = gone + fresh
        last = self._filter.tick
        if not self._pairs or (last is not None and now.tick - last < _STEP_S):
            return
        courses = self._courses(now.at)
        if outside_c is not None:
            self._late.see(hour, outside_c, self._coldest_h(now.at - hour * 3600.0))
        else:
            outside_c = _SHARES.mean * (courses[0] + courses[1])
        self._filter.see(now.tick, outside_c, courses, hour)

    def curve(self, now: Moment, until_at: float, age_s: float) -> OutsideCurve | None:
        """The coming hours at the box's place. None: the forecast does not reach into them."""
        pairs = self._pairs
        if self._filter.tick is None or len(pairs) < 2:
            return None
        if pairs[-1][0] < now.at + _REACH_S or pairs[0][0] > now.at + _SOON_S:
            return None
        times = [now.at + k * _STEP_S for k in range(int((until_at - now.at) // _STEP_S) + 2)]
        steps = [(now.tick + at - now.at, self._courses(at)) for at in times]
        hours_old = age_s / 3600.0
        points = tuple(
            ExpectedOutside(at, temp_c, hypot(sd_k, _FRESH_SD_K + _SD_K_A_DAY * hours_old / 24.0))
            for at, (temp_c, sd_k) in zip(times, self._filter.ahead(steps)[0][1], strict=True)
        )
        source = (
            "forecast, under an hour old" if hours_old < 1 else f"forecast, {hours_old:.0f} h old"
        )
        return OutsideCurve(points, source, felt_c=self._felt_c(now))

    def _felt_c(self, now: Moment) -> float:
        """The place's air as a floor feels it by now: what fell lately has yet to come."""
        steps = [(now.tick, self._courses(now.at - 3600.0 * k)) for k in range(_LATE_BACK_H + 1)]
        return _lately([temp_c for temp_c, _ in self._filter.ahead(steps)[0][1]])

    def _around(self, at: float) -> float:
        return sum(self._value(at + k * _AROUND_S) for k in (-1, 0, 1)) / 3.0

    def _courses(self, at: float) -> Courses:
        at -= 3600.0 * self._late.hours
        back = [self._value(at - 3600.0 * k) for k in range(_LATE_BACK_H + 1)]
        return self._around(at), _lately(back)

    def _coldest_h(self, midnight_at: float) -> float:
        """Of that morning, by the forecast."""
        return min(range(24), key=lambda half: self._around(midnight_at + half * _STEP_S)) / 2.0

    def _value(self, at: float) -> float:
        pairs = self._pairs
        index = bisect_right(pairs, (at, 1e9))
        if index == 0:
            return pairs[0][1]
        if index == len(pairs):
            return pairs[-1][1]
        (t0, c0), (t1, c1) = pairs[index - 1], pairs[index]
        return c0 + (c1 - c0) * (at - t0) / (t1 - t0)


def _lately(hourly: Sequence[float]) -> float:
    """The mean of what was each hour back from now, the longer ago the less."""
    weights = [exp(-3600.0 * k / _LATE_S) for k in range(len(hourly))]
    return sum(w * c for w, c in zip(weights, hourly, strict=True)) / sum(weights)
