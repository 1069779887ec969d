"""The way of a reading through the watch: what it changes of its probe, of the estimate and of the
alarms. Held by watch.engine."""

from collections.abc import Mapping

from monitor.events import BadValue, Reading
from monitor.site import Limits
from monitor.thermal.outside_probe import OutsideProbe
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.brooder_watch import BrooderWatch
from monitor.watch.probe_faults import ProbeFaults
from monitor.watch.probe_watch import ProbeWatch, keep_extremes
from monitor.watch.silence import Silence
from monitor.watch.timers import Timers

LATE_S = 60.0  # an older word is no more how the floor is: the estimate does without


class Readings:
    """Of all probes of a site."""

    def __init__(
        self,
        probes: Mapping[str, ProbeWatch],
        outside: Mapping[str, OutsideProbe],
        boxes: Mapping[str, BrooderWatch],
        *,
        timers: Timers,
        register: AlarmRegister,
        silence: Silence,
        faults: ProbeFaults,
    ) -> None:
        self._probes, self._outside, self._boxes, self._timers = probes, outside, boxes, timers
        self._silence, self._faults, self._register = silence, faults, register
        self._box_of = {p.key: box for box in boxes.values() for p in box.probes}

    def take(self, reading: Reading) -> None:
        """One temperature. The hot path: all is well in nearly every call."""
        at, tick, key, temp_c, sure = reading
        probe, timers = self._probes.get(key), self._timers
        if probe is None:
            return
        if (
            probe.calm_low_c <= temp_c <= probe.calm_high_c
            and timers.tick <= tick < at - self._register.offset_s + LATE_S
            and at >= probe.at
            and (tick < probe.calm_until or self._stays_calm(probe, tick, temp_c))
        ):
            timers.tick = tick
            probe.at, probe.tick, probe.temp_c, probe.heard = at, tick, temp_c, tick
            self._estimate(probe, self._box_of.get(key), tick, temp_c)
        else:
            self._judge(probe, at, tick, temp_c, sure)

    def _taken(self, at: float, now: float) -> float:
        """The tick at which it was taken, as its stamp says. `now` is when it counts."""
        return min(now, at - self._register.offset_s)

    def _stays_calm(self, probe: ProbeWatch, tick: float, temp_c: float) -> bool:
        box = self._box_of.get(probe.key)
        if box is not None and (box.unseen or box.temperature.close_watch()):
            return False
        return probe.stays_calm(tick, temp_c)

    def _estimate(
        self, probe: ProbeWatch, box: BrooderWatch | None, tick: float, temp_c: float
    ) -> None:
        if probe.out_of_service or (probe.outside and not self._believes(probe, tick, temp_c)):
            return
        if box is None:
            for each in self._boxes.values():
                if not each.probes.has_own_outside:
                    each.estimate.observe_outside(tick, temp_c)
        elif probe.outside:
            box.estimate.observe_outside(tick, temp_c)
        elif box.estimate.observe(tick, probe.key, temp_c):
            # Blindness first: the stuck probe that makes a box blind is told with it.
            if box.probes.see_stuck(box.estimate.diagnosis):
                self._silence.judge(tick, box)
            box.diagnosed(tick)

    def _believes(self, probe: ProbeWatch, tick: float, temp_c: float) -> bool:
        """Is what an outside probe says the outside?"""
        outside = self._outside[probe.key]
        believed = outside.believes(tick, temp_c)
        reason = None if outside.finding is None else outside.finding.reason
        if reason != probe.finding:
            probe.finding = reason
            probe.found = None if outside.finding is None else outside.finding.kind
            self._faults.see(probe, tick, at_once=reason is not None)
        return believed

    def _judge(self, probe: ProbeWatch, at: float, tick: float, temp_c: float, sure: bool) -> None:
        """The long way: something may change."""
        now = max(tick, self._timers.tick)
        taken = self._taken(at, now)
        box = self._box_of.get(probe.key)
        limits = Limits() if box is None else box.brooder.limits
        if now - taken > LATE_S:
            probe.gaps.came(now - taken)
        if now - taken > limits.silent_s:
            # From a probe's own store, hours old: for the journal, not for the alarms.
            probe.came_late(now, taken, temp_c)
            if not probe.silent:
                self._silence.wait(probe)
            return
        older = at < probe.at if sure else taken < probe.tick
        if older and not probe.is_set_back(at, now):
            return  # an older reading than the last one disturbs nothing
        self._timers.tick = now
        back = probe.bad or probe.silent or not probe.known or probe.leapt
        probe.take(at, now, temp_c)
        if probe.bad:
            probe.bad, probe.bad_reason = False, None
            self._faults.see(probe, now)
        if probe.silent:
            self._silence.heard(probe, now)
        probe.stir()
        calm = True
        # The estimate first: it may doubt this very reading.
        if now - taken <= LATE_S:
            self._estimate(probe, box, now, temp_c)
        keep_extremes(probe)
        if box is not None and not probe.outside:
            beyond = probe.beyond()
            if back or beyond != probe.was_beyond or probe.doubted or box.unseen:
                box.temperature.evaluate(now)
            calm = not (beyond or probe.leapt)
            if box.temperature.close_watch():
                calm = False
                box.temperature.look_again(now)
        if calm:
            probe.settle()

    def spoil(self, bad: BadValue) -> None:
        """A probe said what no floor can be."""
        probe = self._probes.get(bad.probe)
        now = max(self._timers.tick, bad.tick)
        if probe is None or probe.out_of_service:
            return
        if bad.at < probe.at and self._taken(bad.at, now) < probe.tick:
            return
        self._timers.tick = now
        box = self._box_of.get(probe.key)
        often = probe.spoil(now, bad.reason)
        self._faults.see(probe, now, at_once=often)
        if probe.silent:
            self._silence.judge(now, box)
        if box is not None:
            box.temperature.evaluate(now)
