"""A floor that climbs out of all it has lately been: a lamp that slipped, a thermostat that no
longer switches off. Held by `thermal_watch`.

A probe with a bird on it rises at once and comes to rest within minutes, and no other rises with
it; a thermostat's swing ends where and when the ones before did; a floor that was cold goes back to
where it was. Heat that is new does none of these: some minutes of it are enough to tell, fewer if
another probe rises out of what it was, none if a probe beneath each source shows nothing new. By
night birds lie on two: there only a probe beneath a source bears it out, until the floor is out of
its band. Heat that the floor and the probe beneath a source show together needs no more than two
looks: a bird sits on one of them, and a swing's next top is where the last one was. Where people
are about they hang lamps and cover the box for the night: it counts once the floor is above its
band.
Figures are this project's (assumed); tests/bench measures what they do."""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field

from monitor.brooding.chick_skin import CHICK_SKIN_C
from monitor.kept import NEVER, Kept, Tick
from monitor.thermal.swing import overdue
from monitor.thermal.track import Track

_LOOK_S = 55.0
_MEAN_S, _SPAN_S = 75.0, 180.0  # a pace is taken between means of so long, so far apart
_KEPT_S = 2 * _SPAN_S + _MEAN_S
_SLOWER, _FASTER = 0.5, 1.8  # of what its pace was: neither coming to rest nor only beginning
_LEAST_K = 0.18  # in that time; less is the evening and the birds
_DIP_K = 0.2  # a floor whose thermostat no longer switches off comes down by less
_RISES_S, _BEEN_S, _BEEN_K = 1800.0, 5400.0, 0.5  # above all that it was before its last low
_TURN_K = 0.4  # it came down by so much: what follows rises anew
_KNOWN_S = 3600.0
_SWING = 0.5  # of how far it swings: by so much its tops differ
_BIRD = 2.0  # a probe shows half of a bird's warmth in that time: by so much it rose faster
_WITNESS_BEEN_K, _STEPS = 0.3, 2.0  # one step up of a coarse probe bears nothing out
_COLD_K = 1.5  # an hour below its target by so much: it is on its way back
# Beneath a source so far above all that it was, twice in a row, and the floor so far too, above its
# target by so much, and up by so much in three minutes. What leapt beneath a source needs less of
# the floor: above all that it was, or not even that if no bird can be as warm.
_BENEATH_K, _FLOOR_K, _ROSE_K, _OVER_K = 0.7, 0.5, 0.25, 1.0
_LEAP_K, _NO_BIRD_C = 1.5, CHICK_SKIN_C + 1.0
_BORNE_OUT = 3  # minutes in a row; one in which another probe rises too counts for two


