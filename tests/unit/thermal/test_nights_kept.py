"""How a box has kept through its nights: weighed with what an evening shows of the next one."""

import pytest

from monitor.thermal.nights_kept import MOST_OVER_EDGE_K, NightsKept
from monitor.thermal.swing import Swing

EDGE_C = 32.2


def after(*lowest_c: float) -> NightsKept:
    """Nights with these lowest floors, each with a day after it."""
    nights = NightsKept()
    for low_c in lowest_c:
        for floor_c in (37.0, low_c, 36.5):
            nights.see(floor_c, EDGE_C, night=True)
        nights.see(30.0, EDGE_C, night=False)
        nights.see(36.0, EDGE_C, night=False)
    return nights


def test_before_any_night_a_box_is_taken_to_keep_as_most_do() -> None:
    assert after().over_edge_k == MOST_OVER_EDGE_K
    assert after().last_low_c is None


def test_a_box_that_does_not_keep_is_soon_expected_not_to() -> None:
    expected = [after(*[30.2] * nights).over_edge_k for nights in range(4)]
    assert expected == sorted(expected, reverse=True)
    assert expected[1] < 0.5
    assert expected[3] == pytest.approx(-2.0, abs=0.6)
    assert after(30.2).last_low_c == 30.2


def test_what_was_more_than_enough_promises_nothing() -> None:
    assert after(36.0, 36.0).over_edge_k == MOST_OVER_EDGE_K


def test_nights_that_hold_make_up_for_one_that_did_not() -> None:
    expected_k = after(30.2, 35.0, 35.0, 35.0).over_edge_k
    assert expected_k == pytest.approx(MOST_OVER_EDGE_K, abs=0.1)
    assert after(30.2, 35.0).last_low_c == 35.0


def test_where_a_thermostat_caught_the_floor_to_the_end_of_the_night_it_will_again() -> None:
    """One that no longer switched in the coldest hours had no heat to spare."""
    swings = Swing(35.0, 0.6, True)
    for still_h, rests_c in ((0, 34.4), (3, None)):
        nights = after(36.0)
        assert nights.rests_c is None
        for _ in range(20):
            nights.see(35.0, EDGE_C, night=True, swing=swings)
        for _ in range(4 * still_h):
            nights.see(34.0, EDGE_C, night=True)
        nights.see(36.0, EDGE_C, night=False)
        assert nights.rests_c == rests_c
        for floor_c, night in ((36.0, False), (35.0, True), (36.0, False)):
            nights.see(floor_c, EDGE_C, night=night)
        assert nights.rests_c is None, "a night without it"
