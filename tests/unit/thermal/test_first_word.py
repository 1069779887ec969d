"""How soon a fall is told: each box has been watched for three quiet hours, then its temperatures
take a course. A plate that died cools for minutes before what lies beneath it does."""

from collections.abc import Callable
from dataclasses import replace
from math import exp, pi, sin
from random import Random

import pytest
from test_thermal_watch import box

from monitor.brooding.heat_balance import prior
from monitor.events import Cause
from monitor.thermal.diagnosis import Diagnosis
from monitor.thermal.thermal_watch import ThermalWatch

TARGET_C, NIGHT_H, EVENING_H, MORNING_H, NOON_H = 32.0, 1.0, 20.5, 6.2, 13.0
QUIET_MIN, AFTER_MIN = 180, 40

Course = Callable[[float], float]  # K above target, by minutes since it happened


def died(by_k: float, late_min: float = 9.0, slow_min: float = 25.0) -> Course:
    """Heat that goes out late and slowly: two lags in a row."""

    def fallen(minute: float) -> float:
        if minute <= 0.0:
            return 0.0
        slow, late = exp(-minute / slow_min), exp(-minute / late_min)
        return -by_k * (1.0 - (slow_min * slow - late_min * late) / (slow_min - late_min))

    return fallen


def cycled(died_at: float, off_min: float = 8.0, on_min: float = 8.0) -> Course:
    """A thermostat's swing by three kelvin, which stops at the top of a pulse."""

    def swung(minute: float) -> float:
        since = minute - died_at
        if since > 0.0:
            return 1.5 - 9.0 * (1.0 - exp(-since / (3.0 * off_min)))
        phase = since % (off_min + on_min)
        if phase <= off_min:
            return 1.5 - 3.0 * phase / off_min
        return -1.5 + 3.0 * (phase - off_min) / on_min

    return swung


def told(
    hour: float, cover: str = "plywood", soon_c: float = TARGET_C, **courses: Course
) -> list[tuple[float, Diagnosis]]:
    """What is told of lost heat, by minutes since it happened. `hour` it is then; `soon_c` is the
    target after a step that is near."""
    names = {
        place: place.replace("under_", "under-heat ").replace("cool_", "cool-").replace("_", " ")
        for place in courses
    }
    brooder = replace(box(*names.values()), cover=cover)
    watch = ThermalWatch(brooder, prior(brooder), False)
    watch.target_is(TARGET_C, low_c=soon_c - brooder.limits.band_c)
    rng = Random(7)
    found = []
    for step in range(2 * (QUIET_MIN + AFTER_MIN)):
        tick, minute = 30.0 * step, 0.5 * step - QUIET_MIN
        watch.hour_is(tick, (hour + minute / 60.0) % 24.0)
        for place, course in courses.items():
            temp_c = TARGET_C + course(minute) + rng.gauss(0.0, 0.05)
            diagnosis = watch.observe(tick, f"porch/{names[place]}", round(16 * temp_c) / 16)
            if diagnosis is not None and diagnosis.heat_lost:
                found.append((minute, diagnosis))
    return found


def fell_by(course: Course, k: float) -> float:
    """The minute by which a course has come down by so much."""
    return next(m for m in range(200) if course(float(m)) <= course(0.0) - k)


def test_by_night_a_quiet_floors_fall_is_told_before_it_has_fallen_by_a_kelvin():
    course = died(10.0)
    (minute, _), *_ = told(NIGHT_H, floor=course)
    assert 0.0 < minute < fell_by(course, 1.0)


def test_a_floor_that_is_still_warm_but_falls_is_not_waited_for_until_it_is_cold():
    course = died(10.0)
    (minute, _), *_ = told(NIGHT_H, floor=lambda m: 1.5 + course(m))
    assert 0.0 < minute < fell_by(course, 1.5)


def test_a_floor_on_its_way_back_from_too_warm_has_lost_no_heat():
    def back(minute: float) -> float:
        return 4.0 if minute <= 0.0 else 4.0 * exp(-minute / 25.0)

    assert told(NIGHT_H, floor=back) == []


def test_a_floor_that_swings_as_steeply_every_hour_is_not_told_for_another_swing():
    def swing(minute: float) -> float:
        return 0.8 * sin(2.0 * pi * minute / 30.0)

    assert told(NIGHT_H, floor=swing) == []


def test_a_floor_that_comes_to_rest_half_a_kelvin_lower_has_lost_no_heat():
    """The bedding was moved over its probe."""
    assert told(NIGHT_H, floor=lambda m: 0.0 if m <= 0.0 else -0.5 * (1.0 - exp(-m / 1.5))) == []


