"""Will it hold tonight? The floor's course through the coming hours. Called by `thermal.answers`.

From where the floor stands it goes to the level of `follow` and then with the outside, by the share
and as late as has been learned. The chance and the interval come from the spreads of the outside,
the level, the share and the floor's own wandering, taken as independent and normal. Each hour is
judged by its own target. The interval is that of the night's lowest floor, whenever that is. Where
the weather may go one way or another, each is looked at by itself and `together` weighs them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import erf, exp, inf, sqrt
from statistics import NormalDist
from typing import NamedTuple

from monitor.thermal.diagnosis import Foreseen, Interval, Outlook
from monitor.thermal.follow import FLOOR_SHARE, Following
from monitor.thermal.outside_curve import OutsideCurve

WARN_CHANCE = 0.5  # a cold night is told at this chance of leaving the band ...
# ... at this one where no forecast says in the afternoon what will come: a front that a probe alone
# shows leaves two hours or three ...
FRONT_CHANCE = 0.45
# ... but at this one before evening, for the lamps are yet to be hung for the night, and where the
# floor was not yet seen to go with an outside that is measured, through a night or into a front ...
UNSEEN_CHANCE = 0.7
CLEAR_CHANCE = 0.2  # ... and is called off below this one
UNSURE_CHANCE = 0.35  # who asks, or reads the evening's message, is not told that it will hold
NOTHING_CHANCE = 0.1  # nor that there is nothing to do: one night in ten is so much colder
Z80 = NormalDist().inv_cdf(0.9)  # half width of a normal 80 % interval, in sd
_SQRT_2 = sqrt(2.0)
_Z_CLEAR = NormalDist().inv_cdf(1.0 - CLEAR_CHANCE)  # that chance lies so many sd below the middle
_STEP_S = 900.0
_SETTLED_TAUS = 3.0  # time constants after which 95 % of the way is gone: 1 - exp(-3)
_LEAST_K_PER_W = 0.001  # a kilowatt for a kelvin: no box is heated that way
_WANDER_VAR, _AHEAD_SD_K = 0.5**2, 0.35  # birds and draughts: at once, and in the root of an hour
_DIP_K = 0.4  # by so much they take the lowest quarter of an hour below the course
_STEP_K = 0.5  # from one target to the next at least; a gradual one comes down by less in a night
_CHANGE_SPREAD = 0.15  # of what a change to the box is reckoned to bring: one standard deviation
_RESTS_SD_K = 1.0  # of where a thermostat catches a fall, by the last night. Assumed
_MOST_SD_K = 1.7  # of where a night ends up by the nights before it (`nights_kept`). Assumed
# A front brings wind, and wind takes more from a box than its cold: of what the floor would be
# spared of a change outside this share is felt too. A thermostat makes up for both. Assumed.
_WIND_SHARE, _WIND_SD = 0.2, 0.1
_NEAR_K = 1e-4  # a temperature of the outlook is found so nearly

LowAt = Callable[[float], float]  # the edge of the band at a Unix time, degC


Edges = Sequence[tuple[float, float]]  # (Unix s, degC) as a floor is judged by it then


def edges(start_at: float, until_at: float, low_at: LowAt) -> Edges:
    """The band's lower edge, now and each quarter of an hour until `until_at` (Unix s)."""
    steps = max(1, int((until_at - start_at) / _STEP_S + 0.999))
    times = [start_at + _STEP_S * k for k in range(steps + 1)]
    return [(at, low_at(min(at, until_at))) for at in times]


class HourAhead(NamedTuple):
    """A quarter of an hour to come: what is the same for it whatever is done to the box."""

    at: float
    since_s: float
    edge_c: float
    outside_c: float
    least_c: float  # nothing falls below the outside, as cold as that may be
    settles_c: float  # where the floor of the box as it is then settles
    settles_var: float  # of that, once the floor has gone there
    felt_var: float  # of how the floor goes with the outside
    ahead_var: float  # of what cannot be foreseen so far ahead


@dataclass(frozen=True, slots=True)
class Hours:
    """The coming hours under one course of the outside."""

    start_at: float
    edge_c: float  # of the band, now
    outside_c: float  # now
    source: str
    by_floor: bool  # for want of an outside probe
    level_c: float
    dip_k: float  # of the lowest quarter of an hour below the course
    in_swing: bool  # where the floor is now in a thermostat's swing says nothing of the course
    most_c: float | None  # where its nights end up; None: this is no night as those
    rests_c: float  # a thermostat lets it go no further
    to_come: tuple[HourAhead, ...]


