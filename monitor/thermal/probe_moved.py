"""Which probe no longer lies where it should: outside, buried or wet, in the lamp's light. Asked by
`probe_health`."""

from collections.abc import Sequence
from math import inf

from monitor.brooding.chick_skin import CHICK_SKIN_C
from monitor.site import Place
from monitor.thermal.diagnosis import FaultKind
from monitor.thermal.neighbours import Neighbours, Suspect
from monitor.thermal.track import Track

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
# One that speaks more seldom was last heard longer before: up to three times as long, if it fell as
# many times as far, and another in the box bears witness that has spoken since, or just before.
_SELDOM_S, _JUST_BEFORE_S = 900.0, 60.0
_ALONE_CONFIRM_S = 50.0  # looked at twice: two wild readings are no fall
# From so far on it is named once it is at rest.
_RESTS_K = 4.0
# A sheath is at rest then, litter that loses its heat is not: this share of its fall in as long.
_REST_FROM_S, _REST_TO_S, _REST_OVER_S, _REST_SHARE = 720.0, 1200.0, 240.0, 0.04
# A few degrees, in a box where a probe beneath each source shows that all of them work: what it
# says may be right in its place. After some hours that is taken for how it lies; what no floor can
# do is none, however long ago.
_MOVED_K = 1.8
_KEPT_FOR_S = {None: _REST_TO_S, FaultKind.MOVED: 6 * 3600.0}
OUT_CONFIRM_S = 120.0
_LIGHT_K = 7.0  # hotter than the others by so much ...
_NO_CHICK_C = CHICK_SKIN_C + 0.5  # ... and, for all the thermometer's own error, than any chick
_LIT_K, _LIT_FROM_S, _LIT_TO_S = 3.5, 900.0, 600.0  # ... and than it was shortly before


def fell_out(
    near: Neighbours,
    track: Track,
    others: Sequence[float],
    *,
    peers: Sequence[float],
    past_c: float | None,
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
    if past_c is not None and past_c - track.mean > max(_FELL_K, _FELL_SHARE * apart_k):
        return True
    on_floor = track.place is Place.FLOOR and bool(peers)
    return on_floor and min(peers) - outside_c > _FAR_APART_K


def fell_alone(
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
    if track.place is not Place.FLOOR:
        return []
    enough_k = _MOVED_K if sources_seen else _FELL_ALONE_K
    begins_k = min(_BEGINS_K, enough_k)
    before = _heard_from(track, heard, tick), tick - _BEFORE_S[1]
    times = max(1.0, (track.last_tick - before[0]) / _BEFORE_S[0])
    if not _falls(near, track, begins_k if times == 1.0 else _FELL_ALONE_K * times, before, tick):
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
    if gone or for_s > _KEPT_FOR_S.get(near.fell, inf):
        near.fell_from_c = near.fell = None
        return []
    if others:
        alone = near.others_fell_k < _HOLDS_SHARE * fell_k
    else:
        way_k = _NO_WAY_K if outside_c is None else _WAY_SHARE * (from_c - outside_c)
        enough_k = max(_FELL_ALONE_K, way_k)
        alone = True
    far = fell_k > _FELL_ALONE_K
    # Where every source is seen to work, and all else holds, it need not have been fast either.
    seen = bool(others) and sources_seen
    quick = far and (seen or (fell_k > enough_k * times and _was_warm(track, before, from_c)))
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


def _heard_from(track: Track, heard: Sequence[Track], tick: float) -> float:
    """From when on what it said before a fall counts: since its last word, where it speaks seldom
    and has a witness."""
    said = track.course.last_tick(tick - _BEFORE_S[1])
    since = track.last_tick - _JUST_BEFORE_S
    witnessed = any(one.last_tick >= since for one in heard if one is not track)
    if said is None or not witnessed or not _BEFORE_S[0] < track.last_tick - said <= _SELDOM_S:
        return tick - _BEFORE_S[0]
    return said


def _falls(
    near: Neighbours, track: Track, least_k: float, before: tuple[float, float], tick: float
) -> bool:
    """Is it in a fall, or does one begin: by so much below what was usual minutes ago?"""
    usual = track.course.quick
    if (
        near.fell_from_c is None
        and usual is not None
        and usual.low_c - track.mean > least_k
        and _was_warm(track, before, usual.low_c)
    ):
        near.fell_from_c, near.fell_tick, near.others_fell_k = usual.low_c, tick, 0.0
    return near.fell_from_c is not None


def _was_warm(track: Track, before: tuple[float, float], usual_c: float) -> bool:
    before_c = track.course.mean(*before)
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


def lit(near: Neighbours, track: Track, others: Sequence[float]) -> bool:
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
