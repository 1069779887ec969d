"""Which of heat, cover and probe is named, by what the other probes of the box say of a fall."""

from bisect import bisect_right
from dataclasses import replace
from math import exp, pi, sin
from random import Random

from support.engine_night import Night, a_brooder, a_probe, a_site

from monitor.events import AlarmName, Cause, ChangeKind, Priority
from monitor.site import Brooder, Place

WEST, EAST, COOL = "under west lamp", "under east lamp", "cool"
PLACES = {WEST: Place.UNDER_HEAT, EAST: Place.UNDER_HEAT, COOL: Place.COOL_END}
Curve = tuple[tuple[float, float], ...]  # minutes and degC, straight between


def a_box(*others: str, lamps: int = 2) -> Brooder:
    box = a_brooder()
    more = (a_probe("porch", name, PLACES[name]) for name in others)
    return replace(box, probes=(*box.probes, *more), heat=box.heat[:lamps])


def at(curve: Curve, minute: float) -> float:
    before = max(1, min(bisect_right([m for m, _ in curve], minute), len(curve) - 1))
    (from_m, from_c), (to_m, to_c) = curve[before - 1], curve[before]
    share = min(1.0, max(0.0, (minute - from_m) / (to_m - from_m)))
    return from_c + share * (to_c - from_c)


def watched(
    box: Brooder,
    minutes: int,
    *,
    outside_c: float | None = None,
    swing_k: float = 0.0,
    **curves: Curve,
) -> Night:
    """Three hours as all curves begin, in the night, then along them."""
    rng, night = Random(3), Night(a_site(box, outside=outside_c is not None))
    for _ in night.until(60.0 * (180 + minutes)):
        minute = night.t / 60.0 - 180.0
        for name, curve in curves.items():
            probe = name.replace("_", " ")
            swung_k = -swing_k * sin(2.0 * pi * minute / 22.0)
            said_c = at(curve, minute) + swung_k + rng.gauss(0.0, 0.05)
            night.says(said_c, f"porch/{probe}")
        if outside_c is not None:
            night.says(outside_c + rng.gauss(0.0, 0.05), "site/shade")
    return night


def causes(night: Night, *alarms: AlarmName) -> list[Cause]:
    """What the phone was told of them, and what was put right."""
    kinds = (ChangeKind.RAISED, ChangeKind.EXPLAINED)
    return [c.cause for c in night.changes if c.alarm in alarms and c.change in kinds]


COLD = (AlarmName.HEAT_LOSS, AlarmName.COLD, AlarmName.CHILL)


def test_a_floor_whose_cool_end_stays_warm_has_lost_heat_and_no_cover():
    """Litter kicked over the probe for two minutes makes it fall as under an open cover: but the
    air that this lets in is felt first where it is cool already."""
    night = watched(
        a_box(WEST, COOL, lamps=1),
        25,
        outside_c=14.5,
        floor=(
            (0, 35.8),
            (2.6, 33.7),
            (2.7, 26.5),
            (4.7, 26.5),
            (4.8, 33.1),
            (8, 30.9),
            (24, 25.8),
        ),
        under_west_lamp=((0, 38.7), (2, 37.0), (8, 32.9), (24, 27.5)),
        cool=((0, 27.5), (8, 26.6), (24, 25.6)),
    )
    assert Cause.HEAT_SOURCE in causes(night, *COLD)
    assert Cause.COVER_OPEN not in causes(night, *COLD)


def test_a_fall_that_may_be_the_heat_or_the_cover_is_told_as_both():
    """Lamp and power gone, and what lies beneath fell no further than the floor: only the cover
    was named, for as long as it lasted."""
    night = watched(
        a_box(WEST, lamps=1),
        40,
        outside_c=3.5,
        floor=((0, 35.3), (2, 33.6), (4, 31.6), (6, 29.9), (10, 27.6), (20, 24.5), (40, 20.5)),
        under_west_lamp=((0, 38.9), (2, 37.3), (4, 35.1), (6, 33.4), (10, 30.8), (40, 24.0)),
    )
    raised = [c for c in night.changes if c.change is ChangeKind.RAISED]
    assert [c.facts["either"] for c in raised if c.alarm in COLD] == [True, True, True]


