"""A weather forecast's JSON to (time, temperature) pairs. Pure; called by `service.forecast`.

Any public weather service will do that answers with two lists in one document, times and
temperatures: where they stand is said by JSON Pointers (RFC 6901)."""

import json
import math
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from jsonpointer import JsonPointer, JsonPointerException

from monitor.units import Unit, to_celsius

MOST_BYTES = 1 << 20
MOST_HOURS = 24 * 16


class ForecastFault(ValueError):
    """The document is not the forecast that the configuration says it is."""


def read_forecast(
    document: bytes, *, times: str, temperatures: str, unit: Unit, zone: ZoneInfo
) -> tuple[tuple[float, float], ...]:
    """Pairs of Unix seconds (UTC) and degC, in time order. A time without an offset is the site's.
    Raises ForecastFault that names what is missing."""
    if len(document) > MOST_BYTES:
        raise ForecastFault(f"the answer is longer than {MOST_BYTES} bytes")
    try:
        whole = json.loads(document)
    except (ValueError, RecursionError) as error:
        raise ForecastFault("the answer is not JSON") from error
    at_list, temp_list = _list(whole, times), _list(whole, temperatures)
    if len(at_list) != len(temp_list):
        raise ForecastFault(
            f"{times} has {len(at_list)} entries and {temperatures} has {len(temp_list)}"
        )
    pairs = []
    for at, temp in zip(at_list[:MOST_HOURS], temp_list[:MOST_HOURS], strict=True):
        if temp is None:
            continue
        if isinstance(temp, bool) or not isinstance(temp, int | float) or not math.isfinite(temp):
            raise ForecastFault(f"{temperatures} holds {temp!r}, which is no temperature")
        temp_c = to_celsius(float(temp), unit)
        if not -60 <= temp_c <= 60:
            raise ForecastFault(f"{temp} {unit} is no outside temperature; is the unit right?")
        pairs.append((_seconds(at, zone), temp_c))
    if not pairs:
        raise ForecastFault(f"{times} is empty")
    return tuple(sorted(pairs))


def _list(whole: Any, pointer: str) -> list[Any]:
    try:
        found = JsonPointer(pointer).resolve(whole)
    except (JsonPointerException, TypeError) as error:
        raise ForecastFault(f"there is nothing at {pointer}") from error
    if not isinstance(found, list):
        raise ForecastFault(f"{pointer} is not a list")
    return found


def _seconds(at: Any, zone: ZoneInfo) -> float:
    if isinstance(at, int | float) and not isinstance(at, bool) and 0 < at < 1e11:
        return float(at)
    if isinstance(at, str):
        try:
            moment = datetime.fromisoformat(at)
        except ValueError:
            moment = None
        if moment is not None:
            return (
                (moment if moment.tzinfo else moment.replace(tzinfo=zone))
                .astimezone(UTC)
                .timestamp()
            )
    raise ForecastFault(f"{at!r} is no time; ISO 8601 or Unix seconds would be right")
