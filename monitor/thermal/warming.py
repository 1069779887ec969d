"""A floor above its band, or soon there by night: does it matter before the morning? Held by
`thermal_watch`.

Chicks that are too warm walk away from the heat long before they come to harm, and by day birds,
sun and air move a floor by some degrees for an hour. So a warm floor can wait, unless new heat
drives it (`climb`), it lies halfway to harm for half an hour, or it rises steadily and comes to
harm within two hours, slacken as it may, while no other probe of the floor is in its band; out of
the sun's hours a bird may have sat down in its last minutes. Where a thermostat swings it, new heat
and a steady rise are no news while its pulse lasts no longer and goes hardly higher than the one
before. Where the sun warms the whole box, that is told before the floor has left its band. Figures
are this project's (assumed); tests/bench measures what they do."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from monitor.brooding.night_hours import asleep
from monitor.kept import Kept, Tick
from monitor.site import Limits
from monitor.thermal.climb import Climb
from monitor.thermal.course import SPIKE_K, Course
from monitor.thermal.diagnosis import Warmth
from monitor.thermal.floor import Floor
from monitor.thermal.slope import goes_on_k
from monitor.thermal.track import CLOSE_S, Track

_MEAN_S = 270.0  # a pace is taken between means of so long: one reading every five minutes will do
_CLIMB_AHEAD_MIN = 20.0
# Above its band, and still out of all it was: a plain alarm would ring within the next minute.
_LONG_S = 240.0
# Above its band, and up by so much in the last part, while a probe beneath a source rises too.
_HEATED_S, _HEATED_K = 110.0, 0.4
_HALFWAY, _HALFWAY_S = 0.5, 1800.0  # from the band's edge to harm; a bird sits for less
_BACK_K = 0.5  # back below by so much it is over
# Above its band by hardly more than a probe errs it is not told as rising; by night it is, once a
# plain alarm would ring. In the evening the lamps are hung for the night, and a floor goes up until
# it has settled: then by all that a probe errs.
_BY_K, _EVENING_H, _EVENING_BY_K = 0.3, (18, 21), 0.5
_HARM_AHEAD_MIN = 120.0
# For half an hour, of which each part brought so much of its share: a bird's warmth comes in one
# part of it, and what slackens more comes to rest.
_PARTS, _PART_S, _SHARE = 3, 600.0, 0.4
_FALLS_K = 0.2  # lower than in the last part by so much it rises no more ...
_NOW_S = 180.0  # ... nor lower than it was so long before
# A floor that went down by so much before it rose goes to and fro, with a thermostat or the birds:
# its tops are over within so long.
_SWING_K, _BEFORE_S, _LASTS_S = 0.4, 2700.0, 720.0
# The sun on a closed box: it rises out of all that it was in the hour before, by more than its tops
# differ, to harm within so long (min), and what lies beside the floor rises too, in each half of
# the time by so much. By half an hour; by twenty minutes where it is quicker, and each part of them
# brought so many steps of the probe. Told from this share of the way to the band's edge on. Earlier
# and later the lamps are hung and the box is fed.
_SUN_SHOWS = ((_PARTS, 0.4, 80.0, 0.0), (2, 0.5, 50.0, 2.0))
_SUN_H, _SUN_FROM, _SUN_ENDS_K = (8, 17), 0.65, 0.5
_NEW_K, _SWING_SHARE = 0.3, 0.5
_BIRD = 1.5  # times what each part before brought: in the last one a bird sat down


@dataclass(slots=True, eq=False)
class Warming(Kept):
    """The warmest of the floor probes, minute by minute."""

    warmth: Warmth = Warmth.CAN_WAIT
    _above: Tick | None = None  # since when it is above its band
    _halfway: Tick | None = None
    _sun: bool = False  # it warms the box
    _looked: Tick = 0.0  # the minute that was looked at

    def judge(
        self,
        tick: float,
        floor: Floor,
        target_c: float | None,
        limits: Limits,
        *,
        hour: float | None,
        as_it_hung: bool,
        climb: Climb,
        beside: Sequence[Track],
    ) -> None:
        """Look at the latest means of the floor's probes, and of those `beside` them. `hour`: of
        the local clock, where it is known; `as_it_hung`: nobody has hung the heat anew."""
        heard = [t for t in floor.warmest if t.is_new(tick)]
        if target_c is None:
            self._reset()
        if target_c is None or not heard:
            return
        hottest = max(heard, key=lambda track: track.mean)
        over_k = hottest.mean - target_c
        if over_k < 0.0:
            self._reset()
            return
        course = hottest.course
        if not course.ticks or course.ticks[-1] == self._looked:
            return
        if hottest.mean > course.means[-1] + SPIKE_K and tick - course.ticks[-1] < CLOSE_S:
            return  # a wild reading, or two: the next minute bears it out
        self._looked = course.ticks[-1]
        by_k = over_k - limits.band_c
        half_k = by_k - _HALFWAY * (limits.harm_c - limits.band_c)
        self._above = _since(self._above, tick, by_k)
        self._halfway = _since(self._halfway, tick, half_k)
        climbs_c = climb.in_minutes(_CLIMB_AHEAD_MIN)
        climbs_k = -math.inf if climbs_c is None else climbs_c - target_c
        parts_k = _parts_k(course)
        pace = _steady_pace(course, parts_k)
        rises_k = over_k + _comes_k(parts_k, pace)
        # What only warms by and by is left by chicks for a spot in its band.
        elsewhere = any(t.mean <= target_c + limits.band_c for t in heard if t is not hottest)
        long = self._above is not None and tick - self._above >= _LONG_S
        by_night = hour is not None and asleep(hour)
        in_evening = hour is not None and _EVENING_H[0] <= hour < _EVENING_H[1]
        least_k = _EVENING_BY_K if in_evening else _BY_K
        sun_up = hour is not None and _SUN_H[0] <= hour < _SUN_H[1]
        if not sun_up or _has_turned(course):
            self._sun = False
        elif over_k > _SUN_FROM * limits.band_c and hottest.mean > floor.top_c and not self._sun:
            to_harm_k = limits.harm_c - over_k
            self._sun = any(
                _sun_rises(course, parts_k[-parts:], to_harm_k / ahead_min, steps * course.grain_k)
                and any(_rises_too(track.course, tick, parts * _PART_S, by_k) for track in beside)
                for parts, by_k, ahead_min, steps in _SUN_SHOWS
            )
        swings = floor.swing is not None
        heated = (
            self._above is not None
            and tick - self._above >= _HEATED_S
            and max(parts_k[-1:], default=0.0) >= _HEATED_K
            and not swings
            and climb.heats(tick, beside)
        )
        # A thermostat needs no hanging for the night.
        settled = as_it_hung or floor.top_c > -math.inf
        leaves = climbs_k > limits.band_c and (settled or by_k > 0.0)
        new_heat = heated or leaves or (long and climb.rises)
        heads_for_harm = (by_k > 0.0 and climbs_k > limits.harm_c) or (
            (by_k > least_k or (by_night and long))
            and rises_k > limits.harm_c
            and not elsewhere
            and (half_k > 0.0 or not swings)
            and (sun_up or not _sat_down(parts_k))
            and self._is_no_swing(tick, course)
        )
        news = not floor.pulses
        if self._sun or (news and (climb.driven or (by_night and new_heat))):
            self.warmth = Warmth.SOON
        elif (news and heads_for_harm) or (
            self._halfway is not None and tick - self._halfway >= _HALFWAY_S
        ):
            self.warmth = Warmth.HARMS
        else:
            self.warmth = Warmth.CAN_WAIT

    def _is_no_swing(self, tick: float, course: Course) -> bool:
        """Has it not gone down before it rose, or is it above its band for longer than the top of
        a swing?"""
        if self._above is not None and tick - self._above >= _LASTS_S:
            return True
        rose = course.ticks[-1] - _PARTS * _PART_S
        from_c = course.mean(rose - _MEAN_S, rose)
        before_c = course.highest(rose - _BEFORE_S, rose)
        return from_c is not None and before_c is not None and before_c < from_c + _SWING_K

    def _reset(self) -> None:
        self.warmth = Warmth.CAN_WAIT
        self._above = self._halfway = None
        self._sun = False


def _since(since: float | None, tick: float, over_k: float) -> float | None:
    """Since when something is above its limit, until it is back below it by a little."""
    if over_k > 0.0:
        return tick if since is None else since
    return since if over_k > -_BACK_K else None


def _has_turned(course: Course) -> bool:
    """Has it come down from the highest of the last half hour?"""
    highest_c = course.highest(course.ticks[-1] - _PARTS * _PART_S, course.ticks[-1])
    return highest_c is not None and course.means[-1] < highest_c - _SUN_ENDS_K


def _sun_rises(course: Course, parts_k: Sequence[float], least_pace: float, least_k: float) -> bool:
    """Does it rise as in the sun, by so much a minute, and in each part?"""
    return (
        _steady_pace(course, parts_k) > max(0.0, least_pace)
        and not _sat_down(parts_k)
        and min(parts_k) >= least_k
        and _is_new(course, len(parts_k) * _PART_S)
    )


def _sat_down(parts_k: Sequence[float]) -> bool:
    """Did the last part bring so much more than those before that a bird sits there by now?"""
    *before_k, last_k = parts_k or (0.0,)
    return last_k * len(before_k) > _BIRD * sum(before_k)


def _is_new(course: Course, since_s: float) -> bool:
    """Is it above all that it was before then? A thermostat's next top is not."""
    before_c = course.highest(course.ticks[0], course.ticks[-1] - since_s)
    usual = course.quick
    swing_k = 0.0 if usual is None else usual.spread_k
    return before_c is not None and course.means[-1] > before_c + max(
        _NEW_K, _SWING_SHARE * swing_k
    )


