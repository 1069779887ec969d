"""Figures as a grower reads them: hours, local times, degree-hours. For sheet, losses,
pictures and report."""

from datetime import datetime, timedelta, tzinfo

from monitor.units import Unit, sign, step_from_celsius


def span_text(seconds: float) -> str:
    """Hours and minutes for a table: `3:20`."""
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def moment(at: float, zone: tzinfo) -> str:
    """`11 Feb 05:10`."""
    there = datetime.fromtimestamp(at, zone)
    return f"{there.day} {there:%b %H:%M}"


def dated(at: float, zone: tzinfo) -> str:
    """`11 Feb 2026 05:10`, to the nearest minute."""
    there = datetime.fromtimestamp(round(at / 60) * 60, zone)
    return f"{there.day} {there:%b %Y %H:%M}"


def clock(at: float, zone: tzinfo) -> str:
    """`05:10`."""
    return f"{datetime.fromtimestamp(at, zone):%H:%M}"


def clock_after(at: float, since: float, zone: tzinfo) -> str:
    """`05:10`; with its date where that is another one than of what it follows."""
    same = day_text(at, zone) == day_text(since, zone)
    return clock(at, zone) if same else moment(at, zone)


def day_text(at: float, zone: tzinfo) -> str:
    """`11 Feb`."""
    there = datetime.fromtimestamp(at, zone)
    return f"{there.day} {there:%b}"


def night_text(at: float, zone: tzinfo) -> str:
    """The night that begins on a noon: `10-11 Feb`, `28 Feb-1 Mar`."""
    begins = datetime.fromtimestamp(at, zone)
    ends = begins + timedelta(days=1)
    first = f"{begins.day}" if begins.month == ends.month else f"{begins.day} {begins:%b}"
    return f"{first}-{ends.day} {ends:%b}"


def degree_hours(kelvin_seconds: float, unit: Unit) -> float:
    """Kelvin-seconds in the site's degrees times hours."""
    return step_from_celsius(kelvin_seconds, unit) / 3600


def degree_hours_sign(unit: Unit) -> str:
    """`°F·h`."""
    return f"{sign(unit)}·h"


def area_sign(unit: Unit) -> str:
    """`ft²` or `cm²`, for `units.area_figure`."""
    return "ft²" if unit is Unit.FAHRENHEIT else "cm²"
