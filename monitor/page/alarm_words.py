"""Alarms as the screens show them: the messages' words, with the figures of now. Pure."""

from dataclasses import dataclass
from urllib.parse import quote

from monitor.events import AlarmName, Change, ChangeKind, Facts, Priority
from monitor.page.phrases import Phrases, capital
from monitor.site import Site
from monitor.tell.wording import for_change
from monitor.tell.wording.words import sentence
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import AlarmStatus, BrooderStatus

_PRIORITY_WORDS = {
    Priority.URGENT: "Urgent",
    Priority.WARNING: "Warning",
    Priority.ADVICE: "Advice",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmView:
    """One alarm as an entry in red ink."""

    occurrence: str
    priority: str
    urgent: bool
    advice: bool
    title: str
    first: str  # what to do at once
    more: tuple[str, ...]
    since: float
    standing: str | None  # who has answered, until when it is put aside, whether it is over
    answer_link: str | None
    shelve_link: str | None
    unshelve_link: str | None


def told(alarms: tuple[AlarmStatus, ...]) -> list[AlarmStatus]:
    """What follows from another alarm is not shown as one of its own, unless it is worse."""
    shown = [a for a in alarms if a.state is not AlarmState.NORMAL and not a.folded]
    return shown or [a for a in alarms if a.state is not AlarmState.NORMAL]


def live_facts(box: BrooderStatus) -> Facts:
    """How fast, and how long is left, now."""
    facts: Facts = {}
    if box.chill_c is not None:
        facts["chill_c"] = box.chill_c
    if box.minutes_to_chill is not None:
        facts["minutes_to_chill"] = box.minutes_to_chill.mid
        facts["minutes_to_chill_low"] = box.minutes_to_chill.low
        facts["minutes_to_chill_high"] = box.minutes_to_chill.high
    if box.trend_c_per_h is not None:
        facts["rate_c_per_h"] = box.trend_c_per_h
    return facts


def alarm_view(
    alarm: AlarmStatus, site: Site, say: Phrases, box: BrooderStatus | None
) -> AlarmView:
    """An alarm in the messages' words, with the figures of now in place of those it began with."""
    facts: Facts = {**alarm.facts, **(live_facts(box) if box else {})}
    facts.setdefault("since", alarm.since)
    if alarm.contact is not None:
        facts.setdefault("contact", alarm.contact)
    if alarm.alarm is not AlarmName.OVERHEAT:
        facts.pop("temp_c", None)  # the head of the box says these, and as they are now
        facts.pop("target_c", None)
    elif box is not None and box.temp_c is not None:
        facts["temp_c"] = box.temp_c
    facts.pop("probes", None)
    facts.pop("age_days", None)
    told = for_change(
        Change(
            at=say.now,
            brooder=alarm.brooder,
            alarm=alarm.alarm,
            change=ChangeKind.RAISED,
            priority=alarm.priority,
            cause=alarm.cause,
            probe=alarm.probe,
            occurrence=alarm.occurrence,
            facts=facts,
        ),
        site,
    )
    # The trend line of the box already says how long is left.
    lines = [line.strip() for line in told.body.splitlines() if "to the chill limit" not in line]
    there = f"/alarm/{quote(alarm.occurrence, safe='')}"
    shelved = alarm.state is AlarmState.SHELVED
    return AlarmView(
        occurrence=alarm.occurrence,
        priority=_PRIORITY_WORDS[alarm.priority],
        urgent=alarm.priority is Priority.URGENT,
        advice=alarm.priority is Priority.ADVICE,
        title=capital(told.title),
        first=lines[0] if lines else "",
        more=tuple(line for line in lines[1:] if line),
        since=alarm.since,
        standing=_standing(alarm, say),
        answer_link=None if shelved or alarm.acknowledged else f"{there}/acknowledge",
        shelve_link=None if shelved else f"{there}/shelve",
        unshelve_link=f"{there}/unshelve" if shelved else None,
    )


def _standing(alarm: AlarmStatus, say: Phrases) -> str | None:
    by = f" by {alarm.by}" if alarm.by else ""
    match alarm.state:
        case AlarmState.ACKNOWLEDGED:
            when = f" at {say.clock(alarm.acknowledged_at)}" if alarm.acknowledged_at else ""
            return f"Acknowledged{by}{when}. It is not repeated."
        case AlarmState.SHELVED:
            until = f" until {say.clock(alarm.shelved_until)}" if alarm.shelved_until else ""
            why = f" {sentence(alarm.shelved_note)}" if alarm.shelved_note else ""
            return f"Put aside{until}{by}.{why}"
        case AlarmState.RETURNED:
            return "Over by itself; nobody has acknowledged it yet."
        case AlarmState.OUT_OF_SERVICE:
            return "Taken out of use."
        case _:
            return None
