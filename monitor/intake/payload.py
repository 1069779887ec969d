"""Payload bytes to readings. Called by the service for each message; does no I/O, never raises.

A bare number, JSON with a JSON Pointer to the value, or SenML JSON: for probes and meters alike.
What cannot be read becomes a `Rejected` that names the reason; what was read but no floor can be
becomes a `BadValue`."""

import json
import re
from contextlib import suppress
from datetime import datetime
from functools import lru_cache
from math import isfinite
from typing import Any, NamedTuple

from jsonpointer import JsonPointer, JsonPointerException
from pydantic_core import from_json

from monitor.events import BadValue, Measured, Moment, Reading
from monitor.intake import senml
from monitor.intake.plausible import LOWEST_C, USUAL_BELOW_C, fault_of
from monitor.intake.topics import Sensor
from monitor.site import Meter, Probe
from monitor.units import Unit, to_celsius

MAX_PAYLOAD_BYTES = 65536  # a probe sends tens of bytes; a pack of a day's buffer stays below
MAX_WORD = 64  # characters of the longest number worth reading
AHEAD_S = 120.0  # a probe's clock may run ahead by this; more is a clock that was never set
OLDEST_S = 7 * 86400.0  # no probe buffers longer; older is a clock at its epoch (1970, 2000)


class Rejected(NamedTuple):
    """A message of a claimed topic that holds no reading: why, in one plain clause."""

    at: float
    tick: float
    probe: str  # Probe.key or Meter.key
    reason: str
    absent: bool = False  # well as it is, but this sensor's value is not in it


Outcome = Reading | Measured | Rejected | BadValue


class Refusal(Exception):
    """Inside this module only: the reason on its way out of nested reading."""


class _Absent(Refusal):
    """The message is for another sensor of the same topic, as far as can be told."""


class _Fault(Exception):
    """The probe itself tells in words what is wrong with it (SenML `vs` and no temperature)."""


def too_long(size: int) -> str:
    """Why a payload of so many bytes is not read."""
    return f"is {size} bytes long; at most {MAX_PAYLOAD_BYTES} are read"


def read(payload: bytes, probe: Sensor, received: Moment, arrived: Moment | None = None) -> Outcome:
    if type(probe) is Probe and probe.value_pointer is None and len(payload) < 32:
        # The usual case by far, about a microsecond. `_` is float()'s own digit separator.
        try:
            value = float(payload)
        except ValueError:
            pass
        else:
            if probe.unit is not Unit.CELSIUS:
                value = to_celsius(value, probe.unit)
            if LOWEST_C <= value < USUAL_BELOW_C and b"_" not in payload:
                at, tick = received
                return Reading(at, tick, probe.key, value + probe.offset_c)
    return read_all(payload, probe, received, arrived=arrived)[-1]


def read_all(
    payload: bytes,
    probe: Sensor,
    received: Moment,
    arrived: Moment | None = None,
) -> list[Outcome]:
    """Every reading in the payload, oldest first; never empty.

    Of a message that the broker had held, `received` is when it was likely sent and `arrived` is
    when it came: a probe's own stamp is judged by the latter."""
    try:
        pairs = _pairs(payload, probe, received)
    except Refusal as refusal:
        absent = isinstance(refusal, _Absent)
        return [Rejected(received.at, received.tick, probe.key, str(refusal), absent)]
    except _Fault as fault:
        return [BadValue(received.at, received.tick, probe.key, str(fault), None)]
    except senml.PackRefused as refusal:
        return [Rejected(received.at, received.tick, probe.key, f"SenML: {refusal}")]
    outcomes: list[Outcome] = []
    for value, at in pairs:
        at = _believed(at, received, arrived or received)  # noqa: PLW2901 - the stamp, once judged, is gone
        outcomes.append(_judged(value, probe, at, received.tick - (received.at - at)))
    return outcomes


def _judged(value: float, probe: Sensor, at: float, tick: float) -> Outcome:
    if isinstance(probe, Meter):
        quantity = probe.quantity
        if quantity.least <= value <= quantity.most:
            return Measured(at, tick, probe.key, value)
        return Rejected(
            at, tick, probe.key,
            f"is {value:g} {quantity.sign}; {quantity.title} lies from {quantity.least:g} to "
            f"{quantity.most:g} {quantity.sign}",
        )  # fmt: skip
    fault = fault_of(value)
    if fault is not None:
        return BadValue(at, tick, probe.key, fault, value)
    return Reading(at, tick, probe.key, value + probe.offset_c)


