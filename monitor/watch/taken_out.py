"""Alarms of a box, a probe or a meter that is no longer configured after a start or a reload:
nothing else ends them, and whoever was told would be reminded for ever. Held by watch.engine."""

from collections.abc import Mapping

from monitor.events import AlarmName, Change, ChangeKind, Facts
from monitor.site import SITE_WIDE
from monitor.watch.alarm import Alarm
from monitor.watch.alarm_register import AlarmRegister

GONE = "what it was about is no longer configured"  # why an alarm ended


class TakenOut:
    """From the state before to the first look after it."""

    def __init__(self, register: AlarmRegister) -> None:
        self._register = register
        self._left: dict[str, Alarm] = {}

    def note(self, before: Mapping[str, Alarm]) -> None:
        """All alarms there were, by key."""
        gone = sorted(before.keys() - self._register.alarms.keys())
        self._left = {key: before[key] for key in gone if before[key].active}

    def end(self, tick: float, renamed: Mapping[str, str]) -> None:
        """Those that were active end. `renamed`: by the old name of a box the one it has now."""
        left, self._left = self._left, {}
        for key, alarm in left.items():
            place, name, *_ = key.split("/")
            at, since = self._register.wall_at(tick), alarm.began_at
            why = f"the box is called {renamed[place]} now" if place in renamed else GONE
            facts = Facts(reason=why, incident=alarm.incident, since=since, lasted_s=at - since)
            change = Change(
                at=at,
                brooder=None if place == SITE_WIDE else place,
                alarm=AlarmName(name),
                change=ChangeKind.CLEARED,
                priority=alarm.priority,
                cause=alarm.cause,
                probe=alarm.probe,
                occurrence=alarm.occurrence,
                facts=facts,
            )
            self._register.out.append(self._register.incidents.take(change, tick))
