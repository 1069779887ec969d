"""Is there mains power? Owned by watch.engine. Off: all heat is off now, and the board itself runs
on what its battery holds."""

from monitor.events import AlarmName, Cause, Facts, Measured
from monitor.kept import Kept, part
from monitor.quantities import BATTERY_LEFT, MAINS, NEARLY_EMPTY, ON_MAINS, Quantity
from monitor.site import Limits, Site
from monitor.watch.alarm import Alarm, Description, Owner
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.box_meters import MeterWatch, meter_status
from monitor.watch.status import MeterStatus
from monitor.watch.taken_out import GONE

_NEARLY_EMPTY_S = 300.0  # so little left is nearly empty, whatever the battery calls it
_SILENT_S = 900.0


@part
class Mains(Kept, Owner):
    """What the site's own meters say."""

    _meters: dict[str, MeterWatch]
    _words: int = 0  # in a row that it is off

    def __init__(self, site: Site, register: AlarmRegister) -> None:
        self._register = register
        self._meters = {m.key: MeterWatch(m, None) for m in site.meters}
        self._lost = register.open(AlarmName.MAINS_LOST, None, self, limits=Limits())
        self._low = register.open(AlarmName.BATTERY_LOW, None, self, limits=Limits())

    def take(self, said: Measured, tick: float) -> None:
        """A word of the mains or of the battery. Two in a row are sure; where they come seldom, the
        alarm's own delay."""
        meter = self._meters.get(said.meter)
        if meter is None or not meter.take(said):
            return
        if meter.meter.quantity is MAINS:
            self._words = 0 if said.value == ON_MAINS else self._words + 1
        self._register.see(self._lost, self.off, tick, at_once=self._words > 1)
        left = self._battery_left_s
        low = self._value(MAINS) == NEARLY_EMPTY or (left is not None and left < _NEARLY_EMPTY_S)
        self._register.see(self._low, self.off and low, tick)

    def look_again(self, tick: float) -> None:
        """Is there still something that says how the mains is?"""
        if not self._meters:
            for alarm in (self._lost, self._low):
                self._register.stop(alarm, tick, GONE)

    @property
    def off(self) -> bool:
        """Is it known to be off?"""
        said = self._value(MAINS)
        return said is not None and said != ON_MAINS

    @property
    def _battery_left_s(self) -> float | None:
        return self._value(BATTERY_LEFT)

    def _value(self, of: Quantity) -> float | None:
        return next((m.value for m in self._meters.values() if m.meter.quantity is of), None)

    def status(self, tick: float) -> tuple[MeterStatus, ...]:
        """Each source of the mains' state as it stands."""
        return tuple(meter_status(m, None, tick, _SILENT_S) for m in self._meters.values())

    # -- Owner

    def describe(self, alarm: Alarm, tick: float) -> Description:
        """How long the battery lasts, where it says so."""
        left = self._battery_left_s
        facts = Facts() if left is None or not self.off else Facts(battery_left_s=left)
        return Description(facts, Cause.HEAT_SOURCE)