def _pairs(payload: bytes, probe: Sensor, received: Moment) -> list[tuple[float, float]]:
    """(degC or the meter's unit, Unix seconds) of everything in the payload, in time order."""
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise Refusal(too_long(len(payload)))
    if not payload.strip():
        raise Refusal("is empty")
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError:
        raise Refusal("is not text (wrong UTF-8)") from None
    if probe.value_pointer is None:
        start = text.lstrip()[:1]
        if start == "[":
            return _from_senml(_document(text), probe, received)
        if start == "{":
            raise Refusal(
                'is a JSON object; name the place of the value, such as value = "/temperature"'
            )
        return [(_bare(text, probe), received.at)]
    document = _document(text)
    value = _at_pointer(document, probe.value_pointer, "value")
    amount = _amount(value, probe, probe.value_pointer)
    at = received.at
    if probe.time_pointer is not None:
        # A reading without a good stamp is still a reading.
        with suppress(Refusal, ValueError, OverflowError, OSError):
            at = _stamp(_at_pointer(document, probe.time_pointer, "time"))
    return [(amount, at)]


def _amount(value: Any, probe: Sensor, pointer: str | None) -> float:
    """A JSON value or a bare word, in degC or in the meter's unit."""
    if isinstance(probe, Probe):
        return to_celsius(_number(value, pointer), probe.unit)
    if not probe.quantity.is_state:
        return _number(value, pointer)
    state = probe.quantity.state(value)
    if state is None:
        known = ", ".join(sorted(probe.quantity.words))
        where = f"value at {pointer} " if pointer else ""
        raise Refusal(f"{where}is {_excerpt(str(value))}; it must be one of {known}")
    return state


_UNIT_AFTER = re.compile(r"\s*(?:°\s*|º\s*|deg\s*)?([CFK])$", re.IGNORECASE)
_UNIT_OF = {"C": Unit.CELSIUS, "F": Unit.FAHRENHEIT, "K": Unit.KELVIN}


def _bare(text: str, probe: Sensor) -> float:
    """A number as people and boards write it: `33.4`, ` 33,4 `, `33.4 °C`, `"33.4"`, `238 W`."""
    word = text.strip().strip("\x00\ufeff").strip().removeprefix('"').removesuffix('"').strip()
    if len(word) > MAX_WORD:  # before any pattern sees it
        raise Refusal(f"is {_excerpt(word)}, not a number")
    if isinstance(probe, Meter):
        return _amount(word.removesuffix(probe.quantity.sign).rstrip(), probe, None)
    unit = probe.unit
    if sign := _UNIT_AFTER.search(word):
        said = _UNIT_OF[sign[1].upper()]
        if said is not unit:
            raise Refusal(f"says {_excerpt(word)}, but the probe is configured as {unit}")
        word = word[: sign.start()].rstrip()
    return to_celsius(_number(word, None), unit)


# Decimal digits only: float() also takes 1_000, Arabic-Indic digits, "nan" and "infinity".
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?", re.ASCII)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)


def _number(value: Any, pointer: str | None) -> float:
    """A finite float from a JSON value or a bare word; booleans are not numbers here."""
    if type(value) is float and isfinite(value):
        return value
    where = f"value at {pointer} " if pointer else ""
    if isinstance(value, str):
        word = value.strip()
        if _NOT_FINITE.fullmatch(word):
            raise Refusal(f"{where}is {word}: the probe itself knows no temperature")
        if len(word) > MAX_WORD or not _DECIMAL.fullmatch(word):
            raise Refusal(f"{where}is {_excerpt(word)}, not a number")
        number = float(word.replace(",", "."))
    elif isinstance(value, bool) or value is None:
        raise Refusal(f"{where}is {json.dumps(value)}, not a number")
    elif isinstance(value, int | float):
        try:
            number = float(value)
        except OverflowError:
            raise Refusal(f"{where}is too large for a number") from None
    else:
        kind = "a list" if isinstance(value, list) else "an object"
        raise Refusal(f"{where}is {kind}, not a number")
    if not isfinite(number):
        raise Refusal(f"{where}is not a finite number")
    return number


def _no_constant(word: str) -> float:
    raise Refusal(f"holds {word}, which is not JSON")


_DECODE = json.JSONDecoder(parse_constant=_no_constant).decode


def _document(text: str) -> Any:
    """By the quicker parser; what that one refuses is taken, or named, as Python does."""
    try:
        return from_json(text, allow_inf_nan=False)
    except (ValueError, TypeError):  # also half a surrogate pair
        pass
    try:
        return _DECODE(text)
    except RecursionError:
        raise Refusal("is nested too deeply") from None
    except ValueError as error:  # JSONDecodeError, and integers of more than 4,300 digits
        if isinstance(error, json.JSONDecodeError):
            raise Refusal(f"is not JSON ({error.msg} at character {error.pos})") from None
        raise Refusal("holds a number of thousands of digits") from None


