"""What may be asked of a brooder by those who only look at it: the figures of its alarms and what
holds them back. `temperature_alarms.TemperatureAlarms` is one."""

from typing import Protocol

from monitor.thermal.estimate import Estimate
from monitor.watch.alarm import Alarm
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.box_meters import BoxMeters
from monitor.watch.box_needs import BoxNeeds
from monitor.watch.box_probes import BoxProbes
from monitor.watch.cold_night_watch import ColdNightWatch


class Box(Protocol):
    """One brooder as it stands."""

    register: AlarmRegister
    estimate: Estimate
    meters: BoxMeters
    needs: BoxNeeds
    probes: BoxProbes
    tonight: ColdNightWatch
    chill: Alarm
    cold: Alarm
    overheat: Alarm
    hot: Alarm
    heat_loss: Alarm
    cold_night: Alarm
