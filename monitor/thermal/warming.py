"""A floor above its band, or soon there by day: does it matter before the morning? Held by
`thermal_watch`.

Chicks that are too warm walk away from the heat long before they come to harm, and a probe with a
bird on it is a few degrees warmer for up to half an hour. So a warm floor can wait, unless it heads
for harm, lies halfway there for long, or says what no bird explains. Heading there means that it
rises at a steady pace to where it has not been lately: a bird's warmth comes to rest within
minutes, a thermostat's swing ends where the ones before did. Figures are this project's (assumed);
tests/bench measures what they do."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.brooding.chick_skin import CHICK_SKIN_C
from monitor.kept import Kept, Tick
from monitor.site import Limits
from monitor.thermal.climb import Climb
from monitor.thermal.course import Course
from monitor.thermal.diagnosis import Warmth
from monitor.thermal.track import Track

_NEW_S = 330.0  # an older word says nothing of where it is heading
_WIDE_S = 270.0  # a pace is taken between means of so long: one reading every five minutes will do
_LATE_S, _WHOLE_S, _LONG_S = 360.0, 720.0, 1200.0
_STEADY = 0.6  # of the pace of the whole stretch: less, and it comes to rest
_BEEN_FROM_S, _BEEN_TO_S, _BEEN_K = 5400.0, 600.0, 0.3  # where it was lately, and what is more
_HARM_AHEAD_MIN, _HARM_SOON_MIN = 90.0, 30.0  # so far ahead harm is news
_LONG_SHARE = 4.0 / 3.0  # of the pace of the last twenty minutes: no more is believed of a pace
_FAST_K_PER_MIN, _FRESH_S = 0.1, 600.0  # a bird rises so fast, and is at rest within so long
_HALFWAY, _HALFWAY_S = 0.5, 1800.0  # from the band's edge to harm; a bird sits for less
_BACK_K = 0.5  # back below by so much it is over
# The sun on a closed box: told before the floor has left its band, for it takes a while to cool.
_SUN_FROM_H, _SUN_TO_H = 6.0, 18.0
_BAND_AHEAD_MIN, _BORNE_OUT = 15.0, 5  # minutes ahead; minutes in a row that say so
_CLIMB_AHEAD_MIN = 20.0
_SUN = 1.5 / 60.0  # K a minute, at least
_SOARS_K, _BORNE_OUT_HOTTER = 3.0, 2  # a probe beneath a source, above its usual high


@dataclass(slots=True, eq=False)
class Warming(Kept):
    """The warmest of the floor probes, minute by minute."""

    warmth: Warmth = Warmth.CAN_WAIT
    _above: Tick | None = None  # since when it is above its band
    _halfway: Tick | None = None
    _count: int = 0
    _looked: Tick = 0.0  # the minute that was looked at

    def judge(
        self,
        tick: float,
        tracks: Sequence[Track],
        target_c: float | None,
        limits: Limits,
        *,
        beneath: Sequence[Track],
        hour: float | None,
        climb: Climb,
    ) -> None:
        """Look at the latest means of the floor probes, and of those `beneath` a source, which no
        bird on the floor's warms. `hour`: of the local clock, if known."""
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
        to_harm_k, to_band_k = limits.harm_c - over_k, limits.band_c - over_k
        self._above = _since(self._above, tick, -to_band_k)
        half_k = over_k - limits.band_c - _HALFWAY * (limits.harm_c - limits.band_c)
        self._halfway = _since(self._halfway, tick, half_k)
        halfway = self._halfway is not None and tick - self._halfway >= _HALFWAY_S
        ahead_c = climb.in_minutes(_CLIMB_AHEAD_MIN)
        if ahead_c is not None and ahead_c > target_c + limits.band_c:
            self.warmth = Warmth.SOON
            return
        paces = _paces(course)
        if paces is None:
            self.warmth = Warmth.HARMS if halfway else Warmth.CAN_WAIT
            return
        late, whole, long = paces
        rises = late > 0.0 and late >= _STEADY * whole and not _has_been(course, hottest.mean)
        hotter = any(_soars(track, tick) for track in beneath)
        pace = min(late, whole)
        lasting = pace if long is None else min(pace, _LONG_SHARE * long)
        fresh = whole > _FAST_K_PER_MIN and tick - (self._above or tick) < _FRESH_S
        harm_ahead = rises and (
            pace * _HARM_SOON_MIN > to_harm_k
            if hotter
            else not fresh and lasting * _HARM_AHEAD_MIN > to_harm_k
        )
        sunny = hour is not None and _SUN_FROM_H <= hour < _SUN_TO_H and long is not None
        by_sun = sunny and over_k > 0.5 * limits.band_c
        by_sun = by_sun and late <= 2.0 * (long or 0.0) + 0.02 and min(pace, long or 0.0) > _SUN
        headed = rises and (hotter or by_sun) and pace * _BAND_AHEAD_MIN > to_band_k
        self._count = self._count + 1 if headed else 0
        borne_out = self._count >= (_BORNE_OUT_HOTTER if hotter else _BORNE_OUT)
        if self._above is not None:
            self.warmth = Warmth.HARMS if harm_ahead or halfway else Warmth.CAN_WAIT
        elif borne_out or (self.warmth is Warmth.SOON and late > 0.0):
            self.warmth = Warmth.SOON
        else:
            self.warmth = Warmth.CAN_WAIT

    def _reset(self) -> None:
        self.warmth = Warmth.CAN_WAIT
        self._above = self._halfway = None
        self._count = 0


def _since(since: float | None, tick: float, over_k: float) -> float | None:
    """Since when something is above its limit, until it is back below it by a little."""
    if over_k > 0.0:
        return tick if since is None else since
    return since if over_k > -_BACK_K else None


def _paces(course: Course) -> tuple[float, float, float | None] | None:
    """K a minute over the last minutes, the last quarter of an hour and longer. None: too little
    was heard."""
    end = course.ticks[-1]
    now_c = course.mean(end - _WIDE_S, end)

    def over(back_s: float) -> float | None:
        then_c = course.mean(end - back_s - _WIDE_S, end - back_s)
        return None if then_c is None or now_c is None else (now_c - then_c) * 60.0 / back_s

    late, whole = over(_LATE_S), over(_WHOLE_S)
    return None if late is None or whole is None else (late, whole, over(_LONG_S))


def _soars(track: Track, tick: float) -> bool:
    """Is it far above its usual high, hotter than any bird?"""
    usual = track.course.quick
    if usual is None or tick - track.last_tick > _NEW_S:
        return False
    return track.mean > max(usual.high_c + _SOARS_K, CHICK_SKIN_C)


def _has_been(course: Course, temp_c: float) -> bool:
    """Was it as warm before? Then it swings, or its heat is set so."""
    end = course.ticks[-1]
    highest = course.highest(end - _BEEN_FROM_S, end - _BEEN_TO_S)
    return highest is None or temp_c < highest + _BEEN_K
