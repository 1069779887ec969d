"""A floor above its band, or soon there by night: does it matter before the morning? Held by
`thermal_watch`.

Chicks that are too warm walk away from the heat long before they come to harm, and by day birds,
sun and air move a floor by some degrees for an hour. So a warm floor can wait, unless new heat
drives it (`climb`), it lies halfway to harm for half an hour, or it rises steadily and so comes to
harm within two hours. Figures are this project's (assumed); tests/bench measures what they do."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from monitor.kept import Kept, Tick
from monitor.site import Limits
from monitor.thermal.climb import Climb
from monitor.thermal.course import Course
from monitor.thermal.diagnosis import Warmth
from monitor.thermal.track import Track

_NEW_S = 330.0  # an older word says nothing of where it is heading
_MEAN_S = 270.0  # a pace is taken between means of so long: one reading every five minutes will do
_CLIMB_AHEAD_MIN = 20.0
_LONG_S = 270.0  # above its band, and still out of all it was: a plain alarm would ring now
_HALFWAY, _HALFWAY_S = 0.5, 1800.0  # from the band's edge to harm; a bird sits for less
_BACK_K = 0.5  # back below by so much it is over
_BY_K = 0.3  # above its band by hardly more than a probe errs it is not told as rising
_HARM_AHEAD_MIN = 120.0
# For half an hour, of which each part brought so much of its share: a bird's warmth comes in one
# part of it, and what slackens more comes to rest.
_PARTS, _PART_S, _SHARE = 3, 600.0, 0.4
_FALLS_K = 0.2  # lower than in the last part by so much it rises no more
# A floor that went down by so much before it rose goes to and fro, with a thermostat or the birds:
# its tops are over within so long.
_SWING_K, _BEFORE_S, _LASTS_S = 0.4, 2700.0, 720.0


@dataclass(slots=True, eq=False)
class Warming(Kept):
    """The warmest of the floor probes, minute by minute."""

    warmth: Warmth = Warmth.CAN_WAIT
    _above: Tick | None = None  # since when it is above its band
    _halfway: Tick | None = None
    _looked: Tick = 0.0  # the minute that was looked at

    def judge(
        self,
        tick: float,
        tracks: Sequence[Track],
        target_c: float | None,
        limits: Limits,
        *,
        by_night: bool,
        climb: Climb,
    ) -> None:
        """Look at the latest means of the floor probes."""
        heard = [t for t in tracks if t.level is not None and tick - t.last_tick <= _NEW_S]
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
        self._looked = course.ticks[-1]
        by_k = over_k - limits.band_c
        half_k = by_k - _HALFWAY * (limits.harm_c - limits.band_c)
        self._above = _since(self._above, tick, by_k)
        self._halfway = _since(self._halfway, tick, half_k)
        climbs_c = climb.in_minutes(_CLIMB_AHEAD_MIN)
        climbs_k = -math.inf if climbs_c is None else climbs_c - target_c
        rises_k = over_k + _steady_pace(course) * _HARM_AHEAD_MIN
        long = self._above is not None and tick - self._above >= _LONG_S
        if by_night and (climbs_k > limits.band_c or (long and climb.rises)):
            self.warmth = Warmth.SOON
        elif (
            (by_k > 0.0 and climbs_k > limits.harm_c)
            or (by_k > _BY_K and rises_k > limits.harm_c and self._is_no_swing(tick, course))
            or (self._halfway is not None and tick - self._halfway >= _HALFWAY_S)
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


def _since(since: float | None, tick: float, over_k: float) -> float | None:
    """Since when something is above its limit, until it is back below it by a little."""
    if over_k > 0.0:
        return tick if since is None else since
    return since if over_k > -_BACK_K else None


def _steady_pace(course: Course) -> float:
    """K a minute, if it rises and each part brought its share; else, or if too little was heard,
    0."""
    end = course.ticks[-1]
    ends = [end - n * _PART_S for n in range(_PARTS, -1, -1)]
    means = [mean for at in ends if (mean := course.mean(at - _MEAN_S, at)) is not None]
    if len(means) <= _PARTS:
        return 0.0
    part_k = (means[-1] - means[0]) / _PARTS
    steady = all(late - early >= _SHARE * part_k for early, late in pairwise(means))
    highest_c = course.highest(ends[-2], end)
    steady = steady and highest_c is not None and course.means[-1] > highest_c - _FALLS_K
    return part_k * 60.0 / _PART_S if steady and part_k > 0.0 else 0.0
