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
_HALFWAY, _HALFWAY_S = 0.5, 1800.0  # from the band's edge to harm; a bird sits for less
_BACK_K = 0.5  # back below by so much it is over
_BY_K = 0.3  # above its band by hardly more than a probe errs it is not told as rising
_HARM_AHEAD_MIN = 120.0
# For half an hour, of which each part brought so much of its share: a bird's warmth comes in one
# part of it, and what slackens more comes to rest.
_PARTS, _PART_S, _SHARE = 3, 600.0, 0.4


@dataclass(slots=True, eq=False)
class Warming(Kept):
    """The warmest of the floor probes, minute by minute."""

    warmth: Warmth = Warmth.CAN_WAIT
    _halfway: Tick | None = None  # since when it is
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
        if half_k < -_BACK_K:
            self._halfway = None
        elif half_k > 0.0 and self._halfway is None:
            self._halfway = tick
        climbs_c = climb.in_minutes(_CLIMB_AHEAD_MIN)
        climbs_k = -math.inf if climbs_c is None else climbs_c - target_c
        rises_k = over_k + _steady_pace(course) * _HARM_AHEAD_MIN
        if by_night and climbs_k > limits.band_c:
            self.warmth = Warmth.SOON
        elif (
            (by_k > 0.0 and climbs_k > limits.harm_c)
            or (by_k > _BY_K and rises_k > limits.harm_c)
            or (self._halfway is not None and tick - self._halfway >= _HALFWAY_S)
        ):
            self.warmth = Warmth.HARMS
        else:
            self.warmth = Warmth.CAN_WAIT

    def _reset(self) -> None:
        self.warmth, self._halfway = Warmth.CAN_WAIT, None


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
    return part_k * 60.0 / _PART_S if steady and part_k > 0.0 else 0.0
