"""A probe that sends Fahrenheit and is taken for Celsius: 2 degC outside, and a floor "at 35.6"."""

from support.engine_night import Night, a_brooder, a_site

from monitor.events import ChangeKind
from monitor.tell.wording import for_change

HOURS = 4


def evening(night: Night, *, floor: float | None, factor: float, offset: float) -> None:
    """The air falls from 6 to 1 degC; what the floor probe says follows it, or is held."""
    for minute in range(HOURS * 60):
        outside_c = 6.0 - 5.0 * minute / (HOURS * 60)
        night.says(outside_c, "site/shade")
        night.says(floor if floor is not None else offset + factor * outside_c)
        night.waits(60.0)


def test_a_cold_box_whose_probe_sends_fahrenheit_is_not_a_warm_one() -> None:
    night = Night(a_site(a_brooder(), outside=True))
    evening(night, floor=None, factor=1.8, offset=32.0)
    [told] = [
        c for c in night.changes if c.alarm == "no-readings" and c.change is ChangeKind.RAISED
    ]
    said = for_change(told, night.site)
    assert "says in °F what is set as °C" in f"{said.title} {said.body}"
    assert "unit" in said.body
    assert told.priority == "urgent"


def test_a_warm_floor_beside_falling_air_reads_in_its_own_unit() -> None:
    night = Night(a_site(a_brooder(), outside=True))
    evening(night, floor=35.6, factor=0.0, offset=0.0)
    assert not [c for c in night.changes if "°F what" in str(c.facts)]


def test_a_box_without_heat_that_follows_the_air_reads_in_its_own_unit() -> None:
    night = Night(a_site(a_brooder(), outside=True))
    evening(night, floor=None, factor=1.0, offset=34.0)
    assert not [c for c in night.changes if "°F what" in str(c.facts)]
