"""The alarms of a box's temperature: who decides that it is too cold or too hot, that its heat is
lost, and when that is over. Held by watch.brooder_watch.

What they say is in `box_facts`; what holds them back, and for how long, in `suppression`."""

import math
from collections.abc import Callable

from monitor.brooding.age_limits import band_side
from monitor.events import AlarmName, Cause, Facts, Priority
from monitor.kept import Kept, Tick, part
from monitor.thermal.diagnosis import Diagnosis, Warmth
from monitor.thermal.estimate import Estimate
from monitor.watch import night, suppression
from monitor.watch.alarm import Alarm, Description, Owner
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.box_facts import cause_of, describe, temperature_facts
from monitor.watch.box_meters import BoxMeters
from monitor.watch.box_needs import BoxNeeds
from monitor.watch.box_probes import BoxProbes, Counted, believed, trusted_of, with_target
from monitor.watch.cold_night_watch import ColdNightWatch
from monitor.watch.life_cycle import AlarmState
from monitor.watch.night import NightFigures
from monitor.watch.probe_watch import ProbeWatch

# Heat is not lost where the floor has been at its target for so long. Common practice.
MENDED_S = 600.0

# A floor that is above its band for so long, by more than its probe may err, is told as a warning;
# less can wait for the morning. Common practice.
WARM_LONG_S = 3600.0