def test_a_floor_that_cools_and_nothing_else_in_a_box_that_a_thermostat_swings_is_the_probe():
    """All of it was on its way down when litter fell over the probe."""
    night = watched(
        a_box(WEST, COOL, lamps=1),
        45,
        outside_c=-2.2,
        swing_k=1.5,
        floor=((0, 33.5), (2, 31.0), (4, 28.7), (8, 25.6), (12, 24.1), (20, 22.7), (40, 22.4)),
        under_west_lamp=((0, 42.0), (45, 42.0)),
        cool=((0, 24.0), (45, 24.0)),
    )
    told = causes(night, *COLD)
    assert told
    assert Cause.COVER_OPEN not in told
    assert told[-1] is Cause.SENSOR
    assert AlarmName.PROBE_FAULT in {c.alarm for c in night.changes}


def test_by_day_a_probe_beneath_a_lamp_that_warms_again_is_no_lamp_that_died():
    """A thermostat's first rest after hours, and the pulse after it."""
    rng, night = Random(3), Night(a_site(a_box(WEST, EAST)))
    rests = 15.0 * 3600.0  # nine in the morning
    night.t = rests - 3 * 3600.0
    curves: dict[str, Curve] = {
        "floor": ((-60, 34.9), (0, 35.7), (4, 34.6), (7, 34.3), (9, 34.4), (30, 35.7)),
        WEST: ((-60, 38.2), (0, 39.4), (4.5, 36.0), (8.5, 36.8), (30, 39.0)),
        EAST: ((-60, 37.7), (0, 38.3), (9, 37.9), (30, 38.3)),
    }
    for _ in night.until(rests + 1800.0):
        minute = (night.t - rests) / 60.0
        for probe, curve in curves.items():
            night.says(at(curve, minute) + rng.gauss(0.0, 0.03), f"porch/{probe}")
    assert causes(night, AlarmName.HEAT_LOSS) == []


def test_a_plate_that_dies_in_the_evening_is_named_by_its_own_probe_before_the_floor_is_cold():
    """Its warmth went by and by: "the heat seems to be on" was told of it four hours later."""
    dies = 20.85 * 3600.0
    rng, night = Random(3), Night(a_site(a_box(WEST, EAST)))
    night.t = dies - 3 * 3600.0
    curves: dict[str, Curve] = {
        "floor": ((0, 37.4), (6, 37.4), (20, 36.6), (40, 35.6), (60, 34.9), (90, 33.9)),
        WEST: ((0, 43.8), (10, 42.4), (20, 40.4), (40, 36.8), (60, 34.0), (90, 32.0)),
        EAST: ((0, 43.1), (90, 43.0)),
    }
    for _ in night.until(dies + 90 * 60.0):
        minute = (night.t - dies) / 60.0
        for probe, curve in curves.items():
            night.says(at(curve, minute) + rng.gauss(0.0, 0.03), f"porch/{probe}")
    lost = [c for c in night.changes if c.alarm is AlarmName.HEAT_LOSS]
    assert [c.facts["source"] for c in lost] == ["west lamp"]
    assert lost[0].facts["temp_c"] > 34.0


def test_heat_that_was_told_as_lost_is_no_open_cover_as_the_fall_slackens():
    night = watched(
        a_box(COOL, lamps=1),
        40,
        outside_c=5.0,
        floor=((0, 36.2), (3, 34.2), (7, 32.4), (15, 31.8), (40, 31.2)),
        cool=((0, 31.1), (3, 30.1), (7, 28.7), (11, 28.1), (19, 27.0), (27, 25.9), (40, 24.8)),
    )
    assert causes(night, *COLD)[0] is Cause.HEAT_SOURCE
    assert Cause.COVER_OPEN not in causes(night, *COLD)


