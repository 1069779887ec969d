"""Which incident an alarm belongs to, as the watch says it, when the same trouble in several boxes
is taken for one, and when an expected cold night is called off. Used by
`notification_plan`; pure."""

from copy import copy
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

from monitor.brooding.night_hours import OUTLOOK_FROM_H
from monitor.events import AlarmName, Change, ClockStep, Priority
from monitor.site import SITE_WIDE
from monitor.tell.incident import AlarmTold, ToldIncident
from monitor.watch.alarm_table import TABLE, Family
from monitor.watch.incidents import SITE_SILENT, rank, scope
from monitor.watch.status import SiteStatus

# Of what several boxes can have the same trouble by one cause, and within which time it is one.
SHARED = (Family.COLD.value, AlarmName.UNWATCHED.value)
STORM_S = 1800.0
_OF_FLOOR = (Family.COLD.value, Family.HOT.value)
# Another box is told within a minute; of many, within less than a plain alarm's five minutes.
_STORM_GATHER_S, _MANY, _MANY_GATHER_S = 60.0, 4, 240.0


def kin_of(alarm: AlarmName) -> str:
    """What the same trouble of another box is called: its family, or of an alarm that stands alone
    its name."""
    family = TABLE[alarm].family
    return alarm.value if family is None else family.value


def with_occurrence(incidents: list[ToldIncident], occurrence: str) -> ToldIncident | None:
    """The one in which that alarm is open."""
    for incident in incidents:
        if occurrence in incident.alarms:
            return incident if incident.alarms[occurrence].open else None
    return None


def incident_for(incidents: list[ToldIncident], change: Change) -> ToldIncident:
    """The one that a raised alarm belongs to; a new one joins the list."""
    name = change.facts.get("incident", change.occurrence)
    place, family = scope(change)
    for incident in incidents:
        if name == incident.id or name in incident.also:
            if (place, family) == SITE_SILENT:  # one silent probe has become a silent brooder
                incident.place, incident.family = place, family
            return incident
    since_at = change.facts.get("since", change.at)
    incident = ToldIncident(name, place, family, since_at, begun_by=change.occurrence)
    incidents.append(incident)
    return incident


def has_come_again(one: ToldIncident, newer: ToldIncident) -> bool:
    """Its end is not told yet, and the same trouble is there anew: nobody is to hear now that it is
    over."""
    same = (one.place, one.family) == (newer.place, newer.family)
    return one is not newer and same and one.over_due is not None and not one.is_over


def unreached(incidents: list[ToldIncident]) -> dict[str, float]:
    """The contacts that messages do not get through to, and the tick since when."""
    failing = [one for one in incidents if one.lead() is not None]
    return {name: one.changed for one in failing for name in one.unreached()}


def clock_set(one: ToldIncident, step: ClockStep) -> None:
    """The wall clock was set: what began before did so by the new clock's reckoning."""
    one.since_at = step.moved(one.since_at)
    for alarm in one.alarms.values():
        alarm.change = _moved(alarm.change, step)
        alarm.ended_at = None if alarm.ended_at is None else step.moved(alarm.ended_at)
    one.worst = None if one.worst is None else _moved(one.worst, step)
    one.last = None if one.last is None else _moved(one.last, step)
    if one.answer_given is not None:
        one.answer_given.at = step.moved(one.answer_given.at)


def _moved(change: Change, step: ClockStep) -> Change:
    facts = change.facts.copy()
    if "since" in facts:
        facts["since"] = step.moved(facts["since"])
    return replace(change, at=step.moved(change.at), facts=facts)


def nights_left(one: ToldIncident) -> list[ToldIncident]:
    """It goes on as the cold night that is still expected, in each box by itself; none: all of it
    is over. What was counted counts on: messages are known by it."""
    if one.cold_night() is None:
        return []
    return [_as_night(one, alarm) for alarm in one.alarms.values() if alarm.open]


def _as_night(one: ToldIncident, alarm: AlarmTold) -> ToldIncident:
    night = replace(
        one,
        told_to=[*one.told_to],
        answer_given=copy(one.answer_given),
        since_at=alarm.change.at,
        alarms={alarm.change.occurrence: alarm},
        worst=alarm.change,
        last=None,
        answered_rank=-1,
        over_due=None,
        is_over=False,
        asked=None,
        extreme_c=None,
        told_c={},
        also=[],
    )
    if one.shared:
        night.id = alarm.change.facts.get("incident", alarm.change.occurrence)
        night.place = alarm.change.brooder or SITE_WIDE
        night.begun_by = one.begun_by if night.id == one.id else alarm.change.occurrence
    return night


def told_beside(incidents: list[ToldIncident], one: ToldIncident) -> AlarmName | None:
    """What else was told of that floor, and not yet as over: nobody is to hear "back to normal". A
    night that is only foretold is no such trouble."""
    worst = [
        other.worst.alarm
        for other in incidents
        if other is not one and other.place == one.place and other.family in _OF_FLOOR
        if other.told and not other.is_over and other.worst is not None
    ]
    return next((alarm for alarm in worst if alarm is not AlarmName.COLD_NIGHT), None)


def out_of_band(incident: ToldIncident, status: SiteStatus | None) -> bool:
    """Is a floor that it was about not in its band?"""
    if incident.family not in _OF_FLOOR or status is None:
        return False
    boxes = [status.brooder(alarm.change.brooder or "") for alarm in incident.alarms.values()]
    return any(box is not None and box.coldest_c is not None and not box.in_band for box in boxes)