def hours(
    edges: Edges,
    *,
    follows: Following,
    outside: OutsideCurve,
    most_c: float | None = None,
    rests_c: float = -inf,
) -> Hours:
    """For a floor that follows the outside so."""
    (start_at, edge_c), *coming = edges
    felt_c, keep = follows.felt_c, exp(-_STEP_S / follows.lag_s)
    felt_now_c, share, spare_k = felt_c, follows.share, follows.spare_k
    level_c, level_var = follows.level_c, follows.level_var
    both, share_var = follows.both, follows.share_var
    if outside.front and not follows.switched:
        share, share_var = share + _WIND_SHARE * (1.0 - share), share_var + _WIND_SD**2
    steepest = max(0.0, FLOOR_SHARE - share)
    found = []
    for at, low_c in coming:
        outside_c, outside_sd_k = outside.expected(at)
        least_c = -inf if outside.by_floor else outside_c - Z80 * outside_sd_k
        felt_c = outside_c + keep * (felt_c - outside_c)
        warmer_k = felt_c - felt_now_c
        # Beyond what a thermostat keeps back a box goes with the outside as one without.
        beyond_k = max(0.0, -warmer_k - spare_k)
        steeper = steepest if beyond_k else 0.0
        found.append(
            HourAhead(
                at,
                at - start_at,
                low_c,
                outside_c,
                least_c,
                max(level_c + share * warmer_k - steeper * beyond_k, least_c),
                level_var + ((share + steeper) * outside_sd_k) ** 2,
                max(0.0, 2.0 * warmer_k * both + warmer_k**2 * share_var),
                _AHEAD_SD_K**2 * (at - start_at) / 3600.0,
            )
        )
    return Hours(
        start_at,
        edge_c,
        outside.at(start_at),
        outside.source,
        outside.by_floor,
        follows.level_c,
        max(_DIP_K, follows.dips_k),
        follows.dips_k > 0.0,
        most_c,
        rests_c,
        tuple(found),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """At what box one looks ahead. The time constant is that of the coming box."""

    hours: Hours
    floor_c: float
    brought_k: float = 0.0  # by another lamp or cover, in the end
    rise_per_watt_k: float  # what a watt more brings
    tau_s: float
    learned: float
    open_share: float = 0.0  # of the cover, for the birds' air
    seen: bool = True
    first_night: bool = False
    was_cold_c: float | None = None  # the last night's lowest, if too cold for this one's morning


class Way(NamedTuple):
    """One way for the night to go: the outlook, and how far its middle keeps over the band's edge
    where that is nearest, with its standard deviation, K."""

    outlook: Outlook
    margin_k: float
    margin_sd_k: float
    per_watt_k: float


def _middle(view: View) -> list[tuple[float, float]]:
    """The floor's middle course in each of the hours, degC, and its standard deviation."""
    tau_s, brought_k, most_c = view.tau_s, view.brought_k, view.hours.most_c
    rests_c, change_var = view.hours.rests_c, (_CHANGE_SPREAD * brought_k) ** 2
    apart_k = 0.0 if view.hours.in_swing else view.floor_c - view.hours.level_c
    found = []
    for _, since_s, _, _, _, settles_c, settles_var, felt_var, ahead_var in view.hours.to_come:
        left = exp(-since_s / tau_s)
        gone = 1.0 - left
        mid_c = settles_c + left * apart_k
        var = gone**2 * settles_var + felt_var + _WANDER_VAR + ahead_var
        if most_c is not None:
            weight = var / (var + _MOST_SD_K**2)
            mid_c += weight * (most_c - mid_c)
            var *= 1.0 - weight
        if mid_c < rests_c:
            mid_c, var = rests_c, _RESTS_SD_K**2
        found.append((mid_c + gone * brought_k, sqrt(var + gone**2 * change_var)))
    return found


def _margin(view: View, middle: Sequence[tuple[float, float]]) -> tuple[float, float, float]:
    """By how much the middle course keeps over the band's edge where that is nearest, its standard
    deviation there, and by how much the edge is undercut in CLEAR_CHANCE of nights.

    A floor that is below its band already is judged from when it is well back, or when the box has
    taken the temperature it is heading for: else no lamp would ever seem to help. Whoever has
    lowered the lamps for a step of the night is told that it is too cold now, and the night is
    judged from that step on."""
    settled = view.floor_c >= view.hours.edge_c
    settles_s = min(_SETTLED_TAUS * view.tau_s, view.hours.to_come[-1].since_s)
    stepped_c = view.hours.to_come[-1].edge_c + _STEP_K
    short_k, nearest_k, nearest_sd_k, nearest = 0.0, 1e9, 1.0, 1e9
    dip_k = view.hours.dip_k
    for hour, (temp_c, sd_k) in zip(view.hours.to_come, middle, strict=True):
        over_k = temp_c - dip_k - hour.edge_c
        clear_k = _Z_CLEAR * sd_k
        waits = hour.since_s < settles_s or hour.edge_c > stepped_c
        if settled or over_k >= clear_k or not waits:
            settled = True
            short_k = max(short_k, clear_k - over_k)
            if (near := over_k / sd_k) < nearest:
                nearest_k, nearest_sd_k, nearest = over_k, sd_k, near
    return nearest_k, nearest_sd_k, short_k


def chance(view: View) -> float:
    """Of leaving the band, 0..1, and no more."""
    margin_k, margin_sd_k, _ = _margin(view, _middle(view))
    return _below(0.0, margin_k, margin_sd_k)


def look_ahead(view: View) -> Way:
    """The course, the chance and what is missing."""
    hours, temp_c = view.hours, view.floor_c
    middle = _middle(view)
    margin_k, margin_sd_k, short_k = _margin(view, middle)
    below_now = temp_c < hours.edge_c
    leaves_at = hours.start_at if below_now else None
    lowest, lowest_at = temp_c, hours.start_at
    low_end = high_end = temp_c
    dip_k = hours.dip_k
    for hour, (mid_c, sd_k) in zip(hours.to_come, middle, strict=True):
        dip_c, half_k = mid_c - dip_k, Z80 * sd_k
        if dip_c < lowest:
            lowest, lowest_at = dip_c, hour.at
        if dip_c - half_k < low_end and hour.least_c < low_end:
            low_end = max(dip_c - half_k, hour.least_c)
        high_end = min(high_end, dip_c + half_k)
        if leaves_at is None and mid_c < hour.edge_c:
            leaves_at = hour.at
    per_watt_k = max(view.rise_per_watt_k, _LEAST_K_PER_W)
    outlook = Outlook(
        lowest_c=Interval(lowest, low_end, high_end),
        lowest_at=lowest_at,
        leaves_band_at=leaves_at,
        chance=_below(0.0, margin_k, margin_sd_k),
        missing_watts=short_k / per_watt_k,
        outside_low_c=min(hours.outside_c, *(hour.outside_c for hour in hours.to_come)),
        outside_from=hours.source,
        by_floor=hours.by_floor,
        learned=view.learned,
        below_now=below_now,
        open_share=view.open_share,
        seen=view.seen,
        first_night=view.first_night,
        was_cold_c=view.was_cold_c,
        begins=(hours.start_at, temp_c),
        ways=((1.0, _thousandths(middle)),),
    )
    return Way(outlook, margin_k, margin_sd_k, per_watt_k)


def _thousandths(middle: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    return tuple([(round(temp_c, 3), round(sd_k, 3)) for temp_c, sd_k in middle])


def together(ways: Sequence[tuple[float, Way]]) -> Outlook:
    """The ways a night may go, each with its chance (their sum 1), as one outlook."""
    if len(ways) == 1:
        return ways[0][1].outlook
    likeliest = max(ways, key=lambda way: way[0])[1].outlook
    lows = [(weight, way.outlook.lowest_c) for weight, way in ways]
    spread = [(w, low.mid, max(0.05, (low.high - low.low) / (2.0 * Z80))) for w, low in lows]
    margins = [(weight, way.margin_k, way.margin_sd_k) for weight, way in ways]
    now_c = likeliest.begins[1]
    return replace(
        likeliest,
        lowest_c=Interval(*(min(now_c, _quantile(spread, part)) for part in (0.5, 0.1, 0.9))),
        chance=sum(weight * way.outlook.chance for weight, way in ways),
        missing_watts=max(0.0, -_quantile(margins, CLEAR_CHANCE)) / ways[0][1].per_watt_k,
        ways=tuple((weight, way.outlook.ways[0][1]) for weight, way in ways),
    )


def course(outlook: Outlook) -> tuple[Foreseen, ...]:
    """From now to the morning, for a picture: worked out when somebody looks."""
    start_at, now_c = outlook.begins
    points = [Foreseen(start_at, now_c, now_c, now_c)]
    hours = zip(*(course for _, course in outlook.ways), strict=True)
    for number, hour in enumerate(hours, 1):
        spread = [(w, *point) for (w, _), point in zip(outlook.ways, hour, strict=True)]
        mid_c = sum(weight * temp_c for weight, temp_c, _ in spread)
        low_c, high_c = (_quantile(spread, part) for part in (0.1, 0.9))
        found = (mid_c, min(mid_c, low_c), max(mid_c, high_c))
        points.append(Foreseen(start_at + _STEP_S * number, *(round(c, 2) for c in found)))
    return tuple(points)


def _below(limit: float, middle: float, sd: float) -> float:
    return 0.5 * (1.0 + erf((limit - middle) / (sd * _SQRT_2)))


_sds_above = cache(NormalDist().inv_cdf)


def _quantile(ways: Sequence[tuple[float, float, float]], share: float) -> float:
    """Of normal spreads (weight, middle, standard deviation) mixed: it lies among their own."""
    apart_sd = _sds_above(share)
    own = [middle + sd * apart_sd for _, middle, sd in ways]
    low, high = min(own), max(own)
    while high - low > _NEAR_K:
        half = 0.5 * (low + high)
        if sum([weight * _below(half, middle, sd) for weight, middle, sd in ways]) < share:
            low = half
        else:
            high = half
    return 0.5 * (low + high)
