"""What the watch foretells at an instant, as `brooder replay --foretold` writes it: for whoever
holds it against what came."""

from typing import Any

from monitor.journal.resolution import iso
from monitor.thermal.diagnosis import Interval
from monitor.watch.status import BrooderStatus

EVERY_S = 1800.0


def foretold(at: float, box: BrooderStatus) -> dict[str, Any]:
    """One JSON object. `lowest`, the night's lowest floor (degC), and `minutes` to the chill limit
    are [low, mid, high] with an 80 % interval, `lowest_at` is in Unix seconds. None: not known."""
    outlook, diagnosis = box.outlook, box.diagnosis
    cause = None if diagnosis is None else diagnosis.cause
    return {
        "at": iso(round(at * 1000)),
        "brooder": box.name,
        "temp": box.temp_c,
        "target": box.target_c,
        "outside": box.outside_c,
        "cause": None if cause is None else cause.value,
        "source": None if diagnosis is None else diagnosis.source,
        "lowest": None if outlook is None else _three(outlook.lowest_c),
        "lowest_at": None if outlook is None else outlook.lowest_at,
        "chance": None if outlook is None else outlook.chance,
        "minutes": None if box.minutes_to_chill is None else _three(box.minutes_to_chill),
    }


def _three(value: Interval) -> list[float]:
    return [value.low, value.mid, value.high]