def test_a_lone_probe_that_comes_to_rest_well_within_the_band_has_lost_no_heat():
    """Its birds went, or the litter was scratched over it: nothing else in the box says so."""
    assert told(NIGHT_H, floor=lambda m: 0.0 if m <= 0.0 else -1.3 * (1.0 - exp(-m / 6.0))) == []


def test_a_lone_floor_that_goes_on_falling_is_told_though_it_is_slow():
    course = died(12.0, late_min=2.0, slow_min=90.0)
    (minute, _), *_ = told(NIGHT_H, floor=course)
    assert course(minute) > -2.4, "it is still in its band"


@pytest.mark.parametrize("hour", [NIGHT_H, MORNING_H, NOON_H])
def test_below_its_band_already_a_floor_has_lost_heat_where_it_heads_for_the_chill_limit(hour):
    """That it is cold is told. While it was aired in a cold night a lamp was blamed."""
    cold_k, harm_k = -3.2, -5.6

    def aired(minute: float) -> float:
        gone_k = 1.1 * (1.0 - exp(-min(minute, 10.0) / 3.0))
        return cold_k if minute <= 0.0 else cold_k - gone_k * exp(-max(0.0, minute - 10.0) / 8.0)

    assert told(hour, floor=aired) == []
    lamp = died(10.0)
    (minute, _), *_ = told(hour, floor=lambda m: cold_k + lamp(m))
    assert cold_k + lamp(minute) > harm_k


def test_beside_the_chill_limit_a_dip_by_a_bird_is_no_lost_heat_and_a_dead_lamp_is():
    def dip(minute: float) -> float:
        return -5.4 if minute <= 0.0 else -5.4 - 1.2 * (1.0 - exp(-minute / 6.0))

    assert told(NIGHT_H, floor=dip) == []
    lamp = died(10.0)
    assert told(NIGHT_H, floor=lambda minute: lamp(minute) - 5.4) != []


def test_in_the_morning_a_slow_fall_that_stays_in_the_band_may_be_birds_that_got_up():
    def left(minute: float) -> float:
        return 0.0 if minute <= 0.0 else -2.3 * (1.0 - exp(-minute / 20.0))

    assert told(MORNING_H, floor=left) == []
    assert told(NIGHT_H, floor=left) != [], "by night it is heat that may be lost"


def test_in_the_evening_too_heat_that_died_slowly_is_told_before_the_floor_is_cold():
    """A fall that goes on for longer than a feeding is none."""
    course = died(10.0, late_min=20.0, slow_min=90.0)
    (minute, said), *_ = told(EVENING_H, floor=course, under_lamp_1=lambda m: 1.5 * course(m))
    assert said.source == "lamp 1"
    assert course(minute) > -2.4, "it is still in its band"


def test_the_probe_beneath_a_dead_plate_names_it_before_the_floor_is_far_down():
    floor = died(4.0)
    (minute, said), *_ = told(
        NIGHT_H, floor=floor, under_lamp_1=died(12.0), under_lamp_2=lambda _: 0.0
    )
    assert said.source == "lamp 1"
    assert floor(minute) > -0.6


def test_a_probe_beneath_a_lamp_that_moves_by_itself_is_no_dead_lamp():
    def moved(minute: float) -> float:
        return 0.0 if minute <= 0.0 else -0.8 * (1.0 - exp(-minute / 1.5))

    assert told(NIGHT_H, floor=lambda _: 0.0, under_lamp_1=moved) == []


def fed(minutes: float) -> Course:
    """So long with the cover off."""

    def felt(minute: float) -> float:
        if minute <= 0.0:
            return 0.0
        if minute <= minutes:
            return -2.6 * (1.0 - exp(-minute / 2.0))
        return felt(minutes) * exp(-(minute - minutes) / 6.0)

    return felt


def test_in_the_evening_six_minutes_with_the_cover_off_are_told_to_nobody():
    assert told(EVENING_H, floor=fed(6.0)) == []


def test_in_the_evening_heat_that_died_is_told_before_a_plain_alarm_rings():
    course = died(24.0, late_min=1.0, slow_min=15.0)
    (minute, _), *_ = told(EVENING_H, floor=course)
    assert minute < fell_by(course, 2.8) + 5.0