def shared_by_boxes(
    incidents: list[ToldIncident], incident: ToldIncident, change: Change, tick: float
) -> ToldIncident:
    """The same urgent trouble in several boxes within half an hour is taken for one cause (an
    outlet, the mains, a lost record): one message that lists them, one answer, one repeat."""
    kin = _kin(incident)
    if change.priority is not Priority.URGENT or kin not in SHARED:
        return incident
    for other in incidents:
        since = _waits_since(other)
        if (
            other is not incident
            and _kin(other) == kin
            and None not in {*other.boxes(), *incident.boxes()}
            and since is not None
            and tick - since <= STORM_S
        ):
            _join(other, incident)
            incidents.remove(incident)
            return other
    return incident


def says_nothing_new(incident: ToldIncident, change: Change) -> bool:
    """Of a trouble shared by several boxes: is something as urgent told of that box, and as bad a
    one of any? That its night will be cold is no word of the heat that it has lost."""
    told = [a for a in incident.alarms.values() if a.told and a.open and _is_urgent(a.change)]
    as_bad = any(rank(a.change) >= rank(change) for a in told)
    return as_bad and any(a.change.brooder == change.brooder for a in told)


def _is_urgent(change: Change) -> bool:
    return change.priority is Priority.URGENT


def storm_wait_s(incident: ToldIncident) -> float:
    """How long one more box waits for others, where one was told already."""
    if not incident.shared or incident.last_told is None:
        return 0.0
    return _MANY_GATHER_S if len(incident.boxes()) > _MANY else _STORM_GATHER_S


def _kin(incident: ToldIncident) -> str:
    """The kin of its alarms, as `kin_of` has it."""
    return incident.family.rpartition("/")[2]


def _waits_since(incident: ToldIncident) -> float | None:
    """Tick since when an urgent alarm of it waits for an answer, or to be told."""
    worst = incident.unanswered()
    if worst is None or worst.change.priority is not Priority.URGENT:
        return None
    return incident.gather_due if incident.asked is None else incident.asked


def _join(one: ToldIncident, other: ToldIncident) -> None:
    """The same trouble in another box is this `one` from now on."""
    one.also += [other.id, *other.also]
    one.place = SITE_WIDE
    one.alarms.update(other.alarms)
    one.told_c.update(other.told_c)
    one.reach(other.told_to)
    one.since_at = min(one.since_at, other.since_at)
    if other.worst is not None and (one.worst is None or rank(other.worst) > rank(one.worst)):
        one.worst = other.worst
    if other.extreme_c is not None:
        known = one.extreme_c
        one.extreme_c = other.extreme_c if known is None else min(known, other.extreme_c)
    dues = [due for due in (one.gather_due, other.gather_due) if due is not None]
    one.gather_due = min(dues, default=None)
    one.over_due, one.is_over = None, False
    one.changed = max(one.changed, other.changed)


def told_together(
    incidents: list[ToldIncident], incident: ToldIncident, until: float
) -> list[ToldIncident]:
    """What is told in one message with it: cold nights, which come to many boxes at one look, due
    until that tick."""
    if not _is_night(incident):
        return [incident]
    due = [one for one in incidents if one.gather_due is not None and one.gather_due <= until]
    return [incident, *(one for one in due if one is not incident and _is_night(one))]


def _is_night(incident: ToldIncident) -> bool:
    """Is a cold night ahead all that is to be told of it?"""
    untold = {alarm.change.alarm for alarm in incident.untold()}
    return untold == {AlarmName.COLD_NIGHT} and not incident.shared


CALLED_OFF_S = 3600.0  # one that was called off is looked at again so much later


def expected_nights(incidents: list[ToldIncident]) -> list[tuple[ToldIncident, AlarmTold]]:
    """Cold nights ahead: the worst of their incident, or not told yet and nothing else is."""
    return [
        (incident, alarm)
        for incident in incidents
        for alarm in incident.alarms.values()
        if alarm.open and alarm.change.alarm is AlarmName.COLD_NIGHT and _leads(incident)
    ]


def but_nights(incidents: list[ToldIncident]) -> list[ToldIncident]:
    """Those that are more than a cold night ahead: by the morning that is none."""
    nights = [incident for incident, _ in expected_nights(incidents)]
    return [one for one in incidents if all(one is not night for night in nights)]


def is_called_off(incident: ToldIncident, at: float, zone: ZoneInfo) -> bool:
    """A cold night that was told, and in the same evening is no longer expected: whoever was
    told may still be on the way to the shed. At dawn it ends by itself, and a box that was
    emptied was emptied by somebody."""
    worst, last = incident.worst, incident.last
    if worst is None or worst.alarm is not AlarmName.COLD_NIGHT or incident.last_told is None:
        return False
    emptied = last is not None and "reason" in last.facts
    return datetime.fromtimestamp(at, zone).hour >= OUTLOOK_FROM_H and not emptied


def _leads(incident: ToldIncident) -> bool:
    lead, untold = incident.lead(), incident.untold()
    only = bool(untold) and all(a.change.alarm is AlarmName.COLD_NIGHT for a in untold)
    return only or (lead is not None and lead.change.alarm is AlarmName.COLD_NIGHT)
