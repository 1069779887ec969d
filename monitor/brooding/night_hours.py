"""The hours of a night by the local clock, whatever summer time does to it. Asked by the watch (the
night's figures, the outlook) and by the plan."""

from datetime import datetime, timedelta, tzinfo

from monitor.brooding.calendar import local_date

NIGHT_FROM_H, NIGHT_TO_H = 18, 8
OUTLOOK_FROM_H = 15  # from the afternoon on there is still time to do something about the night


SLEEP_FROM_H, SLEEP_TO_H = 21, 6  # who has chicks is up early


def asleep(hour: float) -> bool:
    """Do people sleep at this hour of the local clock? Common practice."""
    return hour >= SLEEP_FROM_H or hour < SLEEP_TO_H


def hour_before(at: float, hour: int, zone: tzinfo) -> float:
    """The last time the local clock showed `hour` o'clock, at or before `at`."""
    today = local_date(at, zone)
    shown = _clock(today.year, today.month, today.day, hour, zone)
    if shown <= at:
        return shown
    eve = today - timedelta(days=1)
    return _clock(eve.year, eve.month, eve.day, hour, zone)


def hour_after(at: float, hour: int, zone: tzinfo) -> float:
    """The next time the local clock shows `hour` o'clock, after `at`."""
    today = local_date(at, zone)
    shown = _clock(today.year, today.month, today.day, hour, zone)
    if shown > at:
        return shown
    morrow = today + timedelta(days=1)
    return _clock(morrow.year, morrow.month, morrow.day, hour, zone)


def _clock(year: int, month: int, day: int, hour: int, zone: tzinfo) -> float:
    return datetime(year, month, day, hour, tzinfo=zone).timestamp()
