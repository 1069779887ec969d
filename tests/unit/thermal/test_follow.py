"""How a floor follows the outside: a level and a share, learned by night."""

import json
from random import Random

import pytest

from monitor.thermal.follow import FLOOR_SHARE, Follow, Following

H, QUARTER_S = 3600.0, 900.0
OUTSIDE_C = 12.0


def night(
    share: float, hours: float, falls_k_per_h: float = 0.8, *, by_day: float = 0.0, seed: int = 1
) -> tuple[Follow, float]:
    """A floor at 33 degC that follows a falling outside by that share, two hours late; first a day
    on which it stays as it is though the outside changes. The follower, and the outside at last."""
    follow, rng, tick, outside_c, felt_c = Follow(), Random(seed), 0.0, OUTSIDE_C, OUTSIDE_C
    while tick < (by_day + hours) * H:
        tick += QUARTER_S
        is_night = tick > by_day * H
        outside_c += -falls_k_per_h / 4 if is_night else 0.5 * rng.choice((-1, 1))
        felt_c += (outside_c - felt_c) * (1 - 0.8825)  # exp(-1/8): a quarter of two hours
        floor_c = 33.0 + (share * (felt_c - OUTSIDE_C) if is_night else 0.0)
        follow.see(tick, floor_c + rng.gauss(0.0, 0.1), outside_c, night=is_night)
    return follow, outside_c


def told(follow: Follow, outside_c: float) -> Following:
    return follow.at(30.0, outside_c, night=True)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.6, 0.9])
def test_the_share_is_learned_in_a_night(share: float) -> None:
    follow, outside_c = night(share, 10.0)
    found = told(follow, outside_c)
    assert found.share == pytest.approx(share, abs=0.15)
    assert found.share_var < 0.12**2
    assert found.level_c == pytest.approx(33.0 + share * (found.felt_c - OUTSIDE_C), abs=0.4)


def test_a_day_on_which_a_grower_holds_the_floor_teaches_nothing_of_the_share() -> None:
    follow, outside_c = night(0.6, 0.0, by_day=10.0)
    assert told(follow, outside_c).share == FLOOR_SHARE
    assert told(follow, outside_c).level_var > told(night(0.6, 3.0)[0], outside_c).level_var


def test_lamps_that_were_moved_are_believed_at_once() -> None:
    follow, outside_c = night(0.6, 5.0, falls_k_per_h=0.0)
    for quarter in range(2):
        follow.see(5 * H + (quarter + 1) * QUARTER_S, 30.0, outside_c, night=True)
    assert told(follow, outside_c).level_c == pytest.approx(30.0, abs=0.5)


def test_heat_that_a_thermostat_is_said_to_switch_is_trusted_to_keep_the_floor() -> None:
    told_so, unsaid = (Follow(thermostat=said).at(30.0, 5.0, night=True) for said in (True, False))
    assert told_so.share < 0.2 < unsaid.share
    assert told_so.share_var < unsaid.share_var


def test_before_anything_is_learned_a_floor_is_taken_to_stay() -> None:
    assert told(Follow(), 5.0).level_c == 30.0
    assert told(Follow(), 5.0).felt_c == 5.0


def test_a_restart_with_any_shift_goes_on_exactly() -> None:
    follow, outside_c = night(0.6, 5.0)
    other = Follow()
    other.restore(json.loads(json.dumps(follow.kept())), 1e5)
    follow.see(5.25 * H, 31.0, outside_c, night=True)
    other.see(5.25 * H + 1e5, 31.0, outside_c, night=True)
    assert told(other, outside_c) == told(follow, outside_c)


def test_a_grower_who_has_hung_the_lamps_anew_by_evening_says_nothing_of_the_share() -> None:
    """By day hands keep the floor right; from evening to morning it goes with the outside."""
    follow, tick, felt_c, dusk_c = Follow(), 0.0, OUTSIDE_C, 0.0
    for quarter in range(4 * 96):
        tick += QUARTER_S
        night = quarter % 96 >= 48
        days_c = OUTSIDE_C + quarter / 32.0  # each day is warmer than the one before
        outside_c = days_c - abs(quarter % 96 - 48) / 6.0
        felt_c += (outside_c - felt_c) * (1 - 0.8825)
        dusk_c = dusk_c if night else felt_c
        floor_c = 33.0 + (0.9 * (felt_c - dusk_c) if night else 0.0)
        follow.see(tick, floor_c, outside_c, night=night)
    assert told(follow, outside_c).share == pytest.approx(0.9, abs=0.1)
