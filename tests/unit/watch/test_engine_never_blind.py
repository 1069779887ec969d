"""Whatever the thermal side makes of it: a floor that goes and stays cold is told in minutes."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from math import exp
from random import Random

import pytest
from support.birds import chicks_in
from support.engine_night import EVENING, Night, a_brooder, a_probe, a_site, with_probe

from monitor.events import (
    AlarmName,
    ChangeKind,
    Moment,
    Priority,
    Reading,
)
from monitor.site import Place, Site
from monitor.watch.engine import Engine

START = datetime(2026, 2, 10, tzinfo=UTC).timestamp()
# What looks like a cover taken off is waited for five minutes, unless it is far below the limit.
HELD_S = 300.0
DELAY_S, CONFIRM_S = 30.0, 60.0


def site(floor_probes: int, outside: bool) -> Site:
    """With one lamp."""
    box = a_brooder(floors=floor_probes)
    return a_site(replace(box, heat=box.heat[:1]), outside=outside)


def readings(
    floor_probes: int, every_s: float, hours_well: float, cold_c: float, heard: bool
) -> Iterator[Reading]:
    """Well for some hours, then cold at once for half an hour. `heard`: the outside probe too."""
    end = hours_well * 3600
    at = every_s
    while at < end + 1800:
        for n, probe in enumerate(("porch/floor", "porch/far floor")[:floor_probes]):
            temp_c = 34.5 + 0.06 * ((at // every_s + n) % 3) if at < end else cold_c
            yield Reading(START + at + n, START + at + n, probe, temp_c)
        if heard:
            yield Reading(START + at + 5, START + at + 5, "site/shade", 6.0)
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
    changes = engine.entry(chicks_in(START, number=1), Moment(START, START))
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


def flicker(t: float) -> float:
    """A healthy probe's last bit."""
    return 0.06 * (int(t // 10) % 3)


def well_seen(*, floor_c: float, start: float, under_c: float | None = None) -> Night:
    """Three hours of a quiet floor, every ten seconds; `under_c`: with a probe beneath the lamp."""
    box = a_brooder()
    if under_c is not None:
        box = with_probe(box, "under", Place.UNDER_HEAT)
    night = Night(a_site(box), start=start, batch=False)
    night.placed()
    for _ in night.until(3 * 3600, 10):
        night.says(floor_c + flicker(night.t))
        if under_c is not None:
            night.says(under_c + flicker(night.t), "porch/under")
    return night


def first_told(night: Night, alarm: AlarmName, since: float) -> float | None:
    """Seconds after `since` at which that alarm was first raised."""
    return next(
        (
            c.at - night.start - since
            for c in night.changes
            if c.alarm is alarm and c.change is ChangeKind.RAISED
        ),
        None,
    )


def test_a_fire_is_told_though_the_floor_looked_like_a_grower_at_work() -> None:
    """The floor is raised as a chick or a hand would raise it, and overheat waits. Then the probe
    beneath the lamp burns: nothing is waited for any more."""
    night = well_seen(floor_c=29.4, start=Night.evening("2026-02-23"), under_c=40.0)
    since = night.t
    for _ in range(120):
        dt = night.t - since
        night.says(38.5 - 9.1 * exp(-dt / 60) + flicker(night.t))
        under_c = 44 - 4 * exp(-dt / 60) if dt < 150 else min(140.0, 52.0 + (dt - 150) / 4)
        night.says(under_c, "porch/under")
        night.t += 10
    told_s = first_told(night, AlarmName.OVERHEAT, since)
    assert told_s is not None
    assert told_s <= 150 + 30


def test_a_floor_that_is_chilled_is_told_though_it_stays_where_a_feeding_takes_it() -> None:
    night = well_seen(floor_c=34.9, start=EVENING - 5 * 3600)
    since = night.t
    for _ in range(60):
        night.says(max(27.5, 35 - (night.t - since) / 4))
        night.t += 10
    told_s = first_told(night, AlarmName.CHILL, since)
    assert told_s is not None
    assert told_s <= 70


@pytest.mark.parametrize("temp_c", [31.0, 27.0])
def test_in_a_box_hardly_seen_yet_the_plain_delays_hold(temp_c: float) -> None:
    """Ten minutes well, then below the band (31) or the chill limit (27): three minutes and thirty
    seconds, as the configuration says."""
    engine = Engine(site(1, outside=False), Moment(START, START))
    changes = engine.entry(chicks_in(START, number=1), Moment(START, START))
    for reading in readings(1, 30.0, 1 / 6, temp_c, False):
        changes += engine.reading(reading)
    raised = {c.alarm: c.at - START - 600 for c in changes if c.change is ChangeKind.RAISED}
    assert 180 <= raised[AlarmName.COLD] <= 180 + 90
    if temp_c < 29:
        assert 30 <= raised[AlarmName.CHILL] <= 30 + 90


@pytest.mark.parametrize(
    ("place", "temp_c"), [(Place.UNDER_HEAT, 45.0), (Place.COOL_END, 26.0)], ids=str
)
def test_a_box_without_a_floor_probe_is_not_held_against_the_floors_target(
    place: Place, temp_c: float
) -> None:
    """Beneath the lamp 45 is usual, and 26 at the cool end: neither says how the floor will be."""
    rng = Random(1)
    box = replace(a_brooder(), probes=(a_probe("porch", "p", place),))
    night = Night(a_site(box, outside=True))
    for _ in night.until(4 * 3600):
        night.says(temp_c + rng.gauss(0, 0.1), "porch/p")
        night.says(10 + rng.gauss(0, 0.1), "site/shade")
    assert night.told() == ["porch/unwatched"]  # somebody hears that nothing tells of the floor
    assert night.engine.tonight("porch", night.now(), low_c=-10.0).outlook is None
    assert night.box().minutes_to_chill is None


def test_a_cool_end_hotter_than_a_chick_is_an_overheat_though_no_probe_lies_on_the_floor() -> None:
    box = replace(a_brooder(), probes=(a_probe("porch", "p", Place.COOL_END),))
    night = Night(a_site(box))
    night.holds(27.0, for_s=3600, every_s=30, probes=("porch/p",))
    for _ in night.until(3600 + 1800):
        night.says(27.0 + min(16.0, (night.t - 3600) / 40), "porch/p")
    assert "porch/overheat" in night.told()


@pytest.mark.parametrize(
    ("floors", "to_c", "k_per_h"), [(2, 18.0, 60.0), (2, 26.0, 1.2), (3, 8.0, 60.0)]
)
def test_half_a_cold_box_stays_an_urgent_alarm_whatever_is_found_of_its_probe(
    floors: int, to_c: float, k_per_h: float
) -> None:
    """One floor probe falls for good while the others are right: told as cold, a doubt of it
    beside, and never called over."""
    rng = Random(1)
    box = with_probe(a_brooder(floors=floors), "cool", Place.COOL_END)
    night = Night(a_site(box), start=EVENING - 4 * 3600)
    for _ in night.until(16 * 3600, 60):
        fallen_k = max(0.0, night.t - 4 * 3600) / 3600 * k_per_h
        night.says(max(to_c, 35.0 - fallen_k) + rng.gauss(0, 0.06))
        for name in ("far floor", "third floor")[: floors - 1]:
            night.says(35.0 + rng.gauss(0, 0.06), f"porch/{name}")
        night.says(28.0 + rng.gauss(0, 0.06), "porch/cool")
    said = [c for c in night.changes if c.alarm is AlarmName.CHILL]
    assert said[-1].change in (ChangeKind.RAISED, ChangeKind.EXPLAINED)
    box_now = night.box()
    urgent = [a for a in box_now.alarms if a.active and a.priority is Priority.URGENT]
    assert AlarmName.CHILL in {a.alarm for a in urgent}
    assert not box_now.in_band


def test_without_a_floor_probe_lost_heat_is_told_by_what_there_is() -> None:
    rng = Random(1)
    box = replace(a_brooder(), probes=(a_probe("porch", "under west lamp", Place.UNDER_HEAT),))
    night = Night(a_site(box))
    for _ in night.until(6 * 3600):
        cold_k = 27 * (1 - exp(-max(0.0, night.t - 4 * 3600) / 1500))
        night.says(45.0 - cold_k + rng.gauss(0, 0.1), "porch/under west lamp")
    assert night.told()[0] == "porch/unwatched", "nobody can say how warm the floor is"
    assert "porch/heat-loss" in night.told()
