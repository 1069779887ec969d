"""What the heat of a box has used: measured by its plugs where there are any, else by its sources'
watts, as if always lit. Called by the record sheet, the pictures and the batches beside each
other."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from monitor.quantities import POWER
from monitor.review.exposure import Floats
from monitor.review.record import Record
from monitor.site import HeatSource

_HOLDS_S = 900.0  # a plug's word counts until the next one, but for no longer
_J_PER_KWH = 3.6e6
_ENOUGH = 0.95  # of the time measured: the rest is not worth a reservation


class Used(NamedTuple):
    """Of one source. Not `measured`: at most so much, as if it had been lit all the time."""

    kwh: float
    measured: bool


def energy_line(record: Record, start: float, stop: float) -> str | None:
    """`heat drew 7.4 kWh: west lamp 5.1, plate 2.3`. None: no plug measured."""
    drawn: dict[str, float] = {}
    for meter in record.brooder.meters:
        if meter.quantity is POWER:
            times, watts = _said(record, meter.series, start, stop)
            if times.size:
                drawn[meter.title] = kwh(times, watts, start, stop)
    if not drawn:
        return None
    each = ", ".join(f"{name} {value:.1f}" for name, value in drawn.items())
    return f"heat drew {sum(drawn.values()):.1f} kWh" + (f": {each}" if len(drawn) > 1 else "")


def kwh(times: Floats, watts: Floats, start: float, stop: float) -> float:
    """Of one plug's words (Unix s, W), each held until the next one."""
    held_s = _held_s(times, start, stop)
    return float(np.sum(held_s * np.maximum(0.0, watts)) / _J_PER_KWH)


def heat_used(record: Record) -> list[Used]:
    """Each heat source of the box over the record, as the box is configured now."""
    return [_used(record, source) for source in record.brooder.heat]


def reserve(used: Sequence[Used]) -> str:
    """What stands before the sum: nothing where all is measured."""
    return "" if all(one.measured for one in used) else "at most "


HOW_WORDS = (
    "Heat is as its plugs measured it; where none did, watts times all hours, as if always lit."
)


def _used(record: Record, source: HeatSource) -> Used:
    span_s = record.stop - record.start
    plugs = (m.series for m in record.brooder.meters if m.quantity is POWER)
    plug = next((series for series in plugs if series.startswith(f"{source.name} ")), None)
    measured, covered_s = 0.0, 0.0
    if plug is not None:
        times, watts = _said(record, plug, record.start, record.stop)
        measured = kwh(times, watts, record.start, record.stop)
        covered_s = float(np.sum(_held_s(times, record.start, record.stop)))
    if span_s > 0 and covered_s >= _ENOUGH * span_s:
        return Used(measured, measured=True)
    rest = source.watts * (span_s - covered_s) / _J_PER_KWH
    return Used(measured + rest, measured=False)


def _said(record: Record, series: str, start: float, stop: float) -> tuple[Floats, Floats]:
    return record.kept.samples(record.brooder.name, series, start - _HOLDS_S, stop)


def _held_s(times: Floats, start: float, stop: float) -> Floats:
    """How long each word holds within the span."""
    if not len(times):
        return times
    ends = np.minimum(np.append(times[1:], stop), times + _HOLDS_S)
    held: Floats = np.maximum(0.0, np.minimum(ends, stop) - np.maximum(times, start))
    return held
