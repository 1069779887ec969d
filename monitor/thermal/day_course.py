"""How the air warms and cools through a day, as shares of its swing. Called by `outside_curve`.

W. J. Parton and J. A. Logan, "A model for diurnal variation in soil and air temperature",
Agricultural Meteorology 23 (1981) 205-216 (constants from memory): a sine by day, the warmest hour
1.86 h after the sun's highest, and an exponential from sunset, which falls by 2.2 of its own
constants until sunrise. That is open air; under a roof or on a cloudy night the fall is later and
more even, for which an even wave stands, coldest at six and warmest at three (assumed). How much of
each a place shows is learned.

Hours are local; sunrise at six and sunset at six in the evening stand for any season (assumed)."""

from math import cos, exp, pi, sin

_SUNRISE_H, _SUNSET_H = 6.0, 18.0
_LATER_H = 1.86
_FALL = 2.2
COLDEST_H, _WARMEST_H = 6.0, 15.0
_DAY_H = _SUNSET_H - _SUNRISE_H
_SPAN_H = _DAY_H + 2.0 * _LATER_H
_AT_SUNSET = sin(pi * _DAY_H / _SPAN_H)


def fallen(share: float) -> float:
    """Of an evening's fall, how much is over when that share of the night is, both 0..1."""
    return (1.0 - exp(-_FALL * share)) / (1.0 - exp(-_FALL))


def open_air(hour: float) -> float:
    """Between 0 at sunrise and 1 at its warmest."""
    since_h = (hour - _SUNRISE_H) % 24.0
    if since_h < _DAY_H:
        return sin(pi * since_h / _SPAN_H)
    return _AT_SUNSET * (1.0 - fallen((since_h - _DAY_H) / (24.0 - _DAY_H)))


def sheltered(hour: float) -> float:
    """The even wave, between 0 and 1."""
    since_h = (hour - COLDEST_H) % 24.0
    rising_h = _WARMEST_H - COLDEST_H
    if since_h < rising_h:
        return 0.5 - 0.5 * cos(pi * since_h / rising_h)
    return 0.5 + 0.5 * cos(pi * (since_h - rising_h) / (24.0 - rising_h))
