"""A schedule laid along the clock: treads of constant target. For the record and the chart."""

from datetime import date, tzinfo

import numpy as np

from monitor.brooding.calendar import age_days, at_age
from monitor.brooding.schedules import Schedule, target_at
from monitor.review.exposure import TargetLine
from monitor.site import Limits, Place, Steps

TREAD_S = 600.0  # a straight step-down of 2.8 K a week moves 0.003 K in ten minutes


def target_line(
    schedule: Schedule,
    *,
    hatched: date,
    steps: Steps,
    limits: Limits,
    zone: tzinfo,
    start: float,
    stop: float,
) -> TargetLine:
    """The floor's target over start..stop. Treads lie on a fixed grid (or on the schedule's own
    days), so the same minute has the same target in whatever span it is looked at."""
    if steps is Steps.WEEKLY:
        days = (at_age(hatched, row.from_day, zone) for row in schedule.rows)
        inner = [at for at in days if start < at < stop]
    else:
        first = (int(start // TREAD_S) + 1) * TREAD_S
        inner = np.arange(first, stop, TREAD_S).tolist()
    edges = [start, *inner, stop]
    targets = [
        target_at(schedule, age_days(hatched, _asked_at(edge, steps), zone), steps, Place.FLOOR)
        for edge in edges[:-1]
    ]
    levels = np.array([np.nan if target is None else target for target in targets])
    return TargetLine(np.array(edges), levels, limits.band_c, limits.harm_c)


def _asked_at(edge: float, steps: Steps) -> float:
    """A straight line is asked in the middle of the fixed tread that the edge lies on."""
    return edge if steps is Steps.WEEKLY else (edge // TREAD_S) * TREAD_S + TREAD_S / 2
