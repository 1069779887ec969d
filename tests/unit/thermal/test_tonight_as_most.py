"""What little an evening shows of its night is weighed with what most boxes do."""

from math import inf
from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_site

from monitor.thermal.coming_night import (
    HourAhead,
    View,
    edges,
    hours,
    look_ahead,
)
from monitor.thermal.diagnosis import Outlook
from monitor.thermal.follow import Follow, Following
from monitor.thermal.nights_kept import MOST_OVER_EDGE_K
from monitor.thermal.outside_curve import ExpectedOutside, OutsideCurve

H = 3600.0
EVENING, NIGHT_S = 1_770_685_200.0, 10 * H
LOW_C, OUTSIDE_C = 28.0, 8.0


def ahead(level_c: float, sd_k: float, *, as_most: bool = False, rests_c: float = -inf) -> Outlook:
    """Of a floor 2 K over its band's edge that will settle at `level_c`, known so well."""
    until = EVENING + NIGHT_S
    outside = OutsideCurve((ExpectedOutside(EVENING, OUTSIDE_C, 0.3),), "the test")
    follows = Following(level_c, sd_k**2, 0.5, 0.0, 0.0, OUTSIDE_C)
    seen = View(
        hours=hours(
            edges(EVENING, until, lambda _: LOW_C),
            follows=follows,
            outside=outside,
            most_c=LOW_C + MOST_OVER_EDGE_K if as_most else None,
            rests_c=rests_c,
        ),
        floor_c=LOW_C + 2.0,
        rise_per_watt_k=0.05,
        tau_s=1.5 * H,
        learned=1.0,
    )
    return look_ahead(seen).outlook


def test_a_box_of_which_little_is_known_is_taken_to_hold_as_most_do() -> None:
    alone, weighed = (ahead(LOW_C + 1.0, 2.0, as_most=most) for most in (False, True))
    assert alone.chance > 0.3 > 0.2 > weighed.chance
    wide, narrow = (o.lowest_c.high - o.lowest_c.low for o in (alone, weighed))
    assert narrow < 0.8 * wide


def test_a_box_that_is_known_to_leave_its_band_is_said_to() -> None:
    assert ahead(LOW_C - 2.0, 0.3, as_most=True).chance > 0.8
    assert ahead(LOW_C + 4.0, 0.3, as_most=True).chance < 0.05


def test_a_floor_that_falls_to_where_its_thermostat_catches_it_holds() -> None:
    falls = ahead(LOW_C - 3.0, 2.0)
    caught = ahead(LOW_C - 3.0, 2.0, rests_c=LOW_C + 2.0)
    assert falls.chance > 0.9
    assert caught.chance < 0.1
    assert caught.lowest_c.mid == pytest.approx(LOW_C + 2.0 - 0.4, abs=0.05)
    cold = ahead(LOW_C - 3.0, 2.0, rests_c=LOW_C - 1.0)
    assert cold.chance > 0.8, "it catches it too late"


def by_morning(follows: Following, *, front: bool) -> HourAhead:
    """Of air that falls by 9 K through the night."""
    air = (
        ExpectedOutside(EVENING, OUTSIDE_C, 0.3),
        ExpectedOutside(EVENING + NIGHT_S, OUTSIDE_C - 9.0, 0.3),
    )
    return hours(
        edges(EVENING, EVENING + NIGHT_S, lambda _: LOW_C),
        follows=follows,
        outside=OutsideCurve(air, "the test", front=front),
    ).to_come[-1]


def test_a_front_with_its_wind_takes_more_from_a_box_than_its_cold() -> None:
    """Of a box that went with the outside by a third in calm nights."""
    follows = Following(LOW_C + 2.0, 0.01, 1.0 / 3.0, 0.01, 0.0, OUTSIDE_C)
    calm, windy = (by_morning(follows, front=front) for front in (False, True))
    assert windy.settles_c < calm.settles_c - 0.5
    assert windy.felt_var > calm.felt_var


def test_a_thermostat_makes_up_for_wind_as_for_cold() -> None:
    """Seen to switch, or said to: what it spares the floor it spares it in a front, too."""
    said, seen = Follow(thermostat=True), Follow()
    seen.swings(LOW_C + 2.0, all_heat=False)
    for follow in (said, seen):
        follows = follow.at(LOW_C + 2.0, OUTSIDE_C, night=True)
        assert by_morning(follows, front=True) == by_morning(follows, front=False)


@pytest.mark.parametrize("floor_c", [29.0, 31.0])
def test_a_floor_below_its_band_is_no_box_that_holds(floor_c: float) -> None:
    """The night, from 8 degC on, is as cold for it as for any."""
    night, rng = Night(a_site(a_brooder(), outside=True)), Random(1)
    for _ in night.until(2.0 * H):
        night.says(floor_c + rng.gauss(0.0, 0.03))
        night.says(8.0, "site/shade")
    found = night.engine.tonight("porch", night.now()).outlook
    assert found is not None
    assert found.below_now
    assert found.lowest_c.mid < floor_c - 1.0
    assert found.chance > 0.9


def test_where_a_forecast_alone_is_known_what_fell_lately_has_yet_to_reach_the_floor() -> None:
    """By eight the open air has come down; litter and walls follow it for hours."""
    night, rng = Night(a_site(a_brooder())), Random(1)
    pairs = tuple(
        (night.start + hour * H, 15.0 - 5.0 * min(3, max(0, hour - 1))) for hour in range(-2, 24)
    )
    night.engine.forecast_is(pairs, night.start, night.now())
    for _ in night.until(5.0 * H):
        night.says(31.0 + rng.gauss(0.0, 0.03))
    found = night.engine.tonight("porch", night.now()).outlook
    assert found is not None
    assert found.outside_from.startswith("forecast")
    assert found.lowest_c.mid < 31.0 - 1.5
