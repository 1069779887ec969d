"""What may be asked of a brooder by those who only look at it: the figures of its alarms and what
holds them back. `brooder_watch.BrooderWatch` is one."""

from datetime import tzinfo
from typing import Protocol

from monitor.thermal.diagnosis import Interval, Outlook
from monitor.thermal.estimate import Estimate
from monitor.watch.alarm import Alarm
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.box_meters import BoxMeters
from monitor.watch.probe_watch import ProbeWatch


class Box(Protocol):
    """One brooder as it stands. Limits are of the floor; None: there is no batch."""

    register: AlarmRegister
    zone: tzinfo
    estimate: Estimate
    meters: BoxMeters
    inside: list[ProbeWatch]  # all but the outside ones
    age_days: float | None
    target_c: float | None
    low_c: float | None
    high_c: float | None
    chill_c: float | None
    outlook: Outlook | None  # for the coming night
    chill: Alarm
    cold: Alarm
    overheat: Alarm
    hot: Alarm
    heat_loss: Alarm
    cold_night: Alarm

    def on_floor(self) -> list[ProbeWatch]:
        """The probes that a cold floor is told by."""
        ...

    def trusted(self) -> list[ProbeWatch]:
        """The probes that nothing was found of."""
        ...

    def counting(self) -> list[ProbeWatch]:
        """The probes that are believed now."""
        ...

    def usable(self) -> list[ProbeWatch]:
        """The probes that say something a floor can be; doubted ones too."""
        ...

    def rate_c_per_h(self, tick: float) -> float | None:
        """How fast the floor falls or rises."""
        ...

    def minutes_to_chill(self, tick: float) -> Interval | None:
        """Minutes to the configured chill limit; None: not on its way there, or there already."""
        ...
