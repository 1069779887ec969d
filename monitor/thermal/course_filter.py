"""What a place's air does beside a course that is known, learned as it goes. Held by
`outside_heard` (the course: usual days) and `forecast_share` (the course: a forecast).

The air is level + drift + shares of two given courses + what passes. A Kalman filter learns them
from means over some minutes; two of them run side by side, one for quiet weather and one for a
front, each weighted by how well it foretold (Magill 1965, see `time_constant`). Abrupt fronts
cannot be foreseen: what is left of the other weather's weight keeps the forecast wide."""

from math import exp, log, sqrt
from typing import NamedTuple

from monitor.events import State

Courses = tuple[float, float]  # the two given courses at one time

_PASSING_SD_K, _PASSING_H = 0.28, 2.0  # clouds, gusts
_READING_SD_K = 0.12  # of a mean over minutes
# While the sun may be on the probe a mean proves little. What was learned from it is good until
# dusk only: what the sun did, and its end, are no weather of the night.
_SUNLIT_H, _SUNLIT_SD_K = (9.0, 17.5), 1.0
_LEVEL_SD_K = 100.0  # where it begins nothing is known
_MOST_ODD = 16.0  # squared deviations beyond count no more: a knock is no weather
_LEAST_WEIGHT = 0.02


class Weather(NamedTuple):
    """What one filter takes for granted."""

    drift_sd_k_per_h: float
    drift_h: float  # how long a drift lasts
    level_walk_k: float  # in the root of an hour
    weight: float  # at the start


class Spread(NamedTuple):
    """What is taken for granted of the two courses' shares."""

    mean: float
    sd: float
    walk: float  # in the root of a day


class _Filter:
    """State: level, drift, share of each course, what passes. `c` is its covariance."""

    __slots__ = ("c", "weather", "x")

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

    def begin_anew(self) -> None:
        """The shares stand; the level, the drift and what passes are those of another time."""
        variances = (_LEVEL_SD_K**2, self.weather.drift_sd_k_per_h**2, 0.0, 0.0, _PASSING_SD_K**2)
        for i in (0, 1, 4):
            self.x[i] = 0.0
            for j in range(5):
                self.c[i][j] = self.c[j][i] = 0.0
            self.c[i][i] = variances[i]

    def copy(self) -> "_Filter":
        other: _Filter = object.__new__(_Filter)
        other.weather, other.x, other.c = self.weather, list(self.x), [list(row) for row in self.c]
        return other

    def move(self, hours: float, share_walk: float) -> None:
        x, c, weather = self.x, self.c, self.weather
        kept = exp(-hours / weather.drift_h)
        reach_h = weather.drift_h * (1.0 - kept)
        passing = exp(-hours / _PASSING_H)
        x[0] += reach_h * x[1]
        x[1] *= kept
        x[4] *= passing
        for j in range(5):
            c[0][j] += reach_h * c[1][j]
            c[1][j] *= kept
            c[4][j] *= passing
        for row in c:
            row[0] += reach_h * row[1]
            row[1] *= kept
            row[4] *= passing
        c[0][0] += weather.level_walk_k**2 * hours
        c[1][1] += weather.drift_sd_k_per_h**2 * (1.0 - kept * kept)
        walk = share_walk**2 * hours / 24.0
        c[2][2] += walk
        c[3][3] += walk
        c[4][4] += _PASSING_SD_K**2 * (1.0 - passing * passing)

    def look(self, courses: Courses) -> tuple[float, float]:
        """The air and its variance."""
        x, (p, q) = self.x, courses
        gains = self._gains(p, q)
        mean = x[0] + p * x[2] + q * x[3] + x[4]
        return mean, gains[0] + p * gains[2] + q * gains[3] + gains[4]

    def _gains(self, p: float, q: float) -> list[float]:
        return [row[0] + p * row[2] + q * row[3] + row[4] for row in self.c]

    def see(self, temp_c: float, courses: Courses, reading_sd_k: float) -> float:
        """Takes one mean in; the logarithm of how likely it was."""
        mean, variance = self.look(courses)
        gains = self._gains(*courses)
        variance += reading_sd_k**2
        off_k = temp_c - mean
        for i, gain in enumerate(gains):
            share = gain / variance
            self.x[i] += share * off_k
            row = self.c[i]
            for j in range(5):
                row[j] -= share * gains[j]
        return -0.5 * (min(off_k * off_k / variance, _MOST_ODD) + log(variance))


