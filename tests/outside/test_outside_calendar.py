"""Ages, weeks and steps against calendars worked by hand.

Clock changes by the IANA time-zone database: Chicago 2026-03-08 02:00 (a day of 23 hours) and
2026-11-01 02:00 (25 hours); Santiago 2026-09-06 has no midnight (00:00 becomes 01:00)."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from monitor.brooding.calendar import (
    age_days,
    arrival_doubt,
    at_age,
    local_date,
    next_step,
    week_of_age,
)
from monitor.brooding.schedules import BUILT_IN
from monitor.site import Steps

CHICAGO = ZoneInfo("America/Chicago")
SANTIAGO = ZoneInfo("America/Santiago")
UTC = ZoneInfo("UTC")


def at(text: str) -> float:
    """A UTC instant written as in a calendar."""
    return datetime.fromisoformat(text).timestamp()


HAND_WORKED = [
    # zone, hatch date, instant (UTC), age in days, why
    (CHICAGO, "2026-03-01", "2026-03-01T06:00Z", 0.0, "local midnight of the hatch date"),
    (CHICAGO, "2026-03-01", "2026-03-02T18:00Z", 1.5, "noon of the next day, CST"),
    (CHICAGO, "2026-03-07", "2026-03-08T06:00Z", 1.0, "eve of the change: first midnight, CST"),
    (CHICAGO, "2026-03-07", "2026-03-08T17:00Z", 1 + 11 / 23, "noon CDT is 11 h into 23"),
    (
        CHICAGO,
        "2026-03-07",
        "2026-03-09T05:00Z",
        2.0,
        "the next midnight is an hour earlier in UTC",
    ),
    (CHICAGO, "2026-03-07", "2026-03-14T05:00Z", 7.0, "a week: calendar days, not 7 x 24 hours"),
    (CHICAGO, "2026-10-31", "2026-11-01T18:00Z", 1 + 13 / 25, "noon CST is 13 h into 25"),
    (CHICAGO, "2026-10-31", "2026-11-02T06:00Z", 2.0, "after the long day"),
    (SANTIAGO, "2026-09-05", "2026-09-06T04:00Z", 1.0, "the day that begins at 01:00"),
    (SANTIAGO, "2026-09-05", "2026-09-07T03:00Z", 2.0, "and the day after"),
    (CHICAGO, "2028-02-28", "2028-03-01T06:00Z", 2.0, "over 29 February"),
    (CHICAGO, "2026-03-01", "2026-02-28T18:00Z", -0.5, "noon of the day before hatch"),
    (UTC, "2026-12-31", "2027-01-07T00:00Z", 7.0, "over the new year"),
]


@pytest.mark.parametrize(("zone", "hatched", "instant", "days", "why"), HAND_WORKED)
def test_age_by_hand(zone, hatched, instant, days, why):
    assert age_days(date.fromisoformat(hatched), at(instant), zone) == pytest.approx(days), why


@pytest.mark.parametrize(("zone", "hatched", "instant", "days", "why"), HAND_WORKED)
def test_the_time_of_an_age_by_hand(zone, hatched, instant, days, why):
    assert at_age(date.fromisoformat(hatched), days, zone) == pytest.approx(at(instant)), why


@pytest.mark.parametrize(
    ("day", "week"), [(0.0, 1), (6.99, 1), (7.0, 2), (13.99, 2), (14.0, 3), (35.0, 6), (-0.1, 0)]
)
def test_weeks_begin_on_day_0_7_14(day, week):
    assert week_of_age(day) == week


# Hatched on Sunday 2026-03-01: Sundays are steps. Minnesota Extension's weekly figures.
STEPS_BY_HAND = [
    # now (UTC), step (UTC, Chicago midnight), degF before, degF after
    ("2026-03-01T06:00Z", "2026-03-08T06:00Z", 95, 90),  # still CST at that midnight
    ("2026-03-08T05:59Z", "2026-03-08T06:00Z", 95, 90),
    ("2026-03-08T06:00Z", "2026-03-15T05:00Z", 90, 85),  # CDT from now on
    ("2026-03-31T12:00Z", "2026-04-05T05:00Z", 75, 70),
]


@pytest.mark.parametrize(("now", "then", "before_f", "after_f"), STEPS_BY_HAND)
def test_the_next_step_by_hand(now, then, before_f, after_f):
    step = next_step(BUILT_IN["weekly"], date(2026, 3, 1), at(now), CHICAGO, Steps.WEEKLY)
    assert step is not None
    assert step.at == at(then)
    assert (step.from_c, step.to_c) == pytest.approx(
        ((before_f - 32) * 5 / 9, (after_f - 32) * 5 / 9), abs=0.01
    )


def test_there_is_no_step_after_the_last():
    now = at("2026-04-05T05:00Z")
    assert next_step(BUILT_IN["weekly"], date(2026, 3, 1), now, CHICAGO, Steps.WEEKLY) is None


def test_a_straight_line_says_that_it_is_on_its_way():
    now = at("2026-03-04T18:00Z")  # day 3.5: halfway from 95 to 90 degF
    step = next_step(BUILT_IN["weekly"], date(2026, 3, 1), now, CHICAGO, Steps.STRAIGHT)
    assert step is not None
    assert step.gradual
    assert step.from_c == pytest.approx((92.5 - 32) * 5 / 9, abs=0.01)
    assert step.at == at("2026-03-08T06:00Z")


def test_chicks_by_mail_at_two_days_have_their_first_step_five_days_after_arrival():
    hatched, arrived = date(2026, 2, 28), at("2026-03-02T15:30Z")  # 09:30 in Chicago
    assert int(age_days(hatched, arrived, CHICAGO)) == 2
    step = next_step(BUILT_IN["weekly"], hatched, arrived, CHICAGO, Steps.WEEKLY)
    assert step is not None
    assert local_date(step.at, CHICAGO) == date(2026, 3, 7)
    assert arrival_doubt(hatched, arrived, CHICAGO) is None


def test_a_hatch_date_of_today_is_asked_about_and_so_is_an_old_one():
    arrived = at("2026-03-02T15:30Z")
    assert "1 to 3 days old" in (arrival_doubt(date(2026, 3, 2), arrived, CHICAGO) or "")
    assert "already 9 days old" in (arrival_doubt(date(2026, 2, 21), arrived, CHICAGO) or "")


def test_the_site_s_date_decides_not_the_date_in_utc():
    late_evening = at("2026-03-03T03:00Z")  # 21:00 on 2 March in Chicago
    assert int(age_days(date(2026, 3, 1), late_evening, CHICAGO)) == 1
