"""What a place's air does beside a course that is known, learned as it goes. Held by
`outside_heard` (the course: usual days) and `forecast_share` (the course: a forecast).

The air is level + drift + shares of two given courses + what passes. A Kalman filter learns
them from means over some minutes. Where a front may come, a second one stands for it: at any hour
one may begin, and from then on the air falls with a drift of its own, which is learned. Each is
weighted by how well it foretold (interacting multiple models: H. A. P. Blom and Y. Bar-Shalom, IEEE
Trans. Automatic Control 33 (1988) 780-783, from memory). One that has not begun cannot be foreseen,
but it may begin in any of the coming hours: that is weighed as the season has it."""

from copy import copy
from math import exp, inf, log, sqrt
from typing import NamedTuple

from monitor.kept import Kept, Tick, part

Courses = tuple[float, float]  # the two given courses at one time
Ahead = list[tuple[float, float]]  # the air and its standard deviation, in time order

_PASSING_SD_K, _PASSING_H = 0.28, 2.0  # clouds, gusts
# While the sun may be on the probe a mean proves little. What was learned from it is good until
# dusk only: what the sun did, and its end, are no weather of the night.
_SUNLIT_H = (9.0, 17.5)
_LEVEL_SD_K = 100.0  # where it begins nothing is known
_MOST_ODD = 16.0  # squared deviations beyond count no more: a knock is no weather
_LEAST_WEIGHT = 0.02


class MeanSpread(NamedTuple):
    """What is taken for granted of a mean over minutes."""

    sd_k: float
    sunlit_sd_k: float  # the same while the sun may be on it
    jump_k: float = inf  # a mean so far off is no weather


OF_AIR = MeanSpread(sd_k=0.12, sunlit_sd_k=1.0)


class Weather(NamedTuple):
    """What one filter takes for granted."""

    drift_sd_k_per_h: float
    drift_h: float  # how long a drift lasts
    level_walk_k: float  # in the root of an hour


class Front(NamedTuple):
    """How a front begins, and what it is like then."""

    weather: Weather
    chance_an_hour: float  # of its beginning, as it is looked for: rather too often than late
    yet_an_hour: float  # of its beginning in an hour to come: the season's
    at_dusk: float  # how likely one is there already
    falls_k_per_h: float
    falls_sd_k_per_h: float


class Spread(NamedTuple):
    """What is taken for granted of the two courses' shares."""

    mean: float
    sd: float
    walk: float  # in the root of a day, and once more from one evening to the next


