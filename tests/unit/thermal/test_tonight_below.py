"""A floor below its band as one looks ahead: the night is judged by whether it comes back."""

import json
from dataclasses import asdict

import pytest

from monitor.events import Moment
from monitor.kept import thaw
from monitor.thermal.coming_night import (
    CLEAR_CHANCE,
    View,
    chance,
    course,
    edges,
    hours,
    look_ahead,
    together,
)
from monitor.thermal.diagnosis import Outlook
from monitor.thermal.follow import Following
from monitor.thermal.outside_curve import ExpectedOutside, OutsideCurve, from_low

EVENING = 1_770_685_200.0
MORNING = EVENING + 10 * 3600.0
LOW_C = 28.0


def view(
    floor_c: float,
    outside_c: float,
    brought_k: float = 0.0,
    step_at: float | None = None,
    *,
    outside: OutsideCurve | None = None,
    share: float = 1.0,
) -> View:
    """A box that holds 22 K over the outside with 500 W, and follows within half an hour."""
    start = Moment(EVENING, EVENING)
    return View(
        hours=hours(
            edges(
                EVENING, MORNING, lambda at: LOW_C - 2.8 * (step_at is not None and at >= step_at)
            ),
            follows=Following(outside_c + 22.0, 0.5**2, share, 0.0, 0.0, outside_c, lag_s=1800.0),
            outside=outside or from_low(start, outside_c, outside_c, MORNING),
        ),
        floor_c=floor_c,
        tau_s=1800.0,
        brought_k=brought_k,
        rise_per_watt_k=22.0 / 500.0,
        learned=1.0,
    )


def ahead(seen: View) -> Outlook:
    return together([(1.0, look_ahead(seen))])


def test_a_cold_box_that_its_heat_brings_back_holds() -> None:
    outlook = ahead(view(floor_c=24.0, outside_c=12.0))
    assert outlook.below_now
    assert outlook.leaves_band_at == EVENING
    assert outlook.lowest_c.mid == 24.0
    assert outlook.chance < CLEAR_CHANCE
    assert outlook.missing_watts < 10.0


def test_a_cold_box_on_too_cold_a_night_is_helped_by_what_would_help_it() -> None:
    cold = view(floor_c=24.0, outside_c=2.0)
    outlook = ahead(cold)
    assert outlook.below_now
    assert outlook.chance > 0.9
    assert 500.0 * 4.0 / 22.0 < outlook.missing_watts < 500.0 * 6.0 / 22.0
    brought_k = 22.0 * (outlook.missing_watts + 10.0) / 500.0
    assert ahead(view(24.0, 2.0, brought_k)).chance < CLEAR_CHANCE


@pytest.mark.parametrize("floor_c", [24.0, 31.0])
@pytest.mark.parametrize("outside_c", [2.0, 6.0, 12.0])
def test_what_is_tried_is_judged_as_what_is_said(floor_c: float, outside_c: float) -> None:
    seen = view(floor_c=floor_c, outside_c=outside_c, brought_k=2.2)
    assert chance(seen) == ahead(seen).chance


def test_a_floor_in_its_band_is_not_below_it() -> None:
    outlook = ahead(view(floor_c=31.0, outside_c=2.0))
    assert not outlook.below_now
    assert outlook.chance > 0.9
    assert outlook.leaves_band_at is not None
    assert outlook.leaves_band_at > EVENING


def test_each_hour_is_judged_by_its_own_target():
    """A floor that ends a degree under tonight's band, but within that of the step at midnight."""
    before = ahead(view(floor_c=31.0, outside_c=5.1))
    assert before.chance > 0.8
    stepped = ahead(view(floor_c=31.0, outside_c=5.1, step_at=EVENING + 600.0))
    assert stepped.chance < CLEAR_CHANCE
    assert stepped.leaves_band_at is None
    in_four_hours = ahead(view(floor_c=31.0, outside_c=5.1, step_at=EVENING + 4 * 3600.0))
    assert in_four_hours.chance == pytest.approx(before.chance, abs=0.15)
    assert in_four_hours.leaves_band_at == before.leaves_band_at


