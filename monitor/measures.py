"""What a grower writes with its unit, `5 ft 6 in`, `1.5 m`, `95 F`, and what a grower reads: how
long something is, too."""

import re
from typing import NamedTuple

from monitor.units import CM_PER_INCH, Unit, shown, sign, step_from_celsius, to_celsius

INCHES_PER_FOOT = 12
_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_FEET = re.compile(
    rf"(?:({_NUMBER})\s*(?:ft|foot|feet|'|′)\.?)?\s*(?:({_NUMBER})\s*(?:in|inch|inches|\"|″)\.?)?",
    re.IGNORECASE,
)
_METRIC = re.compile(rf"({_NUMBER})\s*(m|cm|mm)", re.IGNORECASE)
_PER_METRE = {"m": 1, "cm": 100, "mm": 1000}
_DEGREES = re.compile(rf"([+-]?{_NUMBER})\s*(?:°|º|deg)?\s*([FC])[a-z]*", re.IGNORECASE)
_IN_A_NAME = re.compile(r"(?:(\d+)/(\d+)|(-?\d+(?:\.\d+)?)) (degC|mm|cm|in|K)\b")

PRICE_FORM = r"^[^\d\s.,+-]{0,6} ?[0-9]+(?:[.,][0-9]+)? ?[^\d\s]{0,6}$"


class Price(NamedTuple):
    """Of a kWh, with its currency where it was written: `$0.17`, `0.17 USD`."""

    per_kwh: float
    before: str
    after: str

    def of(self, kwh: float) -> str:
        """What so many kilowatt-hours cost."""
        return f"{self.before}{self.per_kwh * kwh:.2f}{self.after}"


def price(text: str) -> Price:
    """`$0.17`, `0.17 USD`. Raises ValueError."""
    text = text.strip()
    found = re.search(_NUMBER, text)
    if found is None or re.match(PRICE_FORM, text) is None:
        raise ValueError('a price has its currency with it, such as "0.17 USD"')
    return Price(_number(found[0]), text[: found.start()], text[found.end() :])


def length_m(text: str) -> float:
    """`5 ft`, `5 ft 6 in`, `60 in`, `1.5 m`, `150 cm` in metres. Raises ValueError."""
    text = text.strip()
    if found := _METRIC.fullmatch(text):
        return _number(found[1]) / _PER_METRE[found[2].lower()]
    found = _FEET.fullmatch(text)
    if found is None or not text:
        raise ValueError('a length has its unit with it, such as "5 ft 6 in" or "1.5 m"')
    inches = _number(found[1] or "0") * INCHES_PER_FOOT + _number(found[2] or "0")
    return inches * CM_PER_INCH / 100


def temp_c(text: str, bare: Unit | None = None) -> float:
    """A temperature, `95 F`, `95 °F`, `35 C`, in degC; where `bare` is given, a number without a
    unit is in that. Raises ValueError."""
    if bare is not None and re.fullmatch(rf"[+-]?{_NUMBER}", text.strip()):
        return to_celsius(_number(text), bare)
    return to_celsius(*_degrees(text))


def step_c(text: str) -> float:
    """A temperature difference, `5 F`, `2.8 C`, in K. Raises ValueError."""
    value, unit = _degrees(text)
    return value / step_from_celsius(1.0, unit)


def length_shown(length_m: float, unit: Unit) -> str:
    """`4 ft 11 in` where degrees are Fahrenheit, to the inch; else `1.5 m`, to the centimetre."""
    if unit is not Unit.FAHRENHEIT:
        return f"{round(length_m, 2):g} m"
    feet, inches = divmod(round(length_m * 100 / CM_PER_INCH), INCHES_PER_FOOT)
    parts = [f"{feet} ft" if feet else "", f"{inches} in" if inches or not feet else ""]
    return " ".join(filter(None, parts))


def span(seconds: float) -> str:
    """How long, as one says it: `40 s`, `38 min`, `3 h 5 min`, `2 days 4 h`."""
    if seconds < 60:
        return f"{max(0, round(seconds))} s"
    minutes = round(seconds / 60)
    if minutes < 90:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    days, left = divmod(hours, 24)
    return f"{days} days {left} h" if left else f"{days} days"


def counted(count: int, one: str, many: str | None = None) -> str:
    """`1 chick`, `2 chicks`."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def step_written(step_c: float, unit: Unit) -> str:
    """A temperature difference as it stands in the configuration: `-0.72 F`."""
    return f"{step_from_celsius(step_c, unit):.2f} {unit.value[0].upper()}"


def in_units(text: str, unit: Unit) -> str:
    """A figure's name with the measures in it as the grower reads them."""
    return _IN_A_NAME.sub(lambda found: _measure(found, unit), text)


def _measure(found: re.Match[str], unit: Unit) -> str:
    value = int(found[1]) / int(found[2]) if found[1] else float(found[3])
    fahrenheit = unit is Unit.FAHRENHEIT
    match found[4]:
        case "degC":
            return shown(value, unit)
        case "K":
            return f"{step_from_celsius(value, unit):g} {sign(unit)}"
        case "in":
            return found[0] if fahrenheit else f"{value * CM_PER_INCH * 10:.0f} mm"
        case metric:
            inches = value / (1 if metric == "cm" else 10) / CM_PER_INCH
            return f"{inches:.2g} in" if fahrenheit else found[0]


def _degrees(text: str) -> tuple[float, Unit]:
    found = _DEGREES.fullmatch(text.strip())
    if found is None:
        raise ValueError('a temperature has its unit with it, such as "95 F" or "35 C"')
    return _number(found[1]), Unit.FAHRENHEIT if found[2] in "fF" else Unit.CELSIUS


def _number(text: str) -> float:
    return float(text.replace(",", "."))
