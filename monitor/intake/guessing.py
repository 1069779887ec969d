"""Where in an unknown payload a temperature may be. Pure; called by intake.unclaimed."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """Where a temperature may be. `pointer` None: the payload is a bare number or SenML."""

    pointer: str | None
    value: float
    unit: str


def guess(payload: bytes) -> tuple[Guess, ...]:
    """Places of the payload that may hold a temperature, the likeliest first."""
    try:
        document = (
            json.loads(payload.decode("utf-8").strip().replace(",", ".", 1))
            if len(payload) < 16
            else json.loads(payload)
        )
    except (ValueError, RecursionError):
        return ()
    if isinstance(document, int | float) and not isinstance(document, bool):
        unit = _unit_for(float(document), "")
        return (Guess(pointer=None, value=float(document), unit=unit),) if unit else ()
    if isinstance(document, list) and document and _looks_senml(document):
        return _guess_senml(document)
    found = [
        (likelihood, Guess(pointer=pointer, value=value, unit=unit))
        for pointer, name, value in _numbers(document)
        for likelihood in (_likelihood(name),)
        if (unit := _unit_for(value, name)) and likelihood > 0
    ]
    found.sort(key=lambda pair: -pair[0])
    return tuple(one for _, one in found[:4])


_LIKELY = ("temperature", "temp", "tempc", "temp_c", "tempf", "temp_f", "celsius", "fahrenheit")
_NOT_TEMPERATURE = ("hum", "batt", "volt", "rssi", "link", "press", "time", "stamp", "id", "lux")


def _likelihood(name: str) -> int:
    word = name.lower()
    if any(part in word for part in _NOT_TEMPERATURE):
        return 0
    if word in _LIKELY:
        return 3
    return 2 if "temp" in word or word in ("t", "c", "f") else 1


def _unit_for(value: float, name: str) -> str | None:
    """The unit in which this would be a temperature of a brooder or of a night outside."""
    word = name.lower()
    if word.endswith(("_f", "tempf", "fahrenheit")) or word == "f":
        return "fahrenheit" if -40 <= value <= 200 else None
    if -40 <= value <= 60:
        return "celsius"
    if 60 < value <= 140:
        return "fahrenheit"
    return "kelvin" if 233 <= value <= 333 else None


def _numbers(
    document: Any, at: str = "", name: str = "", depth: int = 0
) -> Iterator[tuple[str, str, float]]:
    if depth > 6:
        return
    if isinstance(document, Mapping):
        for key, value in list(document.items())[:64]:
            token = str(key).replace("~", "~0").replace("/", "~1")
            yield from _numbers(value, f"{at}/{token}", str(key), depth + 1)
    elif isinstance(document, list):
        for index, value in enumerate(document[:16]):
            yield from _numbers(value, f"{at}/{index}", name, depth + 1)
    elif isinstance(document, int | float | str) and not isinstance(document, bool):
        try:
            value = float(document)
        except (ValueError, OverflowError):
            return
        yield at, name, value


def _looks_senml(document: list[Any]) -> bool:
    return all(isinstance(r, Mapping) and ("n" in r or "bn" in r or "v" in r) for r in document)


def _guess_senml(document: list[Any]) -> tuple[Guess, ...]:
    for record in document:
        value = record.get("v")
        said = record.get("u", record.get("bu"))
        if isinstance(value, int | float) and said in ("Cel", "K"):
            unit = "celsius" if said == "Cel" else "kelvin"
            return (Guess(pointer=None, value=float(value), unit=unit),)
    return ()
