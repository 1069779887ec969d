"""Measured watts tell what a box loses and how much heat its thermostat keeps back; a night colder
than that is foretold, however well the floor has been held so far."""

from dataclasses import replace
from math import inf, pi, sin

import pytest
from support.engine_night import Night, a_brooder, a_site, plugged

from monitor.events import Moment
from monitor.thermal.coming_night import edges, hours
from monitor.thermal.follow import Following
from monitor.thermal.outside_curve import from_low
from monitor.thermal.reserve import Reserve

W_PER_K = 16.0


def night_of(*, birds_w: float, hours_long: float) -> Reserve:
    """A floor held at 34 degC while the outside falls; a plate of 400 W goes on and off."""
    reserve = Reserve()
    for minute in range(int(hours_long * 60)):
        outside_c = 14.0 - minute / 100
        needs_w = W_PER_K * (34.0 - outside_c) - birds_w
        lit = minute % 20 < 20 * needs_w / 400.0
        reserve.draws(minute * 60.0, 400.0 if lit else 0.3)
        if minute % 15 == 0 and minute:
            reserve.holds(minute * 60.0, 34.0 - outside_c, birds_w)
    return reserve


def test_what_a_box_loses_for_each_kelvin_is_learned_in_a_night() -> None:
    assert night_of(birds_w=60.0, hours_long=8).w_per_k == pytest.approx(W_PER_K, rel=0.05)
    assert night_of(birds_w=60.0, hours_long=1).w_per_k is None


def test_the_reserve_is_what_the_plate_does_not_draw_yet() -> None:
    """At its end the box needs 16 W/K x 24.8 K - 60 W: 337 of its 400 W; a smaller one has none."""
    reserve = night_of(birds_w=60.0, hours_long=8)
    assert reserve.spare_k(400.0) == pytest.approx((400 - 337) / W_PER_K, abs=1.2)
    assert reserve.spare_k(300.0) == 0.0


def settles_c(spare_k: float, low_c: float) -> float:
    """Where a floor that a thermostat holds at 34 degC settles at last; it is 10 degC outside."""
    follows = Following(34.0, 0.1, 0.1, 0.01, 0.0, 10.0, spare_k=spare_k)
    outside = from_low(Moment(0.0, 0.0), 10.0, low_c, 8 * 3600.0)
    course = hours(edges(0.0, 10 * 3600.0, lambda _: 31.2), follows=follows, outside=outside)
    return min(hour.settles_c for hour in course.to_come)


def test_beyond_its_reserve_a_box_goes_with_the_outside_as_one_without_a_thermostat() -> None:
    assert settles_c(inf, 0.0) == settles_c(12.0, 0.0) > 32.9
    assert settles_c(5.0, 0.0) == pytest.approx(33.1 - 0.45 * 4.5, abs=0.4)
    assert settles_c(0.0, 0.0) == pytest.approx(34.0 - 0.55 * 9.5, abs=0.4)


def chance(low_c: float, *, plugs: bool) -> float:
    """Of a cold night at such a low, after seven hours in which a plate held the floor with all but
    a tenth of what it can."""
    box = a_brooder()
    box = replace(box, heat=(replace(box.heat[0], thermostat=True),))
    night = Night(a_site(plugged(box) if plugs else box, outside=True))
    for _ in night.until(7 * 3600.0):
        phase = night.t % 1200 / 1200
        night.says(34.4 + 0.5 * sin(2 * pi * phase))
        night.says(9.0 - night.t / 36000, "site/shade")
        if plugs:
            night.meter_says("porch/west lamp power_w", 246.0 + phase if phase < 0.9 else 0.3)
    asked = night.engine.tonight("porch", night.now(), low_c=low_c)
    assert asked.outlook is not None
    return asked.outlook.chance


def test_a_night_beyond_what_the_plate_has_left_is_foretold_by_its_plug() -> None:
    assert chance(-8.0, plugs=True) > 0.7
    assert chance(-8.0, plugs=False) < 0.5, "the floor alone has shown a thermostat that copes"
    assert chance(7.0, plugs=True) < 0.2
