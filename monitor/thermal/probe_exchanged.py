"""Which probe says what another should: two that are exchanged, and one whose unit is. Asked by
`probe_health`."""

from collections.abc import Iterable, Sequence
from itertools import combinations

from monitor.kept import Kept, Tick, part
from monitor.thermal.diagnosis import FaultKind, Finding
from monitor.thermal.neighbours import CHECK_S, Neighbours, Suspect
from monitor.thermal.track import Track
from monitor.units import Unit, from_celsius

# It says in Fahrenheit what is beside it: within so much, while that went so far. A probe that says
# degC would be off by more at one end or the other, whatever it lies in.
_IN_F_K, _IN_F_MOVED_K = 1.0, 3.0
_SWAP_APART_K = 4.0
_PAST_S = 900.0


@part
class Exchanges(Kept):
    """Of the probes of a box, two at a time; their keys, "" for the outside."""

    swap: tuple[str, str, Tick] | None = None  # the two, and since when
    past: dict[str, float]  # what each said a quarter of an hour ago, roughly

    def __init__(self) -> None:
        self.past = {}

    def findings(
        self, heard: Sequence[Track], tick: float, outside_now_c: float | None
    ) -> list[Finding]:
        """Two probes of which each says now what the other one said before."""
        now = {track.key: track.mean for track in heard}
        if outside_now_c is not None:
            now[""] = outside_now_c
        past = {key: self.past.get(key, temp_c) for key, temp_c in now.items()}
        for key, temp_c in now.items():
            self.past[key] = past[key] + (temp_c - past[key]) * CHECK_S / _PAST_S
        for (one, one_c), (other, other_c) in combinations(past.items(), 2):
            near_k = 0.3 * abs(one_c - other_c)
            if (
                near_k > 0.3 * _SWAP_APART_K
                and abs(now[one] - other_c) < near_k
                and abs(now[other] - one_c) < near_k
            ):
                back = self.swap is not None and self.swap[:2] == (one, other)
                self.swap = None if back else (one, other, tick)
                # from here on what they say now is what they say
                self.past |= {one: now[one], other: now[other]}
        if self.swap is None:
            return []
        one, other, since = self.swap
        reason = "it says what another probe said before: the two are exchanged"
        return [
            Finding(probe=a, kind=FaultKind.SWAPPED, reason=reason, since=since, other=b or None)
            for a, b in ((one, other), (other, one))
            if a
        ]

    def forget(self, key: str) -> None:
        """Drops what was found of this probe: it is looked at anew."""
        if self.swap is not None and key in self.swap[:2]:
            self.swap = None

    def known(self, keys: Iterable[str]) -> None:
        """Those that are no longer configured drop out."""
        if self.swap is not None and not {"", *keys}.issuperset(self.swap[:2]):
            self.swap = None


def other_unit(near: Neighbours, level_c: float, beside_c: Sequence[float]) -> list[Suspect]:
    """Has it risen and fallen by 9/5 of what is beside it, at the numbers of the other scale?"""
    if beside_c:
        mean_c = sum(beside_c) / len(beside_c)
        if abs(level_c - from_celsius(mean_c, Unit.FAHRENHEIT)) > _IN_F_K:
            near.in_f_of = None
        else:
            low_c, high_c = near.in_f_of or (mean_c, mean_c)
            near.in_f_of = min(low_c, mean_c), max(high_c, mean_c)
    if near.in_f_of is None or near.in_f_of[1] - near.in_f_of[0] < _IN_F_MOVED_K:
        return []
    return [(FaultKind.OTHER_UNIT, 0.0, "it says in °F what is set as °C")]
