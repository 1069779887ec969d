"""Mains, cover and humidity: what is said of them, when, and what they make known of the rest."""

from dataclasses import replace
from math import exp

import pytest
from support.engine_night import Night, a_brooder, a_meter, a_site, plugged

from monitor.events import AlarmName, Cause, ChangeKind
from monitor.quantities import BATTERY_LEFT, CONTACT, COVER, HUMIDITY, MAINS, Quantity
from monitor.site import Site
from monitor.watch.heat_in import Plug, heat_in

HOUR = 3600.0


def with_meters(*kinds: Quantity) -> Site:
    return a_site(replace(a_brooder(), meters=tuple(a_meter(kind) for kind in kinds)))


def with_mains() -> Site:
    return replace(
        a_site(plugged(a_brooder())), meters=(a_meter(MAINS, None), a_meter(BATTERY_LEFT, None))
    )


def told(night: Night) -> list[AlarmName]:
    return [c.alarm for c in night.changes if c.change is ChangeKind.RAISED]


# -- mains


def test_two_words_that_the_mains_is_off_are_told_with_what_the_battery_holds() -> None:
    night = Night(with_mains())
    night.meter_says("site/mains_on", 1.0)
    night.holds(35.0, for_s=60)
    night.meter_says("site/battery_left_s", 2400.0)
    night.meter_says("site/mains_on", 0.0)
    night.holds(35.0, for_s=10)
    assert night.changes == []
    night.meter_says("site/mains_on", 0.0)
    (cut,) = night.changes
    assert (cut.alarm, cut.brooder, cut.facts["battery_left_s"]) == ("mains-lost", None, 2400.0)
    night.meter_says("site/mains_on", -1.0)
    assert told(night) == [AlarmName.MAINS_LOST, AlarmName.BATTERY_LOW]
    night.meter_says("site/mains_on", 1.0)
    night.holds(35.0, for_s=90)
    assert night.told(ChangeKind.CLEARED) == ["site/battery-low", "site/mains-lost"]


def test_a_ups_that_tests_itself_for_ten_seconds_is_no_power_cut() -> None:
    night = Night(with_mains())
    night.meter_says("site/mains_on", 0.0)
    night.holds(35.0, for_s=10)
    night.meter_says("site/mains_on", 1.0)
    night.holds(35.0, for_s=120)
    assert night.changes == []


def test_one_word_stands_where_a_switch_speaks_only_once() -> None:
    night = Night(with_mains())
    night.meter_says("site/mains_on", 0.0)
    night.holds(35.0, for_s=30)
    assert told(night) == [AlarmName.MAINS_LOST]


def test_lamps_that_go_out_with_the_mains_are_not_told_one_by_one() -> None:
    night = Night(with_mains())
    for minute in range(180):
        for lamp in ("west", "east"):
            night.meter_says(f"porch/{lamp} lamp power_w", 243.0 + minute % 7)
        night.holds(35.0, for_s=60)
    for value in (0.0, 0.0):
        night.meter_says("site/mains_on", value)
    for _ in range(3):
        for lamp in ("west", "east"):
            night.meter_says(f"porch/{lamp} lamp power_w", 0.0)
        night.holds(35.0, for_s=20)
    assert told(night) == [AlarmName.MAINS_LOST]


# -- the cover


def cooling(night: Night, for_s: float) -> None:
    """As a box cools whose cover is off, from now on."""
    begun, end = night.t, night.t + for_s
    for _ in night.until(end, 10):
        t = night.t - begun
        night.says(35.0 - 4.0 * (1 - exp(-t / 110)) - 7.0 * (1 - exp(-t / 1500)))


@pytest.mark.parametrize(("kind", "open_", "shut"), [(COVER, 1.0, 0.0), (CONTACT, 0.0, 1.0)])
def test_a_cover_left_open_is_told_after_twenty_minutes_and_a_closed_one_never(
    kind: Quantity, open_: float, shut: float
) -> None:
    night = Night(with_meters(kind))
    key = f"porch/{kind.column}"
    night.meter_says(key, shut)
    night.holds(35.0, for_s=2 * HOUR)
    night.meter_says(key, open_)
    since = night.t
    night.holds(35.0, for_s=1190)
    assert night.changes == []
    night.holds(35.0, for_s=30)
    (left,) = night.changes
    assert (left.alarm, left.at) == (AlarmName.LEFT_OPEN, night.start + since + 1200)
    night.meter_says(key, shut)
    assert night.told(ChangeKind.CLEARED) == ["porch/left-open"]


def test_a_box_that_cools_under_a_shut_cover_has_lost_heat_and_under_an_open_one_the_cover() -> (
    None
):
    causes = {}
    for state in (0.0, 1.0):
        night = Night(with_meters(COVER))
        night.meter_says("porch/cover_open", 0.0)
        night.holds(35.0, for_s=3 * HOUR, every_s=30)
        night.meter_says("porch/cover_open", state)
        cooling(night, 1100)
        causes[state] = {c.cause for c in night.changes if c.alarm is not AlarmName.LEFT_OPEN}
    assert Cause.COVER_OPEN not in causes[0.0]
    assert Cause.HEAT_SOURCE in causes[0.0]
    assert Cause.COVER_OPEN in causes[1.0]
    assert Cause.HEAT_SOURCE not in causes[1.0]


def test_a_switch_that_was_not_heard_for_hours_says_nothing_of_the_cover() -> None:
    night = Night(with_meters(COVER))
    night.meter_says("porch/cover_open", 1.0)
    night.holds(35.0, for_s=5 * HOUR, every_s=60)
    (ended,) = [c for c in night.changes if c.change is ChangeKind.CLEARED]
    assert ended.alarm is AlarmName.LEFT_OPEN
    assert "has not been heard" in ended.facts["reason"], "it is not said to be closed"


# -- humidity


def test_humidity_is_advice_after_six_hours_outside_of_all_that_is_published() -> None:
    night = Night(with_meters(HUMIDITY))
    for _ in range(40):
        night.meter_says("porch/humidity_percent", 82.0)
        night.holds(35.0, for_s=600, every_s=60)
    (air,) = night.changes
    assert (air.alarm, air.priority) == (AlarmName.AIR, "advice")
    assert air.at - night.start >= 6 * HOUR
    assert (air.facts["value"], air.facts["right_low"], air.facts["right_high"]) == (82, 30, 75)
    for _ in range(20):
        night.meter_says("porch/humidity_percent", 60.0)
        night.holds(35.0, for_s=600, every_s=60)
    assert night.told(ChangeKind.CLEARED) == ["porch/air"]


# -- the heat that goes in


def test_what_plugs_measure_tells_what_a_box_loses_and_where_its_reserve_ends() -> None:
    """Invented: 400 W and birds of 50 W hold 30 K; the plate rests for half of the time."""
    plugs = [Plug("lamp", 300.0, 1.0), Plug("plate", 200.0, 0.5)]
    found = heat_in(plugs, floor_c=32.0, w_per_k=15.0, bird_watts=50.0)
    assert (found.watts, found.busiest, found.duty) == (400.0, "plate", 0.5)
    # all of it, 550 W, holds 36.7 K
    assert found.no_reserve_below_c == pytest.approx(32.0 - 550.0 / 15.0)
    always = heat_in(plugs[:1], floor_c=32.0, w_per_k=None, bird_watts=0.0)
    assert (always.busiest, always.w_per_k, always.no_reserve_below_c) == (None, None, None)
