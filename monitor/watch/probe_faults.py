"""`probe-fault`: which probes are not believed. Owned by watch.engine.

Two ways to lose belief: a value no floor can be (from the intake), and a finding of the thermal
side (stuck, drifting, fallen out of the box)."""

from collections.abc import Callable, Iterable, Mapping

from monitor.events import AlarmName, Cause, Facts, Priority
from monitor.site import Limits, Place
from monitor.thermal.diagnosis import CAN_WAIT, FaultKind
from monitor.watch.alarm import Alarm, Description, Owner
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.probe_watch import ProbeWatch

# A wire that jumps for some minutes calls nobody while the floor is heard. Common practice.
LASTS_S = 900.0
_WAITS_S = 120.0  # the silence of a box is told by then: it waits a minute for that of the site

_WHERE = "Look where it lies: dry, free of litter, at the height of a chick's back."
# What to do about it, in the grower's words.
MEND: dict[FaultKind, str] = {
    FaultKind.SPIKES: "See that its wire sits tight and that its plug is dry.",
    FaultKind.TORN: "See that no other probe sends on its topic, and that its wire sits tight.",
    FaultKind.STUCK: "Unplug it for a moment. If it sticks again, put in another probe.",
    FaultKind.DRIFT: "Lay it close beside another one for ten minutes: they should agree. If not, "
    "try both in crushed ice and water: the one far from 0 °C (32 °F) is wrong.",
    FaultKind.FELL_OUT: "Put it back on the floor, at the height of a chick's back.",
    FaultKind.FELL_ALONE: _WHERE,
    FaultKind.MOVED: _WHERE,
    FaultKind.OTHER_UNIT: "Set its `unit` in the configuration (page: Set-up), and look at the "
    "floor yourself.",
    FaultKind.SWAPPED: "Change them back, or give each the other's place (page: Set-up).",
    FaultKind.WARMED: "Hang it outside in the shade, out of the rain.",
    FaultKind.UNDER_LAMP: "Move it out of the light, to where the chicks lie.",
}


class ProbeFaults(Owner):
    """One alarm for each probe."""

    def __init__(
        self,
        probes: Iterable[ProbeWatch],
        limits: Mapping[str, Limits],
        register: AlarmRegister,
        season_closed: Callable[[str | None], bool],
    ) -> None:
        """`limits` by brooder. `season_closed`: that box (None: every one) has had birds and has
        none now."""
        self._season_closed, self._limits = season_closed, limits
        self._register = register
        self._around: dict[str | None, list[ProbeWatch]] = {}  # by brooder
        self._alarms: dict[str, Alarm] = {}
        self._probe_of: dict[str, ProbeWatch] = {}
        for probe in probes:
            brooder = probe.probe.brooder
            alarm = register.open(
                AlarmName.PROBE_FAULT,
                brooder,
                self,
                limits=Limits() if brooder is None else limits[brooder],
                subject=probe.key if brooder is None else probe.probe.name,
            )
            self._alarms[probe.key] = alarm
            self._probe_of[alarm.key] = probe
            self._around.setdefault(brooder, []).append(probe)

    def alarm(self, probe: ProbeWatch) -> Alarm:
        """The probe's alarm."""
        return self._alarms[probe.key]

    def see(self, probe: ProbeWatch, tick: float, *, at_once: bool = False) -> None:
        """Is it believed now? Out of service, nobody asks."""
        if not probe.in_service:
            return
        alarm = self.alarm(probe)
        told = probe.faulty and not self._season_closed(probe.probe.brooder)
        self._register.see(alarm, told, tick, at_once=at_once)
        if told and alarm.priority is Priority.ADVICE and not self._can_wait(alarm, probe, tick):
            self._register.renew(alarm, tick)

    def probe_of(self, key: str) -> ProbeWatch | None:
        """The probe whose alarm has that key; None: it is no alarm of a probe's fault."""
        return self._probe_of.get(key)

    # -- Owner

    def describe(self, alarm: Alarm, tick: float) -> Description:
        """Which one, why, and which others of the same box are faulty too."""
        probe = self._probe_of[alarm.key]
        faulty = [p for p in self._around[probe.probe.brooder] if p.fault is not None]
        facts = Facts(reason=probe.fault or "is not believed", probes=[p.fact() for p in faulty])
        if probe.temp_c is not None:
            facts["temp_c"] = probe.temp_c
        if probe.found is not None and not probe.bad:
            facts["detail"] = MEND[probe.found]
        waits = self._can_wait(alarm, probe, tick)
        return Description(facts, Cause.SENSOR, probe.key, Priority.ADVICE if waits else None)

    def closing(self, alarm: Alarm, tick: float) -> Facts:
        """What the probe says now that it is believed again."""
        probe = self._probe_of[alarm.key]
        facts = Facts(probes=[probe.fact()])
        if probe.temp_c is not None:
            facts["temp_c"] = probe.temp_c
        return facts

    def _can_wait(self, alarm: Alarm, probe: ProbeWatch, tick: float) -> bool:
        """One that is off by a few degrees is looked after in the morning: the cold that it or
        others say is told all the same. So is one that says temperatures in between, or hangs
        outside; and one beside the floor until its fault has lasted, while the floor is heard."""
        began = alarm.delay.began
        if probe.outside or (self._is_beside(probe) and (began is None or tick - began < LASTS_S)):
            return True
        if not probe.bad or probe.finding is not None:
            return probe.found in CAN_WAIT
        return not probe.lost or self._blinds(alarm, probe, tick)

    def _blinds(self, alarm: Alarm, probe: ProbeWatch, tick: float) -> bool:
        """Is its box blind by it, or soon? That is told once, urgently: by `watch.silence`."""
        inside = [p for p in self._around[probe.probe.brooder] if p.in_service and not p.outside]
        watching = [p for p in inside if p.place is Place.FLOOR] or inside
        began, silent_s = alarm.delay.began, self._limits[probe.probe.brooder or ""].silent_s
        waits = began is None or tick - began < silent_s + _WAITS_S
        return (waits or probe.silent) and all(p.lost or p.mute for p in watching)

    def _is_beside(self, probe: ProbeWatch) -> bool:
        floor = [p for p in self._around[probe.probe.brooder] if p.place is Place.FLOOR]
        heard = any(p.known and p.in_service and not (p.mute or p.faulty) for p in floor)
        return heard and probe.place is not Place.FLOOR
