"""What the other probes say about a fall of the floor. Asked while one is weighed.

Each has come down by a share of what the floor has. Beneath the source that died it is more than
the floor's, beneath another one less than half; the cool end loses far more than the floor when the
cover is off, for it has the box's air and little else. Each is a normal likelihood with a floor
under it, so that one odd probe cannot outweigh everything. A source whose own probe is as warm as
before is not weighed but acquitted: whoever is seen to work is not blamed."""

from collections.abc import Callable, Sequence
from math import exp, log, pi, sqrt
from typing import NamedTuple

from monitor.events import Cause
from monitor.quantities import COVER, POWER
from monitor.site import Brooder, Place
from monitor.thermal.causes import Explanation, Why
from monitor.thermal.course import Course
from monitor.thermal.diagnosis import HeatKnown
from monitor.thermal.swing import overdue
from monitor.thermal.track import SUNKEN_K, Track

_LEAST = 0.002  # likelihood of anything at all
ACQUITTED = -60.0  # log weight: it cannot have been
_SEEN_TO_WORK = -1e6  # whatever the shape of the fall says: of a long one that is more than 60
_OPEN_SAID = -4.0  # of a lamp, while the cover is known, or seen, to be open
_FRESH_S = 150.0  # what a plug said is so long of now: kept are its words of each minute
_HEARD_S = 330.0  # longer ago proves nothing
_HOUR_S = 3600.0
_BEFORE_S = 600.0  # what a probe said before is taken from so long
_WORKS_K, _WORKS_SHARE = 1.0, 0.35  # come down by less, and by less of the floor's fall
_HOLDS_K, _HOLDS_SHARE = 0.4, 0.2
# No litter cools so far below its usual low in minutes beneath a source that works. Less is enough
# by night (the second), and where the floor falls too: K, and as a multiple of its steepest fall.
_FAR_K = 4.0
_BY_ITSELF = ((4.0, 0.0), (1.2, 3.0))
_WITH_FLOOR = ((1.0, 3.0), (0.8, 2.0))
# What an open cover cools first is the floor. Of a probe that needs so long for three readings both
# have had the time to cool, and by day more is asked.
SELDOM_S = 480.0
_BEYOND_FLOOR, _BEYOND_SELDOM = 1.3, 2.0
_LEADS = 0.75  # a lamp that is raised or turned down keeps about as much above the floor as before
_ALONE_K = 1.2  # a floor that came down by so much while all other probes held
# A plate's warmth goes by and by: in an hour its own probe has lost most of what it was above the
# floor, which came down too, while no other did by more than this share of that.
_SUNK_FROM_S, _SUNK_TO_S = 4800.0, 3000.0
_SUNK_K, _SUNK_LEAD_K, _SUNK_FLOOR_K = 4.0, 3.0, 1.0
_SUNK_LEADS, _SUNK_HOLDS = 0.35, 0.25
_WARMS_K = 0.3  # the cool end, while the floor alone falls: its birds walked there
# An open cover cools all of them. Of a fall of so much, less than this share elsewhere: it is shut.
_SHUT_K, _SHUT_UNDER, _SHUT_COOL = 0.8, 0.35, 0.5
# The cool end has the box's air and little else. Where that goes, it falls within minutes by so
# much, and so far below its usual low: a bird that leaves it leaves it no colder. It falls by far
# more than ever in the hour before, and than the floor; a gust is felt by both. And all of the
# box falls: beneath a lamp that burns on, a dead one beside it is not felt.
_AIR_K, _AIR_STEEPER, _AIR_OF_FLOOR, _REST_OF_AIR = 0.6, 1.8, 1.3, 0.2
_AIR_AWAY = 0.8  # of its deepest fall: the cover is still off


class Collapse(NamedTuple):
    """Beneath which source, and the low that was usual, degC. `sure`: no work at the box explains
    it. `leads`: it is above the floor by most of what it was."""

    track: Track
    source: int
    usual_c: float
    sure: bool
    leads: bool