def test_in_the_evening_before_a_step_down_a_lamp_that_was_raised_is_no_lost_heat():
    def raised(minute: float) -> float:
        return 0.0 if minute <= 0.0 else -3.0 * (1.0 - exp(-minute / 12.0))

    assert told(EVENING_H, floor=raised) != []
    assert told(EVENING_H, soon_c=TARGET_C - 2.8, floor=raised) == []
    assert told(EVENING_H, soon_c=TARGET_C - 2.8, floor=died(20.0)) != [], "heat that died is"


def comes_to(to_k: float, from_k: float) -> Course:
    """From so far above its target to so far above it."""

    def hung(minute: float) -> float:
        gone = 0.0 if minute <= 0.0 else 1.0 - exp(-minute / 8.0)
        return from_k + (to_k - from_k) * gone

    return hung


HUNG = {"floor": comes_to(0.1, 1.4), "under_lamp_1": comes_to(6.2, 8.8)}


@pytest.mark.parametrize("hour", [MORNING_H, EVENING_H])
def test_a_lamp_that_is_hung_for_the_target_while_people_are_about_is_no_lost_heat(hour: float):
    assert told(hour, **HUNG) == []
    assert told(NIGHT_H, **HUNG) != [], "by night nobody hangs it"


def test_in_the_evening_a_floor_that_is_brought_down_to_its_target_has_lost_no_heat():
    assert told(EVENING_H, floor=lambda m: 2.0 - 0.1 * min(18.0, max(0.0, m))) == []


def test_in_the_evening_before_a_step_down_it_may_be_brought_down_to_the_target_to_come():
    def brought(minute: float) -> float:
        return -0.1 * min(25.0, max(0.0, minute))

    assert told(EVENING_H, soon_c=TARGET_C - 2.8, floor=brought) == []
    assert told(EVENING_H, floor=brought) != []


@pytest.mark.parametrize("hour", [MORNING_H, EVENING_H])
def test_a_lamp_that_died_over_a_warm_floor_is_told_by_day_by_what_its_own_probe_lost(hour: float):
    (minute, said), *_ = told(
        hour,
        floor=comes_to(0.2, 1.5),
        under_lamp_1=lambda m: 9.0 - (0.0 if m <= 0.0 else 6.0 * (1.0 - exp(-m / 3.0))),
        under_lamp_2=lambda _: 9.0,
    )
    assert said.source == "lamp 1"
    assert minute < 8.0


def test_a_floor_that_falls_below_its_target_by_day_is_told_from_there():
    course = died(14.0, late_min=2.0)
    (minute, _), *_ = told(EVENING_H, floor=lambda m: 1.0 + course(m))
    assert fell_by(course, 1.0) <= minute < fell_by(course, 3.8) + 5.0


def test_in_the_evening_a_cover_that_is_seen_to_be_on_lets_a_fall_be_told_half_an_hour_ahead():
    course = died(6.0)
    (minute, _), *_ = told(EVENING_H, floor=course, cool_end=lambda m: 0.3 * course(m))
    assert course(minute) > -1.2


def test_in_the_evening_a_cool_end_that_holds_shows_that_the_cover_is_on():
    course = died(10.0, late_min=2.0)
    (minute, _), *_ = told(EVENING_H, floor=course, cool_end=lambda m: 0.3 * course(m))
    assert minute < 7.5
    (alone, _), *_ = told(EVENING_H, floor=course)
    assert alone >= 9.0


def rests(k: float, slow_min: float = 3.0) -> Course:
    """So much lower within minutes, and there it stays."""
    return lambda minute: 0.0 if minute <= 0.0 else -k * (1.0 - exp(-minute / slow_min))


def test_by_night_a_cover_that_is_seen_to_go_is_told_though_the_floor_comes_to_rest_in_its_band():
    found = told(NIGHT_H, floor=rests(0.7), cool_end=rests(1.6), under_heat_1=rests(0.5))
    assert found[0][0] < 7.0
    assert {diagnosis.cause for _, diagnosis in found} == {Cause.COVER_OPEN}


def test_in_the_evening_a_cover_that_stays_off_is_told_when_a_feeding_would_be_over():
    (minute, diagnosis), *_ = told(EVENING_H, floor=rests(0.7), cool_end=rests(1.6))
    assert 15.0 < minute < 21.0
    assert diagnosis.cause is Cause.COVER_OPEN
    lid = fed(9.0)
    assert told(EVENING_H, floor=lambda m: 0.3 * lid(m), cool_end=lid) == []


def test_a_gust_that_all_of_the_box_feels_alike_is_no_cover_that_went():
    assert told(NIGHT_H, floor=rests(0.7), cool_end=rests(0.8), under_heat_1=rests(0.5)) == []


