"""Before a night was seen nobody knows what the box holds: a cold one is told where it is likely,
or where the weather is known."""

import pytest
from support.engine_night import a_brooder

from monitor.brooding.heat_balance import BoxChange, prior
from monitor.events import Moment
from monitor.thermal.answers import ComingNight
from monitor.thermal.follow import Following
from monitor.thermal.nights_kept import NightsKept
from monitor.thermal.outside_curve import ExpectedOutside, OutsideCurve, Skies

H = 3600.0
EVENING, LOW_C, OUTSIDE_C = 1_770_685_200.0, 28.0, 8.0
AIR = (ExpectedOutside(EVENING, OUTSIDE_C, 0.3),)


def seen(skies: Skies, *, first_night: bool, over_edge_k: float = 2.0) -> bool:
    """Of a floor so far over its band's edge, seen to go with the outside for an evening."""
    night = ComingNight(
        Moment(EVENING, EVENING),
        EVENING + 10 * H,
        skies,
        lambda _: LOW_C,
        floor_c=LOW_C + over_edge_k,
        model=None,
        prior=prior(a_brooder(), 50, 7.0),
        follows=Following(LOW_C + 2.0, 0.3, 0.5, 0.02, 0.0, OUTSIDE_C),
        nights=NightsKept(),
        lost=False,
        first_night=first_night,
    )
    return night.outlook(
        BoxChange(rise_gain=1.0, time_gain=1.0, rise_per_watt_k=0.1, open_share=0.0)
    ).seen


def weather(front: float) -> Skies:
    """As an outside probe shows it, with this chance of a front."""
    usual = OutsideCurve(AIR, "the test", weight=1.0 - front, usual=True)
    return usual, OutsideCurve(AIR, "the test", weight=front, front=True)


@pytest.mark.parametrize(("front", "known"), [(0.0, False), (0.7, False), (0.95, True)])
def test_of_a_first_night_a_front_has_to_be_all_but_sure(front: float, known: bool) -> None:
    assert seen(weather(front), first_night=True) is known
    assert seen(weather(front), first_night=False)


def test_of_a_first_night_a_forecast_says_what_comes() -> None:
    assert seen((OutsideCurve(AIR, "forecast"),), first_night=True)


def test_of_a_first_night_a_floor_at_its_bands_edge_needs_no_front() -> None:
    """Its heat may be lost: it was told three quarters of an hour later."""
    assert seen(weather(0.0), first_night=True, over_edge_k=0.5)
