"""From an incident to words: which of the wording's messages fits, with the figures of now.
Used by `notification_plan`."""

import math
from collections.abc import Container
from dataclasses import replace

from monitor.events import AlarmName, Change, ChangeKind, Priority, ProbeFact
from monitor.kept import NEVER
from monitor.site import Site
from monitor.tell.contact import Contact
from monitor.tell.incident import AlarmTold, AnswerGiven, ToldIncident
from monitor.tell.message import MessageKind
from monitor.tell.present_facts import night_now, now_facts
from monitor.tell.wording import for_change, life
from monitor.tell.wording.several_words import over_in_all, several_boxes
from monitor.tell.wording.silence_words import site_silent
from monitor.tell.wording.words import Voice, Words
from monitor.watch.alarm_table import OF_HEAT, TOO_COLD, Family
from monitor.watch.cold_night_watch import NIGHT_OVER
from monitor.watch.incidents import rank
from monitor.watch.status import BrooderStatus, SiteStatus

_TEMPERATURE = (Family.COLD.value, Family.HOT.value)
# Alarms that say the same of a floor, so that what is said of it is said over all of them.
_SAME = (
    frozenset(TOO_COLD),
    frozenset(OF_HEAT),
    frozenset({AlarmName.HEAT_LOSS}),
)
_TOGETHER_S = 1200.0
_SOON_S = 900.0  # what is lowest within that is as it is now
_PICTURED = (MessageKind.RAISED, MessageKind.PASSED_ON, MessageKind.OVER)


def raised(changes: list[Change], site: Site) -> Words:
    """One message for all that was raised together; the worst leads, all probes are listed."""
    boxes = {change.brooder for change in changes if change.alarm is AlarmName.NO_READINGS}
    lead = max(changes, key=rank)
    if lead.alarm is AlarmName.NO_READINGS and len(boxes - {None}) > 1 and None not in boxes:
        silent = [c for c in changes if c.alarm is AlarmName.NO_READINGS]
        return site_silent(silent, Voice(site))
    urgent = [change for change in changes if change.priority is Priority.URGENT]
    places = {change.brooder for change in urgent}
    if len(places) > 1 and None not in places:
        return several_boxes(_one_a_box(urgent), Voice(site), together=_went_together(urgent))
    if len(places) == 1:  # what the others still have is no part of this
        changes = [change for change in changes if change.brooder in places]
    probes: dict[str, ProbeFact] = {}
    for change in changes:
        for fact in change.facts.get("probes", []):
            probes.setdefault(fact["probe"], fact)
    facts = lead.facts.copy()
    if probes:
        facts["probes"] = list(probes.values())
    return for_change(replace(lead, facts=facts), site)


def again(incident: ToldIncident, at: float, site: Site, status: SiteStatus | None) -> Words:
    number = incident.repeats - incident.repeats_before
    return life.again(_now(incident, at, site, status), _waited_s(incident, at), number)


def asked_anew(
    incident: ToldIncident, answer: AnswerGiven, at: float, site: Site, status: SiteStatus | None
) -> Words:
    """Answered, and no better an hour later."""
    by = answer.by if len(incident.told_to) > 1 else "you"  # whoever is alone knows who it was
    return life.asked_anew(_now(incident, at, site, status), Voice(site), by, answer.at, at)


def passed_on(
    incident: ToldIncident,
    at: float,
    site: Site,
    status: SiteStatus | None,
    *,
    asked: list[str],
    unreached: Container[str],
) -> Words:
    told = _now(incident, at, site, status)
    reached = [name for name in asked if name not in unreached]
    failing = [name for name in asked if name in unreached]
    return life.passed_on(told, _waited_s(incident, at), reached, failing)


