"""What the heat of a box has drawn, by its plugs. Called by the record sheet and the pictures."""

import numpy as np

from monitor.quantities import POWER
from monitor.review.exposure import Floats
from monitor.review.record import Record

_HOLDS_S = 900.0  # a plug's word counts until the next one, but for no longer
_J_PER_KWH = 3.6e6


def energy_line(record: Record, start: float, stop: float) -> str | None:
    """`heat drew 7.4 kWh: west lamp 5.1, plate 2.3`. None: no plug measured."""
    drawn: dict[str, float] = {}
    for meter in record.brooder.meters:
        if meter.quantity is POWER:
            times, watts = record.kept.samples(
                record.brooder.name, meter.series, start - _HOLDS_S, stop
            )
            if times.size:
                drawn[meter.title] = kwh(times, watts, start, stop)
    if not drawn:
        return None
    each = ", ".join(f"{name} {value:.1f}" for name, value in drawn.items())
    return f"heat drew {sum(drawn.values()):.1f} kWh" + (f": {each}" if len(drawn) > 1 else "")


def kwh(times: Floats, watts: Floats, start: float, stop: float) -> float:
    """Of one plug's words (Unix s, W), each held until the next one."""
    ends = np.minimum(np.append(times[1:], stop), times + _HOLDS_S)
    held_s = np.maximum(0.0, np.minimum(ends, stop) - np.maximum(times, start))
    return float(np.sum(held_s * np.maximum(0.0, watts)) / _J_PER_KWH)