def test_a_cool_end_that_falls_beside_a_lamp_that_feels_nothing_shows_no_open_cover():
    beside = {"cool_end": rests(1.6), "under_lamp_1": rests(0.1)}
    assert told(NIGHT_H, floor=rests(0.7), **beside) == []


def test_a_bird_that_leaves_the_cool_end_took_no_cover_with_it():
    def left(minute: float) -> float:
        return 2.0 + rests(2.0)(minute) if minute > -12.0 else 0.0

    assert told(NIGHT_H, floor=rests(0.5), cool_end=left) == []


def test_a_feeding_after_which_a_third_of_the_air_comes_back_is_no_cover_that_stays_off():
    """What stays away is the cold that came meanwhile."""

    def fed_in_a_front(k: float, stays: float) -> Course:
        off = rests(k)
        return lambda m: (
            off(m) if m < 6.0 else off(6.0) * (stays + (1 - stays) * exp((6.0 - m) / 2))
        )

    found = told(EVENING_H, floor=fed_in_a_front(0.7, 0.8), cool_end=fed_in_a_front(1.6, 0.65))
    assert found == []


def test_air_that_was_back_once_is_no_cover_that_stays_off_though_it_slowly_goes_again():
    off = rests(1.6)

    def back_once(minute: float) -> float:
        if minute < 6.0:
            return off(minute)
        if minute < 12.0:
            return off(6.0) * (0.3 + 0.7 * exp((6.0 - minute) / 2.0))
        return off(6.0) * min(1.0, 0.3 + 0.12 * (minute - 12.0))

    def floor(minute: float) -> float:
        return 0.45 * off(min(minute, 6.0))

    assert told(EVENING_H, floor=floor, cool_end=back_once) == []


def test_a_cover_that_is_none_cannot_go():
    gone = {"floor": rests(0.7), "cool_end": rests(1.6)}
    assert told(NIGHT_H, cover="none", **gone) == []


def test_a_box_without_a_cover_is_not_waited_for_as_if_it_were_off():
    (minute, _), *_ = told(EVENING_H, cover="none", floor=died(10.0, late_min=2.0))
    assert minute < 7.5


def test_by_day_a_cloud_may_leave_the_cool_end_as_it_was():
    (minute, _), *_ = told(NOON_H, floor=died(10.0, late_min=2.0), cool_end=lambda _: 0.0)
    assert minute >= 9.0


def test_a_cool_end_that_a_chick_sits_on_does_not_show_that_the_cover_is_on():
    def sat_on(minute: float) -> float:
        return 0.0 if minute <= -2.0 else 1.5 * (1.0 - exp(-(minute + 2.0) / 3.0))

    lid = fed(5.0)
    assert told(EVENING_H, floor=lid, cool_end=sat_on) == []
    assert told(EVENING_H, floor=lid, cool_end=lambda m: sat_on(m) + 0.9 * lid(m)) == []


def test_a_pulse_that_is_late_by_half_an_off_phase_is_lost_heat():
    (minute, _), *_ = told(NIGHT_H, floor=cycled(0.0))
    assert 8.0 < minute < 14.0


def test_a_thermostats_swing_is_known_though_the_first_one_remembered_is_cut_off():
    for began in range(0, 16, 4):
        (minute, _), *_ = told(NIGHT_H, floor=lambda m, at=float(began): cycled(at)(m))
        assert 8.0 < minute - began < 14.0


def test_a_slow_thermostats_pulse_is_missed_by_what_its_last_swings_were():
    """Of swings of fifty minutes an hour and a half shows one."""
    (minute, _), *_ = told(NIGHT_H, floor=cycled(0.0, off_min=20.0, on_min=30.0))
    assert 28.0 < minute < 36.0
    assert told(NIGHT_H, floor=cycled(99.0, off_min=20.0, on_min=30.0)) == []


def test_a_thermostats_pulse_that_does_not_come_is_missed_sooner_where_the_floor_falls_on_as_fast():
    """Far below where any rest ended a quarter of one's time more is enough."""
    off_min = 16.0
    swings = cycled(0.0, off_min)

    def falls_on(minute: float) -> float:
        return 1.5 - 3.0 * minute / off_min if minute > 0.0 else swings(minute)

    (minute, _), *_ = told(NIGHT_H, floor=falls_on)
    assert minute < 1.4 * off_min
    assert told(NIGHT_H, floor=cycled(99.0, off_min)) == []


