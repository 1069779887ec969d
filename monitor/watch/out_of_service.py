"""Probes and brooders that are not in use: what out-of-service and in-service entries do.

Called by watch.engine. What is out of service is followed but raises nothing and is not missed."""

from monitor.events import AlarmName, Entry
from monitor.watch.alarm import Alarm
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.brooder_watch import BrooderWatch
from monitor.watch.probe_faults import ProbeFaults
from monitor.watch.probe_watch import ProbeWatch
from monitor.watch.silence import Silence


class OutOfService:
    """Takes out of service and puts back."""

    def __init__(
        self,
        boxes: dict[str, BrooderWatch],
        probes: dict[str, ProbeWatch],
        register: AlarmRegister,
        silence: Silence,
        faults: ProbeFaults,
    ) -> None:
        self._boxes = boxes
        self._probes = probes
        self._register = register
        self._silence = silence
        self._faults = faults

    def take_out(self, entry: Entry, tick: float) -> None:
        """A probe, or a whole brooder, is not in use from now on."""
        reason = entry.note or "out of service"
        box = self._boxes.get(entry.brooder or "") if entry.probe is None else None
        if box is not None:
            box.probes.out_of_use(True)
            for alarm in self._register.alarms.values():
                if alarm.brooder == box.name and alarm.rule.alarm is not AlarmName.UNWATCHED:
                    self._register.take_out(alarm, tick, reason)
            box.temperature.evaluate(tick)
        probe = self._probes.get(entry.probe or "")
        if probe is not None:
            probe.out_of_service = True
            probe.stir()
            around = self._around(probe)
            if around is not None:
                around.estimate.leave_out(probe.key)
            self._register.take_out(self._silence.alarm(probe), tick, reason)
            self._register.take_out(self._faults.alarm(probe), tick, reason)
            self._silence.wait(probe)
            if around is not None:
                around.temperature.evaluate(tick)
        self._silence.judge(tick)

    def put_back(self, entry: Entry, tick: float) -> None:
        """In use again, and judged from now on."""
        box = self._boxes.get(entry.brooder or "") if entry.probe is None else None
        if box is not None and box.probes.out_of_service:
            box.probes.out_of_use(False)
            for alarm in self._register.alarms.values():
                if alarm.brooder == box.name and not self._probe_is_out(alarm):
                    self._register.put_back(alarm)
            for each in box.probes:
                self._start_over(each, tick)
            box.refresh(tick)
        probe = self._probes.get(entry.probe or "")
        if probe is not None and probe.out_of_service:
            probe.out_of_service = False
            # As last found; it may be another one now.
            probe.found = probe.finding = probe.stuck_since = None
            if probe.in_service:
                self._register.put_back(self._silence.alarm(probe))
                self._register.put_back(self._faults.alarm(probe))
            self._start_over(probe, tick)
            around = self._around(probe)
            if around is not None:
                around.temperature.evaluate(tick)
        self._silence.judge(tick)

    def _around(self, probe: ProbeWatch) -> BrooderWatch | None:
        return self._boxes.get(probe.probe.brooder or "")

    def _start_over(self, probe: ProbeWatch, tick: float) -> None:
        """It is waited for from now on, and a fault that it still has is told anew."""
        if not probe.out_of_service:
            probe.silent = False
            probe.heard = tick
            probe.stir()
            self._silence.wait(probe)
            self._faults.see(probe, tick, at_once=probe.finding is not None)

    def _probe_is_out(self, alarm: Alarm) -> bool:
        return any(
            p.out_of_service and alarm in (self._silence.alarm(p), self._faults.alarm(p))
            for p in self._probes.values()
        )