@part
class _Filter(Kept):
    """State: level, drift, share of each course, what passes. `c` is its covariance."""

    x: list[float]
    c: list[list[float]]

    def __init__(self, weather: Weather, share: Spread) -> None:
        self.weather = weather
        self.x = [0.0, 0.0, share.mean, share.mean, 0.0]
        variances = (
            _LEVEL_SD_K**2,
            weather.drift_sd_k_per_h**2,
            share.sd**2,
            share.sd**2,
            _PASSING_SD_K**2,
        )
        self.c = [[variances[i] if i == j else 0.0 for j in range(5)] for i in range(5)]

    def begin_anew(self, share_walk: float) -> None:
        """The shares stand but for what a day changes; the level, the drift and what passes are
        those of another time."""
        variances = (_LEVEL_SD_K**2, self.weather.drift_sd_k_per_h**2, 0.0, 0.0, _PASSING_SD_K**2)
        for i in (0, 1, 4):
            self.x[i] = 0.0
            for j in range(5):
                self.c[i][j] = self.c[j][i] = 0.0
            self.c[i][i] = variances[i]
        for i in (2, 3):
            self.c[i][i] += share_walk**2

    def drifts(self, k_per_h: float, sd_k_per_h: float) -> None:
        """The drift is another one from now on."""
        for j in range(5):
            self.c[1][j] = self.c[j][1] = 0.0
        self.x[1], self.c[1][1] = k_per_h, sd_k_per_h**2

    def mix(self, other: "_Filter", share: float) -> None:
        """What it is if, with the chance `share`, the other one is right."""
        own = 1.0 - share
        apart = [a - b for a, b in zip(other.x, self.x, strict=True)]
        for i, (mine, its) in enumerate(zip(self.c, other.c, strict=True)):
            by = own * share * apart[i]
            self.c[i] = [own * a + share * its[j] + by * apart[j] for j, a in enumerate(mine)]
        self.x = [x + share * k for x, k in zip(self.x, apart, strict=True)]

    def copy(self) -> "_Filter":
        other: _Filter = object.__new__(_Filter)
        other.weather, other.x, other.c = self.weather, list(self.x), [list(row) for row in self.c]
        return other

    def move(self, hours: float, share_walk: float) -> None:
        x, weather = self.x, self.weather
        kept = exp(-hours / weather.drift_h)
        reach_h = weather.drift_h * (1.0 - kept)
        passing = exp(-hours / _PASSING_H)
        x[0] += reach_h * x[1]
        x[1] *= kept
        x[4] *= passing
        level, drift, one, two, passes = self.c
        rows = (
            [a + reach_h * b for a, b in zip(level, drift, strict=True)],
            [kept * b for b in drift],
            one,
            two,
            [passing * e for e in passes],
        )
        self.c = c = [[a + reach_h * b, kept * b, p, q, passing * e] for a, b, p, q, e in rows]
        c[0][0] += weather.level_walk_k**2 * hours
        c[1][1] += weather.drift_sd_k_per_h**2 * (1.0 - kept * kept)
        walk = share_walk**2 * hours / 24.0
        c[2][2] += walk
        c[3][3] += walk
        c[4][4] += _PASSING_SD_K**2 * (1.0 - passing * passing)

    def look(self, courses: Courses) -> tuple[float, float]:
        """The outside temperature (degC) at that place of the day's course, and its variance."""
        x, (p, q) = self.x, courses
        level, _, one, two, passes = self._gains(p, q)
        return x[0] + p * x[2] + q * x[3] + x[4], level + p * one + q * two + passes

    def _gains(self, p: float, q: float) -> list[float]:
        return [level + p * one + q * two + passes for level, _, one, two, passes in self.c]

    def see(self, temp_c: float, courses: Courses, reading: MeanSpread) -> float:
        """Takes one mean in; the logarithm of how likely it was."""
        off_k = temp_c - self.look(courses)[0]
        if abs(off_k) > reading.jump_k:
            self.c[0][0] += off_k * off_k  # the level is another one; the drift proves nothing
        gains = self._gains(*courses)
        variance = self.look(courses)[1] + reading.sd_k**2
        for i, gain in enumerate(gains):
            share = gain / variance
            self.x[i] += share * off_k
            row = self.c[i]
            for j in range(5):
                row[j] -= share * gains[j]
        return -0.5 * (min(off_k * off_k / variance, _MOST_ODD) + log(variance))