def beneath(brooder: Brooder, probe_name: str) -> int | None:
    """Which source a probe lies under, by its name: `under west lamp`. None: it does not say."""
    words = set(probe_name.lower().replace("-", " ").split())
    fits = [
        index
        for index, source in enumerate(brooder.heat)
        if set(source.name.lower().replace("-", " ").split()) <= words
    ]
    if len(brooder.heat) == 1:
        return 0
    return fits[0] if len(fits) == 1 else None


def cover_or_heat(brooder: Brooder, heard: Sequence[Place], cause: Cause, *, sure: bool) -> bool:
    """Can lost heat not be told from an open cover? By the floor alone the two look the same: only
    a probe elsewhere in the box, a plug or the cover's switch says which. Nor does a source without
    a probe beneath it tell, but by the cool end, that it was not its heat that went. `sure`: the
    fall itself says which."""
    if brooder.cover == "none" or any(m.quantity in (POWER, COVER) for m in brooder.meters):
        return False
    unseen = heard.count(Place.UNDER_HEAT) < len(brooder.heat) and Place.COOL_END not in heard
    alike = all(place is Place.FLOOR for place in heard) or (unseen and cause is Cause.COVER_OPEN)
    return alike or not sure


class Witness:
    """The other probes of a box."""

    def __init__(self, brooder: Brooder, tracks: Sequence[Track]) -> None:
        names = {probe.key: probe.name for probe in brooder.probes}
        self._under = [
            (track, beneath(brooder, names[track.key]))
            for track in tracks
            if track.place is Place.UNDER_HEAT
        ]
        self._cool = [track for track in tracks if track.place is Place.COOL_END]
        self._sources = len(brooder.heat)
        self._bare = brooder.cover == "none"
        self.under = {i for _, i in self._under if i is not None}  # sources with a probe beneath
        # A probe lies beneath each source, and something else beside.
        self.sees_all = self.under == set(range(self._sources))
        self.looks_beneath = bool(self._under)
        self.working: frozenset[int] = frozenset()  # sources whose own probe is warm
        self.shut = self._bare  # no cover that is off explains it
        self.others_fall = False  # the floor falls, and something else that is heard does too
        self.others_hold = False  # ... and nothing else does
        # Every source is seen to work, or a probe for each, whichever it is; or the cool end warms
        # and nothing else cools.
        self.spared = False

    def hear(self, tick: float, onset: float, fallen_k: float) -> list[tuple[Track, float]]:
        """Every other probe with the share of the floor's fall that it has come down by. To be
        asked at every step, before `weight`."""
        heard = []
        working = set()
        holding = 0
        shut, falls, warms = self._bare, fallen_k > _SHUT_K, False
        for track, index in self._under:
            down_k = fallen_since(track, tick, onset)
            if down_k is None:
                continue
            lowest_c = track.course.lowest(onset - _HOUR_S, onset)
            # As cold as it was before all this: a thermostat's rest is no death.
            swings = lowest_c is not None and track.mean >= lowest_c
            if index is not None and (swings or down_k < max(_WORKS_K, _WORKS_SHARE * fallen_k)):
                working.add(index)
            holding += swings or down_k < max(_HOLDS_K, _HOLDS_SHARE * fallen_k)
            shut |= falls and _is_kept(track, onset, down_k, _SHUT_UNDER * fallen_k)
            heard.append((track, down_k / max(fallen_k, 0.3)))
        self.working = frozenset(working)
        beneath_each = 0 < self._sources <= len(heard)
        for track in self._cool:
            down_k = fallen_since(track, tick, onset)
            if down_k is not None and fallen_k > 0.5:
                heard.append((track, down_k / fallen_k))
                holding += down_k < max(_HOLDS_K, _HOLDS_SHARE * fallen_k)
                shut |= falls and _is_kept(track, onset, down_k, _SHUT_COOL * fallen_k)
                warms |= down_k < -max(_WARMS_K, track.quantum_k)
        self.others_fall = holding < len(heard)
        self.others_hold = bool(heard) and holding == len(heard) and fallen_k > _ALONE_K
        all_work = self.sees_all and len(self.working) == self._sources
        left = warms and not self.others_fall
        self.spared = all_work or (beneath_each and self.others_hold) or left
        self.shut = shut
        return heard

    def weight(self, one: Explanation, heard: list[tuple[Track, float]], fallen_k: float) -> float:
        """What they add to the log weight of `one`."""
        if any(index in self.working for index in one.sources):
            return _SEEN_TO_WORK
        if one.why is Why.COVER and self.shut:
            return ACQUITTED
        blur = 0.2 / max(fallen_k, 0.3)
        total = 0.0
        for track, share in heard:
            like = (
                self._cool_end(one, share, blur)
                if track.place is Place.COOL_END
                else self._beneath(one, track, share, blur)
            )
            total += log(max(_LEAST, like))
        return total

    def _beneath(self, one: Explanation, track: Track, share: float, blur: float) -> float:
        if one.why is Why.PROBE:
            return _normal(share, 0.0, 0.1 + blur)
        if one.why is Why.COVER:
            return _normal(share, 0.7, 0.25 + blur)
        index = next(index for other, index in self._under if other is track)
        own = _normal(min(share, 2.0), 1.9, 0.5 + blur)  # the slow litter above its own share
        beside = _normal(share, 0.35, 0.2 + blur)
        if len(one.sources) == self._sources:
            return own
        if index is not None:
            return own if index in one.sources else beside
        odds = len(one.sources) / self._sources
        return odds * own + (1.0 - odds) * beside

    @staticmethod
    def _cool_end(one: Explanation, share: float, blur: float) -> float:
        if one.why is Why.LAMP:
            return _normal(share, 0.4, 0.2 + blur)
        if one.why is Why.COVER:
            return _normal(min(share, 1.5), 1.4, 0.35 + blur)
        return _normal(share, 0.0, 0.15 + blur)

    def airs(self, tick: float, floor: Course, floor_c: float) -> bool:
        """Is the box's air seen to go, as when the cover comes off? By two minutes of the cool
        end: everything else comes down too, and by less."""
        if self._bare or not self._cool:
            return False
        floor_k = floor.fell_k(tick, floor_c)
        under = [t for t, _ in self._under if tick - t.last_tick < _HEARD_S]
        under_k = max((t.course.fell_k(tick, t.mean) for t in under), default=floor_k)
        for track in self._cool:
            course, usual = track.course, track.course.quick
            if usual is None or tick - track.last_tick > _HEARD_S:
                continue
            temp_c = max(track.mean, course.means[-1])
            fell_k = course.fell_k(tick, temp_c)
            if (
                fell_k > max(_AIR_K, _AIR_OF_FLOOR * floor_k, under_k)
                and min(floor_k, under_k) > _REST_OF_AIR * fell_k
                and usual.low_c - temp_c > _AIR_K
                and fell_k > _AIR_STEEPER * course.steepest_k  # dearest, so asked last
            ):
                return True
        return False

    def air_is_away(self, tick: float, onset: float) -> bool:
        """Is the cool end still about as cold as it became since `onset`?"""
        for track in self._cool:
            down_k = fallen_since(track, tick, onset)
            lowest_c = track.course.lowest(onset, tick)
            if down_k is not None and lowest_c is not None:
                deepest_k = down_k + track.mean - lowest_c
                return down_k > max(_AIR_K, _AIR_AWAY * deepest_k)
        return False

    def collapsed(
        self,
        tick: float,
        floor: Course,
        floor_c: float,
        *,
        floor_falls: Callable[[], bool],
        nobody_at_work: bool,
    ) -> Collapse | None:
        """A probe beneath one source that fell far within minutes: further than beneath the others,
        and than the floor, which an open cover cools first. None: none did."""
        falls = [
            (usual.low_c - track.last_c, track, index, usual)
            for track, index in self._under
            if (usual := track.course.quick) is not None and tick - track.last_tick < _HEARD_S
        ]
        if not falls:
            return None
        deepest_k, track, index, usual = max(falls, key=lambda fall: fall[0])
        others = [fall[0] for fall in falls if fall[1] is not track]
        if deepest_k < SUNKEN_K or index is None:
            return None  # no rule below asks for less
        if any(other_k > 0.5 * deepest_k for other_k in others):
            return None
        far = deepest_k >= _FAR_K
        least_k, steeper = (
            _WITH_FLOOR[nobody_at_work] if floor_falls() else _BY_ITSELF[nobody_at_work]
        )
        course = track.course
        # A thermostat's own lamp cools as far and as steeply at each rest, but for no longer.
        if deepest_k < min(_FAR_K, max(least_k, steeper * course.steepest_k)) and not (
            nobody_at_work and overdue(course.ticks, course.means, tick, track.last_c)
        ):
            return None
        floor_k = floor.fell_k(tick, floor_c)
        if floor.quick is not None:
            floor_k = max(floor_k, floor.quick.low_c - floor_c)
        seldom = not nobody_at_work and tick - course.ticks[-2] >= SELDOM_S
        if deepest_k < (_BEYOND_SELDOM if seldom else _BEYOND_FLOOR) * floor_k:
            return None
        lead_k = usual.low_c - (floor_c if floor.quick is None else floor.quick.low_c)
        leads = track.last_c - floor_c > _LEADS * lead_k > 0.0
        return Collapse(track, index, usual.low_c, far or nobody_at_work, leads)

    def sunk(self, tick: float, floor: Course, floor_c: float) -> Collapse | None:
        """A probe beneath one source that has come down to the floor by and by, and the floor with
        it, while those beneath the others hold. None: none did."""
        since, until = tick - _SUNK_FROM_S, tick - _SUNK_TO_S
        floor_was_c = floor.mean(since, until) if len(self._under) > 1 else None
        if floor_was_c is None or floor_was_c - floor_c < _SUNK_FLOOR_K:
            return None
        fell: list[tuple[float, float, Track, int | None]] = []
        for track, index in self._under:
            was_c = track.course.mean(since, until)
            if was_c is None or tick - track.last_tick > _HEARD_S:
                return None
            fell.append((was_c - track.last_c, was_c, track, index))
        (fell_k, was_c, track, index), *others = sorted(fell, key=lambda it: -it[0])
        lead_k = was_c - floor_was_c
        if index is None or fell_k < _SUNK_K or lead_k < _SUNK_LEAD_K:
            return None
        if any(other_k > _SUNK_HOLDS * fell_k for other_k, *_ in others):
            return None
        if track.last_c - floor_c > _SUNK_LEADS * lead_k:
            return None
        return Collapse(track, index, was_c, sure=False, leads=True)


