"""What looks like lost heat for some minutes and is none: nobody is called to the box."""

from dataclasses import replace
from math import exp
from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_probe, a_site

from monitor.events import AlarmName, EntryKind
from monitor.site import Place

LAMPS = ("under west lamp", "under east lamp")


def steady(_: float) -> float:
    return 35.0


def a_night(*under: str, every_s: float, course=steady, noise_k=0.05) -> tuple[Night, list[str]]:
    """Probes on the floor and beneath lamps, two quiet hours old at eight in the evening."""
    box = a_brooder()
    probes = (*box.probes, *(a_probe("porch", name, Place.UNDER_HEAT) for name in under))
    night = Night(a_site(replace(box, probes=probes)))
    lives(night, 2 * 3600, every_s, under, course=course, noise_k=noise_k)
    return night, night.told()


def lives(night, for_s, every_s, under=(), *, course=steady, odd=None, noise_k=0.05):
    """The floor goes its course (degC by seconds); `odd` is what the first lamp's probe says."""
    rng, began = Random(int(night.t)), night.t
    for _ in night.until(began + for_s, every_s):
        night.says(course(night.t - began) + rng.gauss(0, noise_k))
        for name in under:
            temp_c = odd if odd is not None and name == under[0] else 42.0
            night.says(temp_c + rng.gauss(0, 0.05), f"porch/{name}")


@pytest.mark.parametrize("wild", [1, 2])
def test_a_lamps_probe_that_is_wild_for_a_reading_or_two_is_no_dead_lamp(wild):
    night, before = a_night(*LAMPS, every_s=60.0)
    lives(night, 60.0 * wild, 60.0, LAMPS, odd=26.0)
    lives(night, 600.0, 60.0, LAMPS)
    assert night.told() == before == []


def test_a_lamp_whose_probe_collapses_is_told_within_three_minutes():
    night, _ = a_night(*LAMPS, every_s=60.0)
    lives(night, 180.0, 60.0, LAMPS, odd=26.0)
    assert [c.alarm for c in night.changes] == [AlarmName.HEAT_LOSS]


def test_heat_that_is_known_to_be_lost_is_told_with_the_pace_of_its_first_minutes():
    night, _ = a_night(*LAMPS, every_s=10.0)

    def fall(seconds: float) -> float:
        return 35.0 - 6.0 * (1 - exp(-seconds / 300.0))

    lives(night, 180.0, 10.0, LAMPS, course=fall, odd=26.0)
    [told] = [c for c in night.changes if c.alarm is AlarmName.HEAT_LOSS]
    assert told.facts["rate_c_per_h"] < -3.0


def test_a_cover_lifted_for_feeding_while_the_floor_came_down_before_is_no_lost_heat():
    """It is off for five minutes: what went before, a lamp raised or an off-phase, is not of it."""
    night, _ = a_night(every_s=30.0)

    def course(seconds: float) -> float:
        lifted_s = min(max(0.0, seconds - 720.0), 300.0)
        shut_s = max(0.0, seconds - 1020.0)
        drifted_k = min(seconds, 720.0) / 720.0 * 0.9
        return 35.0 - drifted_k - 2.6 * (1 - exp(-lifted_s / 200.0)) * exp(-shut_s / 200.0)

    lives(night, 2400.0, 30.0, course=course)
    assert "porch/heat-loss" not in night.told()


def test_a_thermostat_whose_next_pulse_does_not_come_is_lost_heat_though_it_swung_wide():
    """On for ten minutes, off for ten; by forty it has been off for too long."""

    def swings(seconds: float) -> float:
        part = seconds % 1200.0
        return 35.0 - 2.0 * (part if part < 600.0 else 1200.0 - part) / 600.0

    night, before = a_night(every_s=30.0, course=swings)
    assert "porch/heat-loss" not in before
    lives(night, 2400.0, 30.0, course=lambda seconds: 35.0 - 2.6 * (1 - exp(-seconds / 900.0)))
    assert "porch/heat-loss" in night.told()
    assert "porch/cold" not in night.told(), "it is still in its band"


