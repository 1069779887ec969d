"""A floor above its band, or soon there by day: does it matter before the morning? Held by
`thermal_watch`.

Chicks that are too warm walk away from the heat long before they come to harm, and a probe with a
bird on it is a few degrees warmer for up to half an hour. So a warm floor can wait, unless it heads
for harm, lies halfway there for long, says what no bird explains, or has been above its band for a
quarter of an hour and goes on rising as it did for an hour before. Heading there means that it
rises to where it has not been lately and has not slackened, for some minutes in a row, and, where
harm is far, as much as over the last twenty minutes: a bird's warmth comes to rest within minutes,
a thermostat's swing ends where the ones before did. Figures are this project's (assumed);
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
# Of the pace of the whole stretch, and of the last minutes: less, and it comes to rest.
_STEADY, _STILL, _STILL_S, _STILL_MEAN_S = 0.6, 0.5, 180.0, 90.0
_BEEN_FROM_S, _BEEN_TO_S, _BEEN_K = 5400.0, 600.0, 0.3  # where it was lately, and what is more
_HARM_AHEAD_MIN, _HARM_SOON_MIN = 90.0, 30.0  # so far ahead harm is news
_LONG_STEADY = 0.75  # of the pace, over twenty minutes: what a bird adds within five is less
_HALFWAY, _HALFWAY_S = 0.5, 1800.0  # from the band's edge to harm; a bird sits for less
_BACK_K = 0.5  # back below by so much it is over
# Above its band for so long, by so much, rising still, warmer than an hour ago and than it lately
# was: what climbs slowly comes to harm too, and no bird warms a probe for as long.
_LASTS_S, _BY_K, _RISING, _HOUR_S, _RISEN_K = 840.0, 0.3, 0.02, 3600.0, 0.6
# The sun on a closed box: told before the floor has left its band, for it takes a while to cool.
_SUN_FROM_H, _SUN_TO_H = 6.0, 18.0
_BAND_AHEAD_MIN = 15.0
# Minutes in a row that say so; a bird's steep rise is over within seven.
_BORNE_OUT, _BORNE_OUT_HOTTER, _BORNE_OUT_STEEP = 5, 2, 7
_CLIMB_AHEAD_MIN = 20.0
_SUN = 1.5 / 60.0  # K a minute, at least
_SOARS_K = 3.0  # a probe beneath a source, above its usual high


@dataclass(slots=True, eq=False)
class Warming(Kept):
    """The warmest of the floor probes, minute by minute."""

    warmth: Warmth = Warmth.CAN_WAIT
    _above: Tick | None = None  # since when it is above its band
    _halfway: Tick | None = None
    _count: int = 0  # minutes that say it leaves its band
    _harm_count: int = 0  # ... that it heads for harm
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
        rises = late > 0.0 and late >= _STEADY * whole and _still_rises(course, late)
        rises = rises and not _has_been(course, hottest.mean)
        hotter = any(_soars(track, tick) for track in beneath)
        pace = min(late, whole)
        steady = not hotter and long is not None and long >= _LONG_STEADY * whole
        harm_ahead_min = _HARM_AHEAD_MIN if steady else _HARM_SOON_MIN
        harm_ahead = rises and pace * harm_ahead_min > to_harm_k
        least = _BORNE_OUT_HOTTER if hotter else _BORNE_OUT
        self._harm_count = self._harm_count + 1 if harm_ahead else 0
        sunny = hour is not None and _SUN_FROM_H <= hour < _SUN_TO_H and long is not None
        by_sun = sunny and over_k > 0.5 * limits.band_c
        by_sun = by_sun and late <= 2.0 * (long or 0.0) + 0.02 and min(pace, long or 0.0) > _SUN
        headed = rises and (hotter or by_sun) and pace * _BAND_AHEAD_MIN > to_band_k
        self._count = self._count + 1 if headed else 0
        if self._above is not None:
            lasts = tick - self._above >= _LASTS_S and to_band_k < -_BY_K and pace >= _RISING
            harms = (
                halfway
                or (lasts and _risen(course))
                or self._harm_count >= (least if steady or hotter else _BORNE_OUT_STEEP)
            )
            self.warmth = Warmth.HARMS if harms else Warmth.CAN_WAIT
        elif self._count >= least or (self.warmth is Warmth.SOON and late > 0.0):
            self.warmth = Warmth.SOON
        else:
            self.warmth = Warmth.CAN_WAIT

    def _reset(self) -> None:
        self.warmth = Warmth.CAN_WAIT
        self._above = self._halfway = None
        self._count = self._harm_count = 0


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


def _still_rises(course: Course, late: float) -> bool:
    """Has it not slackened within the last minutes? A probe that speaks seldom cannot say."""
    end = course.ticks[-1]
    now_c = course.mean(end - _STILL_MEAN_S, end)
    then_c = course.mean(end - _STILL_MEAN_S - _STILL_S, end - _STILL_S)
    if now_c is None or then_c is None:
        return True
    return (now_c - then_c) * 60.0 / _STILL_S >= _STILL * late


def _soars(track: Track, tick: float) -> bool:
    """Is it far above its usual high, hotter than any bird?"""
    usual = track.course.quick
    if usual is None or tick - track.last_tick > _NEW_S:
        return False
    return track.mean > max(usual.high_c + _SOARS_K, CHICK_SKIN_C)


def _risen(course: Course) -> bool:
    """Is it warmer than an hour ago, and than it has been in an hour and a half?"""
    end = course.ticks[-1]
    now_c = course.mean(end - _WIDE_S, end)
    then_c = course.mean(end - _HOUR_S - _WIDE_S, end - _HOUR_S + _WIDE_S)
    highest_c = course.highest(end - _BEEN_FROM_S, end - _LASTS_S)
    if now_c is None or then_c is None or highest_c is None:
        return False
    return now_c > max(highest_c, then_c + _RISEN_K)


def _has_been(course: Course, temp_c: float) -> bool:
    """Was it as warm before? Then it swings, or its heat is set so."""
    end = course.ticks[-1]
    highest = course.highest(end - _BEEN_FROM_S, end - _BEEN_TO_S)
    return highest is None or temp_c < highest + _BEEN_K
