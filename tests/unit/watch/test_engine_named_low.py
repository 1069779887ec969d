"""`brooder tonight --low`: for which night the grower's own low is meant, whenever it is asked."""

from datetime import datetime

import pytest
from support.engine_night import ZONE, Night, a_site

from monitor.thermal.diagnosis import Outlook

LOW_C = -15.0


def asked_at(clock: str, low_c: float | None = LOW_C) -> Outlook:
    """A floor at 34 and a mild evening or morning (5 degC) for three hours before."""
    at = datetime.fromisoformat(f"2026-02-10T{clock}").replace(tzinfo=ZONE).timestamp()
    night = Night(a_site(outside=True), start=at - 3 * 3600, batch=False)
    night.placed(hatched="2026-02-08")
    for _ in night.until(3 * 3600, 60.0):
        night.says(34.0)
        night.says(5.0, "site/shade")
    outlook = night.engine.tonight("porch", night.now(), low_c=low_c).outlook
    assert outlook is not None
    return outlook


@pytest.mark.parametrize("clock", ["06:01", "07:30", "07:59", "08:01", "09:30", "18:30"])
def test_once_the_coldest_hour_has_passed_the_low_is_the_next_night_s(clock: str) -> None:
    outlook = asked_at(clock)
    assert outlook.chance > 0.95
    assert outlook.missing_watts > 100
    assert outlook.outside_low_c == pytest.approx(LOW_C, abs=0.5)
    coldest = datetime.fromtimestamp(outlook.lowest_at, ZONE)
    assert (coldest.day, 5 <= coldest.hour <= 8) == (11, True)


@pytest.mark.parametrize("clock", ["02:00", "05:30"])
def test_before_it_the_low_is_this_night_s(clock: str) -> None:
    coldest = datetime.fromtimestamp(asked_at(clock).lowest_at, ZONE)
    assert coldest.day == 10


def test_without_a_low_of_the_grower_s_the_morning_is_still_the_end_of_the_night() -> None:
    until = datetime.fromtimestamp(asked_at("07:30", None).lowest_at, ZONE)
    assert (until.day, until.hour) <= (10, 8)
