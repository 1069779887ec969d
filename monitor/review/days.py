"""A span cut into days, noon to noon or midnight to midnight, in the site's time. For the record.

Noon to noon keeps each night in one row; midnight to midnight gives the dates that paper record
sheets have. Days of 23 and 25 hours are days."""

from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta, tzinfo
from enum import StrEnum

from monitor.brooding.calendar import local_date

_MOMENT_S = 1.0


class Cut(StrEnum):
    """Where a day begins."""

    NOON = "noon"
    MIDNIGHT = "midnight"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordDay:
    """One row's time. `whole` is False for the day of placing, of moving, and today."""

    day: date  # on which it begins
    start: float
    stop: float
    whole: bool

    def noon(self, zone: tzinfo) -> float:
        """Noon of the date on which it begins, also where the day is cut short."""
        return datetime.combine(self.day, time(12), zone).timestamp()


def days(start: float, stop: float, zone: tzinfo, cut: Cut) -> list[RecordDay]:
    """The days that touch start <= time < stop, cut to it. A last moment of less than a second (the
    entry at noon sharp that ends a batch) is no day: it belongs to the one before."""
    found: list[RecordDay] = []
    day = local_date(start, zone) - timedelta(days=1)
    while (begins := _begins(day, zone, cut)) < stop:
        ends = _begins(day + timedelta(days=1), zone, cut)
        if ends > start:
            found.append(
                RecordDay(
                    day=day,
                    start=max(begins, start),
                    stop=min(ends, stop),
                    whole=begins >= start and ends <= stop,
                )
            )
        day += timedelta(days=1)
    if len(found) > 1 and found[-1].stop - found[-1].start < _MOMENT_S:
        found[-2:] = [replace(found[-2], stop=found[-1].stop)]
    return found


def _begins(day: date, zone: tzinfo, cut: Cut) -> float:
    hour = time(12) if cut is Cut.NOON else time()
    return datetime.combine(day, hour, zone).timestamp()
