"""Will a box hold tonight, by its size and heat alone? For one that has no birds yet, and for one
whose floor or outside is not read. Called by `estimate`. The balance of `brooding.heat_balance`,
with all sources on."""

from dataclasses import dataclass
from statistics import NormalDist
from typing import NamedTuple

from monitor.brooding.heat_balance import Flock, changed, prior
from monitor.site import Brooder
from monitor.thermal.coming_night import Z80
from monitor.thermal.diagnosis import Interval, Outlook


@dataclass(frozen=True, slots=True, kw_only=True)
class Coldest:
    """The floor at the coldest of the night."""

    outside_c: float
    outside_from: str
    floor_c: Interval
    chance: float  # of being below the band's edge then, 0..1
    missing_watts: float  # for the target; 0: none
    mend: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BySize:
    """What a box can hold, by its size and its heat alone; temperatures in degC."""

    watts: float  # of all sources together
    head_count: int
    holds_to_c: float  # the outside at which the floor comes to the band's lower edge
    coldest: Coldest | None  # None: nothing is known of the outside


class NightAsked(NamedTuple):
    """A coming night that somebody asks about. Degrees in degC."""

    target_c: float | None  # None: the birds need no heat any more
    low_c: float | None  # lower edge of the band
    outlook: Outlook | None  # from the readings; None: too little is known for it
    by_size: BySize | None


def by_size(
    box: Brooder,
    flock: Flock,
    *,
    target_c: float,
    low_c: float,
    outside: tuple[float, str] | None,
) -> BySize:
    """For a target and the lower edge of its band, degC; the coldest outside, and where that is
    from."""
    start = prior(box, flock.head_count, flock.age_days, flock.kind)
    coldest = None
    if outside is not None:
        outside_c, outside_from = outside
        floor_c, sd_k = outside_c + start.rise_k, start.rise_sd_k
        per_watt_k = changed(box, box, flock).rise_per_watt_k
        coldest = Coldest(
            outside_c=outside_c,
            outside_from=outside_from,
            floor_c=Interval(floor_c, floor_c - Z80 * sd_k, floor_c + Z80 * sd_k),
            chance=NormalDist(floor_c, sd_k).cdf(low_c),
            missing_watts=max(0.0, (target_c - floor_c) / per_watt_k),
        )
    return BySize(
        watts=box.watts,
        head_count=flock.head_count,
        holds_to_c=low_c - start.rise_k,
        coldest=coldest,
    )
