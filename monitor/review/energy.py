"""What the heat of a box has used: measured by its plugs where there are any, else worked out from
its sources' watts and the hours in which they were lit. Called by the record sheet, the pictures
and the batches beside each other."""

from collections.abc import Sequence
from enum import IntEnum
from typing import NamedTuple

import numpy as np

from monitor.quantities import POWER
from monitor.review.exposure import Floats, Trace
from monitor.review.record import Record
from monitor.site import HeatSource, Place
from monitor.tell.wording.warm_up_words import UNDER_HEAT_K
from monitor.thermal.witness import beneath

_HOLDS_S = 900.0  # a plug's word counts until the next one, but for no longer
_J_PER_KWH = 3.6e6
_ENOUGH = 0.95  # of the time measured: the rest is not worth a reservation
_HALF = 0.5  # of the time read beneath a source: its share of lit hours stands for all


class How(IntEnum):
    """How sure it is, the surest first."""

    MEASURED = 0
    BY_PROBE = 1  # watts, and the hours in which the probe beneath it was warmer than the floor
    AT_MOST = 2  # watts, as if it had been lit all the time


class Used(NamedTuple):
    """Of one source."""

    name: str
    kwh: float
    how: How


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
    held_s = _held_s(times, start, stop, _HOLDS_S)
    return float(np.sum(held_s * np.maximum(0.0, watts)) / _J_PER_KWH)


def heat_used(record: Record) -> list[Used]:
    """Each heat source of the box over the record, as the box is configured now."""
    return [_used(record, source) for source in record.brooder.heat]


def reserve(used: Sequence[Used]) -> str:
    """What stands before the sum: nothing where all is measured, else `about`, `at most`."""
    return {How.MEASURED: "", How.BY_PROBE: "about ", How.AT_MOST: "at most "}[
        max((one.how for one in used), default=How.MEASURED)
    ]


HOW_WORDS = {
    How.MEASURED: "measured by its plug",
    How.BY_PROBE: "watts times the hours in which the probe beneath it was warmer than the floor",
    How.AT_MOST: "watts times all hours, as if it had always been lit",
}


def _used(record: Record, source: HeatSource) -> Used:
    span_s = record.stop - record.start
    plugs = (m.series for m in record.brooder.meters if m.quantity is POWER)
    plug = next((series for series in plugs if series.startswith(f"{source.name} ")), None)
    measured, covered_s = 0.0, 0.0
    if plug is not None:
        times, watts = _said(record, plug, record.start, record.stop)
        measured = kwh(times, watts, record.start, record.stop)
        covered_s = float(np.sum(_held_s(times, record.start, record.stop, _HOLDS_S)))
    if span_s > 0 and covered_s >= _ENOUGH * span_s:
        return Used(source.name, measured, How.MEASURED)
    share = _lit_share(record, source)
    rest = source.watts * (span_s - covered_s) * (1.0 if share is None else share) / _J_PER_KWH
    return Used(source.name, measured + rest, How.AT_MOST if share is None else How.BY_PROBE)


def _lit_share(record: Record, source: HeatSource) -> float | None:
    """The share of the time in which the probe beneath it was warmer than the floor."""
    for probe in record.probes:
        if probe.place is not Place.UNDER_HEAT:
            continue
        index = beneath(record.brooder, probe.name)
        if index is None or record.brooder.heat[index] is not source:
            continue
        under = record.readings_of([probe.key]).get(probe.key)
        if under is None or not len(under.times):
            continue
        floor_c = _floor_at(list(record.traces.values()), under.times, record.hold_s)
        known = ~np.isnan(floor_c)
        held_s = _held_s(under.times, record.start, record.stop, record.hold_s) * known
        read_s = float(np.sum(held_s))
        if read_s >= _HALF * (record.stop - record.start):
            lit = known & (under.temps_c > floor_c + UNDER_HEAT_K)
            return float(np.sum(held_s * lit)) / read_s
    return None


def _floor_at(traces: Sequence[Trace], times: Floats, hold_s: float) -> Floats:
    """The mean of the floor probes heard at these times; NaN where none was."""
    total, heard = np.zeros(len(times)), np.zeros(len(times))
    for trace in traces:
        if not len(trace.times):
            continue
        index = np.searchsorted(trace.times, times, side="right") - 1
        there = (index >= 0) & (times - trace.times[np.maximum(index, 0)] <= hold_s)
        total += np.where(there, trace.temps_c[np.maximum(index, 0)], 0.0)
        heard += there
    found: Floats = np.divide(total, heard, out=np.full(len(times), np.nan), where=heard > 0)
    return found


def _said(record: Record, series: str, start: float, stop: float) -> tuple[Floats, Floats]:
    return record.kept.samples(record.brooder.name, series, start - _HOLDS_S, stop)


def _held_s(times: Floats, start: float, stop: float, hold_s: float) -> Floats:
    """How long each word holds within the span."""
    if not len(times):
        return times
    ends = np.minimum(np.append(times[1:], stop), times + hold_s)
    held: Floats = np.maximum(0.0, np.minimum(ends, stop) - np.maximum(times, start))
    return held