def switched(died_at: float) -> Course:
    """Beneath a thermostat's own lamp: down by four kelvin in each rest, and up again."""

    def felt(minute: float) -> float:
        if minute > died_at:
            return -10.0 + 8.0 * exp((died_at - minute) / 15.0)
        return -4.0 + 2.0 * sin(2.0 * pi * (minute - died_at + 3.5) / 14.0)

    return felt


def test_a_thermostats_lamp_is_missed_by_its_own_probe_once_a_rest_is_far_too_long():
    beside = {"floor": rests(0.5), "under_lamp_2": lambda _: 8.0}
    (minute, said), *_ = told(NIGHT_H, under_lamp_1=switched(0.0), **beside)
    assert said.source == "lamp 1"
    assert minute < 16.0
    assert told(NIGHT_H, under_lamp_1=switched(99.0), **beside) == []


def test_a_thermostat_that_goes_on_is_told_to_nobody():
    assert told(NIGHT_H, floor=cycled(99.0)) == []


def test_a_rest_that_goes_no_lower_and_lasts_no_longer_than_the_last_two_has_lost_no_heat():
    """Of a thermostat that is on for an hour, the hour before shows no rest."""

    def pulsed(minute: float) -> float:
        since = minute % 75.0
        if since < 6.0:
            return 1.5 - 0.5 * since
        return min(0.3 + 0.016 * since, -1.5 + 0.3 * (since - 6.0))

    def late(course: Course, **beside: Course) -> list[float]:
        return [minute for minute, _ in told(NIGHT_H, floor=course, **beside) if minute > 0.0]

    assert late(pulsed) == []
    assert late(pulsed, cool_end=lambda m: 1.5 * pulsed(m)) == [], "the air cools with it"
    assert late(lambda m: pulsed(m) if m < 0.0 else max(-9.0, 1.5 - 0.5 * m))[0] < 9.0


@pytest.mark.parametrize("hour", [MORNING_H + 3.0, EVENING_H])
def test_a_floor_that_cools_alone_while_a_probe_for_each_source_holds_has_lost_no_heat(hour: float):
    """Though no name says which of them lies beneath which."""
    left = rests(2.4, 6.0)
    holds = {"under_heat_1": lambda _: 3.0, "under_heat_2": lambda _: 4.0}
    assert told(hour, floor=left, **holds) == []
    assert told(hour, floor=left, under_heat_1=holds["under_heat_1"]) != []


@pytest.mark.parametrize("hour", [NIGHT_H, EVENING_H])
def test_a_floor_that_cools_while_the_cool_end_warms_is_left_by_its_birds(hour: float):
    """They walked there, and lost heat warms nothing. Out of its band it is told all the same."""

    def left(by_k: float) -> Course:
        return rests(by_k, 15.0)

    assert told(hour, floor=left(2.4), cool_end=lambda _: 0.0) != []
    assert told(hour, floor=left(2.4), cool_end=lambda m: -0.5 * left(2.4)(m)) == []
    (minute, _), *_ = told(hour, floor=left(6.0), cool_end=lambda m: -0.2 * left(6.0)(m))
    assert minute < fell_by(left(6.0), 2.8) + 5.0


def test_where_what_lies_beneath_a_source_cools_too_no_birds_are_thought_to_have_left():
    """Of all that was without power a cool end of 0.3 K more was believed for four minutes."""
    cut = died(14.0, late_min=2.0)
    courses = {"floor": cut, "under_lamp_1": cut}
    (soon, _), *_ = told(NIGHT_H, **courses, cool_end=lambda _: 0.0)
    (minute, _), *_ = told(NIGHT_H, **courses, cool_end=lambda m: -0.1 * rests(6.0, 2.0)(m))
    assert minute <= soon + 1.0


@pytest.mark.parametrize("by_k", [-14.0, 14.0])
@pytest.mark.parametrize("hour", [NIGHT_H, EVENING_H, NOON_H])
def test_two_wild_readings_do_not_make_a_lamps_probe_one_that_often_falls(hour: float, by_k: float):
    """By day its death was told to nobody: as steeply had it fallen within the hour."""
    floor, lamp = died(4.5, late_min=1.0), died(7.0, late_min=1.0)

    def first(wild_k: float) -> float:
        def read(minute: float) -> float:
            return 5.0 + lamp(minute) + wild_k * (-35.0 <= minute < -34.0)

        said = told(hour, floor=lambda m: 2.5 + floor(m), under_lamp_1=read)
        return next(minute for minute, _ in said if minute > 0.0)

    assert first(by_k) <= first(0.0) + 0.5
