"""The outside of one box as it is heard now, and what it does through a day. Held by `thermal`."""

from dataclasses import field

from monitor.events import Moment
from monitor.kept import Kept, Tick, part
from monitor.thermal.course import Course
from monitor.thermal.course_filter import (
    OF_AIR,
    CourseFilter,
    Courses,
    Front,
    MeanSpread,
    Spread,
    Weather,
)
from monitor.thermal.day_course import COLDEST_H, open_air, sheltered
from monitor.thermal.follow import FLOOR_SHARE
from monitor.thermal.lateness import Lateness
from monitor.thermal.outside_curve import ExpectedOutside, OutsideCurve, Skies

_SMOOTHED_S = 420.0
_FRESH_S = 1800.0  # an older reading makes nobody think of a probe that fell out
_LOST_S = 3600.0  # after so long a silence the floor is foretold without
_UNHEARD_S = 3 * 3600.0  # after so long a silence nothing is expected of the outside
_SLOT_S, _STEP_S = 900.0, 1800.0  # of the means, and of the curve
_PART_S = 240.0  # so much of a slot says something before it is over
# A day's swing under a roof is some 5 K, half of it as in the open, and another from day to day.
# Found on invented nights; the last on measured days.
_SWING = Spread(mean=2.5, sd=1.1, walk=0.7)
_QUIET = Weather(drift_sd_k_per_h=0.06, drift_h=5.0, level_walk_k=0.06)
# Of the air as a floor shows it: lamps and birds move it too, and what the box was done to at once.
# The air itself comes through litter and walls, late: in a quarter of an hour it is never so much.
# By day hands, covers, birds and the sun move a floor by more than any weather does.
_OF_FLOOR = MeanSpread(sd_k=0.6, sunlit_sd_k=4.0, jump_k=1.5)
_FRONT = Front(
    Weather(drift_sd_k_per_h=0.6, drift_h=8.0, level_walk_k=0.06),
    chance_an_hour=0.02,
    yet_an_hour=0.008,  # from an evening that is quiet so far one night in seven. Assumed
    at_dusk=0.1,
    falls_k_per_h=0.9,
    falls_sd_k_per_h=0.6,
)


def _days() -> CourseFilter:
    return CourseFilter(_QUIET, _SWING, front=_FRONT, days_apart=True)


@part
class OutsideHeard(Kept):
    """The outside temperature, smoothed; None while it was never heard. Where there is no outside
    probe, the floor's own course by night stands in for its days."""

    temp_c: float | None = None
    last_c: float | None = None  # the last reading, as it was
    _tick: Tick = 0.0  # of the last reading, or of the floor's that stands in
    _by_floor: bool = False  # the days are the floor's, for want of an outside
    _course: Course  # of the last hours
    _days: CourseFilter
    _late: Lateness = field(default_factory=Lateness)
    _slot: Tick | None = None  # tick at which the present mean began
    _sum: float = 0.0
    _count: int = 0

    def __init__(self) -> None:
        self._days, self._course, self._late = _days(), Course(), Lateness()

    def observe(self, tick: float, temp_c: float, midnight: float | None) -> None:
        """One reading. `midnight`: the tick of some local midnight, where it is known."""
        if tick - self._tick >= _LOST_S:
            self._slot = None  # a mean broken off by what made the probe silent, or disbelieved
        self._add(tick, temp_c, midnight)
        self.last_c = temp_c
        old = self.temp_c
        if old is None:
            self.temp_c = temp_c
        else:
            gap_s = min(tick - self._tick, 3600.0)
            if gap_s > 0.0:
                self.temp_c = old + (temp_c - old) * gap_s / (gap_s + _SMOOTHED_S)
        self._tick = tick
        self._course.add(tick, temp_c)

    def stand_in(self, tick: float, floor_c: float, midnight: float | None) -> None:
        """A floor that nothing disturbs, where no outside was ever heard."""
        if not self._by_floor:
            self._days, self._by_floor = _days(), True
        self._add(tick, floor_c / FLOOR_SHARE, midnight)
        self._tick = tick

    def _add(self, tick: float, temp_c: float, midnight: float | None) -> None:
        if self._slot is None or tick - self._slot >= _SLOT_S:
            if self._slot is not None and midnight is not None:
                middle = self._slot + 0.5 * _SLOT_S
                hour = _hour(middle, midnight)
                reading = _OF_FLOOR if self._by_floor else OF_AIR
                mean_c = self._sum / self._count
                if not self._by_floor:  # whose mornings are the grower's, and the birds'
                    self._late.see(hour, mean_c, COLDEST_H)
                self._days.see(middle, mean_c, self._courses(hour), hour, reading)
            self._slot = tick
            self._sum, self._count = 0.0, 0
        self._sum += temp_c
        self._count += 1

    def _courses(self, hour: float) -> Courses:
        hour = (hour - self._late.hours) % 24.0
        return open_air(hour), sheltered(hour)

    def measured(self, tick: float) -> bool:
        """Is it heard well enough to foretell the floor by it?"""
        return self.temp_c is not None and tick - self._tick < _LOST_S

    def fell_k(self, tick: float, from_tick: float, to_tick: float) -> float | None:
        """By how much it came down since that stretch; None: that is not known."""
        before_c = self._course.mean(from_tick, to_tick)
        if self.temp_c is None or before_c is None or not self.measured(tick):
            return None
        return before_c - self.temp_c

    def fresh(self, tick: float) -> bool:
        """Is what it said last still what is outside?"""
        return tick - self._tick < _FRESH_S

    def forget_floor(self) -> None:
        """An outside is heard now: the floor's past is none of it."""
        if self._by_floor:
            self._days = _days()
            self._slot = None
            self._by_floor = False

    def skies(self, now: Moment, until_at: float, midnight: float | None) -> Skies | None:
        """The coming outside from what the outside probe said: quiet weather and a front. Without
        a probe, as far as a floor feels it, from its own cooling. None: too little was said."""
        if self._days.tick is None or midnight is None or now.tick - self._tick > _UNHEARD_S:
            return None
        times = [now.tick + k * _STEP_S for k in range(int((until_at - now.at) // _STEP_S) + 2)]
        steps = [(tick, self._courses(_hour(tick, midnight))) for tick in times]
        source = (
            "going by the floor, no outside probe"
            if self._by_floor
            else "going by the outside probe"
        )
        return tuple(
            OutsideCurve(
                tuple(
                    ExpectedOutside(now.at + tick - now.tick, temp_c, sd_k)
                    for tick, (temp_c, sd_k) in zip(times, found, strict=True)
                ),
                source,
                weight,
                usual=usual,
                front=not usual,
                by_floor=self._by_floor,
            )
            for (weight, found), usual in zip(
                self._to_now(midnight).ahead(steps), (True, False), strict=True
            )
        )

    def _to_now(self, midnight: float) -> CourseFilter:
        """The days with what the slot has brought so far: a front is seen so much sooner. Of a
        floor a mean over less is birds more than air."""
        slot = self._slot
        if slot is None or self._by_floor or self._tick - slot < _PART_S:
            return self._days
        middle = 0.5 * (slot + self._tick)
        hour = _hour(middle, midnight)
        return self._days.with_mean(middle, self._sum / self._count, self._courses(hour), hour)


def _hour(tick: float, midnight: float) -> float:
    return ((tick - midnight) / 3600.0) % 24.0
