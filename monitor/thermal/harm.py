"""How long until the floor reaches a limit. Called by `thermal.minutes_to`.

The first-order course of `kalman` solved for the time; the 80 % interval from how well is known
where the floor is heading and how quickly the box follows. It is always the time to a limit that
somebody set: no published time from lost heat to harm was found."""

from math import exp, log

from monitor.thermal.causes import QUICK_S, Lost
from monitor.thermal.coming_night import Z80
from monitor.thermal.diagnosis import Interval

_MOST_MIN = 24 * 60.0  # longer than a day is "not today"
_TAU_SPREAD = 1.33  # 80 % of the time constants once learned lie within this factor
_UNSEEN_SPREAD = 3.0  # a quiet box teaches little of how quickly it follows
_SEEN_SPREAD = 2.0  # the first pace may be the light that went at once: the box so much slower
_LAG_MIN = 1.5  # a probe in its sleeve says what the floor was. Common practice
_PACE_SPREAD = 2.4  # a first pace is measured over minutes, and grows: wind, lamps that cool
_LOST_SPREAD = 0.15  # of what a lost source took: one standard deviation


def minutes_to(
    limit_c: float,
    *,
    floor_c: float,
    heading_c: float,
    heading_sd_k: float,
    tau_s: float,
    lost: Lost | None,
    since_floor_s: float,
    tick: float,
    falls_k_per_h: float = 0.0,
) -> Interval | None:
    """From `floor_c`, measured `since_floor_s` ago. `heading_c` is where the floor goes without the
    `lost` heat taken off; `falls_k_per_h`: how fast it is seen to fall.
    None: it does not reach the limit."""
    sd_k, more_k, spread = heading_sd_k + 0.3, 0.0, _TAU_SPREAD
    if lost is not None:
        # what of the quick part is still to come, comes at once
        floor_c -= lost.quick_k * exp(-max(0.0, tick - lost.onset) / QUICK_S)
        lost_k = lost.quick_k + lost.slow_k
        heading_c -= lost_k
        sd_k = _LOST_SPREAD * lost_k + 0.5
        more_k = lost.more_k
        spread = _UNSEEN_SPREAD if lost.unseen else _TAU_SPREAD
    mid = course(floor_c, heading_c, limit_c, tau_s)
    if mid is None:
        return None
    soon = course(floor_c, heading_c - Z80 * sd_k - more_k, limit_c, tau_s / spread)
    late = course(floor_c, heading_c + Z80 * sd_k, limit_c, tau_s * _TAU_SPREAD)
    soon = _MOST_MIN if soon is None else soon
    if falls_k_per_h > 0.0:
        straight_min = 60.0 * (floor_c - limit_c) / falls_k_per_h
        soon = min(soon, straight_min / _PACE_SPREAD)
    if lost is not None and falls_k_per_h > 0.0:
        # What is seen outweighs what was learned. With that pace and where it heads, the time
        # constant is given. Too early is the better error.
        seen_tau_s = 3600.0 * (floor_c - heading_c) / falls_k_per_h
        seen = course(floor_c, heading_c, limit_c, min(tau_s, seen_tau_s))
        mid = mid if seen is None else min(mid, seen)
        slow_s = min(tau_s, _SEEN_SPREAD * seen_tau_s) * _TAU_SPREAD
        late = course(floor_c, heading_c + Z80 * sd_k, limit_c, slow_s)
    spent = since_floor_s / 60.0 + (_LAG_MIN if falls_k_per_h > 0.0 else 0.0)
    return Interval(
        *(
            max(0.0, (_MOST_MIN if value is None else min(value, _MOST_MIN)) - spent)
            for value in (mid, min(soon, mid), late)
        )
    )


def course(floor_c: float, heading_c: float, limit_c: float, tau_s: float) -> float | None:
    """Minutes of first-order cooling from `floor_c` towards `heading_c` until `limit_c`."""
    if floor_c <= limit_c:
        return 0.0
    if heading_c >= limit_c:
        return None
    return tau_s / 60.0 * log((floor_c - heading_c) / (limit_c - heading_c))
