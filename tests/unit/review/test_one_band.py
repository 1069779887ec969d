"""The watch at night and the record sheet afterwards go by the same limits at every minute."""

from dataclasses import replace
from datetime import date

import pytest
from support.engine_night import Night, a_brooder, a_site
from support.review_journal import ZONE, at
from support.short_record import placed, recorded

from monitor.brooding.calendar import at_age
from monitor.brooding.schedules import schedule_for
from monitor.review.days import Cut
from monitor.review.sheet import sheet
from monitor.review.target_line import target_line
from monitor.site import Limits, ScheduleRow, Steps
from monitor.thermal import estimator

HATCHED = date(2026, 3, 1)  # the clock goes forward in the night to the 8th
LIMITS = Limits(fire_c=39.0)  # low enough to meet the first week's overheat limit
OWN = (ScheduleRow(from_day=0, target_c=34.0), ScheduleRow(from_day=9.6, target_c=29.0))
AGES = [5.99, 6.9, 7.0, 7.2, 7.49, 7.5, 7.51, 9.59, 9.7, 10.09, 10.2, 14.0, 14.3, 14.6, 21.1]


@pytest.mark.parametrize("steps", list(Steps))
@pytest.mark.parametrize(("kind", "own"), [("broiler", ()), ("duck", ()), ("broiler", OWN)])
def test_the_sheet_knows_the_limits_that_the_watch_had(kind, own, steps):
    box = replace(a_brooder(), limits=LIMITS, steps=steps, own_schedule=own)
    for age in AGES:
        # The watch looks each quarter of an hour: between two of them a straight line runs on.
        now = at_age(HATCHED, age, ZONE) // 900 * 900
        night = Night(a_site(box), start=now, batch=False, make_estimator=estimator.none)
        night.placed(hatched=HATCHED.isoformat(), kind=kind)
        watched = night.box()
        line = target_line(
            schedule_for(box, kind), hatched=HATCHED, steps=steps, limits=LIMITS, zone=ZONE,
            start=now, stop=now + 1,
        )  # fmt: skip
        sheet_knows = (line.target_c[0], line.low_c[0], line.high_c[0], line.chill_c[0])
        watch_knew = (watched.target_c, watched.low_c, watched.high_c, watched.chill_c)
        assert sheet_knows == pytest.approx(watch_knew, abs=0.01), age
        assert line.overheat_c[0] == pytest.approx(watched.overheat_c, abs=0.01), age


@pytest.mark.parametrize("cut", list(Cut))
def test_a_floor_right_at_bedtime_is_not_above_the_band_all_night_after_a_step(tmp_path, cut):
    said = {"porch/west": lambda _t: 35.3, "porch/east": lambda _t: 35.3}
    with recorded(
        tmp_path, said, placed("2026-02-08 12:00"), start="2026-02-14 12:00",
        stop="2026-02-16 12:00",
    ) as record:  # fmt: skip
        # the step from 35 to 32.2 came at midnight to the 15th; to be above it counts from noon on
        above = [row.exposure.above_runs.longest for row in sheet(record, cut).rows]
        began = [spell.start for spell in above if spell is not None]
        assert min(began) == at("2026-02-15 12:00")
        assert sheet(record, cut).total.above_s == 24 * 3600
