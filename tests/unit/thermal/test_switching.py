"""A thermostat that swings the floor is seen by its swings: the night is judged by their middle."""

from itertools import pairwise
from math import cos, pi

import pytest
from support.engine_night import Night, a_brooder, a_site

from monitor.thermal.follow import FLOOR_SHARE, Follow
from monitor.thermal.swing import Switching

H = 3600.0
MIDDLE_C, SWING_K, PERIOD_S = 35.2, 1.6, 70 * 60.0
LOW_C = 32.2  # of the band in the first week


def thermostat_c(at_s: float, period_s: float = PERIOD_S) -> float:
    """Up in a third of the time, down in the rest, as lamps and litter go."""
    phase = at_s / period_s % 1.0
    part = phase * 1.5 if phase < 1 / 3 else 0.5 + (phase - 1 / 3) * 0.75
    return MIDDLE_C - SWING_K * cos(2 * pi * part)


def seen(course, hours: float) -> Switching:
    floor = Switching()
    for step in range(int(hours * H / 30)):
        floor.see(step * 30.0, course(step * 30.0))
    return floor


@pytest.mark.parametrize("period_s", [1200.0, PERIOD_S])
def test_the_middle_of_the_swings_is_known_after_three_of_them(period_s: float) -> None:
    last_s = 3 * period_s
    floor = seen(lambda at: thermostat_c(at, period_s), last_s / H)
    swing = floor.swing(last_s, thermostat_c(last_s, period_s))
    assert swing is not None
    assert swing.middle_c == pytest.approx(MIDDLE_C, abs=0.2)
    assert 0.4 * SWING_K < swing.dips_k < SWING_K, "a mean over a quarter of an hour shows less"


def test_one_that_is_seen_keeps_back_less_than_one_that_is_said_to_switch_all_heat() -> None:
    seen_so, said_so = Follow(), Follow(thermostat=True)
    seen_so.see(0.0, 33.0, 10.0, night=True)
    for follow in (seen_so, said_so):
        follow.swings(MIDDLE_C, all_heat=False)
    found, said = (follow.at(33.0, 10.0, night=True) for follow in (seen_so, said_so))
    assert found.level_c == MIDDLE_C
    assert said.share < found.share < FLOOR_SHARE
    assert said.share_var < found.share_var


def test_one_that_is_seen_to_switch_the_only_heat_keeps_back_as_much_as_one_that_is_said_to() -> (
    None
):
    seen_so, said_so = Follow(), Follow(thermostat=True)
    for follow in (seen_so, said_so):
        follow.see(0.0, MIDDLE_C, 10.0, night=True)
    seen_so.swings(MIDDLE_C, all_heat=True)
    found, said = (follow.at(MIDDLE_C, 10.0, night=True) for follow in (seen_so, said_so))
    assert (found.share, found.share_var) == (said.share, said.share_var)


def test_birds_that_come_and_go_through_a_long_rest_leave_the_pulses_known() -> None:
    """So a mild morning's rest does not make the evening's first pulse new heat."""
    up_s, swings_s = 600.0, 4 * 2400.0
    rest_s = swings_s + 4 * H

    def course(at: float) -> float:
        if at < swings_s:
            phase_s = at % 2400.0
            return 33.0 + 3.0 * min(phase_s / up_s, (2400.0 - phase_s) / 1800.0)
        if at < rest_s:
            return 33.0 + (0.6 if at % 3600.0 < 900.0 else 0.0)  # a bird sits on the probe
        return 33.0 + 3.0 * (at - rest_s) / up_s

    floor, at = Switching(), 0.0
    while at < rest_s + 2 * up_s:
        floor.see(at, course(at))
        if rest_s + 0.5 * up_s < at < rest_s + up_s:
            assert floor.pulses_until(at, course(at)) >= at
        at += 30.0
    assert floor.pulses_until(at, course(at)) < at, "it goes on for longer, and higher"


def test_a_weak_pulse_ends_a_rest() -> None:
    """Else that rest and the next one are taken for one that does not end."""
    up_s, down_s, swing_k = 360.0, 480.0, 2.2

    def course(at: float) -> float:
        phase_s = at % (up_s + down_s)
        share = phase_s / up_s if phase_s < up_s else 1.0 - (phase_s - up_s) / down_s
        return 33.0 + swing_k * share * (0.36 if at > 3 * (up_s + down_s) else 1.0)

    weak_s = 3 * (up_s + down_s) + up_s
    assert seen(course, (weak_s + 180.0) / H).peak == (weak_s, pytest.approx(33.8, abs=0.1))


def test_two_feedings_are_no_thermostat_nor_is_a_front() -> None:
    def fed(at: float) -> float:
        return 35.0 - max(0.0, 2.5 - abs(at / H - 1.0) * 5) - max(0.0, 1.2 - abs(at / H - 3) * 1.5)

    assert seen(fed, 5).swing(5 * H, 35.0) is None
    assert seen(lambda at: 36.0 - at / H, 5).swing(5 * H, 31.0) is None


def test_a_floor_that_its_thermostat_no_longer_holds_swings_no_more() -> None:
    floor = seen(thermostat_c, 3 * PERIOD_S / H)
    assert floor.swing(3 * PERIOD_S, MIDDLE_C - SWING_K - 1.0) is None
    assert floor.swing(3 * PERIOD_S + 4 * H, MIDDLE_C) is None


def test_no_cold_night_is_made_of_a_thermostats_rest() -> None:
    night = Night(a_site(a_brooder(), outside=True))
    chances = []
    while night.t < 9 * H:
        night.says(thermostat_c(night.t))
        night.says(10.0 - night.t / 5400, "site/shade")
        night.t += 30.0
        if night.t > 3 * PERIOD_S and night.t % 900 == 0:
            asked = night.engine.tonight("porch", night.now())
            assert asked.outlook is not None
            chances.append(asked.outlook.chance)
    assert max(chances) < 0.4
    apart = [abs(a - b) for a, b in pairwise(chances)]
    assert max(apart) < 0.05, "a rest and the heat after it say the same of the night"
    assert MIDDLE_C - SWING_K > LOW_C, "it holds all the time"


def test_at_the_bottom_of_a_swing_near_the_edge_the_night_is_no_colder() -> None:
    """Where it is in its swing says nothing of the night, and its lowest is not reckoned twice."""
    down_k = MIDDLE_C - SWING_K - LOW_C
    night, least, most = Night(a_site(a_brooder(), outside=True)), 1.0, 0.0
    while night.t < 7 * H:
        night.says(thermostat_c(night.t) - down_k)
        night.says(10.0, "site/shade")
        night.t += 30.0
        if night.t > 3 * PERIOD_S and night.t % 300 == 0:
            asked = night.engine.tonight("porch", night.now()).outlook
            assert asked is not None
            if not asked.below_now:
                least, most = min(least, asked.chance), max(most, asked.chance)
    assert most - least < 0.2
    assert night.told() == []