def test_a_lamp_without_a_probe_of_its_own_may_have_died_though_the_other_ones_holds():
    night, _ = a_night("under east lamp", every_s=30.0)
    lives(
        night,
        2400.0,
        30.0,
        ("under east lamp",),
        course=lambda seconds: 35.0 - 4.5 * (1 - exp(-seconds / 900.0)),
    )
    lost = night.changes[0]
    assert (lost.alarm, lost.facts["source"]) == (AlarmName.HEAT_LOSS, "west lamp")


@pytest.mark.parametrize("open_min", [6.0, 40.0])
def test_a_cover_off_in_the_evening_is_lost_heat_only_once_it_is_off_for_longer_than_a_feeding(
    open_min,
):
    """The fall slackens before harm is near. That the floor is out of its band is told as soon as
    by a plain alarm all the same."""
    night, _ = a_night(every_s=30.0)

    def course(seconds: float) -> float:
        open_s = min(seconds, 60.0 * open_min)
        shut_s = max(0.0, seconds - open_s)
        return 35.0 - 4.5 * (1 - exp(-open_s / 130.0)) * exp(-shut_s / 240.0)

    lives(night, 2400.0, 30.0, course=course)
    told = {"porch/heat-loss", "porch/chill"} & {*night.told()}
    assert bool(told) == (open_min > 6.0)


@pytest.mark.parametrize(
    ("under", "course"),
    [
        (LAMPS, lambda t: 35.0 - 1.6 * (1 - exp(-t / 600.0))),  # the birds went elsewhere
        ((), lambda t: 35.1 if t < 300 else 34.6 if t < 600 else 34.1),  # steps of half a degree
    ],
)
def test_a_floor_that_sinks_a_little_by_night_has_lost_no_heat(under, course):
    """While each lamp is seen to work; or by what may be hardly more than one step of its probe."""

    def stepped(seconds: float) -> float:
        return course(seconds) if under else round(course(seconds) * 2) / 2

    quiet = 0.05 if under else 0.0
    night, _ = a_night(*under, every_s=30.0, course=lambda _: stepped(0.0), noise_k=quiet)
    night.t += 5 * 3600.0
    lives(night, 2 * 3600.0, 30.0, under, course=lambda _: stepped(0.0), noise_k=quiet)
    lives(night, 1500.0, 30.0, under, course=stepped, noise_k=quiet)
    assert "porch/heat-loss" not in night.told()


def test_a_cover_lifted_for_feeding_is_no_dead_lamp_though_it_cools_what_lies_beneath_as_far():
    night, _ = a_night("under west lamp", every_s=30.0, course=lambda _: 37.0)

    def lid_k(seconds: float) -> float:
        open_s = min(seconds, 360.0)
        return 6.0 * (1 - exp(-open_s / 120.0)) * exp(-max(0.0, seconds - open_s) / 240.0)

    began = night.t
    for _ in night.until(began + 1800.0):
        night.says(37.0 - lid_k(night.t - began))
        night.says(42.0 - lid_k(night.t - began), "porch/under west lamp")
    assert "porch/heat-loss" not in night.told()


@pytest.mark.parametrize("rests_c", [34.3, 20.0])
def test_a_floor_on_its_way_back_from_too_hot_has_lost_no_heat(rests_c):
    """A thermostat that had stuck lets go. A lamp that dies then is told once that matters."""
    night, _ = a_night("under west lamp", every_s=30.0)
    night.t += 3 * 3600.0
    lives(night, 2 * 3600.0, 30.0, ("under west lamp",))
    lives(night, 3600.0, 30.0, ("under west lamp",), course=lambda _: 38.8)
    began = night.t
    for _ in night.until(began + 2400.0):
        gone = 1.0 - exp((began - night.t) / 900.0)
        night.says(38.8 - (38.8 - rests_c) * gone)
        night.says(42.0 - 12.0 * gone, "porch/under west lamp")
    lost = [c for c in night.changes if c.alarm in (AlarmName.HEAT_LOSS, AlarmName.COLD)]
    assert bool(lost) == (rests_c < 30.0)
    assert all(c.facts["temp_c"] < 34.0 for c in lost)


