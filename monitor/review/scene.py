"""What one picture shows, before it is drawn: plain data, in degC and Unix seconds.

Made by `record.scene`, drawn by `chart.describe`. Nothing here knows of Vega-Lite."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from zoneinfo import ZoneInfo

from monitor.quantities import Quantity
from monitor.review.alarm_log import Occurrence
from monitor.review.exposure import Floats, TargetLine, Trace
from monitor.site import Place
from monitor.units import Unit


class Stretch(StrEnum):
    """How much time a picture covers; it decides ticks, and lines or an envelope."""

    NIGHT = "night"  # up to two days: each probe is a line
    WEEK = "week"
    BATCH = "batch"  # longer than eight days: ages beside the dates


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeLine:
    """One probe's readings, cut at its silences."""

    name: str
    place: Place
    pieces: tuple[Trace, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """What a plug, a sensor or a switch said: Unix s, and values in its quantity's unit."""

    title: str
    quantity: Quantity
    times: Floats
    values: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something the grower wrote: `what` is loss, note, placed or moved."""

    at: float
    what: str
    text: str
    count: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    title: str
    summary: Sequence[str]  # short lines under the title: the story in figures
    start: float
    stop: float
    zone: ZoneInfo
    units: Unit
    target: TargetLine
    lines: tuple[ProbeLine, ...]
    hold_s: float
    measures: tuple[Measure, ...] = ()
    alarms: tuple[Occurrence, ...] = ()
    events: tuple[Event, ...] = ()
    box: str = ""
    ages: tuple[tuple[float, int], ...] = field(default=())  # (local midnight, age in days)

    @property
    def stretch(self) -> Stretch:
        """By length: up to 50 hours a night, up to 8.1 days a week."""
        days = (self.stop - self.start) / 86400
        if days <= 50 / 24:
            return Stretch.NIGHT
        return Stretch.WEEK if days <= 8.1 else Stretch.BATCH
