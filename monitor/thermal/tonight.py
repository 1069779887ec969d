"""Will it hold tonight? The floor's course through the coming hours. Called by `thermal.outlook`.

The first-order model of `kalman`, run ahead along an outside curve with the rise the box has shown,
less what it gives back as it gets colder (`give`). The chance and the interval come from the
spreads of outside, rise and the floor's own wandering, taken as independent and normal. Each hour
is judged by its own target, and the interval is that of the night's lowest floor, whenever that
is."""

from collections.abc import Callable
from dataclasses import dataclass
from math import erf, exp, sqrt
from statistics import NormalDist

from monitor.events import Moment
from monitor.thermal.diagnosis import Foreseen, Interval, Outlook
from monitor.thermal.outside_curve import OutsideCurve

WARN_CHANCE = 0.5  # a cold night is told at this chance of leaving the band ...
CLEAR_CHANCE = 0.2  # ... and is called off below this one
_Z_CLEAR = NormalDist().inv_cdf(1.0 - CLEAR_CHANCE)  # that chance lies so many sd below the middle
Z80 = NormalDist().inv_cdf(0.9)  # half width of a normal 80 % interval, in sd
_STEP_S = 900.0
_SETTLED_TAUS = 3.0  # time constants after which 95 % of the way is gone: 1 - exp(-3)
_LEAST_K_PER_W = 0.001  # a kilowatt for a kelvin: no box is heated that way
_WANDER_SD = 0.45  # K; birds and draughts
_DIP_K = 0.2  # by so much they take the lowest quarter of an hour below the course

LowAt = Callable[[float], float]  # the edge of the band at a Unix time, degC


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """From where one looks ahead, and at what box: `rise_gain` is the coming rise over the present
    `rise_k` (another lamp, another cover). The spread and the time constant are those of the coming
    box."""

    start: Moment
    until_at: float
    floor_c: float
    rise_k: float
    rise_sd_k: float
    rise_gain: float
    rise_per_watt_k: float  # what a watt more brings
    tau_s: float
    outside: OutsideCurve
    give: float = 0.0  # of a fall outside, what the floor is spared
    give_sd: float = 0.0
    low_at: LowAt
    learned: float
    open_share: float = 0.0  # of the cover, for the birds' air
    first_night: bool = False


def look_ahead(view: View) -> Outlook:
    """The course, the chance and what is missing.

    A floor that is below its band already is judged from when it is well back, or when the box has
    taken the temperature it is heading for: else no lamp would ever seem to help."""
    start, outside = view.start, view.outside
    rise_k = view.rise_k * view.rise_gain
    at, temp_c = start.at, view.floor_c
    keep = exp(-_STEP_S / view.tau_s)
    below_now = temp_c < view.low_at(at)
    leaves_at = at if below_now else None
    outside_now_c = outside_low_c = outside.at(at)
    lowest, lowest_at = temp_c, at
    low_end = high_end = temp_c
    course = [Foreseen(at, temp_c, temp_c, temp_c)]
    short_k = 0.0  # of the band's edge being undercut in CLEAR_CHANCE of nights only
    least_margin = 1e9  # of the middle course over the band's edge, in standard deviations
    settled, settles_at = not below_now, at + _SETTLED_TAUS * view.tau_s
    while at < view.until_at:
        at += _STEP_S
        low_c = view.low_at(at)
        _, outside_c, outside_sd_k = outside.expected(at)
        outside_low_c = min(outside_low_c, outside_c)
        colder_k = outside_now_c - outside_c
        temp_c = keep * temp_c + (1.0 - keep) * (outside_c + rise_k + view.give * colder_k)
        gone = 1.0 - exp(-(at - start.at) / view.tau_s)
        sd = sqrt(
            gone**2
            * (
                ((1.0 - view.give) * outside_sd_k) ** 2
                + view.rise_sd_k**2
                + (view.give_sd * colder_k) ** 2
            )
            + _WANDER_SD**2
        )
        back = temp_c - low_c >= _Z_CLEAR * sd
        settled = settled or back or at >= min(settles_at, view.until_at)
        if settled:
            short_k = max(short_k, low_c - temp_c + _Z_CLEAR * sd)
            least_margin = min(least_margin, (temp_c - low_c) / sd)
        dip_c = temp_c - _DIP_K
        if dip_c < lowest:
            lowest, lowest_at = dip_c, at
        low_end, high_end = min(low_end, dip_c - Z80 * sd), min(high_end, dip_c + Z80 * sd)
        if leaves_at is None and temp_c < low_c:
            leaves_at = at
        course.append(
            Foreseen(at, round(temp_c, 2), round(temp_c - Z80 * sd, 2), round(temp_c + Z80 * sd, 2))
        )
    return Outlook(
        lowest_c=Interval(lowest, low_end, high_end),
        lowest_at=lowest_at,
        leaves_band_at=leaves_at,
        chance=0.5 * (1.0 - erf(least_margin / sqrt(2.0))),
        missing_watts=short_k / max(view.rise_per_watt_k, _LEAST_K_PER_W),
        outside_low_c=outside_low_c,
        outside_from=outside.source,
        rise_c=Interval(rise_k, rise_k - Z80 * view.rise_sd_k, rise_k + Z80 * view.rise_sd_k),
        learned=view.learned,
        below_now=below_now,
        open_share=view.open_share,
        first_night=view.first_night,
        course=tuple(course),
    )
