"""Which alarms are one trouble. Pure questions over the alarms of a site; asked by watch.alarms.

An incident is one trouble in one place: the alarms of one family that are active together. It is
named after its first alarm. A later one that is no worse is *folded*: it is an event like any
other, but needs no message of its own and shares the acknowledgement of the incident's head (its
worst active alarm)."""

from collections.abc import Iterable

from monitor.watch.alarm import Alarm
from monitor.watch.alarm_table import Family
from monitor.watch.life_cycle import AlarmState


def related(alarm: Alarm, alarms: Iterable[Alarm]) -> list[Alarm]:
    """Active alarms that one cause may have set off together with this one: of its family, in its
    place, in a place around it or within it. Two probes are two places, unless they go at once. A
    silence that is ending covers nothing more: who is still silent then is told by itself."""
    family = alarm.rule.family
    if family is None:
        return []
    return [
        other
        for other in alarms
        if other is not alarm
        and other.active
        and other.rule.family is family
        and (other.delay.condition or family is not Family.SILENCE)
        and (other.brooder == alarm.brooder or None in (other.brooder, alarm.brooder))
        and (
            other.subject == alarm.subject
            or None in (other.subject, alarm.subject)
            or (other.rule is alarm.rule and other.raised_tick == alarm.raised_tick)
        )
    ]


def head(alarms: Iterable[Alarm]) -> Alarm | None:
    """The worst, the earlier one of equals."""
    return max(alarms, key=lambda a: (a.rank, -a.raised_tick), default=None)


def first(alarms: Iterable[Alarm]) -> Alarm:
    """The one it began with, of those still active."""
    return min(alarms, key=lambda a: (a.raised_tick, a.key))


def siblings(alarm: Alarm, alarms: Iterable[Alarm]) -> list[Alarm]:
    """The same alarm of other probes of the same box, waiting for its delay like this one."""
    if alarm.subject is None:
        return []
    return [
        other
        for other in alarms
        if other is not alarm
        and other.rule is alarm.rule
        and other.brooder == alarm.brooder
        and other.delay.condition
        and other.delay.due is not None
    ]


def lesser(asked: list[Alarm], alarms: Iterable[Alarm]) -> list[Alarm]:
    """Unanswered alarms of the same incidents that are no worse: answered along with them."""
    return [
        a
        for a in alarms
        if a not in asked
        and a.state is AlarmState.UNACKNOWLEDGED
        and any(b.active and b.incident == a.incident and b.rank >= a.rank for b in asked)
    ]
