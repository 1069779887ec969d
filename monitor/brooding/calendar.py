"""Age by the calendar: days from the hatch date in the site's zone, weeks, and the next step.

Called by the engine, the record sheet, the page and `flock placed`. Age counts local calendar
days, so a day of 23 or 25 hours is one day and a step comes at local midnight all the same."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import lru_cache

from monitor.brooding.schedules import Schedule, target_at
from monitor.site import Place, Steps

MAIL_DAYS = (1, 3)  # chicks live on the yolk for about three days: that is how they can be posted


def age_days(hatched: date, at: float, zone: tzinfo) -> float:
    """Age at a Unix time, in days: 0.0 at local midnight of the hatch date, 1.5 at noon next day.

    Negative before hatch."""
    day = datetime.fromtimestamp(at, zone).date()
    begins = midnight(day, zone)
    ends = midnight(day + timedelta(days=1), zone)
    return (day - hatched).days + (at - begins) / (ends - begins)


@lru_cache(maxsize=64)  # an age asks for two of them, every quarter of an hour for the same
def midnight(day: date, zone: tzinfo) -> float:
    """Unix time at which a local day begins (also where that clock change skips midnight)."""
    return datetime.combine(day, time(), zone).astimezone(UTC).timestamp()


def local_date(at: float, zone: tzinfo) -> date:
    """The site's date at a Unix time."""
    return datetime.fromtimestamp(at, zone).date()


def week_of_age(age: float) -> int:
    """1 in the first seven days, 2 in the next seven. The week before hatch is 0."""
    return int(age // 7) + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetStep:
    """The next change of target: at `at` (Unix s, a local midnight for whole days of age)."""

    at: float
    from_c: float
    to_c: float
    gradual: bool  # True: the target is on its way there in a straight line


def next_step(
    schedule: Schedule, hatched: date, now_at: float, zone: tzinfo, steps: Steps
) -> TargetStep | None:
    """The next row of the schedule that changes the floor's target, or None after the last."""
    age = age_days(hatched, now_at, zone)
    current = target_at(schedule, age, steps, Place.FLOOR)
    if current is None:
        return None
    for row in schedule.rows:
        if row.from_day > age and row.target_c != current:
            return TargetStep(
                at=at_age(hatched, row.from_day, zone),
                from_c=current,
                to_c=row.target_c,
                gradual=steps is Steps.STRAIGHT,
            )
    return None


def at_age(hatched: date, age: float, zone: tzinfo) -> float:
    """The Unix time at which birds hatched on that date reach an age; undoes `age_days`."""
    whole, part = divmod(age, 1)
    day = hatched + timedelta(days=int(whole))
    begins = midnight(day, zone)
    return begins + part * (midnight(day + timedelta(days=1), zone) - begins)


def arrival_doubt(hatched: date, placed_at: float, zone: tzinfo) -> str | None:
    """A question worth asking when chicks are placed: is that really the hatch date?

    Chicks that come by mail are 1 to 3 days old; a hatch date that is the date of arrival gives
    them the target of younger birds, which is the warm side, but every step comes late."""
    days = (local_date(placed_at, zone) - hatched).days
    if days == 0:
        return (
            "Hatched today? Chicks that came by mail are 1 to 3 days old: "
            "write the hatch date, not the day they came."
        )
    if days > MAIL_DAYS[1]:
        return f"They are already {days} days old: right if they were reared elsewhere before."
    return None
