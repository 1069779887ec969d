"""The course of one temperature over the last hour and a half, minute by minute, and from where a
fall of it is reckoned. Held by `thermal_watch` for the floor and the outside and by `track` for
every probe.

A fall is reckoned from the low that is usual: what the readings of the hour before were below for a
tenth of the time. So a thermostat's off-phases, a box in which the birds run about, and the way
back down after a chick sat on the probe or the sun shone are none: they end where the last hour has
often been. Figures are this project's (assumed); tests/bench measures what they do."""

from bisect import bisect_left, bisect_right
from typing import NamedTuple

from monitor.kept import NEVER, Kept, Tick, part

MINUTE_S = 60.0
QUICK_S, SLOW_S = 360.0, 1500.0  # how recent a fall is that is looked for
UNKNOWN_K = 1e9  # a step or a fall that nothing has shown: finite, for a state is written as JSON
_STEEP_S, _STEEP_LEAST_S = QUICK_S + 0.5 * MINUTE_S, QUICK_S - 2.0 * MINUTE_S
_BACK_S = 3600.0
_LEAST_S, _LEAST = 900.0, 4  # of it must be known, and so many means
_KEPT_S = _BACK_S + SLOW_S + 300.0
_FRESH_S = 110.0  # an hour is looked at anew every other minute
_GAP_S = 2400.0  # nothing heard for longer: begin anew
SPIKE_K = 3.0  # from one reading to the next; a larger jump waits for the next ones to confirm
# So far off what was heard both shortly before and so shortly after, a minute or two are no course.
_SHORTLY_S = 4.0 * MINUTE_S


class Usual(NamedTuple):
    """What an hour was like: the low and the high that are usual, and how far the middle lies above
    the low."""

    low_c: float
    spread_k: float
    high_c: float