@part
class CourseFilter(Kept):
    """Quiet weather, and a front where one may come."""

    _quiet: _Filter
    _front: _Filter | None
    _by_night: _Filter | None = None  # the quiet one as it was when the sun came
    front_weight: float
    tick: Tick | None = None  # of the last mean

    def __init__(
        self,
        quiet: Weather,
        share: Spread,
        *,
        front: Front | None = None,
        days_apart: bool = False,
    ) -> None:
        """`days_apart`: each evening begins with what the nights have taught."""
        self._share = share
        self._days_apart = days_apart
        self._front_like = front
        self._quiet = _Filter(quiet, share)
        self._at_dusk()

    def resume(self) -> None:
        """What it takes for granted is the program's."""
        if self._by_night is not None:
            self._by_night.weather = self._quiet.weather

    def _at_dusk(self) -> None:
        front = self._front_like
        self._front = None if front is None else _begun(self._quiet, front)
        self.front_weight = 0.0 if front is None else front.at_dusk

    def see(
        self,
        tick: float,
        temp_c: float,
        courses: Courses,
        hour: float,
        reading: MeanSpread = OF_AIR,
    ) -> None:
        """One mean, at that local hour."""
        sunlit = _SUNLIT_H[0] <= hour < _SUNLIT_H[1]
        reading = reading._replace(sd_k=reading.sunlit_sd_k) if sunlit else reading
        if self._days_apart and sunlit and self._by_night is None:
            self._by_night = self._quiet.copy()
        elif self._days_apart and not sunlit and self._by_night is not None:
            self._quiet, self._by_night, self.tick = self._by_night, None, None
            self._quiet.begin_anew(self._share.walk)
            self._at_dusk()
        hours = 0.0 if self.tick is None else (tick - self.tick) / 3600.0
        self._may_begin(hours)
        fits = []
        for one in (self._quiet, self._front):
            if one is None:
                continue
            if self.tick is None:
                one.x[0] = temp_c - one.look(courses)[0]
            else:
                one.move(hours, self._share.walk)
            fits.append(one.see(temp_c, courses, reading))
        self.tick = tick
        if self._front is not None:
            odds = self.front_weight / (1.0 - self.front_weight) * exp(fits[1] - fits[0])
            found = odds / (1.0 + odds)
            self.front_weight = min(1.0 - _LEAST_WEIGHT, max(_LEAST_WEIGHT, found))

    def with_mean(
        self, tick: float, temp_c: float, courses: Courses, hour: float
    ) -> "CourseFilter":
        """As it would be with one mean more; itself it stays as it is."""
        after = copy(self)
        after._quiet = self._quiet.copy()
        after._front = self._front and self._front.copy()
        after._by_night = self._by_night and self._by_night.copy()
        after.see(tick, temp_c, courses, hour)
        return after

    def _may_begin(self, hours: float) -> None:
        like, front = self._front_like, self._front
        if like is not None and front is not None and hours > 0.0:
            begins = like.chance_an_hour * hours
            self.front_weight = _mix_begun(front, self.front_weight, self._quiet, like, begins)

    def ahead(self, steps: list[tuple[float, Courses]]) -> list[tuple[float, Ahead]]:
        """At those ticks, in time order: quiet weather, and a front, each with its weight. A front
        that begins by the last tick is quiet weather until then."""
        like, at = self._front_like, self.tick
        quiet, front = self._quiet.copy(), self._front and self._front.copy()
        weight, usual, cold = self.front_weight, [], []
        hours = 0.0 if at is None else max(0.0, steps[-1][0] - at) / 3600.0
        last = 0.0 if like is None else _with_begun(weight, like.yet_an_hour * hours)
        for tick, courses in steps:
            hours = 0.0 if at is None else max(0.0, tick - at) / 3600.0
            at = tick
            if like is not None and front is not None and hours > 0.0:
                weight = _mix_begun(front, weight, quiet, like, like.yet_an_hour * hours)
            quiet.move(hours, self._share.walk)
            mean, variance = quiet.look(courses)
            usual.append((mean, sqrt(variance)))
            if front is not None:
                front.move(hours, self._share.walk)
                colder, wider = front.look(courses)
                share, apart = weight / last, colder - mean
                both = (1.0 - share) * variance + share * (wider + (1.0 - share) * apart * apart)
                cold.append((mean + share * apart, sqrt(both)))
        return [(1.0 - last, usual), (last, cold)] if cold else [(1.0, usual)]


def _begun(quiet: _Filter, front: Front) -> _Filter:
    """The quiet air's filter as it goes on in a front that begins now."""
    begun = quiet.copy()
    begun.weather = front.weather
    begun.drifts(-front.falls_k_per_h, front.falls_sd_k_per_h)
    return begun


def _mix_begun(front: _Filter, weight: float, quiet: _Filter, like: Front, begins: float) -> float:
    """Those that begin join `front`, which is as likely as `weight`; how likely it is then."""
    after = _with_begun(weight, begins)
    front.mix(_begun(quiet, like), 1.0 - weight / after)
    return after


def _with_begun(weight: float, begins: float) -> float:
    """How likely one is there after a time in which so many begin."""
    return 1.0 - (1.0 - weight) * exp(-begins)
