"""The schedule laid along the clock."""

from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from support.review_journal import ZONE, at, site

from monitor.brooding.calendar import age_days
from monitor.brooding.schedules import BUILT_IN, target_at
from monitor.review.record import Asked, open_record
from monitor.review.target_line import TREAD_S, target_line
from monitor.site import Limits, Place, Steps

HATCHED = date(2026, 3, 1)  # the clock goes forward on the 8th, the day of the first step
WEEKLY = BUILT_IN["weekly"]


def line(steps: Steps, start: float, stop: float):
    return target_line(
        WEEKLY, hatched=HATCHED, steps=steps, limits=Limits(), zone=ZONE, start=start, stop=stop
    )


def test_a_weekly_step_comes_at_local_midnight_also_on_the_day_the_clock_changes():
    found = line(Steps.WEEKLY, at("2026-03-02 12:00"), at("2026-03-20 12:00"))
    steps = [edge for edge, before, after in treads(found) if after != before]
    assert steps == [at("2026-03-08 00:00"), at("2026-03-15 00:00")]
    levels = [found.at(edge) for edge in (at("2026-03-02 12:00"), *steps)]
    assert levels == pytest.approx([35.0, 32.222, 29.444], abs=0.001)


def treads(found):
    """Each inner edge with the target before and after it."""
    return zip(found.edges[1:-1].tolist(), found.target_c, found.target_c[1:], strict=False)


@pytest.mark.parametrize(
    ("when", "high_c", "overheat_c"),
    [
        ("2026-03-14 23:59", 32.222 + 2.8, 32.222 + 5.6),
        ("2026-03-15 00:00", 32.222 + 2.8, 32.222 + 5.6),  # the step: a lamp is raised by day
        ("2026-03-15 11:59", 32.222 + 2.8, 32.222 + 5.6),
        ("2026-03-15 12:00", 29.444 + 2.8, 29.444 + 5.6),
    ],
)
def test_for_half_a_day_after_a_step_the_old_upper_edges_hold(when, high_c, overheat_c):
    found = line(Steps.WEEKLY, at(when), at(when) + 30)
    assert (found.high_c[0], found.overheat_c[0]) == pytest.approx((high_c, overheat_c), abs=0.001)


def test_a_straight_step_down_is_within_a_hundredth_of_a_degree_of_the_schedule():
    start, stop = at("2026-03-02 12:03"), at("2026-03-12 12:00")
    found = line(Steps.STRAIGHT, start, stop)
    for when in np.linspace(start, stop - 1, 200):
        right = target_at(WEEKLY, age_days(HATCHED, when, ZONE), Steps.STRAIGHT, Place.FLOOR)
        assert found.at(when) == pytest.approx(right, abs=0.01)
    assert all(b <= a for a, b in pairwise(found.target_c))
    assert found.target_c[0] > found.target_c[-1] + 3


def test_a_minute_has_the_same_target_in_whatever_span_it_is_looked_at():
    whole = line(Steps.STRAIGHT, at("2026-03-02 12:00"), at("2026-03-09 12:00"))
    cut = at("2026-03-05 03:07")
    parts = [line(Steps.STRAIGHT, at("2026-03-02 12:00"), cut),
             line(Steps.STRAIGHT, cut, at("2026-03-09 12:00"))]  # fmt: skip
    for when in (cut - TREAD_S, cut - 1, cut, cut + 1, cut + TREAD_S):
        assert whole.at(when) == parts[when >= cut].at(when)


def test_there_is_no_target_before_the_chicks_came(reader):
    record = open_record(reader, site(), Asked(brooder="porch"), now=at("2026-06-01 00:00"))
    placed = at("2026-02-08 12:00")
    early = record.target_between(placed - 7200, placed + 3600)
    assert np.isnan(early.at(placed - 1))
    assert early.at(placed) == 35.0