@part
class Course(Kept):
    """Means of a minute each, oldest first."""

    ticks: list[Tick]
    means: list[float]
    grain_k: float = UNKNOWN_K  # the smallest step it can show
    _quick: Usual | None = None
    _steepest_k: float | None = None  # in the hour of `_quick`; None: nobody has asked
    _slow: Usual | None = None
    _stale: bool = False  # an hour is sorted only for whoever asks
    _looked: Tick = NEVER
    _began: Tick = 0.0
    _sum: float = 0.0
    _count: int = 0

    def __init__(self, *, slow: bool = False) -> None:
        """`slow`: slow falls are looked for too."""
        self._wants_slow = slow
        self.ticks, self.means = [], []

    def add(self, tick: float, temp_c: float) -> None:
        """One reading, or the mean of a few."""
        if self._count and tick - self._began >= MINUTE_S:
            self._close(tick)
        if not self._count:
            self._began = tick
        self._sum += temp_c
        self._count += 1

    def _close(self, tick: float) -> None:
        ticks, means = self.ticks, self.means
        ticks.append(self._began)
        means.append(self._sum / self._count)
        self._sum = 0.0
        self._count = 0
        if tick - ticks[-1] > _GAP_S:
            self.clear()
            return
        while ticks[0] < tick - _KEPT_S:
            del ticks[0], means[0]
        if tick - self._looked >= _FRESH_S:
            self._looked = tick
            self._stale = True

    @property
    def quick(self) -> Usual | None:
        """Before the last minutes; None: too little is known."""
        if self._stale:
            self._look()
        return self._quick

    @property
    def steepest_k(self) -> float:
        """The furthest that it fell within six minutes of the hour of `quick`; no less than it can
        show."""
        if self._stale:
            self._look()
        if self._steepest_k is None:
            self._steepest_k = self._steepest(self._looked - QUICK_S)
        return max(self.grain_k, self._steepest_k)

    @property
    def slow(self) -> Usual | None:
        """Before the last half hour, roughly."""
        if self._stale:
            self._look()
        return self._slow

    def is_low(self, temp_c: float) -> bool:
        """Is it below a low that is usual?"""
        quick, slow = self.quick, self._slow
        return (quick is not None and temp_c < quick.low_c) or (
            slow is not None and temp_c < slow.low_c
        )

    def _look(self) -> None:
        self._stale = False
        self._quick = self._usual(self._looked - QUICK_S)
        self._steepest_k = UNKNOWN_K if self._quick is None else None
        self._slow = self._usual(self._looked - SLOW_S) if self._wants_slow else None

    def _usual(self, until: float) -> Usual | None:
        hour = sorted(self._between(until - _BACK_S, until))
        if len(hour) < _LEAST or until - self.ticks[0] < _LEAST_S:
            return None
        tenth = len(hour) // 10
        low_c = hour[tenth]
        return Usual(low_c, hour[len(hour) // 2] - low_c, hour[-1 - tenth])

    def _steepest(self, until: float) -> float:
        """Of the hour; of what was heard six minutes before."""
        ticks, means = self.ticks, self.means
        falls = []
        then = 0  # moves on with `now`: both only go forward
        for now in range(bisect_left(ticks, until - _BACK_S), bisect_right(ticks, until)):
            while ticks[then] < ticks[now] - _STEEP_S:
                then += 1
            if ticks[now] - ticks[then] >= _STEEP_LEAST_S:
                falls.append((means[then] - means[now], then, now))
        falls.sort(reverse=True)
        real = (fell_k for fell_k, *ends in falls if not any(map(self._is_wild, ends)))
        return next(real, UNKNOWN_K)

    def clear(self) -> None:
        """Nothing is known of what was."""
        self.ticks.clear()
        self.means.clear()
        self._quick = self._slow = None
        self._stale = False
        self._looked = NEVER
        self._sum = 0.0
        self._count = 0

    def mean(self, from_tick: float, to_tick: float) -> float | None:
        """Over a stretch; None: nothing was heard in it."""
        found = self._between(from_tick, to_tick)
        return sum(found) / len(found) if found else None

    def last_tick(self, until: float) -> float | None:
        """When it was last heard by then, to the minute; None: nothing was."""
        heard = bisect_right(self.ticks, until)
        return self.ticks[heard - 1] if heard else None

    def fell_k(self, tick: float, temp_c: float) -> float:
        """By how much, within six minutes, to `temp_c` now; 0: nothing was heard then."""
        then = tick - QUICK_S - 0.5 * MINUTE_S  # a mean has the tick of its minute's beginning
        before = self.mean(then - 45.0, then + 45.0)
        return 0.0 if before is None else before - temp_c

    def highest(self, from_tick: float, to_tick: float) -> float | None:
        """Of a stretch; None: nothing was heard in it."""
        return max(self._between(from_tick, to_tick), default=None)

    def lowest(self, from_tick: float, to_tick: float) -> float | None:
        """Of a stretch, wild minutes left out; None: nothing was heard in it."""
        stretch = range(bisect_left(self.ticks, from_tick), bisect_right(self.ticks, to_tick))
        return min([self.means[n] for n in stretch if not self._is_wild(n)], default=None)

    def _is_wild(self, n: int) -> bool:
        """One minute, or one of two, far off what is on both sides of it?"""

        def off_k(k: int) -> float:
            known = 0 <= k < len(self.ticks) and abs(self.ticks[k] - self.ticks[n]) <= _SHORTLY_S
            return self.means[k] - self.means[n] if known else 0.0

        before_k, after_k = off_k(n - 1), off_k(n + 1)
        pairs = (before_k, after_k), (before_k, off_k(n + 2)), (off_k(n - 2), after_k)
        return any(min(pair) > SPIKE_K or max(pair) < -SPIKE_K for pair in pairs)

    def latest(self, until: float, for_s: float, least: int) -> list[float]:
        """The stretch that ends at `until`, or as far back as there are `least` means; none, where
        less was heard."""
        ends = bisect_right(self.ticks, until)
        first = min(bisect_left(self.ticks, until - for_s), ends - least)
        return self.means[first:ends] if first >= 0 else []

    def low_at(self, from_tick: float, to_tick: float, turn_k: float = UNKNOWN_K) -> float | None:
        """When it was lowest in a stretch, the last time, or since it last came down by `turn_k`;
        None: nothing was heard in it."""
        first, ends = bisect_left(self.ticks, from_tick), bisect_right(self.ticks, to_tick)
        if first >= ends:
            return None
        backwards = self.means[first:ends][::-1]
        lowest_c, lowest = backwards[0], 0
        for n, mean in enumerate(backwards):
            if mean < lowest_c:
                lowest_c, lowest = mean, n
            elif mean >= lowest_c + turn_k:
                break
        return self.ticks[ends - 1 - lowest]

    def rose_most_k(self, from_tick: float, to_tick: float, within_s: float) -> float:
        """The most that it rose in a part of a stretch, from one minute to one so much later."""
        ticks, means = self.ticks, self.means
        most_k, then = 0.0, bisect_left(ticks, from_tick)
        for now in range(then, bisect_right(ticks, to_tick)):
            while ticks[then] < ticks[now] - within_s:
                then += 1
            most_k = max(most_k, means[now] - means[then])
        return most_k

    def _between(self, from_tick: float, to_tick: float) -> list[float]:
        ticks = self.ticks
        return self.means[bisect_left(ticks, from_tick) : bisect_right(ticks, to_tick)]

    def onset(self, tick: float, temp_c: float, back_s: float) -> tuple[float, float]:
        """When the fall to `temp_c` at `tick` began, no longer ago than `back_s`: where the course
        lies highest above the straight line to now. And how high, as a share of the fall."""
        first = min(bisect_left(self.ticks, tick - back_s), len(self.ticks) - 1)
        began, began_c = self.ticks[first], self.means[first]
        slope = (temp_c - began_c) / (tick - began)
        above = [
            mean - began_c - slope * (at - began)
            for at, mean in zip(self.ticks[first:], self.means[first:], strict=True)
        ]
        highest = max(above)
        return self.ticks[first + above.index(highest)], highest / max(0.1, began_c - temp_c)