def test_the_interval_is_that_of_the_lowest_floor_whenever_it_is():
    """The middle course is lowest at once, the doubt of the outside grows: the low end is that of
    the morning."""
    points = tuple(
        ExpectedOutside(EVENING + k * 3600.0, 8.0 + 0.1 * k, 0.2 + 0.4 * k) for k in range(11)
    )
    outside = OutsideCurve(points, "the test")
    outlook = ahead(view(floor_c=29.9, outside_c=8.0, outside=outside))
    assert outlook.lowest_c.low < 28.0 < outlook.lowest_c.high <= 29.9
    assert outlook.chance > 0.05


def test_a_fall_outside_that_the_box_follows_in_part_is_felt_in_part():
    outside = from_low(Moment(EVENING, EVENING), 8.0, -2.0, EVENING + 8 * 3600.0)
    plain = view(floor_c=30.0, outside_c=8.0, outside=outside)
    sparing = view(floor_c=30.0, outside_c=8.0, outside=outside, share=0.5)
    dip_k = 30.0 - ahead(view(floor_c=30.0, outside_c=8.0)).lowest_c.mid
    felt_k = 30.0 - dip_k - ahead(plain).lowest_c.mid
    spared_k = 30.0 - dip_k - ahead(sparing).lowest_c.mid
    assert spared_k == pytest.approx(0.5 * felt_k, abs=0.2)


def test_two_ways_for_the_night_to_go_are_weighed_and_not_averaged():
    """A quiet night and a front: the chance is the front's, and the interval reaches into neither
    emptiness between them."""
    quiet, front = view(floor_c=31.0, outside_c=9.0), view(floor_c=31.0, outside_c=0.0)
    both = together([(0.7, look_ahead(quiet)), (0.3, look_ahead(front))])
    assert ahead(quiet).chance < 0.05
    assert ahead(front).chance > 0.95
    assert both.chance == pytest.approx(0.3, abs=0.05)
    assert both.lowest_c.mid == pytest.approx(ahead(quiet).lowest_c.mid, abs=0.6)
    assert both.lowest_c.low == pytest.approx(ahead(front).lowest_c.mid, abs=1.0)
    assert 0.0 < both.missing_watts < ahead(front).missing_watts
    morning, *_ = course(both)[::-1]
    of_front, of_quiet = course(ahead(front))[-1], course(ahead(quiet))[-1]
    assert morning.mid_c == pytest.approx(0.7 * of_quiet.mid_c + 0.3 * of_front.mid_c, abs=0.01)
    assert morning.low_c == pytest.approx(of_front.mid_c, abs=1.0)
    assert morning.high_c < of_quiet.high_c


@pytest.mark.parametrize("step_h", [1.0, 4.0, 8.0])
def test_a_floor_lowered_for_the_step_of_the_night_is_too_cold_now_and_no_cold_night(step_h):
    """The lamps are hung for tomorrow's target some hours before midnight: the cold alarm rings by
    today's, as it did for whoever reads this."""
    step_at = EVENING + step_h * 3600.0
    outlook = ahead(view(floor_c=LOW_C - 0.5, outside_c=LOW_C - 22.5, step_at=step_at))
    assert outlook.below_now
    assert outlook.chance < CLEAR_CHANCE


def test_the_course_of_the_night_goes_from_now_to_the_lowest_and_on_to_the_morning():
    outlook = ahead(view(floor_c=31.0, outside_c=2.0))
    points = course(outlook)
    first, last = points[0], points[-1]
    assert (first.at, first.mid_c, last.at) == (EVENING, 31.0, MORNING)
    assert min(p.mid_c for p in points) == pytest.approx(outlook.lowest_c.mid, abs=0.5)
    assert all(p.low_c <= p.mid_c <= p.high_c for p in points)
    assert thaw(Outlook, json.loads(json.dumps(asdict(outlook))), 0.0) == outlook
