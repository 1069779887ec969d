"""A probe whose unit is set wrong: told as the heat or cold it says, and with what it may be."""

from dataclasses import replace

import pytest
from support.engine_night import Night, a_brooder, a_site

from monitor.events import AlarmName, Change
from monitor.tell import wording
from monitor.units import Unit, to_celsius


def told(unit: Unit, says: float, alarm: AlarmName) -> tuple[Change, str]:
    box = a_brooder()
    site = a_site(replace(box, probes=(replace(box.probes[0], unit=unit),)))
    night = Night(site)
    night.holds(to_celsius(says, unit), for_s=600, every_s=30)
    change = next(c for c in night.changes if c.alarm is alarm)
    return change, wording.for_change(change, site).body


@pytest.mark.parametrize(
    ("unit", "says", "alarm", "sent"),
    [
        (Unit.CELSIUS, 94.0, AlarmName.OVERHEAT, "°F"),
        (Unit.FAHRENHEIT, 34.5, AlarmName.CHILL, "°C"),
    ],
)
def test_a_number_that_is_right_in_the_other_unit_is_said_so(unit, says, alarm, sent):
    change, text = told(unit, says, alarm)
    assert f"may read in another unit: what it says would be right in {sent}" in text
    assert change.priority == "urgent"
    assert "Go now: cut the power first." not in text


@pytest.mark.parametrize(
    ("unit", "says", "alarm"),
    [
        (Unit.CELSIUS, 60.0, AlarmName.OVERHEAT),
        (Unit.CELSIUS, 20.0, AlarmName.CHILL),
        (Unit.FAHRENHEIT, 60.0, AlarmName.CHILL),
    ],
)
def test_a_hot_or_cold_floor_is_not_taken_for_another_unit(unit, says, alarm):
    assert "another unit" not in told(unit, says, alarm)[1]
