"""Laws of ages, targets, growth and the heat balance, for any input a site could have."""

from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.brooding import losses, space
from monitor.brooding.bird_kinds import KINDS, kind_of, mass_kg
from monitor.brooding.calendar import age_days, at_age, next_step
from monitor.brooding.envelope import COVERS, WALLS, cover_named, envelope
from monitor.brooding.heat_balance import SHARES, Flock, balance, prior
from monitor.brooding.schedules import BUILT_IN, target_at
from monitor.site import Brooder, HeatSource, Place, Steps

zones = st.sampled_from(
    ["America/Chicago", "Europe/London", "America/Santiago", "Asia/Kathmandu", "UTC", "Asia/Beirut"]
).map(ZoneInfo)
dates = st.dates(date(2020, 1, 1), date(2035, 12, 31))
ages = st.floats(0, 60, allow_nan=False)


@given(zones, dates, ages)
def test_the_time_of_an_age_and_the_age_at_a_time_undo_each_other(zone, hatched, age):
    assert age_days(hatched, at_age(hatched, age, zone), zone) == pytest.approx(age, abs=1e-6)


@given(zones, dates, ages, st.floats(1, 86400))
def test_age_never_goes_back(zone, hatched, age, later_s):
    at = at_age(hatched, age, zone)
    assert age_days(hatched, at + later_s, zone) > age_days(hatched, at, zone)


@given(st.sampled_from(sorted(BUILT_IN)), ages, ages, st.sampled_from(Steps))
def test_targets_never_rise_with_age(name, one, other, steps):
    younger, older = sorted((one, other))
    first = target_at(BUILT_IN[name], younger, steps, Place.FLOOR)
    second = target_at(BUILT_IN[name], older, steps, Place.FLOOR)
    assert first is not None
    assert second is not None
    assert second <= first + 1e-9


@given(st.sampled_from(sorted(BUILT_IN)), ages)
def test_a_straight_line_is_never_above_the_steps(name, age):
    line = target_at(BUILT_IN[name], age, Steps.STRAIGHT, Place.FLOOR)
    steps = target_at(BUILT_IN[name], age, Steps.WEEKLY, Place.FLOOR)
    assert line is not None
    assert steps is not None
    assert line <= steps + 1e-9


@given(st.sampled_from(sorted(BUILT_IN)), zones, dates, ages)
def test_the_next_step_is_ahead_and_is_what_the_target_becomes(name, zone, hatched, age):
    now = at_age(hatched, age, zone)
    step = next_step(BUILT_IN[name], hatched, now, zone, Steps.WEEKLY)
    if step is None:
        assert age >= BUILT_IN[name].rows[-1].from_day
        return
    assert step.at > now
    then = age_days(hatched, step.at, zone)
    assert target_at(BUILT_IN[name], then, Steps.WEEKLY, Place.FLOOR) == step.to_c


@given(st.sampled_from(sorted(KINDS)), ages, ages)
def test_birds_never_shrink_and_never_need_less_floor(kind, one, other):
    younger, older = sorted((one, other))
    assert mass_kg(kind, older) >= mass_kg(kind, younger) * (1 - 1e-9)
    assert space.floor_need(kind, older).wanted_m2 >= space.floor_need(kind, younger).wanted_m2
    assert losses.usual_percent(older) >= losses.usual_percent(younger)


def test_an_unknown_kind_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match=r"'emu' is not known; use one of broiler, layer"):
        kind_of("emu")


boxes = st.builds(
    Brooder,
    name=st.just("porch"),
    length_m=st.floats(0.4, 4),
    width_m=st.floats(0.4, 4),
    height_m=st.floats(0.3, 1.2),
    cover=st.sampled_from(sorted(COVERS)),
    walls=st.sampled_from(sorted(WALLS)),
    heat=st.lists(
        st.builds(
            HeatSource,
            name=st.just("heat"),
            kind=st.sampled_from(sorted(SHARES)),
            watts=st.floats(10, 500),
        ),
        max_size=4,
    ).map(tuple),
)
flocks = st.builds(
    Flock,
    kind=st.sampled_from(sorted(KINDS)),
    age_days=st.floats(0, 45),
    head_count=st.integers(0, 150),
)


@given(boxes, flocks, st.floats(-30, 30))
def test_a_box_is_warmer_than_outside_and_as_much_warmer_on_any_night(box, flock, outside_c):
    night = balance(box, flock, outside_c=outside_c)
    assert night.floor_c >= night.air_c >= outside_c
    milder = balance(box, flock, outside_c=outside_c + 5)
    assert milder.floor_c - night.floor_c == pytest.approx(5)


@given(boxes, flocks, st.floats(0, 4))
def test_so_many_times_the_watts_lift_the_floor_so_many_times_as_much(box, flock, times):
    def floor_c(scale):
        heat = tuple(replace(source, watts=source.watts * scale) for source in box.heat)
        return balance(replace(box, heat=heat), flock, outside_c=0.0).floor_c

    lift_k = floor_c(1.0) - floor_c(0.0)
    assert floor_c(times) - floor_c(0.0) == pytest.approx(times * lift_k, abs=1e-6)


@given(boxes, flocks)
def test_a_lid_never_loses_more_than_none_and_a_second_layer_helps(box, flock):
    by_cover = {name: envelope(replace(box, cover=name)).total for name in COVERS}
    assert by_cover["boards"] < by_cover["plywood"] < by_cover["cardboard"] < by_cover["none"]
    start = prior(box, flock.head_count, flock.age_days, flock.kind)
    assert start.time_constant_s > 0
    assert start.rise_sd_k >= 1.0


def test_an_unknown_cover_or_wall_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match=r"cover 'glass' is not known; use one of none, wire"):
        cover_named("glass")
    box = Brooder(name="b", length_m=1, width_m=1, height_m=1, walls="straw")
    with pytest.raises(ValueError, match=r"walls 'straw' are not known; use one of plywood"):
        envelope(box)