def escalated(
    incident: ToldIncident,
    alarm: AlarmTold,
    contacts: list[Contact],
    at: float,
    status: SiteStatus | None,
) -> Change:
    """That nobody answered, as a change of the alarm: with the figures of now."""
    facts = _longer(alarm.change, at).facts
    if incident.family in _TEMPERATURE:
        facts = now_facts(facts, status, alarm.change.brooder, alarm.change.alarm)
    facts["since"] = alarm.change.facts.get("since", alarm.change.at)
    facts["level"] = incident.times_passed_on
    facts["contacts"] = [contact.name for contact in contacts]
    return replace(alarm.change, at=at, change=ChangeKind.ESCALATED, facts=facts)


def over(
    incident: ToldIncident,
    at: float,
    site: Site,
    status: SiteStatus | None,
    *,
    watched_from: float = NEVER,
    beside: AlarmName | None = None,
) -> Words:
    """All of it is over: how long, how far, and how it is now."""
    worst, last = incident.worst, incident.last
    if worst is None or last is None:
        raise ValueError(f"the incident {incident.id} has not ended")
    facts = last.facts.copy()
    box = _latest_right(incident, status)
    if incident.family in _TEMPERATURE:
        facts = now_facts(facts, status, None if box is None else box.name, worst.alarm)
    elif "temp_c" in facts and status is not None:  # of half an hour ago, when it was heard again
        del facts["temp_c"]
        if box is not None and box.temp_c is not None:
            facts["temp_c"] = box.temp_c
    if worst.alarm is not AlarmName.COLD_NIGHT and facts.get("reason") == NIGHT_OVER:
        del facts["reason"]  # of a floor that was cold what counts is how it is now
    night = incident.cold_night()
    expected = night is not None and night_now(night.change, status) is not None
    if not expected or facts.get("lowest_at", at) <= at + _SOON_S:
        facts.pop("lowest_at", None)  # nothing colder than now is expected tonight
    quiet_from = max(last.ended_at, watched_from)
    if box is not None and incident.family in _TEMPERATURE:
        # one that was too hot may have been too cold since
        quiet_from = max(quiet_from, _right_since(box))
    if at - quiet_from >= 60.0:
        facts["quiet_s"] = at - quiet_from
    if beside is not None:
        facts["beside"] = beside
    same: Container[AlarmName] = next((form for form in _SAME if worst.alarm in form), ())
    spells = _spells(incident, same, at)
    facts["lasted_s"] = _lasted_s(spells) if spells else last.ended_at - incident.since_at
    if incident.extreme_c is not None and incident.family in _TEMPERATURE:
        facts["extreme_c"] = incident.extreme_c
    if incident.last_told is None and "reason" in worst.facts:
        facts.setdefault("reason", worst.facts["reason"])  # nobody has been told why
    if "contact" in worst.facts:
        facts["contact"] = worst.facts["contact"]
    alarms = [alarm.change for alarm in incident.alarms.values()]
    probes = {one.probe for one in alarms if one.alarm is not AlarmName.COLD_NIGHT}
    change = replace(
        worst,
        change=ChangeKind.CLEARED,
        at=at,
        brooder=incident.one_place(),
        probe=worst.probe if len(probes) == 1 else None,  # of several none is the one
        facts=facts,
    )
    each = [_as_now(one, at, status) for one in _one_a_box(alarms)] if incident.shared else []
    return over_in_all(for_change(change, site), each, Voice(site))


def _latest_right(incident: ToldIncident, status: SiteStatus | None) -> BrooderStatus | None:
    """The box it was about; of several the one that is right for the shortest, or not at all."""
    places = {alarm.change.brooder for alarm in incident.alarms.values()} - {None}
    boxes = [] if status is None else [box for box in status.brooders if box.name in places]
    return max(boxes, key=_right_since, default=None)


def _right_since(box: BrooderStatus) -> float:
    return math.inf if box.in_band_since is None else box.in_band_since


