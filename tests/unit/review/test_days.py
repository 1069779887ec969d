"""Days of the record sheet, on clock-change nights too."""

from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from support.review_journal import at

from monitor.review.days import Cut, days

ZONE = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    ("cut", "first", "hours"),
    [
        (Cut.NOON, "2026-03-07 12:00", [24, 23, 24]),  # the clock goes forward on 8 March at 2
        (Cut.MIDNIGHT, "2026-03-07 00:00", [24, 23, 24]),
        (Cut.NOON, "2026-10-31 12:00", [24, 25, 24]),
        (Cut.MIDNIGHT, "2026-10-31 00:00", [24, 25, 24]),
    ],
)
def test_a_clock_change_makes_a_day_of_23_or_25_hours_and_no_day_is_lost(cut, first, hours):
    start = at(first)
    if cut is Cut.NOON:
        hours = [hours[1], hours[0], hours[2]]  # the night before the changed date
    found = days(start, start + sum(hours) * 3600, ZONE, cut)
    assert [round((day.stop - day.start) / 3600) for day in found] == hours
    assert all(day.whole for day in found)


def test_a_day_cut_short_at_either_end_is_not_whole():
    found = days(at("2026-02-08 15:00"), at("2026-02-10 09:00"), ZONE, Cut.NOON)
    assert [day.whole for day in found] == [False, False]
    assert [day.day.day for day in found] == [8, 9]
    found = days(at("2026-02-08 15:00"), at("2026-02-10 09:00"), ZONE, Cut.MIDNIGHT)
    assert [day.whole for day in found] == [False, True, False]


def test_days_follow_one_another_without_gap_or_overlap():
    found = days(at("2026-02-08 15:00"), at("2026-03-20 09:00"), ZONE, Cut.NOON)
    assert found[0].start == at("2026-02-08 15:00")
    assert found[-1].stop == at("2026-03-20 09:00")
    assert all(a.stop == b.start for a, b in pairwise(found))
