"""Will it hold tonight? The floor's course through the coming hours. Called by `thermal.outlook`.

The first-order model of `kalman`, run ahead along an outside curve with the rise the box has shown,
and with that rise's change at the same hours yesterday (sun gone, wind down). The chance and the
interval come from the spreads of outside, rise and the floor's own wandering, taken as independent
and normal."""

from collections.abc import Callable
from dataclasses import dataclass
from math import erf, exp, sqrt
from statistics import NormalDist

from monitor.events import Moment
from monitor.thermal.diagnosis import Interval, Outlook
from monitor.thermal.outside_curve import OutsideCurve

WARN_CHANCE = 0.5  # a cold night is told at this chance of leaving the band ...
CLEAR_CHANCE = 0.2  # ... and is called off below this one
_Z_CLEAR = NormalDist().inv_cdf(1.0 - CLEAR_CHANCE)  # that chance lies so many sd below the middle
Z80 = NormalDist().inv_cdf(0.9)  # half width of a normal 80 % interval, in sd
_STEP_S = 600.0
_SETTLED_TAUS = 3.0  # time constants after which 95 % of the way is gone: 1 - exp(-3)
_LEAST_K_PER_W = 0.001  # a kilowatt for a kelvin: no box is heated that way
_WANDER_SD = 0.35  # K; the lowest reading lies below the model's by birds and draughts


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """From where one looks ahead, and at what box: `rise_gain` is the coming rise over the present
    `rise_k` (another lamp, another cover); `rise_change` gives the K that one gains by a Unix time.
    The spread and the time constant are those of the coming box."""

    start: Moment
    until_at: float
    floor_c: float
    rise_k: float
    rise_sd_k: float
    rise_gain: float
    rise_per_watt_k: float  # what a watt more brings
    tau_s: float
    outside: OutsideCurve
    rise_change: Callable[[float], float]
    low_c: float
    learned: float
    open_share: float = 0.0  # of the cover, for the birds' air


def look_ahead(view: View) -> Outlook:
    """The course, the chance and what is missing.

    A floor that is below its band already is judged from when it is well back, or when the box has
    taken the temperature it is heading for: else no lamp would ever seem to help."""
    start, outside, low_c = view.start, view.outside, view.low_c
    rise_k, rise_sd_k, scale = view.rise_k, view.rise_sd_k, view.rise_gain
    at = start.at
    temp_c = view.floor_c
    keep = exp(-_STEP_S / view.tau_s)
    lowest = (temp_c, at)
    below_now = temp_c < low_c
    leaves_at = at if below_now else None
    outside_low_c = outside.at(at)
    safe_c = low_c if below_now else temp_c  # undercut by the course in CLEAR_CHANCE of nights
    least_margin = 1e9  # lowest middle course in standard deviations above the band's edge
    lowest_sd = _WANDER_SD
    settled, settles_at = not below_now, at + _SETTLED_TAUS * view.tau_s
    while at < view.until_at:
        at += _STEP_S
        outside_c = outside.at(at)
        outside_low_c = min(outside_low_c, outside_c)
        aim = outside_c + (rise_k + view.rise_change(at)) * scale
        temp_c = keep * temp_c + (1.0 - keep) * aim
        gone = 1.0 - exp(-(at - start.at) / view.tau_s)
        sd = sqrt((outside.sd(at) * gone) ** 2 + (rise_sd_k * gone) ** 2 + _WANDER_SD**2)
        back = temp_c - low_c >= _Z_CLEAR * sd
        settled = settled or back or at >= min(settles_at, view.until_at)
        if settled:
            safe_c = min(safe_c, temp_c - _Z_CLEAR * sd)
            least_margin = min(least_margin, (temp_c - low_c) / sd)
        if temp_c < lowest[0]:
            lowest = (temp_c, at)
            lowest_sd = sd
        if leaves_at is None and temp_c < low_c:
            leaves_at = at
    chance = 0.5 * (1.0 - erf(least_margin / sqrt(2.0)))
    missing_k = max(0.0, low_c - safe_c)  # short of leaving the band in few nights only
    half = Z80 * lowest_sd
    return Outlook(
        lowest_c=Interval(lowest[0], lowest[0] - half, lowest[0] + half),
        lowest_at=lowest[1],
        leaves_band_at=leaves_at,
        chance=chance,
        missing_watts=missing_k / max(view.rise_per_watt_k, _LEAST_K_PER_W),
        outside_low_c=outside_low_c,
        outside_from=outside.source,
        rise_c=Interval(
            rise_k * scale,
            rise_k * scale - Z80 * rise_sd_k,
            rise_k * scale + Z80 * rise_sd_k,
        ),
        learned=view.learned,
        below_now=below_now,
        open_share=view.open_share,
    )