def test_all_power_lost_in_the_evening_is_told_before_the_floor_is_at_its_chill_limit():
    """Also at an hour at which somebody may be feeding: it heads for harm out of its band."""
    night, _ = a_night(every_s=30.0)
    lives(night, 280.0, 30.0, course=lambda seconds: 35.0 - 14.0 * (1 - exp(-seconds / 540.0)))
    assert [c.alarm for c in night.changes] == [AlarmName.HEAT_LOSS]
    assert night.changes[0].facts["temp_c"] > night.changes[0].facts["chill_c"]


@pytest.mark.parametrize(("by_k", "within_s"), [(0.8, 150.0), (0.85, 200.0)])
def test_a_floor_that_went_down_by_a_little_and_rests_there_has_lost_no_heat(by_k, within_s):
    """By night, in its band and above its target: bedding was shifted, or a bird left the probe."""
    night, _ = a_night(every_s=30.0, course=lambda _: 36.0)
    night.t += 3 * 3600.0
    lives(night, 2 * 3600.0, 30.0, course=lambda _: 36.0)
    began, rng = night.t, Random(3)
    for _ in night.until(began + 2400.0):
        gone = 1 - exp((began - night.t) / within_s)
        night.says(36.0 - by_k * gone + rng.gauss(0, 0.02))
    assert "porch/heat-loss" not in night.told()


def test_a_cover_lifted_at_the_end_of_a_thermostats_rest_is_off_since_then():
    """What the rest brought the floor down by is usual, and not of the feeding."""

    def swings(seconds: float) -> float:
        part = seconds % 1440.0
        return 34.4 + 1.3 * (part / 960.0 if part < 960.0 else (1440.0 - part) / 480.0)

    def fed(seconds: float) -> float:
        """At the foot of its rest, for five and a half minutes; then back to its swing."""
        began = 1440.0
        open_s = min(max(0.0, seconds - began), 330.0)
        shut_s = max(0.0, seconds - began - 330.0)
        return swings(seconds - shut_s) - 1.9 * (1 - exp(-open_s / 150.0)) * exp(-shut_s / 200.0)

    night, before = a_night(every_s=30.0, course=swings)
    assert before == []
    lives(night, 2880.0, 30.0, course=fed)
    assert "porch/heat-loss" not in night.told()


@pytest.mark.parametrize(("fell_k", "told"), [(3.0, False), (7.0, True)])
def test_a_front_with_its_wind_is_no_lost_heat_and_a_steeper_fall_is_told_at_once(fell_k, told):
    """The outside falls by six kelvin in fifty minutes, and then the floor, within its band."""
    night, rng, front_s = Night(a_site(outside=True)), Random(5), 7 * 3600.0
    for _ in night.until(front_s + 4800.0):
        since_s = max(0.0, night.t - front_s)
        gone = 1 - exp(-max(0.0, since_s - 3600.0) / 1500.0)
        night.says(36.5 - fell_k * gone + rng.gauss(0, 0.03))
        night.says(3.0 - 6.0 * min(1.0, since_s / 3000.0) + rng.gauss(0, 0.1), "site/shade")
    lost = [c.at - night.start - front_s - 3600.0 for c in night.changes if c.alarm == "heat-loss"]
    assert [since_s <= 300.0 for since_s in lost[:1]] == [True] * told


