"""A cold night that is expected: when it waits for the evening's message, and when it is called
off. Used by `notification_plan`; pure."""

from datetime import datetime
from zoneinfo import ZoneInfo

from monitor.brooding.night_hours import OUTLOOK_FROM_H
from monitor.events import AlarmName
from monitor.tell.incident import AlarmTold, ToldIncident

CALLED_OFF_S = 3600.0  # a cold night ends that long after it was last likely


def expected_nights(incidents: list[ToldIncident]) -> list[tuple[ToldIncident, AlarmTold]]:
    """Cold nights ahead: the worst of their incident, or not told yet and nothing else is."""
    return [
        (incident, alarm)
        for incident in incidents
        for alarm in incident.alarms.values()
        if alarm.open and alarm.change.alarm is AlarmName.COLD_NIGHT and _leads(incident)
    ]


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
