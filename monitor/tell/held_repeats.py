"""A repeat of lost heat for which nobody is woken. Used by `notification_plan`; pure."""

from monitor.events import AlarmName
from monitor.tell.incident import AlarmTold, ToldIncident
from monitor.watch.status import BrooderStatus, SiteStatus

_FORETOLD = (AlarmName.COLD_NIGHT,)
_OF_COLD = (AlarmName.HEAT_LOSS, AlarmName.COLD, AlarmName.CHILL)
# A floor that much colder than was told is news: the alarms' dead band, and 1 °F.
_COLDER_K = 0.5
# Half an hour of it costs a third of the band. Ours, so that a dead lamp's first reminders stay.
_FAST_C_PER_H = -2.0


def floors_hold(incident: ToldIncident, status: SiteStatus | None) -> bool:
    """Heat was lost, but each floor is in its band, falls slowly at the most, is not in sight
    of the chill limit, and hardly colder than was told: nobody is woken to hear that again.
    Once one falls further the repeats go on; out of its band it is told as that. One that has been
    out of it and is in it again holds only while it rises."""
    waiting = [
        alarm
        for alarm in incident.alarms.values()
        if alarm.open and not alarm.acknowledged and alarm.change.alarm not in _FORETOLD
    ]
    holds = status is not None
    for alarm in waiting:
        box = status.brooder(alarm.change.brooder or "") if status is not None else None
        if alarm.change.alarm not in _OF_COLD or box is None or box.temp_c is None:
            return False
        told_c = _told_c(incident, alarm, box.name, box.temp_c)
        if alarm.change.alarm is AlarmName.HEAT_LOSS:
            well = _is_slow(box, box.temp_c, told_c)
        else:
            well = box.trend_c_per_h is not None and box.trend_c_per_h > 0.0
        if not (box.in_band and well):
            holds = False
            incident.told_c[box.name] = min(told_c, box.temp_c)
    return holds


def _told_c(incident: ToldIncident, alarm: AlarmTold, box: str, temp_c: float) -> float:
    return incident.told_c.get(box, alarm.change.facts.get("temp_c", temp_c))


def _is_slow(box: BrooderStatus, temp_c: float, told_c: float) -> bool:
    if box.trend_c_per_h is None:
        return False
    falls_slowly = box.trend_c_per_h > _FAST_C_PER_H and box.minutes_to_chill is None
    return box.trend_c_per_h >= 0.0 or (falls_slowly and temp_c > told_c - _COLDER_K)
