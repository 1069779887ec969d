"""Temperatures back to the payloads that a probe would publish under its configuration. Pure;
called by `export_lines`.

A temperature is kept to 0.0001 degC; the payload has as few decimals as read to the same again, so
what a probe sent with up to three decimals comes back as it was."""

import json
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from monitor.journal.records import KnownProbe
from monitor.journal.resolution import PER_DEGREE, ten_thousandths
from monitor.quantities import QUANTITIES
from monitor.units import Unit, from_celsius, to_celsius

_STATES = frozenset(kind for kind, row in QUANTITIES.items() if row.is_state)
_TEMPERATURE = frozenset(unit.value for unit in Unit)


def raw_number(known: KnownProbe, value: int, *, corrected: bool = True) -> float:
    """The number the probe said, in its unit, from a kept value. `corrected`: with its offset."""
    unit = Unit(known.unit) if known.unit in _TEMPERATURE else Unit.CELSIUS  # a watt is a watt
    return shortest(value, unit, known.offset_c if corrected else 0.0)


@lru_cache(100_000)
def shortest(value: int, unit: Unit, offset_c: float = 0.0) -> float:
    """The number with the fewest decimals that is kept as this value again."""
    exact = from_celsius(value / PER_DEGREE - offset_c, unit)
    for digits in range(1, 6):
        number = round(exact, digits)
        if ten_thousandths(to_celsius(number, unit) + offset_c) == value:
            break
    return number


def number_text(number: float) -> str:
    """The shortest decimal: `33.4`, `21`."""
    text = repr(number)
    return text.removesuffix(".0")


def payload(known: KnownProbe, number: float, at: float) -> str:
    if known.senml_name is not None:
        said = known.unit or "celsius"
        unit = {"kelvin": "K", "celsius": "Cel", "fahrenheit": None}.get(said, said)
        if known.place in _STATES:
            unit = None
        record: dict[str, Any] = {"n": known.senml_name, "t": at}
        if unit is not None:  # SenML knows no degF; without a unit the probe's own is meant
            record["u"] = unit
        return json.dumps([record | {"v": number}], separators=(",", ":"))
    if known.value_pointer is None:
        return number_text(number)
    return document([(known, number)], at)


def document(parts: list[tuple[KnownProbe, float]], at: float) -> str:
    """The smallest JSON that holds every part at its pointer, and the time where one is read.
    A digit in a pointer finds a member of that name as well as a place in a list (RFC 6901)."""
    whole: Any = {}
    for known, number in parts:
        shown = int(number) if number == int(number) else number
        if known.value_pointer == "":
            whole = shown
            continue
        _put(whole, known.value_pointer or "", shown)
        if known.time_pointer:
            _put(whole, known.time_pointer, at)
    return json.dumps(whole, separators=(",", ":"))


def _put(whole: dict[str, Any], pointer: str, value: Any) -> None:
    *path, last = [token.replace("~1", "/").replace("~0", "~") for token in pointer.split("/")[1:]]
    place = whole
    for token in path:
        place = place.setdefault(token, {})
    place[last] = value


def current(known: Mapping[Any, KnownProbe]) -> dict[str, KnownProbe]:
    """Each probe as it was configured last: what an export is to replay under."""
    return {one.key: one for _, one in sorted(known.items())}
