"""A thermostat's heat that does not come on again, in the evening: the floor is let go for far
longer, and lower, than ever of late, though it may come to rest in its band."""

from math import exp

import pytest
from test_first_word import EVENING_H, NOON_H, TARGET_C, Course, told

from monitor.events import Cause
from monitor.thermal.swing import Rests

OFF_MIN, ON_MIN, LAG_MIN = 10.0, 8.0, 3.0


def switched(
    top_k: float,
    ends_k: float,
    *,
    died: bool = True,
    swing_k: float = 1.2,
    off_min: float = OFF_MIN,
) -> Course:
    """From `top_k` down by `swing_k` while the heat is off, and up again; from 0 on, at the top of
    a pulse, it sinks to `ends_k`, and rests there."""

    def felt(minute: float) -> float:
        if died and minute > 0.0:
            return ends_k + (top_k - ends_k) * exp(-minute / LAG_MIN)
        phase = minute % (off_min + ON_MIN)
        if phase < off_min:
            return top_k - swing_k * phase / off_min
        return top_k - swing_k * (1.0 - (phase - off_min) / ON_MIN)

    return felt


FLOOR = switched(0.6, -1.7)


def first(hour: float, floor: Course, **more: float) -> float | None:
    return next((minute for minute, _ in told(hour, floor=floor, **more)), None)


def test_in_the_evening_heat_that_does_not_come_on_again_is_told_though_the_floor_is_in_its_band():
    minute, said = told(EVENING_H, floor=FLOOR)[0]
    assert said.cause is Cause.HEAT_SOURCE
    assert 2.0 * OFF_MIN < minute < 2.5 * OFF_MIN


@pytest.mark.parametrize("hour", [19.0, NOON_H])
def test_while_lamps_are_hung_a_long_rest_is_no_lost_heat(hour: float):
    assert first(hour, FLOOR) is None


def test_a_thermostat_that_goes_on_is_told_to_nobody():
    assert first(EVENING_H, switched(0.6, 0.0, died=False)) is None


def test_a_floor_that_is_hardly_below_its_target_rests_for_as_long_as_it_is_mild():
    assert first(EVENING_H, switched(1.6, -0.7)) is None


def test_a_floor_no_lower_than_after_the_rests_before_misses_no_heat():
    assert first(EVENING_H, switched(0.0, -1.8)) is None


def test_in_the_evening_before_a_step_down_the_thermostat_is_turned_down():
    assert first(EVENING_H, FLOOR, soon_c=TARGET_C - 1.0) is None


def rested(*, silent_from: float = 99.0, uneven: bool = False, died: bool = True) -> bool:
    """Is one that begins at 0 seen to have outlasted those before, 40 minutes on?"""
    rests, course = Rests(), switched(0.6, -1.7, died=died)
    longer = switched(0.6, -1.7, off_min=3.0)
    for step in range(-400, 81):
        minute = 0.5 * step
        if not silent_from < minute < silent_from + 16.0:
            early = uneven and -100.0 <= minute < -50.0
            rests.see(60.0 * minute, (longer if early else course)(minute))
    return rests.outlasted(2400.0, course(40.0))


def test_a_rest_is_held_against_those_before_where_these_are_alike_and_all_of_it_was_heard():
    assert rested()
    assert not rested(died=False)
    assert not rested(uneven=True), "birds come and go"
    assert not rested(silent_from=4.0), "a pulse may have come meanwhile"