def seen_every_five_minutes(seed: int, floor_k, spot_k=lambda _: 9.0) -> Night:
    """Two floor probes and one beneath a lamp. At eight in the morning something happens: what the
    floor departs by since then, and what the lamp's probe lies above it, by seconds."""
    box = a_brooder(floors=2)
    probes = (*box.probes, a_probe("porch", LAMPS[0], Place.UNDER_HEAT))
    outside = a_probe("porch", "outside", Place.OUTSIDE)
    night = Night(
        a_site(replace(box, probes=(*probes, outside))), start=Night.evening("2026-02-08") + 43200.0
    )
    rng, eight_s = Random(seed), 2 * 3600.0
    while night.t <= eight_s + 2700.0:
        since_s = night.t - eight_s
        floor_c = 35.6 + (floor_k(since_s) if since_s > 0.0 else 0.0)
        night.says(6.0 + rng.gauss(0, 0.05), "porch/outside")
        night.says(floor_c + rng.gauss(0, 0.13))
        night.says(floor_c - 0.5 + rng.gauss(0, 0.13), "porch/far floor")
        spot = spot_k(since_s) if since_s > 0.0 else 9.0
        night.says(floor_c + spot + rng.gauss(0, 0.05), f"porch/{LAMPS[0]}")
        night.t += 300.0
    return night


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("open_s", [240.0, 480.0])
def test_a_lid_lifted_by_day_before_a_board_that_speaks_every_five_minutes_calls_nobody(
    seed, open_s
):
    """The floor comes down with it, and rests there: the lamps were raised too."""

    def lifted_k(seconds: float) -> float:
        return -11.0 * (1.0 - exp(-min(seconds + 60.0, open_s) / 2040.0))

    assert seen_every_five_minutes(seed, lifted_k).told() == []


@pytest.mark.parametrize("seed", range(8))
def test_a_lamp_that_dies_by_day_before_such_a_board_is_told_within_twenty_minutes(seed):
    def dies_k(seconds: float) -> float:
        return -14.0 * (1.0 - exp(-seconds / 2040.0))

    without = seen_every_five_minutes(seed, dies_k)
    beneath = seen_every_five_minutes(seed, dies_k, lambda seconds: 9.0 * exp(-seconds / 120.0))
    for night in (without, beneath):
        (first, *_) = [c for c in night.changes if c.alarm is AlarmName.HEAT_LOSS]
        assert first.at - night.start <= 2 * 3600.0 + 1200.0


@pytest.mark.parametrize(("falls_k_per_h", "ends"), [(0.0, False), (4.0, True)])
def test_heat_that_was_told_as_lost_is_called_off_where_the_outside_came_down_as_far(
    falls_k_per_h, ends
):
    """The floor dips by 1.4 K within ten minutes and rests there, two hours."""
    night, rng, dip_s = Night(a_site(outside=True)), Random(5), 7 * 3600.0
    for _ in night.until(dip_s + 7200.0):
        since_s = max(0.0, night.t - dip_s)
        night.says(35.0 - 1.4 * min(1.0, since_s / 600.0) + rng.gauss(0, 0.03))
        night.says(3.0 - falls_k_per_h * since_s / 3600.0 + rng.gauss(0, 0.05), "site/shade")
    lost = [c for c in night.changes if c.alarm is AlarmName.HEAT_LOSS]
    assert [c.change.value for c in lost] == ["raised", "cleared"][: 1 + ends]


@pytest.mark.parametrize("answers", [True, False])
def test_who_answers_by_night_lifts_the_cover_and_is_not_told_that_the_heat_stopped(answers):
    """An alarm of the other box, or of silence, brings them out."""
    night, _ = a_night(every_s=30.0)
    night.t += 5 * 3600.0
    lives(night, 2 * 3600.0, 30.0)
    night.waits(1800.0)
    if answers:
        night.entry(EntryKind.ACKNOWLEDGE, alarm="no-readings")

    def lifted(seconds: float) -> float:
        open_s = min(max(0.0, seconds - 240.0), 300.0)
        shut_s = max(0.0, seconds - 540.0)
        return 35.0 - 2.6 * (1 - exp(-open_s / 200.0)) * exp(-shut_s / 200.0)

    lives(night, 2400.0, 30.0, course=lifted)
    assert "porch/no-readings" in night.told()
    assert ("porch/heat-loss" in night.told()) is not answers
