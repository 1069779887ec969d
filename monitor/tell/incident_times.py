"""What is due for an incident, and when: to be told, to be repeated, to be passed on, to be over.
Used by `notification_plan`; pure. All times are ticks."""

import math
from collections.abc import Callable, Iterator
from enum import IntEnum

from monitor.events import AlarmName, Change, Priority
from monitor.kept import NEVER
from monitor.site import Place
from monitor.tell.contact import Contact
from monitor.tell.incident import AlarmTold, ToldIncident
from monitor.tell.policy import Policy
from monitor.tell.wording.words import STEADY_C_PER_H
from monitor.watch.alarm_table import OF_COLD, OF_HEAT, TABLE
from monitor.watch.status import BrooderStatus, SiteStatus

# Where nobody who was asked can be reached the next waits no longer: a server that restarts is back
# by then. Common practice.
_UNREACHED_S = 120.0
# Whom 144 messages of the same trouble did not move the next 144 will not; but they cost money, or
# use up what a service sends in a day. Common practice.
_A_DAY_S = 86400.0


class Due(IntEnum):
    """What can be due for an incident, in the order in which it is done at one instant."""

    TELL = 0
    OVER = 1
    PASS_ON = 2
    AGAIN = 3
    ASK_ANEW = 4


class IncidentTimes:
    """By how patient the policy is, and whom an urgent alarm goes on to. `unreached`: the contacts
    that no message gets through to, and since when."""

    def __init__(
        self,
        policy: Policy,
        contacts: tuple[Contact, ...],
        unreached: Callable[[], dict[str, float]],
    ) -> None:
        self._policy = policy
        self._contacts = contacts
        self._unreached = unreached
        self.not_before = NEVER  # nothing is repeated, passed on or over before

    def due(self, incident: ToldIncident) -> Iterator[tuple[float, Due]]:
        """All that is due if nothing happens before."""
        if incident.gather_due is not None:
            yield incident.gather_due, Due.TELL
        if incident.over_due is not None:
            yield max(incident.over_due, self.not_before), Due.OVER
        if incident.last_told is None or incident.gather_due is not None:
            return
        held_until = max(incident.changed, self.not_before)
        alarm = incident.unanswered()
        if alarm is None:
            if incident.answer_given is not None and incident.answered() is not None:
                asked = incident.answer_given.asked
                yield max(asked + self._policy.ask_anew_s, held_until), Due.ASK_ANEW
            return
        repeat_s = self._repeat_s(incident, alarm)
        if repeat_s is not None:
            yield max(incident.last_told + repeat_s, held_until), Due.AGAIN
        waiting = self.waiting(incident, alarm)
        unreached = self._unreached() if waiting else {}
        since = [unreached.get(name, math.inf) for name in incident.told_to]
        asked = incident.asked if incident.asked is not None else incident.last_told
        at_once = max([asked + _UNREACHED_S, *since])
        for contact in waiting:
            answered_by = min(asked + contact.after_minutes * 60.0, at_once)
            yield max(answered_by, held_until), Due.PASS_ON

    def waiting(self, incident: ToldIncident, alarm: AlarmTold) -> list[Contact]:
        """Contacts that an urgent alarm goes on to when nobody answers."""
        if alarm.change.priority is not Priority.URGENT:
            return []
        return [
            contact
            for contact in self._contacts
            if Priority.URGENT in contact.priorities and contact.name not in incident.told_to
        ]

    def skip_missed_s(
        self, incident: ToldIncident, what: Due, when: float, tick: float, *, including: bool
    ) -> float:
        """Repeats that nobody was there to send are counted and left out, up to the last: it would
        be all that is sent of them, and after years (a clock that was wrong) they would keep the
        watch busy for hours. How long they took."""
        alarm = incident.unanswered()
        every_s = self._policy.ask_anew_s if what is Due.ASK_ANEW else None
        if what is Due.AGAIN and alarm is not None:
            every_s = self._repeat_s(incident, alarm)
        if every_s is None:
            return 0.0
        end = min([tick, *(due for due, other in self.due(incident) if other is not what)])
        missed = int((end - when) // every_s)
        if missed and when + missed * every_s >= tick and not including:
            missed -= 1
        if what is Due.AGAIN:
            incident.repeats += missed
        elif incident.answer_given is not None:
            incident.answer_given.times += missed
        return missed * every_s

    def _repeat_s(self, incident: ToldIncident, alarm: AlarmTold) -> float | None:
        if TABLE[alarm.change.alarm].told_once or alarm.change.priority is Priority.ADVICE:
            return None
        if alarm.change.priority is Priority.URGENT:
            long = (incident.last_told or 0.0) - incident.changed >= _A_DAY_S
            every_s = self._policy.urgent_repeat_s
            return max(every_s, self._policy.ask_anew_s) if long else every_s
        return self._policy.warning_repeat_s


_FORETOLD = (AlarmName.COLD_NIGHT,)
# A floor that much colder than was told is news: the alarms' dead band, and 1 °F.
_COLDER_K = 0.5
# Half an hour of it costs a third of the band. Ours, so that a dead lamp's first reminders stay.
_FAST_C_PER_H = -2.0


def floors_hold(incident: ToldIncident, status: SiteStatus | None) -> bool:
    """Heat was lost, but each floor is in its band, falls slowly at the most, is not in sight
    of the chill limit, and hardly colder than was told: nobody is woken to hear that again.
    Once one falls further the repeats go on; out of its band it is told as that. One that has been
    out of it and is in it again holds only while it rises; one that was too hot, while it cools."""
    waiting = [
        alarm
        for alarm in incident.alarms.values()
        if alarm.open and not alarm.acknowledged and alarm.change.alarm not in _FORETOLD
    ]
    holds = status is not None
    for alarm in waiting:
        box = status.brooder(alarm.change.brooder or "") if status is not None else None
        if alarm.change.alarm in OF_HEAT and _cools(alarm.change, box):
            continue
        if alarm.change.alarm not in OF_COLD or box is None or box.coldest_c is None:
            return False
        told_c = incident.told_c.get(box.name, alarm.change.facts.get("temp_c", box.coldest_c))
        if alarm.change.alarm is AlarmName.HEAT_LOSS:
            well = _is_slow(box, box.coldest_c, told_c)
        else:
            well = box.trend_c_per_h is not None and box.trend_c_per_h > 0.0
        if not (box.in_band and well):
            holds = False
            incident.told_c[box.name] = min(told_c, box.coldest_c)
    return holds


def nearly_back(incident: ToldIncident, status: SiteStatus | None, within_s: float) -> bool:
    """Each floor that was too cold is hardly below its band, and at its pace in it before anybody
    would be asked again, and one that was too hot cools: whoever answered has seen to it."""
    for alarm in incident.alarms.values():
        if not alarm.open or alarm.change.alarm in _FORETOLD:
            continue
        box = status.brooder(alarm.change.brooder or "") if status is not None else None
        if alarm.change.alarm in OF_HEAT and _cools(alarm.change, box):
            continue
        if alarm.change.alarm not in OF_COLD or box is None:
            return False
        if box.coldest_c is None or box.low_c is None or box.trend_c_per_h is None:
            return False
        short_k = max(0.0, box.low_c - box.coldest_c)
        if short_k > _COLDER_K or box.trend_c_per_h * within_s / 3600.0 <= short_k:
            return False
    return True


def _cools(change: Change, box: BrooderStatus | None) -> bool:
    """Is it short of its limit by every probe at the birds, and on its way down? Where a lamp may
    have fallen nothing is taken for that."""
    if box is None or box.trend_c_per_h is None or "reason" in change.facts:
        return False
    at_birds = [p.temp_c for p in box.probes if p.place is not Place.UNDER_HEAT]
    hottest_c = max((temp_c for temp_c in at_birds if temp_c is not None), default=math.inf)
    return hottest_c < box.overheat_c and box.trend_c_per_h <= -STEADY_C_PER_H


def _is_slow(box: BrooderStatus, temp_c: float, told_c: float) -> bool:
    if box.trend_c_per_h is None:
        return False
    falls_slowly = box.trend_c_per_h > _FAST_C_PER_H and box.minutes_to_chill is None
    return box.trend_c_per_h >= 0.0 or (falls_slowly and temp_c > told_c - _COLDER_K)
