"""Whatever the thermal side makes of it: a floor that goes and stays cold is told in minutes."""

from collections.abc import Iterator
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from monitor.site import Brooder, HeatSource, Place, Probe, Site
from monitor.units import Unit
from monitor.watch.engine import Engine
from monitor.watch.events import AlarmName, Change, ChangeKind, Entry, EntryKind, Moment, Reading

START = datetime(2026, 2, 10, tzinfo=UTC).timestamp()
# What looks like a cover taken off is waited for five minutes, unless it is far below the limit.
HELD_S = 300.0
DELAY_S, CONFIRM_S = 30.0, 60.0


def site(floor_probes: int, outside: bool) -> Site:
    probes = tuple(
        Probe(key=f"porch/f{n}", brooder="porch", name=f"f{n}", topic=f"t/{n}", place=Place.FLOOR)
        for n in range(floor_probes)
    )
    shade = Probe(key="site/o", brooder=None, name="o", topic="t/o", place=Place.OUTSIDE)
    box = Brooder(
        name="porch",
        length_m=1.5,
        width_m=1.5,
        height_m=0.56,
        cover="plywood",
        heat=(HeatSource(name="lamp", kind="lamp", watts=250),),
        probes=probes,
    )
    return Site(
        name="Hillside",
        timezone=ZoneInfo("America/Chicago"),
        units=Unit.CELSIUS,
        brooders=(box,),
        probes=(shade,) if outside else (),
    )


def readings(
    floor_probes: int, every_s: float, hours_well: float, cold_c: float, heard: bool
) -> Iterator[Reading]:
    """Well for some hours, then cold at once for half an hour. `heard`: the outside probe too."""
    end = hours_well * 3600
    at = every_s
    while at < end + 1800:
        for n in range(floor_probes):
            temp_c = 34.5 + 0.06 * ((at // every_s + n) % 3) if at < end else cold_c
            yield Reading(START + at + n, START + at + n, f"porch/f{n}", temp_c)
        if heard:
            yield Reading(START + at + 5, START + at + 5, "site/o", 6.0)
        at += every_s


@pytest.mark.parametrize("floor_probes", [1, 2])
@pytest.mark.parametrize("every_s", [10.0, 30.0, 60.0])
@pytest.mark.parametrize("hours_well", [0.0, 0.2, 3.0])
@pytest.mark.parametrize("cold_c", [24.0, 27.0, 5.0])
@pytest.mark.parametrize("outside", ["none", "never heard", "heard"])
def test_a_floor_that_stays_cold_is_urgent_within_minutes(
    floor_probes: int, every_s: float, hours_well: float, cold_c: float, outside: str
) -> None:
    engine = Engine(site(floor_probes, outside != "none"), Moment(START, START))
    placed = Entry(
        at=START,
        entry=EntryKind.PLACED,
        brooder="porch",
        number=1,
        count=100,
        hatched="2026-02-08",
        kind="broiler",
    )
    changes: list[Change] = engine.entry(placed, Moment(START, START))
    for reading in readings(floor_probes, every_s, hours_well, cold_c, outside == "heard"):
        changes += engine.reading(reading)
    cold_from = START + hours_well * 3600
    urgent = [
        c
        for c in changes
        if c.change is ChangeKind.RAISED and c.alarm in (AlarmName.CHILL, AlarmName.HEAT_LOSS)
    ]
    assert urgent, "nothing was told at all"
    held_s = HELD_S if cold_c > 26 else 120.0
    assert urgent[0].at - cold_from <= held_s + DELAY_S + CONFIRM_S + 2 * every_s


@pytest.mark.parametrize("temp_c", [31.0, 27.0])
def test_in_a_box_hardly_seen_yet_the_plain_delays_hold(temp_c: float) -> None:
    """Ten minutes well, then below the band (31) or the chill limit (27): three minutes and thirty
    seconds, as the configuration says."""
    engine = Engine(site(1, outside=False), Moment(START, START))
    placed = Entry(
        at=START,
        entry=EntryKind.PLACED,
        brooder="porch",
        number=1,
        count=100,
        hatched="2026-02-08",
        kind="broiler",
    )
    changes = engine.entry(placed, Moment(START, START))
    for reading in readings(1, 30.0, 1 / 6, temp_c, False):
        changes += engine.reading(reading)
    raised = {c.alarm: c.at - START - 600 for c in changes if c.change is ChangeKind.RAISED}
    assert 180 <= raised[AlarmName.COLD] <= 180 + 90
    if temp_c < 29:
        assert 30 <= raised[AlarmName.CHILL] <= 30 + 90
