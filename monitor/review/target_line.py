"""A schedule laid along the clock: treads of constant limits. For the record and the chart."""

from collections.abc import Sequence
from datetime import date, tzinfo
from itertools import pairwise

import numpy as np

from monitor.brooding.age_limits import STEP_GRACE_DAYS, limits_at
from monitor.brooding.calendar import age_days, at_age
from monitor.brooding.harm_known import OVERHEAT_CAP
from monitor.brooding.schedules import Schedule
from monitor.review.exposure import Floats, TargetLine
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
    """The floor's target and limits over start..stop. Treads lie on a fixed grid (or begin where
    the schedule or the overheat cap steps, and where the grace after a step ends), so the same
    minute has the same limits in whatever span it is looked at."""
    if steps is Steps.WEEKLY:
        ages = {row.from_day + grace for row in schedule.rows for grace in (0.0, STEP_GRACE_DAYS)}
        ages |= {from_day for from_day, *_ in OVERHEAT_CAP}
        steps_at = (at_age(hatched, age, zone) for age in sorted(ages))
        inner = [at for at in steps_at if start < at < stop]
    else:
        first = (int(start // TREAD_S) + 1) * TREAD_S
        inner = np.arange(first, stop, TREAD_S).tolist()
    edges = [start, *inner, stop]
    treads = [
        limits_at(schedule, age_days(hatched, at, zone), steps, Place.FLOOR, limits)
        for at in _middles(edges, steps)
    ]

    def each(name: str) -> Floats:
        return np.array([np.nan if at is None else getattr(at, name) for at in treads])

    return TargetLine(
        edges=np.array(edges),
        target_c=each("target_c"),
        low_c=each("low_c"),
        high_c=each("high_c"),
        chill_c=each("chill_c"),
        overheat_c=each("overheat_c"),
    )


def _middles(edges: Sequence[float], steps: Steps) -> list[float]:
    """When each tread is asked: in its middle, and a straight line in the middle of the fixed tread
    that it is a part of."""
    if steps is Steps.WEEKLY:
        return [(begins + ends) / 2 for begins, ends in pairwise(edges)]
    return [(edge // TREAD_S) * TREAD_S + TREAD_S / 2 for edge in edges[:-1]]