@lru_cache(maxsize=256)
def _compiled(pointer: str) -> tuple[JsonPointer, list[tuple[str, int | None]]]:
    """With each step, and its place where that may be one in an array (RFC 6901, section 4)."""
    compiled = JsonPointer(pointer)
    places = (re.fullmatch(r"0|[1-9][0-9]{0,5}", name) for name in compiled.parts)
    return compiled, [
        (name, int(name) if place else None)
        for name, place in zip(compiled.parts, places, strict=True)
    ]


def _at_pointer(document: Any, pointer: str, what: str) -> Any:
    try:
        (compiled, steps), found = _compiled(pointer), document
        for name, place in steps:  # the usual cases by far, quicker than the library
            if type(found) is dict and name in found:
                found = found[name]
            elif place is not None and type(found) is list and place < len(found):
                found = found[place]
            else:
                return compiled.resolve(document)
        return found
    except JsonPointerException:
        # A word or an empty list is no other sensor's message.
        others = bool(document) and isinstance(document, dict | list)
        none = f"has no {what} at {_excerpt(pointer)}"
        raise (_Absent if others else Refusal)(none) from None
    except (TypeError, ValueError, KeyError, IndexError, RecursionError):
        raise Refusal(f"cannot be followed to {_excerpt(pointer)}") from None


def _stamp(value: Any) -> float:
    """ISO 8601 with its zone, or Unix seconds or milliseconds, as Unix seconds. Raises Refusal,
    ValueError, OverflowError, OSError."""
    if isinstance(value, str) and not _DECIMAL.fullmatch(value.strip()):
        moment = datetime.fromisoformat(value.strip())
        if moment.tzinfo is None:
            raise ValueError("no zone")
        return moment.timestamp()
    number = _number(value, None)
    # 1e11 s is the year 5138; 1e11 ms is 1973.
    return number / 1000.0 if abs(number) >= 1e11 else number


def _believed(at: float, received: Moment, arrived: Moment) -> float:
    believable = -AHEAD_S <= arrived.at - at <= OLDEST_S
    return min(at, arrived.at) if believable else received.at


_SENML_UNIT = {"Cel": Unit.CELSIUS, "K": Unit.KELVIN}


def _meter_from_senml(document: Any, meter: Meter, now: float) -> list[tuple[float, float]]:
    """A quantity is known by its unit, a state by being none of a number."""
    quantity = meter.quantity
    fits = []
    for record in senml.resolve(document, now):
        said = record.value if quantity.senml else quantity.state(record.said)
        right = record.unit in (None, quantity.senml) if meter.senml_name else (
            record.unit == quantity.senml
        )  # fmt: skip
        if said is not None and right and meter.senml_name in (None, record.name):
            fits.append((record.name, said, record.at))
    if len({name for name, _, _ in fits}) > 1:
        listed = ", ".join(sorted({_excerpt(name) for name, _, _ in fits})[:4])
        raise Refusal(f"SenML pack holds several ({listed}); name one of them")
    if not fits:
        what = f"unit {quantity.senml}" if quantity.senml else f"one of {', '.join(quantity.words)}"
        raise Refusal(f"SenML pack holds no {quantity.title} ({what})")
    return [(said, at) for _, said, at in fits]


def _from_senml(document: Any, probe: Sensor, received: Moment) -> list[tuple[float, float]]:
    if isinstance(probe, Meter):
        return _meter_from_senml(document, probe, received.at)
    records = senml.resolve(document, received.at)
    temps = [r for r in records if r.value is not None and r.unit in (None, *_SENML_UNIT)]
    if not temps and (words := next((r.text for r in records if r.text), None)):
        raise _Fault(f"the probe says: {_excerpt(words, 120)}")
    if probe.senml_name is not None:
        temps = [r for r in temps if r.name == probe.senml_name]
        if not temps:
            raise _Absent(f"SenML pack holds no temperature named {_excerpt(probe.senml_name)}")
    if not temps:
        raise _Absent("SenML pack holds no temperature (unit Cel or K)")
    names = sorted({r.name for r in temps})
    if len(names) > 1:
        # A record that says Cel outweighs one that says nothing.
        said = [r for r in temps if r.unit is not None]
        names = sorted({r.name for r in said}) or names
        if len(names) > 1:
            listed = ", ".join(_excerpt(name) for name in names[:4])
            raise Refusal(f"SenML pack holds several temperatures ({listed}); name one of them")
        temps = said
    return [
        (to_celsius(r.value or 0.0, _SENML_UNIT[r.unit] if r.unit else probe.unit), r.at)
        for r in temps
    ]


def _excerpt(word: str, most: int = 40) -> str:
    """A few characters, quoted, with control characters escaped."""
    shown = word if len(word) <= most else word[: most - 1] + "…"
    return json.dumps(shown, ensure_ascii=not shown.isprintable())
