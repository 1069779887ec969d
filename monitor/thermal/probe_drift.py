"""Which probe drifts: it leaves its usual difference to its like, or goes its own way for hours.
Asked by `probe_health`."""

from collections.abc import Sequence

from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Place
from monitor.thermal import own_way
from monitor.thermal.neighbours import Neighbours, are_alike
from monitor.thermal.track import Track

OWN_RATE = 0.005  # a check: some three hours
_NEW_CHECKS, _NEW_RATE = 120, 0.05  # two hours: what differs while a box warms up is not usual
DRIFT_K = 2.2
_ABRUPT_K = 0.7  # of a difference within _SETTLE_S: somebody moved something, that is no drift
_ASTRAY_FOR_S = 86400.0  # or until it is back by half; then it is how it is


@part
class Ways(Kept):
    """The last hours of all probes of a box, and of the outside."""

    outside: own_way.Way
    tick: Tick = NEVER  # when was added to them last

    def __init__(self) -> None:
        self.outside = []

    def see(
        self,
        neighbours: dict[str, Neighbours],
        heard: Sequence[Track],
        tick: float,
        outside_c: float | None,
        *,
        by_day: bool,
    ) -> None:
        """Each ten minutes: who has gone astray, and who is back? By day a cool end goes with the
        birds, the sun and the place: that is its way."""
        gap_s = tick - self.tick
        if gap_s < own_way.EVERY_S:
            return
        self.tick = tick
        if gap_s > 2 * own_way.EVERY_S:
            self.outside.clear()
            for near in neighbours.values():
                near.way.clear()
        own_way.add(self.outside, outside_c)
        levels = {track.key: track.level for track in heard}
        cool = {track.key for track in heard if track.place is Place.COOL_END}
        for key, near in neighbours.items():
            own_way.add(near.way, levels.get(key))
        for key, near in neighbours.items():
            level_c = levels.get(key)
            beside = [each for other, each in neighbours.items() if other != key]
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
            if by_day and key in cool:
                continue
            gone_k = own_way.gone_k(near.way, (each.way for each in beside), self.outside)
            if gone_k is not None:
                near.astray = (gone_k, apart_k - gone_k, tick)


def follow(near: Neighbours, apart: float, disturbed: bool) -> None:
    """By how much it differs from its like now (K)."""
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


def wandered(near: Neighbours) -> float:
    """How far it is from its usual difference (K)."""
    return 0.0 if near.slow is None or near.base is None else abs(near.slow - near.base)


def is_odd_one(track: Track, heard: Sequence[Track], neighbours: dict[str, Neighbours]) -> bool:
    """The probe that moved furthest from its usual difference is the one that drifts. Of two
    that differ by as much, the one that has left its own past."""

    def away(one: Track) -> tuple[float, float]:
        near = neighbours[one.key]
        own_k = abs((one.level or 0.0) - (near.own or 0.0))
        return round(wandered(near), 1), own_k

    own = away(track)
    like = [t for t in heard if t is not track and are_alike(t, track)]
    return all(own > away(t) for t in like)