@part
class TemperatureAlarms(Kept, Owner):
    """Raises and ends the alarms of one box's floor."""

    _warm_since: Tick | None = None  # since when all of the floor is at its target
    _mended: bool = False  # and for so long that no heat is missing, whatever was thought

    def __init__(
        self,
        register: AlarmRegister,
        estimate: Estimate,
        needs: BoxNeeds,
        probes: BoxProbes,
        *,
        meters: BoxMeters,
        tonight: ColdNightWatch,
        night_figures: NightFigures,
    ) -> None:
        self.register, self.estimate = register, estimate
        self.needs, self.probes, self.meters = needs, probes, meters
        self.tonight, self._night = tonight, night_figures
        brooder = needs.brooder

        def open_(name: AlarmName) -> Alarm:
            return register.open(name, brooder.name, self, limits=brooder.limits)

        self.chill, self.cold = open_(AlarmName.CHILL), open_(AlarmName.COLD)
        self.overheat, self.hot = open_(AlarmName.OVERHEAT), open_(AlarmName.HOT)
        self.heat_loss, self.cold_night = open_(AlarmName.HEAT_LOSS), open_(AlarmName.COLD_NIGHT)

    def stop(self, tick: float, reason: str) -> None:
        """There are no birds to judge by: fire is watched for all the same."""
        every = (self.chill, self.cold, self.overheat, self.hot, self.heat_loss, self.cold_night)
        for alarm in every:
            if alarm.rule.needs_batch:
                self.register.stop(alarm, tick, reason)

    # -- judging

    def evaluate(self, tick: float) -> None:
        """Feed the alarms with what the probes say now."""
        diagnosis = self.estimate.diagnosis
        self.probes.see_doubts(diagnosis)
        for probe in self.probes.inside:
            probe.was_beyond = probe.beyond()
        if self.probes.out_of_service:
            self._night.see(night.IDLE, tick)
            return
        counted, blind = self.probes.counted(), self.probes.blind
        self._see_heat(counted, diagnosis, tick, blind=blind)
        if self.needs.batch is None or self.needs.target_c is None:
            self._night.see(night.IDLE, tick)
        else:
            self._see_band(counted, diagnosis, tick, blind=blind)
        self._keep_extremes(counted.usable)

    def _see(
        self,
        alarm: Alarm,
        condition: bool,
        tick: float,
        *,
        blind: bool,
        at_once: bool = False,
        doubtful: bool = False,
    ) -> None:
        """An alarm may begin with whatever is said; it does not end by the word of stuck probes
        (`blind`), nor by what is `doubtful`."""
        if not condition and (blind or (doubtful and alarm.active)):
            self.register.hold(alarm)
        else:
            self.register.see(alarm, condition, tick, at_once=at_once)

    def _see_heat(
        self, counted: Counted, diagnosis: Diagnosis, tick: float, *, blind: bool
    ) -> None:
        """Fire needs no birds and no floor probe; a lamp that slips needs the thermal side."""
        rising = self.needs.batch is not None and diagnosis.cause is Cause.OVERHEAT
        if not counted.usable:
            self.register.hold(self.overheat)
            return
        over = (
            rising
            or any(p.too_hot for p in believed(counted.trusted))
            or any(p.burning for p in counted.usable)
        )
        leapt = _leapt(counted.on_floor)
        self._see(self.overheat, over, tick, blind=blind, at_once=rising, doubtful=leapt)

    def _see_band(
        self, counted: Counted, diagnosis: Diagnosis, tick: float, *, blind: bool
    ) -> None:
        """The probes that have a target, against it: cold by all of them, hot by those believed.
        Without any nothing is known of the band: what is active stays active, though a probe under
        the lamp may be well. That heat is lost may show there all the same."""
        floor, judged = counted.on_floor, counted.judged
        cold = any(p.cold.beyond for p in floor)
        # A floor still below its band is no sign that the heat is back.
        lost = diagnosis.heat_lost or (self.heat_loss.delay.active and (cold or not floor))
        out = bool(self.meters.sources_out)
        mended = (lost or out) and self._is_mended(floor, tick)
        if out and mended and self.heat_loss.state is AlarmState.ACKNOWLEDGED:
            self.meters.answered_while_warm()
            out = False
        # What its own plug says is out needs no fall, and a warm floor is no sign that it is back.
        self._see(self.heat_loss, out or (lost and not mended), tick, blind=blind)
        if not floor:
            for alarm in (self.chill, self.cold, self.hot):
                self.register.hold(alarm)
            self._night.see(night.UNSEEN, tick)
            return
        # What one probe in doubt says ends nothing: a chick sits on the cold probe.
        doubtful = any(p.doubted for p in floor)
        chilled = any(p.chill.beyond for p in floor)
        self._see(self.chill, chilled, tick, blind=blind, doubtful=doubtful)
        self._see(self.cold, cold, tick, blind=blind, doubtful=doubtful)
        soon = diagnosis.warmth is Warmth.SOON  # headed above the band
        hot = soon or any(p.hot.beyond for p in judged)
        self._see(self.hot, hot, tick, blind=blind, at_once=soon, doubtful=_leapt(floor))
        if blind or all(p.tick < self.probes.woke for p in floor):
            self._night.see(night.UNSEEN, tick)
            return
        if any(p.wild.count for p in floor):  # a wild reading is no minute of it
            return
        below, above = band_side(
            min((p.temp_c for p in floor if p.temp_c is not None), default=math.nan),
            max((p.temp_c for p in judged if p.temp_c is not None), default=math.nan),
            floor[0].cold.limit_c,
            floor[0].hot.limit_c,
        )
        borne_out = [s for p in floor if (s := p.wild.since) is not None and p.tick == tick]
        since = max(min(borne_out, default=tick), self._night.since)
        self._night.see(night.BELOW if below else night.ABOVE if above else night.IN, since)

    def _warmth_matters(self) -> bool:
        """Whether a floor above its band is worth a call before the morning: not while the estimate
        says that it can wait, but once it is above by more than a thermometer's error for an hour,
        whatever that says."""
        if self.estimate.diagnosis.warmth is not Warmth.CAN_WAIT:
            return True
        return any(p.warm_s >= WARM_LONG_S for p in self.probes.trusted() if p.hot.beyond)

    def _burns_now(self) -> bool:
        """What was told as too hot means fire now, and that asks for another act."""
        told_c = self.overheat.facts.get("temp_c", 0.0)
        burning = [p for p in self.probes.usable() if p.burning and not p.leapt]
        return any(told_c <= p.fire_c for p in burning)

    def _is_mended(self, floor: list[ProbeWatch], tick: float) -> bool:
        """It ends when it is over: no heat is missing where the whole floor has been at its target
        for ten minutes since that was told, until it is below it again."""
        if not floor or any((p.temp_c or 0.0) < (p.target_c or 0.0) for p in floor):
            self._warm_since, self._mended = None, False
            return False
        if self._warm_since is None:
            self._warm_since = tick
        loss = self.heat_loss
        if loss.active and tick - max(self._warm_since, loss.raised_tick) >= MENDED_S:
            self._mended = True
        return self._mended

    # -- while something is on

    def close_watch(self) -> bool:
        """Something is on or pending: extremes are kept."""
        return (
            self.cold.watched
            or self.hot.watched
            or self.chill.watched
            or self.overheat.watched
            or self.heat_loss.watched
        )

    def look_again(self, tick: float) -> None:
        """A reading while something is on or pending. What holds an alarm back rests on how cold
        or hot it is, and on how often that was said: asked at every reading."""
        if self.heat_loss.active:
            self.evaluate(tick)
        if self.hot.active and self.hot.priority is Priority.ADVICE and self._warmth_matters():
            self.register.renew(self.hot, tick)
        if self.overheat.active and self._burns_now():
            self.register.renew(self.overheat, tick)
        for alarm in (self.overheat, self.chill, self.cold, self.hot):
            self.register.ask_again(alarm, tick)
        self._keep_extremes(self.probes.usable())

    def _keep_extremes(self, usable: list[ProbeWatch]) -> None:
        """The lowest and highest while an alarm is on or pending."""
        cold = [alarm for alarm in (self.chill, self.cold, self.heat_loss) if alarm.watched]
        if cold:
            floor = with_target(usable)
            for alarm in cold:
                _keep_extreme(alarm, floor, min)
        if self.hot.watched or self.overheat.watched:
            judged = with_target(trusted_of(usable))
            _keep_extreme(self.hot, judged, max)
            # A sheath beneath a lamp is no floor, but what fell on it burns.
            burning = [p for p in usable if p.too_hot]
            _keep_extreme(self.overheat, judged + burning, max)

    def explain(self, tick: float) -> None:
        """A better diagnosis reaches the phone. Looked for with each outlook, and at once when heat
        is found to be lost; not at each evaluation: when those come, a restart may change."""
        needs = self.needs
        if needs.batch is None or needs.target_c is None or self.probes.out_of_service:
            return
        # else it is over as soon as believed
        below = any(p.cold.beyond for p in self.probes.on_floor())
        for alarm in (self.chill, self.heat_loss, self.cold):
            told = alarm.active and (below or alarm is self.heat_loss)
            if told and cause_of(self, alarm) is not alarm.cause:
                self.register.explain(alarm, tick)

    # -- Owner

    def suppressed_until(self, alarm: Alarm, tick: float) -> float | None:
        """A grower at work in the box, or a single reading, holds an alarm back for a while."""
        return suppression.suppressed_until(self, alarm, tick)

    def describe(self, alarm: Alarm, tick: float) -> Description:
        """The numbers at the moment it is raised."""
        waits = alarm is self.hot and not self._warmth_matters()
        return describe(self, alarm, tick, Priority.ADVICE if waits else None)

    def ended(self, alarm: Alarm, tick: float) -> float:
        """When the floor was back in its band, as the night's figures have it: the dead band is
        there so that an alarm does not flicker, and makes no floor cold."""
        began_at, back = alarm.began_at, self._night.back
        if alarm in (self.heat_loss, self.cold_night) or self.register.wall_at(back) <= began_at:
            return tick
        return min(tick, back)

    def closing(self, alarm: Alarm, tick: float) -> Facts:
        """The numbers at the moment it is cleared."""
        return temperature_facts(self, alarm, tick)


def _keep_extreme(
    alarm: Alarm, probes: list[ProbeWatch], furthest: Callable[[list[float]], float]
) -> None:
    if not alarm.watched:
        return
    temps = [p.temp_c for p in probes if p.temp_c is not None and not p.doubted]
    if alarm.extreme_c is not None:
        temps.append(alarm.extreme_c)
    if temps:
        alarm.extreme_c = furthest(temps)


def _leapt(floor: list[ProbeWatch]) -> bool:
    """Did a hot probe's last reading lie far from the one before? Once may be an accident."""
    return any(p.leapt for p in floor)