@dataclass(slots=True, eq=False)
class Climb(Kept):
    """Of all floor probes, the one that is heading highest."""

    rises: bool = False  # at this look
    driven: bool = False  # by heat that a probe beneath a source feels too
    _driven_since: Tick = NEVER
    _count: int = 0  # minutes in a row
    _looked: Tick = NEVER
    _temp_c: float = 0.0
    _k_per_min: float = 0.0
    _lately: dict[str, list[tuple[Tick, float]]] = field(default_factory=dict)  # by probe

    def look(
        self,
        tick: float,
        floor: Sequence[Track],
        beside: Sequence[Track],
        target_c: float,
        high_c: float,
        *,
        sources_seen: bool,
        by_night: bool,
        as_it_hung: bool,
    ) -> None:
        """At the latest means of the floor probes, and of those `beside` them. `high_c`: the upper
        edge of the floor's band; `sources_seen`: a probe lies beneath each source; `by_night`: no
        sun warms it; `as_it_hung`: nor does who covers it for the night, or hung a lamp lower."""
        kept_from = tick - _KEPT_S
        for track in (*floor, *beside):
            lately = self._lately.setdefault(track.key, [])
            if track.level is not None and (not lately or track.last_tick > lately[-1][0]):
                lately.append((track.last_tick, track.mean))
            while lately and lately[0][0] < kept_from:
                del lately[0]
        if tick - self._looked < _LOOK_S:
            return
        self._looked = tick
        self.rises = False
        least_c = target_c if as_it_hung else high_c
        self._see_driven(tick, floor, beside, target_c, least_c=least_c)
        looked = [(one, *self._rose_k(tick, one, target_c, high_c)) for one in floor]
        rose = [found for found in looked if found[1]]
        if not rose:
            self._count = 0
            return
        rising = [one for one in (*floor, *beside) if self._rises_too(tick, one)]
        alone_counts = not (sources_seen and self._as_ever(tick, beside))
        counts, highest_c = 0, -math.inf
        for track, rose_k, stays_on in rose:
            birds = by_night and track.mean <= high_c  # lie on two
            witness = any(one is not track and (one.beneath or not birds) for one in rising)
            if not (alone_counts or (witness and not by_night)):
                continue
            steady = self._steadiness(tick, track, rose_k, alone=not witness, stays_on=stays_on)
            self.rises = self.rises or steady >= _SLOWER
            if _SLOWER <= steady <= _FASTER and track.mean + rose_k > highest_c:
                highest_c, counts = track.mean + rose_k, 1 + (witness or stays_on)
                self._temp_c, self._k_per_min = track.mean, rose_k * 60.0 / _SPAN_S
        self._count = self._count + counts if counts else 0

    def heats(self, tick: float, beside: Sequence[Track]) -> bool:
        """Does a probe beneath a source rise out of all that it was? No bird sits there."""
        return any(one.beneath and self._rises_too(tick, one) for one in beside)

    def rest(self) -> None:
        """Nobody looks: no birds are in."""
        self.rises = self.driven = False
        self._count = 0
        self._lately.clear()

    def in_minutes(self, minutes: float) -> float | None:
        """Where it will be by then if it goes on so, degC; None: nothing climbs."""
        return self._temp_c + minutes * self._k_per_min if self._count >= _BORNE_OUT else None

    def _see_driven(
        self,
        tick: float,
        floor: Sequence[Track],
        beside: Sequence[Track],
        target_c: float,
        *,
        least_c: float,
    ) -> None:
        """`least_c`: no floor that is cooler counts."""
        warm = [one for one in floor if one.mean > least_c and not _was_cold(one, target_c)]
        beneath = [one for one in beside if one.beneath] if warm else []
        above = [(one, by_k) for one in beneath if (by_k := self._above_twice_k(tick, one)) > 0.0]
        if any(
            self._drives(tick, one, target_c, beneath, by_k)
            for one in warm
            for beneath, by_k in above
        ):
            self._driven_since = tick
        self.driven = bool(above) and tick - self._driven_since < _RISES_S

    def _drives(
        self, tick: float, floor: Track, target_c: float, beneath: Track, by_k: float
    ) -> bool:
        """Is the floor warmed by what the probe beneath a source shows?"""
        if by_k <= _BENEATH_K:
            return False
        now_c, then_c = self._mean_c(floor, tick), self._mean_c(floor, tick - _SPAN_S)
        if now_c is None or then_c is None:
            return False
        if now_c - then_c < max(_ROSE_K, floor.quantum_k):
            return False
        above_k = now_c - _top_c(floor, tick)
        if by_k > _leap_k(beneath):
            return above_k > 0.0 or beneath.mean > _NO_BIRD_C
        return above_k > max(_FLOOR_K, floor.quantum_k) and now_c > target_c + _OVER_K

    def _above_twice_k(self, tick: float, track: Track) -> float:
        """Above all that it was, at two looks, K; -inf: not known."""
        lately = [self._mean_c(track, at) for at in (tick, tick - _MEAN_S)]
        heard = [c for c in lately if c is not None]
        return min(heard) - _top_c(track, tick) if len(heard) == len(lately) else -math.inf

    def _rose_k(
        self, tick: float, track: Track, target_c: float, high_c: float
    ) -> tuple[float, bool]:
        """How far it rose in the last minutes out of what it has been, or 0; and whether that is
        for a thermostat that stays on."""
        usual, now_c = track.course.quick, self._mean_c(track, tick)
        if usual is None or now_c is None or now_c < target_c:
            return 0.0, False
        if _was_cold(track, target_c) and now_c < high_c:
            return 0.0, False
        then_c = self._mean_c(track, tick - _SPAN_S)
        if then_c is None or now_c - then_c < max(_LEAST_K, track.quantum_k):
            return 0.0, False
        rose_k = now_c - then_c
        stays_on = _stays_on(track, tick)
        return (rose_k if stays_on or _above_k(track, tick, now_c) > 0.0 else 0.0), stays_on

    def _steadiness(
        self, tick: float, track: Track, rose_k: float, *, alone: bool, stays_on: bool
    ) -> float:
        """Its pace as a share of its quickest; or, `alone`, or where that is too little and its
        thermostat `stays_on`, of its pace in the minutes before. 0 where all that is new may be a
        bird."""
        most_k = track.course.rose_most_k(tick - _RISES_S, tick, _SPAN_S)
        share = rose_k / max(rose_k, most_k)
        if not alone and (share >= _SLOWER or not stays_on):
            return share
        now_c, then_c, before_c = (self._mean_c(track, tick - n * _SPAN_S) for n in (0, 1, 2))
        if now_c is None or then_c is None or before_c is None:
            return 0.0
        if not stays_on and _above_k(track, tick, now_c) <= _BIRD * (most_k - rose_k):
            return 0.0
        return rose_k / max(then_c - before_c, 0.01)

    def _rises_too(self, tick: float, track: Track) -> bool:
        now_c, then_c = self._mean_c(track, tick), self._mean_c(track, tick - _SPAN_S)
        least_k = max(_LEAST_K, _STEPS * track.quantum_k)
        if now_c is None or then_c is None or now_c < then_c + least_k:
            return False
        return _above_k(track, tick, now_c, _WITNESS_BEEN_K) > 0.0

    def _as_ever(self, tick: float, beside: Sequence[Track]) -> bool:
        """Is every probe beneath a source heard, and within what it lately was?"""
        for track in beside:
            if track.beneath:
                now_c = self._mean_c(track, tick)
                if now_c is None or track.sunken or now_c > _top_c(track, tick):
                    return False
        return True

    def _mean_c(self, track: Track, tick: float) -> float | None:
        """Of a minute or so until `tick`; None: nothing was heard then."""
        lately = self._lately[track.key]
        first = bisect_right(lately, (tick - _MEAN_S, math.inf))
        found = [c for _, c in lately[first : bisect_right(lately, (tick, math.inf))]]
        return sum(found) / len(found) if found else None