def test_a_feeding_beside_a_dead_lamp_does_not_make_it_an_open_cover():
    """Four hours after it was told: "check the cover first" beside the cold probe of that lamp."""
    night = watched(
        a_box(WEST, EAST),
        300,
        outside_c=0.0,
        floor=(
            (0, 36.0),
            (10, 33.6),
            (30, 31.7),
            (90, 30.0),
            (240, 29.2),
            (243, 28.1),
            (300, 28.4),
        ),
        under_west_lamp=((0, 42.0), (10, 33.1), (30, 29.0), (240, 22.9), (243, 22.2), (300, 22.4)),
        under_east_lamp=((0, 40.0), (30, 38.5), (240, 37.0), (243, 35.9), (300, 36.5)),
    )
    assert set(causes(night, *COLD)) == {Cause.HEAT_SOURCE}


def test_a_source_that_died_is_not_taken_for_one_that_works_once_its_cold_is_usual():
    night = watched(
        a_box(WEST, lamps=1),
        100,
        outside_c=5.0,
        swing_k=1.0,
        floor=((0, 35.0), (5, 33.0), (15, 30.0), (30, 27.5), (60, 24.0), (100, 20.0)),
        under_west_lamp=((0, 42.0), (5, 39.5), (15, 34.0), (25, 31.5), (100, 31.5)),
    )
    told = causes(night, AlarmName.HEAT_LOSS)
    assert told
    assert Cause.COVER_OPEN not in told


def test_a_probe_that_jumps_says_nothing_of_the_heat():
    """It is told as cold, and as a probe to be looked at: no lamp is blamed for its jumps."""
    rng, night = Random(5), Night()
    for _ in night.until(9 * 3600, 10.0):
        night.says(35.0 + rng.gauss(0, 0.05))
    for n, readings in enumerate((2, 2, 6, 5, 15, 3, 3, 13, 10, 4, 3, 11, 8, 1, 7, 7, 2)):
        for _ in range(readings):
            night.says((21.5 if n % 2 else 35.0) + rng.gauss(0, 0.05))
            night.t += 10.0
    told = causes(night, *COLD)
    assert told
    assert Cause.HEAT_SOURCE not in told


def _glitches(minutes: int) -> list[Priority]:
    """A cool-end probe says its power-up value for a while in a well box: what was told, how
    urgently."""
    night = Night(a_site(a_box(COOL)))
    for _ in night.until(3 * 3600 + 7200):
        night.says(35.0)
        if 0.0 <= night.t - 3 * 3600 < 60.0 * minutes:
            night.says_bad(f"porch/{COOL}")
        else:
            night.says(26.0, f"porch/{COOL}")
    return [c.priority for c in night.changes if c.change is ChangeKind.RAISED]


def test_a_probe_beside_the_floor_that_fails_for_minutes_calls_nobody():
    assert _glitches(3) == [Priority.ADVICE]


def test_a_probe_beside_the_floor_that_has_failed_for_a_quarter_of_an_hour_is_told():
    assert _glitches(40) == [Priority.ADVICE, Priority.WARNING]


def test_where_no_heat_is_listed_a_fall_is_put_down_to_no_probe_and_no_cover() -> None:
    """Heat that died could not be weighed, and the grower was sent to the probe, or the cover."""
    for slow in (1.0, 2.0, 3.0):
        minutes = [slow * m for m in range(0, 60, 5)]
        falls = ((-180.0, 35.0), *((m, 12.0 + 23.0 * exp(-m / (50.0 * slow))) for m in minutes))
        night = watched(a_box(lamps=0), int(minutes[-1]), floor=falls)
        assert AlarmName.CHILL in {change.alarm for change in night.changes}
        assert {*causes(night, *COLD)} == {Cause.UNKNOWN}
