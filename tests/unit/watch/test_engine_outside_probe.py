"""An outside probe that says what no weather is: told once, for the morning, and not believed."""

from collections.abc import Callable
from dataclasses import replace
from math import pi, sin
from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_probe, a_site

from monitor.events import AlarmName, Change, ChangeKind, Priority
from monitor.site import Place
from monitor.tell.wording import for_change

OUTSIDE = "porch/outside"


def night_of(outside_c: Callable[[float], float], hours: float) -> Night:
    """A floor at its target; the outside says `outside_c` of the hour, its last bit flickering."""
    box = a_brooder()
    probes = (*box.probes, a_probe("porch", "outside", Place.OUTSIDE))
    night, rng = Night(a_site(replace(box, probes=probes))), Random(3)
    began = night.t
    for _ in night.until(began + 3600.0 * hours):
        night.says(35.0 + rng.gauss(0.0, 0.05))
        said_c = outside_c((night.t - began) / 3600.0)
        night.says(round(said_c * 16.0) / 16.0, OUTSIDE)
    return night


def told(night: Night) -> list[Change]:
    found = (AlarmName.PROBE_FAULT, AlarmName.COLD_NIGHT)
    return [c for c in night.changes if c.alarm in found and c.change is ChangeKind.RAISED]


def flicker(hour: float) -> float:
    return 0.12 * sin(400.0 * hour)


def usual(hour: float) -> float:
    return 12.0 - 0.2 * hour + flicker(hour)


def in_the_sun(hour: float) -> float:
    return usual(hour) + (14.0 if 2.0 <= hour < 4.0 else 0.0) * min(1.0, (hour - 2.0) * 6.0)


def stuck(hour: float) -> float:
    return usual(hour) if hour < 2.0 else 11.6


def leaping(hour: float) -> float:
    return usual(hour) - (11.0 if hour >= 2.0 and int(hour * 20.0) % 2 else 0.0)


@pytest.mark.parametrize(
    ("outside_c", "why", "act"),
    [
        (in_the_sun, "faster than air outside does", "shade"),
        (stuck, "not changed", "another probe"),
        (leaping, "jump and come back", "wire"),
    ],
)
def test_it_is_told_once_for_the_morning_and_makes_no_cold_night(outside_c, why, act):
    night = night_of(outside_c, 5.0)
    (fault,) = told(night)
    assert fault.probe == OUTSIDE
    assert fault.priority is Priority.ADVICE
    assert why in fault.facts["reason"]
    assert act in fault.facts["detail"]


def test_what_it_said_in_the_sun_is_neither_a_mild_night_nor_a_front_when_the_sun_is_gone() -> None:
    night = night_of(in_the_sun, 4.4)
    for _ in range(3):
        found = night.engine.tonight("porch", night.now()).outlook
        assert found is not None
        assert 7.0 < found.outside_low_c < 11.0
        assert found.chance < 0.2
        for _ in range(30):
            night.says(35.0)
            night.says(11.25, OUTSIDE)
            night.t += 30.0


@pytest.mark.parametrize(("swing_k", "found"), [(0.8, True), (2.5, False)])
def test_one_as_warm_by_night_as_by_day_lies_indoors(swing_k: float, found: bool) -> None:
    """A room is kept so; a mild day outside is not."""
    night = night_of(lambda hour: 21.0 + swing_k * sin(hour / 24.0 * 2.0 * pi) + flicker(hour), 25)
    faults = [c for c in told(night) if c.alarm is AlarmName.PROBE_FAULT]
    assert [c.facts["reason"] for c in faults] == [
        "it is as warm by night as by day: indoors"
    ] * found
    assert all(c.priority is Priority.ADVICE for c in faults)


def test_the_message_says_what_becomes_of_the_night_and_nothing_of_the_floor():
    night = night_of(in_the_sun, 3.0)
    (fault,) = told(night)
    text = for_change(fault, night.engine.site)
    assert "nights are foretold without it" in str(text)
    assert "floor" not in str(text)


def test_the_outside_counts_again_once_the_sun_is_off_it():
    night = night_of(in_the_sun, 5.0)
    ends = [c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT]
    assert ends[-1].change is ChangeKind.CLEARED
    (box,) = night.engine.status(night.now()).brooders
    assert box.outside_c == pytest.approx(11.0, abs=0.5)


def test_weather_is_no_fault():
    """A morning that warms by three degrees an hour, a front that takes eight in half an hour."""

    def said_c(hour: float) -> float:
        warms_k, front_k = 3.0 * min(hour, 3.0), 16.0 * min(max(hour - 4.0, 0.0), 0.5)
        return 5.0 + warms_k - front_k + flicker(hour)

    night = night_of(said_c, 6.0)
    assert [c for c in told(night) if c.alarm is AlarmName.PROBE_FAULT] == []


def test_one_wild_reading_says_nothing_of_the_outside():
    night = night_of(usual, 1.0)
    night.says(-25.0, OUTSIDE)
    (box,) = night.engine.status(night.now()).brooders
    assert box.outside_c == pytest.approx(11.8, abs=0.5)


@pytest.mark.parametrize("by_k", [12.0, -12.0])
def test_nor_do_two_minutes_of_wild_readings_that_bear_each_other_out(by_k):
    night = night_of(lambda h: usual(h) + (by_k if 2.0 <= h < 2.034 else 0.0), 3.0)
    assert told(night) == []


@pytest.mark.parametrize("by_k", [12.0, -12.0])
def test_nor_does_the_first_one_after_ten_minutes_without_any(by_k):
    night = night_of(usual, 4.0)
    night.t += 600.0
    night.says(11.2 + by_k, OUTSIDE)
    night.t += 60.0
    for _ in range(60):
        night.says(35.0)
        night.says(11.2 + 0.0625 * (night.t % 120.0 > 30.0), OUTSIDE)
        night.t += 30.0
        found = night.engine.tonight("porch", night.now()).outlook
        assert found is not None
        assert found.outside_low_c == pytest.approx(9.3, abs=1.5)
    assert told(night) == []


def test_weather_that_came_while_it_was_not_heard_is_believed_with_the_second_reading():
    night = night_of(usual, 2.0)
    night.t += 1800.0
    for _ in range(2):
        night.says(6.0, OUTSIDE)
        night.t += 60.0
    (box,) = night.engine.status(night.now()).brooders
    assert box.outside_c == pytest.approx(6.0)