def measured(
    one: Explanation, known: HeatKnown, *, since: float, tick: float, aired: bool
) -> float:
    """What measured heat and a cover's switch add to the log weight of `one`: a lamp that draws its
    watts now, and did after `since`, is lit; a cover that is shut lets nothing out. A
    plug that has fallen silent proves nothing. `aired`: the box's air was seen to go, over a lamp
    that shines on."""
    if one.why is Why.COVER:
        told = known.cover_open is False or known.out or known.mains_off
        return ACQUITTED if told else 0.0
    if one.why is not Why.LAMP or known.mains_off:
        return 0.0
    lit = {i for i, said in known.lit.items() if said > since and tick - said < _FRESH_S}
    if lit & set(one.sources):
        return ACQUITTED
    if known.out and set(one.sources) != known.out:
        return ACQUITTED
    return _OPEN_SAID if known.cover_open or aired else 0.0


def fallen_since(track: Track, tick: float, onset: float) -> float | None:
    """K that a probe has come down by since `onset`; None: it was not heard then, or is not now."""
    if track.level is None or tick - track.last_tick > _HEARD_S:
        return None
    before = track.course.mean(onset - _BEFORE_S, onset + 30.0)
    return None if before is None else before - track.mean


def _is_kept(track: Track, onset: float, down_k: float, most_k: float) -> bool:
    """Did a probe come down by less? One that was warmer meanwhile, or is, is sat on."""
    highest_c = track.course.highest(onset, track.last_tick)
    from_top_k = down_k if highest_c is None else highest_c - track.mean
    return down_k > -_HOLDS_K and max(down_k, from_top_k) < most_k


def _normal(value: float, mean: float, sd: float) -> float:
    return exp(-0.5 * ((value - mean) / sd) ** 2) / (sd * sqrt(2.0 * pi))
