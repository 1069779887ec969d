"""The alarms' state as retained MQTT topics, for lights, buzzers and house automation. Pure; the
service publishes what `topics_of` says whenever it differs from what it said last.

    brooder/alarms          the site and the watch itself
    brooder/alarms/porch    one brooder
    brooder/siren           "on" while an urgent alarm is active and nobody has answered

An alarm that is over but was never acknowledged does not sound the siren: nobody should run out
for something that has passed, and the message said that it was over."""

import json
from collections.abc import Iterable
from typing import Any

from monitor.events import Priority
from monitor.journal.resolution import iso
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import AlarmStatus, SiteStatus

Publication = tuple[str, str, bool]  # topic, payload, retain

_OURS = frozenset({"acknowledge", "alarms", "siren", "status", "told"})
_HASTE = (Priority.URGENT, Priority.WARNING, Priority.ADVICE)


def topics_of(status: SiteStatus, prefix: str = "brooder") -> list[Publication]:
    """Everything as it should stand at the broker. The payloads change only with the alarms, not
    with each reading, so they can be compared."""
    said = [(f"{prefix}/alarms", _payload(status.alarms), True)]
    said += [(f"{prefix}/alarms/{box.name}", _payload(box.alarms), True) for box in status.brooders]
    siren = any(
        alarm.priority is Priority.URGENT and alarm.state is AlarmState.UNACKNOWLEDGED
        for alarm in status.all_alarms
    )
    return [*said, (f"{prefix}/siren", "on" if siren else "off", True)]


def cleared_topics(gone: Iterable[str], prefix: str = "brooder") -> list[Publication]:
    """For brooders that are no longer configured: an empty retained message removes the old one
    (MQTT 3.1.1 section 3.3.1.3)."""
    return [(f"{prefix}/alarms/{name}", "", True) for name in gone]


def is_ours(topic: str, prefix: str = "brooder") -> bool:
    """Do we publish there, or take commands? No probe is to be looked for on such a topic."""
    ours, found, rest = topic.partition(f"{prefix}/")
    return bool(found) and not ours and rest.partition("/")[0] in _OURS


def _payload(alarms: tuple[AlarmStatus, ...]) -> str:
    shown = [alarm for alarm in alarms if alarm.state is not AlarmState.NORMAL]
    active = [alarm.priority for alarm in shown if alarm.active]
    worst = next((priority for priority in _HASTE if priority in active), None)
    return json.dumps(
        {"state": worst.value if worst else "normal", "alarms": [_said(a) for a in shown]},
        separators=(",", ":"),
        ensure_ascii=False,
    )


def _said(alarm: AlarmStatus) -> dict[str, Any]:
    said: dict[str, Any] = {
        "alarm": alarm.alarm.value,
        "priority": alarm.priority.value,
        "state": alarm.state.value,
        "cause": alarm.cause.value,
        "since": iso(int(alarm.since) * 1000),
        "occurrence": alarm.occurrence,
    }
    if alarm.probe:
        said["probe"] = alarm.probe
    if alarm.contact:
        said["contact"] = alarm.contact
    if alarm.by:
        said["by"] = alarm.by
    if alarm.shelved_until is not None:
        said["until"] = iso(int(alarm.shelved_until) * 1000)
    return said
