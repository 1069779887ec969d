"""Temperatures back to the payloads that a probe would publish under its configuration. Pure;
called by `export_lines`.

A temperature is kept to 0.0001 degC, so a payload of up to four decimals in degC or kelvin, or
three in degF, comes back as it was; under the same configuration it reads to the same value."""

import json
from collections.abc import Mapping
from typing import Any

from monitor.journal.records import Known
from monitor.units import Unit, from_celsius


def raw_number(known: Known, temp_c: float, *, corrected: bool = True) -> float:
    """The number the probe said, in its unit. `corrected` says that the offset is in it."""
    unit = Unit(known.unit) if known.unit else Unit.CELSIUS
    number = from_celsius(temp_c - (known.offset_c if corrected else 0.0), unit)
    return round(number, 3 if unit is Unit.FAHRENHEIT else 4)


def number_text(number: float) -> str:
    """The shortest decimal: `33.4`, `21`."""
    text = repr(number)
    return text.removesuffix(".0")


def payload(known: Known, number: float, at: float) -> str:
    """What one probe publishes."""
    if known.senml_name is not None:
        unit = {"kelvin": "K", "celsius": "Cel"}.get(known.unit or "celsius")
        record: dict[str, Any] = {"n": known.senml_name, "t": at}
        if unit is not None:  # SenML knows no degF; without a unit the probe's own is meant
            record["u"] = unit
        return json.dumps([record | {"v": number}], separators=(",", ":"))
    if known.value_pointer is None:
        return number_text(number)
    return document([(known, number)], at)


def document(parts: list[tuple[Known, float]], at: float) -> str:
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


def current(known: Mapping[int, Known]) -> dict[str, Known]:
    """Each probe as it was configured last: what an export is to replay under."""
    return {one.key: one for _, one in sorted(known.items())}
