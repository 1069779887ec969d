"""Made-up nights, weeks and batches for pictures: a lamp that dies at two, and what followed."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from monitor.brooding.schedules import BUILT_IN
from monitor.events import AlarmName, Cause, Facts, Priority
from monitor.review.alarm_log import Occurrence
from monitor.review.exposure import Trace
from monitor.review.scene import Event, ProbeLine, Scene
from monitor.review.target_line import target_line
from monitor.review.thinning import pieces
from monitor.site import Limits, Place, Steps
from monitor.units import Unit

ZONE = ZoneInfo("America/Chicago")
HATCHED = date(2026, 2, 8)
HOLD_S = 900.0


def at(text: str, zone: ZoneInfo = ZONE) -> float:
    """Unix time of a local time, `2026-02-10 18:00`."""
    return datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()


def line(name: str, place: Place, times: np.ndarray, temps: np.ndarray) -> ProbeLine:
    return ProbeLine(
        name=name, place=place, pieces=tuple(pieces(Trace(times, temps), hold_s=HOLD_S))
    )


def night(zone: ZoneInfo = ZONE, units: Unit = Unit.FAHRENHEIT) -> Scene:
    start, stop = at("2026-02-10 18:00", zone), at("2026-02-11 08:00", zone)
    times = np.arange(start, stop, 30.0)
    hours = (times - start) / 3600
    rng = np.random.default_rng(7)
    dead = np.clip(hours - 8.0, 0, 3.2)
    back = np.clip(hours - 11.2, 0, 9)
    fall = 14 * (1 - np.exp(-dead / 1.1)) * np.exp(-back / 0.6)
    wave = np.sin(hours * 9) * 0.4
    west = 34.6 - 0.12 * hours - fall * 1.1 + wave + rng.normal(0, 0.12, len(times))
    east = 34.0 - 0.1 * hours - fall * 0.6 - wave + rng.normal(0, 0.12, len(times))
    lamp = np.where((hours > 8) & (hours < 11.2), west + 1, 44 - 0.1 * hours + wave)
    cool = 29 - 0.1 * hours - fall * 0.4
    outside = -4 - 6 * np.sin(hours / 14 * np.pi) + rng.normal(0, 0.1, len(times))
    heard = ~((hours > 4.2) & (hours < 5.4))  # the east probe's radio was out
    target = target_line(
        BUILT_IN["weekly"], hatched=HATCHED, steps=Steps.WEEKLY, limits=Limits(), zone=zone,
        start=start, stop=stop,
    )  # fmt: skip
    hour = 3600
    return Scene(
        title="Hillside, porch: night to 11 Feb, age 2 to 3 days",
        summary=("coldest 64.9 °F at 05:10, target 95.0 °F",
                 "3 h 20 min below the band, 2 h 50 min below the chill limit"),
        start=start, stop=stop, zone=zone, units=units, target=target, hold_s=HOLD_S,
        lines=(
            line("floor west", Place.FLOOR, times, west),
            line("floor east", Place.FLOOR, times[heard], east[heard]),
            line("west lamp", Place.UNDER_HEAT, times, lamp),
            line("cool end", Place.COOL_END, times, cool),
            line("shade", Place.OUTSIDE, times, outside),
        ),
        alarms=(
            bar("heat-loss", priority=Priority.URGENT, raised=start + 8.05 * hour,
                     over=start + 11.4 * hour, acknowledged=start + 11.0 * hour),
            bar("cold", priority=Priority.WARNING, raised=start + 8.3 * hour,
                     over=start + 12.6 * hour, acknowledged=start + 11.0 * hour),
            bar("chill", priority=Priority.URGENT, raised=start + 8.7 * hour,
                     over=start + 12.1 * hour, acknowledged=start + 11.0 * hour),
        ),
        events=(
            Event(at=start + 12.5 * hour, what="loss", text="2 lost: piled in the corner", count=2),
            Event(at=start + 11.3 * hour, what="note", text="new bulb"),
        ),
    )  # fmt: skip


def bar(
    alarm: str, *, priority: Priority, raised: float, over: float, acknowledged: float | None = None
) -> Occurrence:
    return Occurrence(
        alarm=AlarmName(alarm), brooder="porch", probe=None, priority=priority,
        cause=Cause.UNKNOWN, raised=raised, acknowledged=acknowledged, by=None, cleared=over,
        facts=Facts(),
    )  # fmt: skip


def days(many: int, units: Unit = Unit.FAHRENHEIT) -> Scene:
    start = at("2026-02-08 12:00")
    stop = start + many * 86400
    times = np.arange(start, stop, 60.0)
    day = (times - start) / 86400
    rng = np.random.default_rng(3)
    target = target_line(
        BUILT_IN["weekly"], hatched=HATCHED, steps=Steps.WEEKLY, limits=Limits(), zone=ZONE,
        start=start, stop=stop,
    )  # fmt: skip
    goal = np.array([target.at(t) for t in times])
    swing = np.cos((day - 0.1) * 2 * np.pi)
    floor = goal + 0.8 * swing + rng.normal(0, 0.3, len(times))
    dip = (day > 2.6) & (day < 2.72)
    floor[dip] -= 13
    heard = ~((day > 4.1) & (day < 4.5))
    outside = -3 + 6 * swing + rng.normal(0, 0.2, len(times))
    alarms = [
        bar("heat-loss", priority=Priority.URGENT, raised=start + 2.6 * 86400,
                 over=start + 2.72 * 86400, acknowledged=start + 2.71 * 86400),
        bar("no-readings", priority=Priority.URGENT, raised=start + 4.11 * 86400,
                 over=start + 4.5 * 86400),
        bar("cold-night", priority=Priority.WARNING, raised=start + 5.2 * 86400,
                 over=start + 5.9 * 86400),
    ]  # fmt: skip
    return Scene(
        title=f"Hillside, porch: {many} days from 8 Feb",
        summary=("98 of 100 alive; coldest 68.1 °F on 11 Feb",),
        start=start, stop=stop, zone=ZONE, units=units, target=target, hold_s=HOLD_S,
        lines=(
            line("floor west", Place.FLOOR, times[heard], floor[heard]),
            line("floor east", Place.FLOOR, times[heard], floor[heard] - 1.0),
            line("shade", Place.OUTSIDE, times, outside),
        ),
        alarms=tuple(alarms),
        events=(
            Event(at=start + 0.1 * 86400, what="placed", text="100 placed", count=100),
            Event(at=start + 2.8 * 86400, what="loss", text="2 lost", count=2),
            Event(at=start + 4.9 * 86400, what="loss", text="1 lost", count=1),
            Event(at=start + 5.9 * 86400, what="note", text="new litter"),
        ),
        ages=((start + 43200, 1),),
    )  # fmt: skip
