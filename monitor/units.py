"""Degrees, inches and square feet, and how a person reads them. Inside, all is Celsius and
metres; a grower's unit exists at the edges.

Exact by definition: K = degC + 273.15, degF = degC x 9/5 + 32 (BIPM, The International System of
Units, 9th edition 2019, section 2.3.1 for the kelvin; degF by NIST SP 811, 2008, appendix B.8);
1 in = 2.54 cm and 1 ft = 0.3048 m (the same appendix: the international foot)."""

from enum import StrEnum


class Unit(StrEnum):
    """What a probe sends, or what a grower reads."""

    CELSIUS = "celsius"
    FAHRENHEIT = "fahrenheit"
    KELVIN = "kelvin"


CM_PER_INCH = 2.54
M2_PER_SQUARE_FOOT = 0.09290304
_SIGN = {Unit.CELSIUS: "°C", Unit.FAHRENHEIT: "°F", Unit.KELVIN: "K"}


def to_celsius(value: float, unit: Unit) -> float:
    if unit is Unit.FAHRENHEIT:
        return (value - 32.0) / 1.8
    if unit is Unit.KELVIN:
        return value - 273.15
    return value


def from_celsius(temp_c: float, unit: Unit) -> float:
    if unit is Unit.FAHRENHEIT:
        return temp_c * 1.8 + 32.0
    if unit is Unit.KELVIN:
        return temp_c + 273.15
    return temp_c


def step_from_celsius(step_c: float, unit: Unit) -> float:
    """A temperature difference in K as a difference in `unit` (no offset)."""
    return step_c * 1.8 if unit is Unit.FAHRENHEIT else step_c


def shown(temp_c: float, unit: Unit, digits: int = 1) -> str:
    """A temperature as a grower reads it: `31.8 °C`, `89.2 °F`."""
    return f"{_rounded(from_celsius(temp_c, unit), digits)} {_SIGN[unit]}"


def step_shown(step_c: float, unit: Unit, digits: int = 1) -> str:
    """A temperature difference as a grower reads it: 2.8 K is `5.0 °F`."""
    return f"{_rounded(step_from_celsius(step_c, unit), digits)} {_SIGN[unit]}"


def sign(unit: Unit) -> str:
    """The unit's sign alone: `°C`."""
    return _SIGN[unit]


def area_figure(area_m2: float, unit: Unit) -> str:
    """Floor a bird, without its sign: square feet where degrees are Fahrenheit, else square
    centimetres."""
    if unit is Unit.FAHRENHEIT:
        return f"{area_m2 / M2_PER_SQUARE_FOOT:.2f}"
    return f"{area_m2 * 1e4:.0f}"


def _rounded(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if float(text) == 0 else text
