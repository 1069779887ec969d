"""Will it hold tonight? The floor's course through the coming hours. Called by `thermal.answers`.

From where the floor stands it goes to the level of `follow` and then with the outside, by the share
and as late as has been learned. The chance and the interval come from the spreads of the outside,
the level, the share and the floor's own wandering, taken as independent and normal. Each hour is
judged by its own target, but a step down counts from some hours before: who has lowered the lamps
for it in the evening has no cold night. The interval is that of the night's lowest floor,
whenever that is. Where the weather may go one way or another, each is looked at by itself and
`together` weighs them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import erf, exp, sqrt
from statistics import NormalDist
from typing import NamedTuple

from monitor.events import Moment
from monitor.thermal.diagnosis import Foreseen, Interval, Outlook
from monitor.thermal.follow import Following
from monitor.thermal.outside_curve import OutsideCurve

WARN_CHANCE = 0.55  # a cold night is told at this chance of leaving the band ...
BY_DAY_CHANCE = 0.7  # ... or at this one before evening: the lamps are yet to be hung for the night
CLEAR_CHANCE = 0.2  # ... and is called off below this one
Z80 = NormalDist().inv_cdf(0.9)  # half width of a normal 80 % interval, in sd
_Z_CLEAR = NormalDist().inv_cdf(1.0 - CLEAR_CHANCE)  # that chance lies so many sd below the middle
_STEP_S = 900.0
_SETTLED_TAUS = 3.0  # time constants after which 95 % of the way is gone: 1 - exp(-3)
_LEAST_K_PER_W = 0.001  # a kilowatt for a kelvin: no box is heated that way
_WANDER_SD_K, _AHEAD_SD_K = 0.35, 0.25  # birds and draughts: at once, and in the root of an hour
_DIP_K = 0.4  # by so much they take the lowest quarter of an hour below the course
_LOWERED_S = 6 * 3600.0  # before a step down the lamps are hung for it. Common practice
_NEAR_K = 1e-4  # a temperature of the outlook is found so nearly

LowAt = Callable[[float], float]  # the edge of the band at a Unix time, degC


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """From where one looks ahead, and at what box: `rise_gain` is the coming rise over the present
    `rise_k` (another lamp, another cover). The spread and the time constant are those of the coming
    box."""

    start: Moment
    until_at: float
    floor_c: float
    follows: Following
    rise_k: float
    rise_sd_k: float
    rise_gain: float = 1.0
    change_sd_k: float = 0.0  # of what another lamp or cover is reckoned to bring
    rise_per_watt_k: float  # what a watt more brings
    tau_s: float
    outside: OutsideCurve
    low_at: LowAt
    learned: float
    open_share: float = 0.0  # of the cover, for the birds' air
    first_night: bool = False


class Way(NamedTuple):
    """One way for the night to go: the outlook, and how far its middle keeps over the band's edge
    where that is nearest, with its standard deviation, K."""

    outlook: Outlook
    margin_k: float
    margin_sd_k: float
    per_watt_k: float


def look_ahead(view: View) -> Way:
    """The course, the chance and what is missing.

    A floor that is below its band already is judged from when it is well back, or when the box has
    taken the temperature it is heading for: else no lamp would ever seem to help."""
    start, outside, follows = view.start, view.outside, view.follows
    steps = max(1, int((view.until_at - start.at) / _STEP_S + 0.999))
    times = [start.at + _STEP_S * k for k in range(1, steps + 1)]

    def edge_at(at: float) -> float:
        return view.low_at(min(at + _LOWERED_S, view.until_at))

    temp_c, felt_c = view.floor_c, follows.felt_c
    apart_k = temp_c - follows.level_c
    brought_k = (view.rise_gain - 1.0) * view.rise_k
    below_now = temp_c < edge_at(start.at)
    leaves_at = start.at if below_now else None
    outside_low_c = outside.at(start.at)
    lowest, lowest_at = temp_c, start.at
    low_end = high_end = temp_c
    course = [Foreseen(start.at, temp_c, temp_c, temp_c)]
    settled, settles_at = not below_now, start.at + _SETTLED_TAUS * view.tau_s
    short_k = 0.0  # of the band's edge being undercut in CLEAR_CHANCE of nights only
    nearest = (1e9, 1.0)  # of the middle over the band's edge, and its standard deviation
    keep = exp(-_STEP_S / follows.lag_s)
    for at in times:
        low_c = edge_at(at)
        _, outside_c, outside_sd_k = outside.expected(at)
        outside_low_c = min(outside_low_c, outside_c)
        felt_c = outside_c + keep * (felt_c - outside_c)
        warmer_k = felt_c - follows.felt_c
        left = exp(-(at - start.at) / view.tau_s)
        settles_c = follows.level_c + follows.share * warmer_k + (1.0 - left) * brought_k
        temp_c = settles_c + left * apart_k
        sd_k = sqrt(
            (1.0 - left) ** 2
            * (follows.level_var + (follows.share * outside_sd_k) ** 2 + view.change_sd_k**2)
            + max(0.0, 2.0 * warmer_k * follows.both + warmer_k**2 * follows.share_var)
            + _WANDER_SD_K**2
            + _AHEAD_SD_K**2 * (at - start.at) / 3600.0
        )
        dip_c = temp_c - _DIP_K
        settled = (
            settled or dip_c - low_c >= _Z_CLEAR * sd_k or at >= min(settles_at, view.until_at)
        )
        if settled:
            short_k = max(short_k, low_c - dip_c + _Z_CLEAR * sd_k)
            nearest = min(nearest, (dip_c - low_c, sd_k), key=lambda way: way[0] / way[1])
        if dip_c < lowest:
            lowest, lowest_at = dip_c, at
        low_end, high_end = min(low_end, dip_c - Z80 * sd_k), min(high_end, dip_c + Z80 * sd_k)
        if leaves_at is None and temp_c < low_c:
            leaves_at = at
        course.append(_foreseen(at, temp_c, temp_c - Z80 * sd_k, temp_c + Z80 * sd_k))
    rise_k, per_watt_k = view.rise_k * view.rise_gain, max(view.rise_per_watt_k, _LEAST_K_PER_W)
    outlook = Outlook(
        lowest_c=Interval(lowest, low_end, high_end),
        lowest_at=lowest_at,
        leaves_band_at=leaves_at,
        chance=_below(0.0, *nearest),
        missing_watts=short_k / per_watt_k,
        outside_low_c=outside_low_c,
        outside_from=outside.source,
        rise_c=Interval(rise_k, rise_k - Z80 * view.rise_sd_k, rise_k + Z80 * view.rise_sd_k),
        learned=view.learned,
        below_now=below_now,
        open_share=view.open_share,
        first_night=view.first_night,
        course=tuple(course),
    )
    return Way(outlook, *nearest, per_watt_k)


def together(ways: Sequence[tuple[float, Way]]) -> Outlook:
    """The ways a night may go, each with its chance (their sum 1), as one outlook."""
    if len(ways) == 1:
        return ways[0][1].outlook
    likeliest = max(ways, key=lambda way: way[0])[1].outlook
    chance = sum(weight * way.outlook.chance for weight, way in ways)
    now_c = likeliest.course[0].mid_c
    lows = [(weight, way.outlook.lowest_c) for weight, way in ways]
    spread = [(w, low.mid, max(0.05, (low.high - low.low) / (2.0 * Z80))) for w, low in lows]
    margins = [(weight, way.margin_k, way.margin_sd_k) for weight, way in ways]
    short_k = max(0.0, -_quantile(margins, CLEAR_CHANCE))
    return replace(
        likeliest,
        lowest_c=Interval(*(min(now_c, _quantile(spread, part)) for part in (0.5, 0.1, 0.9))),
        chance=chance,
        missing_watts=short_k / ways[0][1].per_watt_k,
        course=_mixed([(weight, way.outlook.course) for weight, way in ways]),
    )


def _mixed(ways: Sequence[tuple[float, tuple[Foreseen, ...]]]) -> tuple[Foreseen, ...]:
    points = []
    for hour in zip(*(course for _, course in ways), strict=True):
        weighed = [(weight, point) for (weight, _), point in zip(ways, hour, strict=True)]
        mid_c = sum(weight * point.mid_c for weight, point in weighed)
        spread = [(w, p.mid_c, max(0.05, (p.high_c - p.mid_c) / Z80)) for w, p in weighed]
        low_c, high_c = (_quantile(spread, part) for part in (0.1, 0.9))
        points.append(_foreseen(hour[0].at, mid_c, min(mid_c, low_c), max(mid_c, high_c)))
    first = ways[0][1][0]
    return (first, *points[1:])


def _foreseen(at: float, mid_c: float, low_c: float, high_c: float) -> Foreseen:
    return Foreseen(at, round(mid_c, 2), round(low_c, 2), round(high_c, 2))


def _below(limit: float, middle: float, sd: float) -> float:
    return 0.5 * (1.0 + erf((limit - middle) / (sd * sqrt(2.0))))


def _quantile(ways: Sequence[tuple[float, float, float]], share: float) -> float:
    """Of normal spreads (weight, middle, standard deviation) mixed: it lies among their own."""
    apart_sd = NormalDist().inv_cdf(share)
    own = [middle + sd * apart_sd for _, middle, sd in ways]
    low, high = min(own), max(own)
    while high - low > _NEAR_K:
        half = 0.5 * (low + high)
        if sum(weight * _below(half, middle, sd) for weight, middle, sd in ways) < share:
            low = half
        else:
            high = half
    return 0.5 * (low + high)