def _above_k(track: Track, tick: float, temp_c: float, least_k: float = _BEEN_K) -> float:
    """By how much more it is above its top than its tops and readings differ."""
    usual = track.course.quick
    swing_k = 0.0 if usual is None else _SWING * usual.spread_k
    return temp_c - _top_c(track, tick) - max(least_k, swing_k, track.quantum_k)


def _was_cold(track: Track, target_c: float) -> bool:
    """Was it so cold within the hour that it is on its way back?"""
    usual = track.course.quick
    return usual is None or usual.low_c < target_c - _COLD_K


def _leap_k(track: Track) -> float:
    usual = track.course.quick
    return max(_LEAP_K, 0.0 if usual is None else usual.spread_k)


def _stays_on(track: Track, tick: float) -> bool:
    """Has a thermostat switched off again and again, and not now? Seen as a pulse that does not
    come is, upside down. A bird that sits down at a top, or just after, does not hold it up for so
    long without a dip."""
    course = track.course
    return overdue(course.ticks, [-mean for mean in course.means], tick, -track.mean, _DIP_K)


def _top_c(track: Track, tick: float) -> float:
    """The highest it was before its last low; or before it last came down, if that was the first
    pulse of its kind: the next is no more. Not known in its first hour: a thermostat swings."""
    course = track.course
    low_at = course.low_at(tick - _RISES_S, tick)
    foot_at = course.low_at(tick - _RISES_S, tick, max(_TURN_K, track.quantum_k))
    if low_at is None or foot_at is None or tick - course.ticks[0] < _KNOWN_S:
        return math.inf
    highest = course.highest(tick - _BEEN_S, low_at)
    lately = course.highest(tick - _BEEN_S, foot_at)
    if highest is None or lately is None:
        return math.inf
    return lately if lately > highest + _BEEN_K else highest