def _rises_too(course: Course, tick: float, since_s: float, by_k: float) -> bool:
    """In both halves of that time?"""
    ends = [tick - half * 0.5 * since_s for half in (2, 1, 0)]
    means = [mean for at in ends if (mean := course.mean(at - _MEAN_S, at)) is not None]
    rose = [late - early for early, late in pairwise(means)]
    return len(rose) == 2 and min(rose) >= by_k


def _steady_pace(course: Course, parts_k: Sequence[float]) -> float:
    """K a minute, if it rises by more than one step of its probe, and each part brought its share;
    else, or if too little was heard, 0."""
    rose_k, now = sum(parts_k), course.ticks[-1]
    part_k = rose_k / max(1, len(parts_k))
    if rose_k <= course.grain_k or min(parts_k) < _SHARE * part_k:
        return 0.0
    highest_c = course.highest(now - _PART_S, now)
    now_c, then_c = course.mean(now - _NOW_S, now), course.mean(now - 2 * _NOW_S, now - _NOW_S)
    turned = highest_c is None or course.means[-1] <= highest_c - _FALLS_K
    falls = now_c is not None and then_c is not None and now_c < then_c
    return 0.0 if turned or falls else part_k * 60.0 / _PART_S


def _comes_k(parts_k: Sequence[float], pace: float) -> float:
    """What a rise at `pace`, K a minute, brings until harm counts, K: less where it slackens."""
    if pace <= 0.0:
        return 0.0
    times = _HARM_AHEAD_MIN * 60.0 / _PART_S
    return min(pace * _HARM_AHEAD_MIN, goes_on_k(parts_k[-2], parts_k[-1], times))


def _parts_k(course: Course) -> list[float]:
    """What each part of the last half hour brought, K; nothing if too little was heard."""
    ends = [course.ticks[-1] - n * _PART_S for n in range(_PARTS, -1, -1)]
    means = [mean for at in ends if (mean := course.mean(at - _MEAN_S, at)) is not None]
    return [late - early for early, late in pairwise(means)] if len(means) > _PARTS else []