def wrong(incident: ToldIncident, site: Site) -> list[str]:
    """`porch too cold`, of each box; of the site's own, what it is."""
    worst = _one_a_box([alarm.change for alarm in incident.alarms.values() if alarm.open])
    titles = [(change, for_change(change, site).title.partition(": ")) for change in worst]
    return [f"{where} {what}" if change.brooder else what for change, (where, _, what) in titles]


def chart_of(incident: ToldIncident, kind: MessageKind) -> str | None:
    """The brooder whose last hours a picture would show."""
    if kind in _PICTURED and incident.family in _TEMPERATURE:
        return incident.one_place()
    return None


def _waited_s(incident: ToldIncident, at: float) -> float:
    """Since when the worst of it waits for an answer: a cold night that came, as the cold."""
    worst = incident.unanswered()
    if worst is None:
        return 0.0
    waiting = [
        alarm.change
        for alarm in incident.alarms.values()
        if alarm.open and not alarm.acknowledged and alarm.change.priority is worst.change.priority
    ]
    came = [change for change in waiting if change.alarm is not AlarmName.COLD_NIGHT]
    return at - min(change.at for change in came or waiting)


def _spells(
    incident: ToldIncident, same: Container[AlarmName], at: float
) -> list[tuple[float, float]]:
    """From when until when one of these alarms was so. Heat that was lost, or a cold night
    expected, is not yet a cold floor."""
    found: list[tuple[float, float]] = []
    for alarm in incident.alarms.values():
        ended_at = at if alarm.open else alarm.ended_at
        if alarm.change.alarm in same and ended_at is not None:
            found.append((alarm.change.facts.get("since", alarm.change.at), ended_at))
    return sorted(found)


def _lasted_s(spells: list[tuple[float, float]]) -> float:
    """All of them, without the times between."""
    lasted_s, until = 0.0, -math.inf
    for begun, ended in spells:
        lasted_s += max(0.0, ended - max(begun, until))
        until = max(until, ended)
    return lasted_s


def _now(incident: ToldIncident, at: float, site: Site, status: SiteStatus | None) -> Words:
    """The words as they would be said now: old estimates left out, the floor of this moment."""
    alarm = incident.unanswered() or incident.lead()
    if alarm is None:
        raise ValueError(f"nothing is open in the incident {incident.id}")
    change = alarm.change
    if incident.family == "silence":
        return raised([_longer(a.change, at) for a in incident.alarms.values() if a.open], site)
    if incident.shared:
        return raised(
            [_as_now(a.change, at, status) for a in incident.alarms.values() if a.open], site
        )
    facts = change.facts
    if incident.family in _TEMPERATURE:
        facts = now_facts(facts, status, change.brooder, change.alarm)
        spells = _spells(incident, (change.alarm,), at)
        if len(spells) > 1:
            facts["first_since"], facts["lasted_s"] = spells[0][0], _lasted_s(spells)
    return for_change(replace(change, at=at, facts=facts), site)


def _as_now(change: Change, at: float, status: SiteStatus | None) -> Change:
    facts = now_facts(change.facts, status, change.brooder, change.alarm)
    return replace(change, at=at, facts=facts)


def _one_a_box(changes: list[Change]) -> list[Change]:
    """The worst of each box."""
    worst: dict[str | None, Change] = {}
    for change in changes:
        known = worst.get(change.brooder)
        if known is None or rank(change) > rank(known):
            worst[change.brooder] = change
    return list(worst.values())


def _went_together(changes: list[Change]) -> bool:
    """So close in time that one cause is likely: mains and outlets take all at once, and the watch
    sees each within minutes."""
    began: dict[str | None, float] = {}
    for change in changes:
        since = change.facts.get("since", change.at)
        began[change.brooder] = min(since, began.get(change.brooder, since))
    return max(began.values()) - min(began.values()) <= _TOGETHER_S


def _longer(change: Change, at: float) -> Change:
    """A silence as it stands at `at`."""
    facts = change.facts.copy()
    if "silent_s" in facts:
        facts["silent_s"] += at - change.at
    return replace(change, at=at, facts=facts)