class CourseFilter:
    """Quiet weather and a front, weighed."""

    def __init__(
        self, kinds: tuple[Weather, ...], share: Spread, *, days_apart: bool = False
    ) -> None:
        """`days_apart`: each evening begins with what the nights have taught."""
        self._share = share
        self._days_apart = days_apart
        self._kinds = kinds
        self._filters = [_Filter(kind, share) for kind in kinds]
        self._weights = [kind.weight for kind in kinds]
        self._by_night: list[_Filter] | None = None  # as they were when the sun came
        self.tick: float | None = None  # of the last mean

    def see(self, tick: float, temp_c: float, courses: Courses, hour: float) -> None:
        """One mean, at that local hour."""
        sunlit = _SUNLIT_H[0] <= hour < _SUNLIT_H[1]
        reading_sd_k = _SUNLIT_SD_K if sunlit else _READING_SD_K
        if not self._days_apart:
            pass
        elif sunlit and self._by_night is None:
            self._by_night = [one.copy() for one in self._filters]
        elif not sunlit and self._by_night is not None:
            self._filters, self._by_night, self.tick = self._by_night, None, None
            self._weights = [kind.weight for kind in self._kinds]
            for one in self._filters:
                one.begin_anew()
        fits = []
        for one in self._filters:
            if self.tick is None:
                one.x[0] = temp_c - one.look(courses)[0]
            else:
                one.move((tick - self.tick) / 3600.0, self._share.walk)
            fits.append(one.see(temp_c, courses, reading_sd_k))
        self.tick = tick
        best = max(fits)
        found = [w * exp(fit - best) for w, fit in zip(self._weights, fits, strict=True)]
        least = [max(w / sum(found), _LEAST_WEIGHT) for w in found]
        self._weights = [w / sum(least) for w in least]

    @property
    def quiet(self) -> float:
        """How likely the first kind of weather is, 0..1."""
        return self._weights[0]

    def ahead(self, steps: list[tuple[float, Courses]]) -> list[tuple[float, float]]:
        """The air and its standard deviation at those ticks, in time order."""
        mixed = []
        filters = [one.copy() for one in self._filters]
        at = self.tick
        for tick, courses in steps:
            hours = 0.0 if at is None else max(0.0, tick - at) / 3600.0
            at = tick
            found = []
            for one in filters:
                one.move(hours, self._share.walk)
                found.append(one.look(courses))
            weighed = list(zip(self._weights, found, strict=True))
            mean = sum(w * m for w, (m, _) in weighed)
            variance = sum(w * (v + (m - mean) ** 2) for w, (m, v) in weighed)
            mixed.append((mean, sqrt(variance)))
        return mixed

    def state(self) -> State:
        """JSON-able."""
        return {
            "filters": [[one.x, one.c] for one in self._filters],
            "by_night": [[one.x, one.c] for one in self._by_night or ()],
            "weights": self._weights,
            "tick": self.tick,
        }

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`."""
        for one, (x, c) in zip(self._filters, state["filters"], strict=True):
            one.x, one.c = list(x), [list(row) for row in c]
        self._by_night = None
        if state["by_night"]:
            self._by_night = [one.copy() for one in self._filters]
            for one, (x, c) in zip(self._by_night, state["by_night"], strict=True):
                one.x, one.c = list(x), [list(row) for row in c]
        self._weights = [float(w) for w in state["weights"]]
        self.tick = None if state["tick"] is None else float(state["tick"]) + shift_s
