"""The heat that goes into a box, measured at its plugs: what the box loses for each degree, and
from which cold on nothing is left in reserve. Pure; called by watch.brooder_watch."""

from collections.abc import Iterable
from typing import NamedTuple


class Plug(NamedTuple):
    """One source: what it draws when lit, and the share of the last hours in which it was lit."""

    name: str
    usual_w: float
    duty: float


class HeatIn(NamedTuple):
    """The heat that plugs measured in the last three hours."""

    watts: float  # mean of all sources
    busiest: str | None  # the source of which a thermostat spared most; None: all are always on
    duty: float  # its share of the time
    w_per_k: float | None  # lost for each degree above the outside, the birds' heat included
    no_reserve_below_c: float | None  # outside: there all is lit all the time


def heat_in(
    plugs: Iterable[Plug], *, floor_c: float | None, w_per_k: float | None, bird_watts: float
) -> HeatIn:
    """By proportion: a box that is held K above the outside by some watts is held by all its watts
    as many times further above it. Floors are held by thermostats at what they are now."""
    plugs = list(plugs)
    watts = sum(plug.usual_w * plug.duty for plug in plugs)
    spared = min(plugs, key=lambda plug: plug.duty)
    rests = spared.duty < 1.0
    limit_c = None
    if rests and floor_c is not None and w_per_k is not None:
        limit_c = floor_c - (sum(plug.usual_w for plug in plugs) + bird_watts) / w_per_k
    return HeatIn(watts, spared.name if rests else None, spared.duty, w_per_k, limit_c)
