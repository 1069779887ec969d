"""Which probes of a box are not to be trusted. Called by `thermal` once a minute with all tracks.

Each fault is told from the probe's neighbours where it has any, and from its own past where not.
Limits are common practice for a thermometer good to +/-0.5 K (DS18B20 datasheet) in litter."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from monitor.brooding.chick_skin import CHICK_SKIN_C
from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Place
from monitor.thermal import own_way
from monitor.thermal.course import UNKNOWN_K
from monitor.thermal.diagnosis import FaultKind, Finding
from monitor.thermal.track import Track
from monitor.units import Unit, from_celsius

CHECK_S = 60.0
_STILL_S = 1500.0
# A fine probe on litter with chicks flickers; one in a great mass stands for an hour and more. Each
# is measured by itself: so many times as long as ever of late, while another moved; or so many
# times, whatever the others do. One that flickers all the time is given this long.
_LONGER, _FAR_LONGER, _STANDS_S = 4.0, 8.0, 360.0
# One in whole or half degrees stands still for hours on a steady floor. It is stuck only where its
# like move by more than two of its steps meanwhile.
_FINE_K = 0.2
_STEPS_MOVED, _LIKE_MOVED_K = 2.0, 0.8
# How fine one is that never changed yet cannot be told: taken for one in whole degrees. Without
# its like beside it, it has this long while all else in the box moves by so much.
_COARSEST_K = 1.0
_NEVER_CHANGED_S, _ALL_ELSE_MOVED_K = 6 * 3600.0, 3.0  # the outside, beside a fine one, too
_DAY_S = 86400.0  # no floor stays within a step of a probe that long
# What else lies in the box bears witness against a coarse one, if it has gone so far and stays
# there: a thermostat's swing is not that.
_WITNESS_K, _WITNESS_RATE = 6.0, 0.05
_TORN_SHARE, _TORN_RATE = 0.25, 0.1  # of all readings, that jump and come back
_OWN_RATE = 0.005  # a check: some three hours
_NEW_CHECKS, _NEW_RATE = 120, 0.05  # two hours: what differs while a box warms up is not usual
_DRIFT_K = 2.2
_ABRUPT_K = 0.7  # of a difference within _SETTLE_S: somebody moved something, that is no drift
# Fallen out of the box: it came down to what the outside says while the others stayed well above.
# A floor in summer is as warm as the outside too, but did not fall there within a quarter of an
# hour. Once suspected, it stays so until it leaves the outside by twice as much.
_NEAR_OUTSIDE_K = 1.5
_APART_K = 6.0
_FELL_K, _FELL_SHARE = 3.0, 0.25  # at least, and of what the others are above the outside
_FAR_APART_K = 12.0  # from another probe on the floor: that cannot be one floor, fallen or not
# No floor falls so far in three minutes, aired or without heat, nor comes to rest within a quarter
# of an hour, while nothing else in the box comes down by more than this share of it; until it is
# back by half, or the others follow. Where nothing else is in the box: no floor goes more than this
# share of its way to the outside in that time, nor so far where that is not known.
_FELL_ALONE_K, _HOLDS_SHARE, _FOLLOWS_K, _WAY_SHARE, _NO_WAY_K = 6.0, 0.15, 2.0, 0.5, 12.0
_BEGINS_K, _BEFORE_S, _WAS_WARM_K = 3.0, (300.0, 210.0), 1.0
_ALONE_CONFIRM_S = 50.0  # looked at twice: two wild readings are no fall
# From so far on it is named once it is at rest.
_RESTS_K = 4.0
# A sheath is at rest then, litter that loses its heat is not: this share of its fall in as long.
_REST_FROM_S, _REST_TO_S, _REST_OVER_S, _REST_SHARE = 720.0, 1200.0, 240.0, 0.04
# A few degrees, in a box where a probe beneath each source shows that all of them work: what it
# says may be right in its place. After some hours that is taken for how it lies.
_MOVED_K, _MOVED_FOR_S = 1.8, 6 * 3600.0
_ASTRAY_FOR_S = 86400.0  # or until it is back by half; then it is how it is
# It says in Fahrenheit what is beside it: within so much, while that went so far. A probe that says
# degC would be off by more at one end or the other, whatever it lies in.
_IN_F_K, _IN_F_MOVED_K = 1.0, 3.0
_CONFIRM_S = 300.0
_OUT_CONFIRM_S = 120.0
_DRIFT_CONFIRM_S = 1800.0
_LIGHT_K = 7.0  # hotter than the others by so much ...
_NO_CHICK_C = CHICK_SKIN_C + 0.5  # ... and, for all the thermometer's own error, than any chick
_LIT_K, _LIT_FROM_S, _LIT_TO_S = 3.5, 900.0, 600.0  # ... and than it was shortly before
_SWAP_APART_K = 4.0
_PAST_S = 900.0


Suspect = tuple[FaultKind, float, str]  # kind, how long to confirm (s), reason


@dataclass(slots=True, eq=False)
class Neighbours(Kept):
    """What one probe differs from the others by, and how that came about."""

    recent: float | None = None  # difference to the others, over some ten minutes
    slow: float | None = None  # the same, over some forty
    base: float | None = None  # the difference that is usual
    checks: int = 0
    own: float | None = None  # what it said itself over some hours
    torn: float = 0.0  # share of its readings that jump and come back
    beside: float | None = None  # the others over some twenty minutes
    moved_tick: Tick = NEVER  # when this one last changed, as last looked at
    company: str = ""  # whom it was held against then
    others_low: float = 0.0  # how they moved since
    others_high: float = 0.0
    fell_from_c: float | None = None  # it fell within minutes, from there
    fell_tick: Tick = NEVER  # when that began
    others_fell_k: float = 0.0  # the most that another has come down by since
    fell: FaultKind | None = None  # it alone did, as no floor can
    way: own_way.Way = field(default_factory=list)
    astray: tuple[float, float, Tick] | None = None  # how far, from which difference, since when
    # What is beside it, lowest and highest, since it says just that in Fahrenheit.
    in_f_of: tuple[float, float] | None = None
    lit: bool = False  # in the lamp's light
    past: float | None = None  # what it said a quarter of an hour ago, roughly
    since: dict[FaultKind, Tick] = field(default_factory=dict)  # suspected, since when


@part
class ProbeHealth(Kept):
    """All probes of a box together. `findings` is what stands."""

    _neighbours: dict[str, Neighbours]
    _outside_past: float | None = None
    _outside_way: own_way.Way
    _way_tick: Tick = NEVER  # when `way` was added to last
    _swap: tuple[str, str, Tick] | None = None  # two keys ("" is the outside), since when
    findings: tuple[Finding, ...] = ()

    def __init__(self, keys: Sequence[str]) -> None:
        self._neighbours = {key: Neighbours() for key in keys}
        self._outside_way = []

    def check(
        self,
        tracks: Sequence[Track],
        tick: float,
        outside_c: float | None,
        outside_now_c: float | None,
        disturbed: bool,
        *,
        outside_fresh: bool = True,
        sources_seen: bool = False,
    ) -> None:
        """Look at every probe heard lately. While `disturbed` (a fall or a rise is on) differences
        are expected and none is called a drift. `outside_fresh`: the outside was heard lately too.
        `sources_seen`: a probe lies beneath each source of heat."""
        heard = [t for t in tracks if t.level is not None and tick - t.last_tick < 600.0]
        found: list[Finding] = []
        self._see_ways(heard, tick, outside_c if outside_fresh else None)
        bad = {finding.probe for finding in self.findings}
        sound = [t for t in heard if t.key not in bad]
        for track in heard:
            near, level = self._neighbours[track.key], track.level or 0.0
            others, peers, alike = _beside(track, sound)
            others_c, peers_c = list(others.values()), list(peers.values())
            near.own = level if near.own is None else near.own + _OWN_RATE * (level - near.own)
            track.forget(CHECK_S)
            if track.readings:
                near.torn += _TORN_RATE * (track.spikes / track.readings - near.torn)
                track.readings = track.spikes = 0
            if alike:
                self._follow(near, level - sum(alike.values()) / len(alike), disturbed)
            suspects = self._still(near, track, tick, others, alike=alike, outside_c=outside_c)
            if others:
                if outside_c is not None and _fell_out(
                    near, track, others_c, peers=peers_c, outside_c=outside_c, fresh=outside_fresh
                ):
                    suspects.append(
                        (FaultKind.FELL_OUT, _OUT_CONFIRM_S, "it reads like the outside")
                    )
                elif near.astray is not None:
                    reason = "for hours it has gone its own way while the rest of the box held"
                    suspects.append((FaultKind.DRIFT, 0.0, reason))
                elif (
                    alike
                    and not disturbed
                    and _wandered(near) > _DRIFT_K
                    and self._is_odd_one(track, heard)
                ):
                    reason = "it wanders away from its neighbours"
                    suspects.append((FaultKind.DRIFT, _DRIFT_CONFIRM_S, reason))
                if _lit(near, track, others_c):
                    suspects.append(
                        (FaultKind.UNDER_LAMP, _CONFIRM_S, "it lies in the lamp's light")
                    )
            suspects += _fell_alone(
                near,
                track,
                heard,
                tick,
                outside_c=outside_c if outside_fresh else None,
                sources_seen=sources_seen,
            )
            beside = peers_c or ([outside_c] if outside_c is not None and outside_fresh else [])
            suspects[:0] = _other_unit(near, level, beside)
            if near.since:
                kinds = {kind for kind, _, _ in suspects}
                near.since = {kind: at for kind, at in near.since.items() if kind in kinds}
            for kind, confirm_s, reason in suspects:
                since = near.since.setdefault(kind, tick)
                if kind is FaultKind.STUCK:
                    since = track.moved_tick  # what it says was true until then
                if tick - since >= confirm_s:
                    found.append(Finding(probe=track.key, kind=kind, reason=reason, since=since))
                    break
        away = {t.key for t in tracks} - {t.key for t in heard}
        found += [f for f in self.findings if f.kind is FaultKind.STUCK and f.probe in away]
        found = self._exchanged(heard, tick, outside_now_c) + found
        self.findings = tuple(found)

    def _exchanged(
        self, heard: Sequence[Track], tick: float, outside_now_c: float | None
    ) -> list[Finding]:
        """Two probes of which each says now what the other one said before."""
        rows: list[tuple[str, float, float]] = []
        for track in heard:
            near, mean = self._neighbours[track.key], track.mean
            past = mean if near.past is None else near.past
            rows.append((track.key, past, mean))
            near.past = past + (mean - past) * CHECK_S / _PAST_S
        if outside_now_c is not None:
            past = outside_now_c if self._outside_past is None else self._outside_past
            rows.append(("", past, outside_now_c))
            self._outside_past = past + (outside_now_c - past) * CHECK_S / _PAST_S
        for index, (one, one_past, one_now) in enumerate(rows):
            for other, other_past, other_now in rows[index + 1 :]:
                apart = abs(one_past - other_past)
                if (
                    apart > _SWAP_APART_K
                    and abs(one_now - other_past) < 0.3 * apart
                    and abs(other_now - one_past) < 0.3 * apart
                ):
                    back = self._swap is not None and self._swap[:2] == (one, other)
                    self._swap = None if back else (one, other, tick)
                    # from here on what they say now is what they say
                    for key, _, now in rows:
                        if key in (one, other):
                            self._set_past(key, now)
        if self._swap is None:
            return []
        one, other, since = self._swap
        return [
            Finding(
                probe=key,
                kind=FaultKind.SWAPPED,
                reason="it says what another probe said before: the two are exchanged",
                since=since,
                other=partner or None,
            )
            for key, partner in ((one, other), (other, one))
            if key
        ]

    def _set_past(self, key: str, temp_c: float) -> None:
        if key:
            self._neighbours[key].past = temp_c
        else:
            self._outside_past = temp_c

    def _still(
        self,
        near: Neighbours,
        track: Track,
        tick: float,
        others: dict[str, float],
        *,
        alike: dict[str, float],
        outside_c: float | None,
    ) -> list[Suspect]:
        """Spikes, and a value that does not move. Beside a fine probe anything that moves counts,
        the outside too; beside a coarse one only its like."""
        found: list[Suspect] = []
        if near.torn > _TORN_SHARE:
            found.append((FaultKind.TORN, 0.0, "its readings jump to and fro: two probes may send"))
        elif track.jumps:
            found.append((FaultKind.SPIKES, 0.0, "its readings jump and come back"))
        fine, unknown = _fine(track), track.quantum_k == UNKNOWN_K
        outside = {} if outside_c is None else {"": outside_c}
        beside = (others or outside) if fine or (unknown and not others) else (alike or others)
        enough_s = _LONGER * _stands_s(track) if fine else _STILL_S
        enough_k = _moved_k(track) if others else _ALL_ELSE_MOVED_K
        still_s = track.last_tick - track.moved_tick
        if not beside:
            if lifeless(track, still_s):
                found.append((FaultKind.STUCK, 0.0, "its value has not changed for long"))
            return found
        beside_c, company = sum(beside.values()) / len(beside), "\n".join(beside)
        anew = near.moved_tick != track.moved_tick or company != near.company
        if not fine and not alike:
            long = unknown and still_s > _NEVER_CHANGED_S
            enough_k = _ALL_ELSE_MOVED_K if long else _WITNESS_K
            enough_s = _STILL_S if others else _NEVER_CHANGED_S
            before_c = beside_c if anew or near.beside is None else near.beside
            beside_c = near.beside = before_c + _WITNESS_RATE * (beside_c - before_c)
        if anew:
            near.others_low = near.others_high = beside_c
        near.moved_tick, near.company = track.moved_tick, company
        near.others_low = min(near.others_low, beside_c)
        near.others_high = max(near.others_high, beside_c)
        moved = near.others_high - near.others_low > enough_k
        if lifeless(track, still_s) or (moved and still_s > enough_s):
            found.append((FaultKind.STUCK, 0.0, "its value has not changed while others moved"))
        return found

    def _follow(self, near: Neighbours, apart: float, disturbed: bool) -> None:
        if near.recent is None or near.slow is None or near.base is None:
            near.recent = near.slow = near.base = apart
            return
        near.recent += 0.1 * (apart - near.recent)
        near.slow += 0.025 * (apart - near.slow)
        if disturbed or abs(near.recent - near.slow) > _ABRUPT_K:
            near.base = near.slow = near.recent  # what is usual is learned anew
            near.checks = 0
        near.checks += 1
        # a new usual difference in some six days
        rate = _NEW_RATE if near.checks < _NEW_CHECKS else 0.00012
        near.base += rate * (near.slow - near.base)

    def _see_ways(self, heard: Sequence[Track], tick: float, outside_c: float | None) -> None:
        """Each ten minutes: who has gone astray, and who is back?"""
        gap_s = tick - self._way_tick
        if gap_s < own_way.EVERY_S:
            return
        self._way_tick = tick
        if gap_s > 2 * own_way.EVERY_S:
            self._outside_way.clear()
            for near in self._neighbours.values():
                near.way.clear()
        own_way.add(self._outside_way, outside_c)
        levels = {track.key: track.level for track in heard}
        for key, near in self._neighbours.items():
            own_way.add(near.way, levels.get(key))
        for key, near in self._neighbours.items():
            level_c = levels.get(key)
            beside = [each for other, each in self._neighbours.items() if other != key]
            said = [each.way[-1] for each in beside if each.way[-1] is not None]
            if level_c is None or not said:
                continue
            apart_k = level_c - sum(said) / len(said)
            if near.astray is not None:
                far_k, from_k, since = near.astray
                back = (apart_k - from_k) / far_k < 0.5
                if back or tick - since > _ASTRAY_FOR_S:
                    near.astray = None
                continue
            gone_k = own_way.gone_k(near.way, (each.way for each in beside), self._outside_way)
            if gone_k is not None:
                near.astray = (gone_k, apart_k - gone_k, tick)

    def _is_odd_one(self, track: Track, heard: Sequence[Track]) -> bool:
        """The probe that moved furthest from its usual difference is the one that drifts. Of two
        that differ by as much, the one that has left its own past."""

        def away(one: Track) -> tuple[float, float]:
            near = self._neighbours[one.key]
            own_k = abs((one.level or 0.0) - (near.own or 0.0))
            return round(_wandered(near), 1), own_k

        own = away(track)
        like = [t for t in heard if t is not track and _alike(t, track)]
        return all(own > away(t) for t in like)

    def forget(self, key: str) -> None:
        """What was found of a probe, and what was suspected: it is looked at anew."""
        self._neighbours[key].since.clear()
        self.findings = tuple(f for f in self.findings if key not in (f.probe, f.other))
        if self._swap is not None and key in self._swap[:2]:
            self._swap = None

    def resume(self) -> None:
        """What was found of a probe that is no longer configured drops out."""
        self.findings = tuple(f for f in self.findings if f.probe in self._neighbours)
        if self._swap is not None and not {"", *self._neighbours}.issuperset(self._swap[:2]):
            self._swap = None


def _beside(
    track: Track, sound: Sequence[Track]
) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """What the others say, by key: all of them, those that go as it does, and those alike. One
    beneath a lamp goes its own way when the lamp is moved or the birds are."""
    others: dict[str, float] = {}
    peers: dict[str, float] = {}
    alike: dict[str, float] = {}
    for one in sound:
        level = one.level
        if one is not track and level is not None:
            others[one.key] = level
            if one.beneath is track.beneath:
                peers[one.key] = level
                if _alike(one, track):
                    alike[one.key] = level
    return others, peers, alike


def _alike(one: Track, other: Track) -> bool:
    """Two of one place go together, but not beneath two lamps."""
    return one.place is other.place and not one.beneath


def _fell_out(
    near: Neighbours,
    track: Track,
    others: Sequence[float],
    *,
    peers: Sequence[float],
    outside_c: float,
    fresh: bool,
) -> bool:
    """Does it lie outside the box?"""
    apart_k = min(others) - outside_c
    off_k = abs(track.mean - outside_c)
    if FaultKind.FELL_OUT in near.since:
        return off_k < 2 * _NEAR_OUTSIDE_K and apart_k > 0.5 * _APART_K
    if not fresh or off_k >= _NEAR_OUTSIDE_K or apart_k <= _APART_K:
        return False
    if near.past is not None and near.past - track.mean > max(_FELL_K, _FELL_SHARE * apart_k):
        return True
    on_floor = track.place is Place.FLOOR and bool(peers)
    return on_floor and min(peers) - outside_c > _FAR_APART_K


def _fell_alone(
    near: Neighbours,
    track: Track,
    heard: Sequence[Track],
    tick: float,
    *,
    outside_c: float | None,
    sources_seen: bool,
) -> list[Suspect]:
    """Did a probe on the floor cool as no floor can, with a witness inside that did not, or faster
    than anything in the box could?"""
    enough_k = _MOVED_K if sources_seen else _FELL_ALONE_K
    begins_k = min(_BEGINS_K, enough_k)
    if track.place is not Place.FLOOR or not _falls(near, track, tick, begins_k):
        return []
    from_c = near.fell_from_c or 0.0
    fell_k, for_s = from_c - track.mean, tick - near.fell_tick
    others = [
        its.low_c - one.mean
        for one in heard
        if one is not track and (its := one.course.quick) is not None
    ]
    near.others_fell_k = max(near.others_fell_k, *others, 0.0)
    gone = fell_k < 0.5 * begins_k or near.others_fell_k > _FOLLOWS_K
    if gone or for_s > (_REST_TO_S if near.fell is None else _MOVED_FOR_S):
        near.fell_from_c = near.fell = None
        return []
    if others:
        alone = near.others_fell_k < _HOLDS_SHARE * fell_k
    else:
        way_k = _NO_WAY_K if outside_c is None else _WAY_SHARE * (from_c - outside_c)
        enough_k = max(_FELL_ALONE_K, way_k)
        alone = True
    far = fell_k > _FELL_ALONE_K
    quick = far and fell_k > enough_k and _was_warm(track, tick, from_c)
    if others:
        enough_k = min(enough_k, _RESTS_K)
    if alone and (quick or (fell_k > enough_k and _rests(track, tick, for_s, fell_k))):
        near.fell = FaultKind.FELL_ALONE if far else near.fell or FaultKind.MOVED
    if near.fell is None:
        return []
    if near.fell is FaultKind.MOVED:
        reason = "it went down by some degrees at once while the rest of the box held"
        return [(FaultKind.MOVED, 0.0, f"{reason}: wet, covered by litter or moved")]
    held = " while the rest of the box held" if others else ""
    reason = f"it cooled as no floor can{held}: wet, buried or moved"
    return [(FaultKind.FELL_ALONE, _ALONE_CONFIRM_S, reason)]


def _falls(near: Neighbours, track: Track, tick: float, least_k: float) -> bool:
    """Is it in a fall, or does one begin: by so much below what was usual minutes ago?"""
    usual = track.course.quick
    if (
        near.fell_from_c is None
        and usual is not None
        and usual.low_c - track.mean > least_k
        and _was_warm(track, tick, usual.low_c)
    ):
        near.fell_from_c, near.fell_tick, near.others_fell_k = usual.low_c, tick, 0.0
    return near.fell_from_c is not None


def _was_warm(track: Track, tick: float, usual_c: float) -> bool:
    before_c = track.course.mean(tick - _BEFORE_S[0], tick - _BEFORE_S[1])
    return before_c is not None and before_c > usual_c - _WAS_WARM_K


def _rests(track: Track, tick: float, for_s: float, fell_k: float) -> bool:
    """Has it come to rest where it fell to?"""
    if not _REST_FROM_S <= for_s <= _REST_TO_S:
        return False
    now_c = track.course.mean(tick - _REST_OVER_S, tick)
    before_c = track.course.mean(tick - 2 * _REST_OVER_S, tick - _REST_OVER_S)
    if now_c is None or before_c is None:
        return False
    return abs(before_c - now_c) < _REST_SHARE * fell_k


def _other_unit(near: Neighbours, level_c: float, beside_c: Sequence[float]) -> list[Suspect]:
    """Has it risen and fallen by 9/5 of what is beside it, at the numbers of the other scale?"""
    if beside_c:
        mean_c = sum(beside_c) / len(beside_c)
        low_c, high_c = near.in_f_of or (mean_c, mean_c)
        says_f = abs(level_c - from_celsius(mean_c, Unit.FAHRENHEIT)) <= _IN_F_K
        near.in_f_of = (min(low_c, mean_c), max(high_c, mean_c)) if says_f else None
    if near.in_f_of is None or near.in_f_of[1] - near.in_f_of[0] < _IN_F_MOVED_K:
        return []
    return [(FaultKind.OTHER_UNIT, 0.0, "it says in °F what is set as °C")]


def _lit(near: Neighbours, track: Track, others: Sequence[float]) -> bool:
    """Does it lie in the lamp's light? Light is there at once: a floor that took longer to become
    so hot has too much heat."""
    level = track.level or 0.0
    hot = track.place is Place.FLOOR and level > _NO_CHICK_C
    if not hot or level <= sum(others) / len(others) + _LIGHT_K:
        near.lit = False
    elif not near.lit:
        then_c = track.course.mean(track.last_tick - _LIT_FROM_S, track.last_tick - _LIT_TO_S)
        near.lit = then_c is None or level > then_c + _LIT_K
    return near.lit


def _wandered(near: Neighbours) -> float:
    return 0.0 if near.slow is None or near.base is None else abs(near.slow - near.base)


def _fine(track: Track) -> bool:
    """Does its last digit flicker on a steady floor?"""
    return track.quantum_k <= _FINE_K


def _moved_k(track: Track) -> float:
    """How far its like must move before its own standing still means something."""
    quantum_k = _COARSEST_K if track.quantum_k == UNKNOWN_K else track.quantum_k
    return max(_LIKE_MOVED_K, _STEPS_MOVED * quantum_k)


def lifeless(track: Track, still_s: float) -> bool:
    """Still for far longer than this probe ever is."""
    if track.quantum_k == UNKNOWN_K:
        return still_s > _DAY_S
    return _fine(track) and still_s > _FAR_LONGER * _stands_s(track)


def _stands_s(track: Track) -> float:
    return max(track.stood_s, _STANDS_S)
