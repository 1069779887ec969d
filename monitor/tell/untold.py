"""Settings with which a plain cold would go untold, or be told too late: each in words, with what
would be right. Pure; said by `brooder check`.

The bounds are common practice."""

from collections.abc import Iterable, Iterator

from monitor.brooding.age_limits import limits_at
from monitor.brooding.schedules import BUILT_IN, Schedule, schedule_for, usual_schedule
from monitor.events import Priority
from monitor.site import Brooder, Limits, Place, Site
from monitor.tell.contact import Contact
from monitor.units import Unit, step_shown

MOST_BAND_C = 5.0
MOST_BAND_DELAY_S = 1200.0
MOST_HARM_C = 8.0
MOST_HARM_DELAY_S = 600.0
MOST_SILENT_S = 1800.0
MOST_OFFSET_C = 3.0
_CHICK_DAYS = range(0, 15)  # the days in which cold kills soonest


def untold(site: Site, contacts: Iterable[Contact]) -> Iterator[tuple[str, str]]:
    """What it is about, and why a cold would go untold."""
    contacts = tuple(contacts)
    if contacts and not any(Priority.URGENT in contact.priorities for contact in contacts):
        yield (
            "contacts",
            "none of them wants what is urgent, so that chicks freeze and nobody is told; write "
            '"urgent" into the priorities of one',
        )
    for box in site.brooders:
        for words in _of_box(box, site.units):
            yield box.name, words


def _of_box(box: Brooder, unit: Unit) -> Iterator[str]:
    limits, usual = box.limits, Limits()
    if limits.band_c > MOST_BAND_C:
        yield (
            f"band is {step_shown(limits.band_c, unit)}: a floor that far below its target counts "
            f"as right; {step_shown(usual.band_c, unit)} is usual"
        )
    if limits.harm_c > MOST_HARM_C:
        yield (
            f"harm is {step_shown(limits.harm_c, unit)}: dangerous cold is told only that far "
            f"below the target; {step_shown(usual.harm_c, unit)} is usual"
        )
    if limits.band_delay_s > MOST_BAND_DELAY_S:
        yield (
            f"band_delay_s is {limits.band_delay_s:g}: cold is told "
            f"{limits.band_delay_s / 60:.0f} minutes late; 3 minutes (180) is usual"
        )
    if limits.harm_delay_s > MOST_HARM_DELAY_S:
        yield (
            f"harm_delay_s is {limits.harm_delay_s:g}: dangerous cold is told "
            f"{limits.harm_delay_s / 60:.0f} minutes late; 30 seconds is usual"
        )
    if limits.silent_s > MOST_SILENT_S:
        yield (
            f"silent_s is {limits.silent_s:g}: a dead probe is told only after "
            f"{limits.silent_s / 60:.0f} minutes; 15 minutes (900) is usual"
        )
    for probe in box.probes:
        if probe.place is Place.FLOOR and probe.offset_c > MOST_OFFSET_C:
            yield (
                f"offset of the probe {probe.name} is {step_shown(probe.offset_c, unit)}: the "
                "floor is taken to be that much warmer than the probe says; check it in ice water"
            )
    day = _too_low(box, schedule_for(box, None), BUILT_IN[usual_schedule("broiler")])
    if day is not None:
        yield (
            f"own_schedule asks on day {day} of age for less than what the usual schedule calls "
            "dangerously cold; is that in the right unit?"
        )


def _too_low(box: Brooder, own: Schedule, usual: Schedule) -> int | None:
    if not box.own_schedule:
        return None
    for day in _CHICK_DAYS:
        mine = limits_at(own, float(day), box.steps, Place.FLOOR, box.limits)
        theirs = limits_at(usual, float(day), box.steps, Place.FLOOR, Limits())
        if mine is not None and theirs is not None and mine.target_c < theirs.chill_c:
            return day
    return None
