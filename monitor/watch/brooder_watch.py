"""One brooder as it is watched: its batch, its limits, and the alarms of its temperature.

Owned by watch.engine. Several probes make one alarm: the coldest (or hottest) one leads, and a
probe that is silent, faulty or out of service does not count while another one does. When none
counts, nothing can be judged: what is active stays active."""

import math
from collections.abc import Callable
from datetime import datetime, tzinfo

from monitor.brooding.age_limits import limits_at
from monitor.brooding.band_side import band_side
from monitor.brooding.batch import Batch
from monitor.brooding.calendar import age_days
from monitor.brooding.moving import Moving
from monitor.brooding.night_hours import NIGHT_FROM_H, NIGHT_TO_H, OUTLOOK_FROM_H
from monitor.brooding.schedules import Schedule, schedule_for
from monitor.events import AlarmName, Cause, Facts, Measured, Moment, Priority
from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Brooder, Limits, Place
from monitor.thermal.diagnosis import (
    TELLS_NOTHING,
    Interval,
    Outlook,
    Warmth,
)
from monitor.thermal.estimate import Estimate, Forecast, Wish
from monitor.thermal.tonight import BY_DAY_CHANCE, BY_FLOOR_CHANCE, CLEAR_CHANCE, WARN_CHANCE
from monitor.thermal.witness import cover_or_heat
from monitor.watch import night
from monitor.watch.alarm import Alarm, Description
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.box_facts import (
    cause_of,
    lead_probe,
    outlook_facts,
    source_facts,
    temperature_facts,
)
from monitor.watch.box_meters import BoxMeters
from monitor.watch.empty_box import EmptyBox
from monitor.watch.heat_in import HeatIn, heat_in
from monitor.watch.heat_seen import FloorWarmth
from monitor.watch.life_cycle import AlarmState
from monitor.watch.night import NightFigures
from monitor.watch.probe_faults import ProbeFaults
from monitor.watch.probe_watch import ProbeWatch
from monitor.watch.suppression import suppressed_until

# No cold night is told of a box that is heard for less: what it holds is then hardly more than its
# measures, and it may still be warming up. Common practice.
KNOWN_S = 3600.0


# Heat is not lost where the floor has been at its target for so long. Common practice.
MENDED_S = 600.0

_MOST_HOURS = 1000  # edges of the band kept: quarter hours asked for of late

# A floor above its band by more than a DS18B20's error (+/-0.5 K, datasheet) for an hour is told as
# a warning; less can wait for the morning. Common practice.
WARM_LONG_S, PROBE_ERROR_K = 3600.0, 0.5


@part
class BrooderWatch(Kept):
    """Mutable state of one brooder."""

    meters: BoxMeters
    night: NightFigures
    estimate: Estimate
    empty: EmptyBox  # while there is no batch
    woke: Tick = NEVER  # when somebody watched again
    out_of_service: bool = False
    clock_sure: bool = True
    age_days: float | None = None
    target_c: float | None = None  # of the floor
    low_c: float | None = None
    high_c: float | None = None
    chill_c: float | None = None
    overheat_c: float
    outlook: Outlook | None = None
    outlook_at: float | None = None
    moving: Moving | None = None  # when may the birds move out? Looked at with the advice
    known_since: Tick | None = None  # when the floor was first found heard
    warm_since: Tick | None = None  # since when all of the floor is at its target
    mended: bool = False  # and for so long that no heat is missing, whatever was thought

    def __init__(
        self,
        *,
        brooder: Brooder,
        zone: tzinfo,
        probes: list[ProbeWatch],
        register: AlarmRegister,
        faults: ProbeFaults,
        estimate: Estimate,
    ) -> None:
        self.brooder = brooder
        self.name = brooder.name
        self.zone = zone
        self.probes = probes
        self.inside = [p for p in probes if p.place is not Place.OUTSIDE]
        self.floor = [p for p in probes if p.place is Place.FLOOR]
        self._outside = [p for p in probes if p.outside]
        self.register = register
        self.estimate = estimate
        self.faults = faults
        self.meters = BoxMeters(brooder, register)
        self.night = NightFigures()
        self._low_c_at: dict[float, float | None] = {}
        self.batch: Batch | None = None
        self.schedule: Schedule | None = None
        self.empty = EmptyBox(brooder)
        self.overheat_c = brooder.limits.fire_c

        def open_(name: AlarmName) -> Alarm:
            return register.open(name, brooder.name, self, limits=brooder.limits)

        self.chill, self.cold = open_(AlarmName.CHILL), open_(AlarmName.COLD)
        self.overheat, self.hot = open_(AlarmName.OVERHEAT), open_(AlarmName.HOT)
        self.heat_loss, self.cold_night = open_(AlarmName.HEAT_LOSS), open_(AlarmName.COLD_NIGHT)
        self._alarms = (
            *(self.chill, self.cold, self.overheat, self.hot),
            *(self.heat_loss, self.cold_night),
        )

    # -- limits

    def begin_batch(self, batch: Batch | None, tick: float) -> None:
        """The ledger says what is in the box now."""
        if batch is not None and self.batch is None and not self.out_of_service:
            self.night.birds_since(batch.started_at - self.register.offset_s)
            for probe in self.probes:
                probe.begin_night()  # how cold it was before them is no figure of their night
        old, self.batch = self.batch, batch
        self.empty.forget()
        self.take_schedule()
        if old is None or batch is None or old.number != batch.number:
            self.target_c = None  # other birds: take theirs even while the clock is in doubt
        self.refresh(tick)

    def take_schedule(self) -> None:
        """The schedule of the birds in the box."""
        batch = self.batch
        self.schedule = None if batch is None else schedule_for(self.brooder, batch.kind)
        self._low_c_at.clear()

    def age_days_at(self, at: float) -> float:
        """Age of the birds at a wall time; a stale clock does not make them unborn."""
        batch = self.batch
        if batch is None:
            return 0.0
        return age_days(batch.hatched, max(at, batch.started_at), self.zone)

    def believes(self, at: float) -> bool:
        """Can the birds' age be told from this wall time? Not where the service doubts the clock,
        nor where it shows a time before they were placed."""
        return self.clock_sure and (self.batch is None or at >= self.batch.started_at)

    def refresh(self, tick: float) -> None:
        """Set the limits for the age the birds have now, and judge by them."""
        batch, schedule = self.batch, self.schedule
        if batch is None or schedule is None:
            self.age_days = self.target_c = self.low_c = self.high_c = self.chill_c = None
            self.overheat_c = self.brooder.limits.fire_c
            for alarm in self._alarms:
                if alarm.rule.needs_batch:
                    self.register.stop(alarm, tick, "no batch in the brooder")
        elif self.believes(at := self.register.wall_at(tick)) or self.target_c is None:
            self.age_days = self.age_days_at(at)
            (
                self.target_c,
                self.low_c,
                self.high_c,
                self.chill_c,
                self.overheat_c,
            ) = self._limits(schedule, self.age_days, Place.FLOOR)
        self.estimate.birds(self.batch, self.age_days, self.target_c)
        self.limit_probes()
        self.evaluate(tick)

    def _limits(
        self, schedule: Schedule, age: float, place: Place
    ) -> tuple[float | None, float | None, float | None, float | None, float]:
        """Target, low, high, chill and overheat at a place."""
        limits = self.brooder.limits
        at_age = limits_at(schedule, age, self.brooder.steps, place, limits)
        if at_age is None:
            return None, None, None, None, limits.fire_c
        return (
            at_age.target_c,
            at_age.low_c,
            at_age.high_c,
            at_age.chill_c,
            at_age.overheat_c,
        )

    def low_at(self, at: float) -> float:
        """The lower edge of the floor's band at a coming time; of an empty box for chicks as they
        come."""
        if self.batch is None:
            limits = self.empty.limits
            return 0.0 if limits is None else limits.low_c
        if at not in self._low_c_at:  # each night's hours are asked for every quarter of an hour
            if len(self._low_c_at) > _MOST_HOURS:
                self._low_c_at.clear()
            later = None
            if self.schedule is not None:
                later = self._limits(self.schedule, self.age_days_at(at), Place.FLOOR)[1]
            self._low_c_at[at] = later
        later = self._low_c_at[at]
        return (self.low_c or 0.0) if later is None else later

    # -- what is measured beside temperature

    def take_measured(self, said: Measured, tick: float, *, mains_off: bool) -> None:
        """A word of a plug, a cover's switch, a sensor of humidity."""
        out, loss = set(self.meters.sources_out), self.heat_loss
        news = self.meters.take(said, tick, self._floor_now(), mains_off=mains_off)
        self._know_heat(tick, mains_off=mains_off)
        if news:
            self.review_meters(tick)
            was_active = loss.active
            self.evaluate(tick)
            if was_active and set(self.meters.sources_out) - out:  # another one too
                if loss.state is AlarmState.ACKNOWLEDGED:
                    self.register.renew(loss, tick)
                self.register.explain(loss, tick)

    def mains_switched(self, tick: float, *, off: bool) -> None:
        """All heat went off at once, or is back. That itself is told by `watch.mains`."""
        self._know_heat(tick, mains_off=off)

    def review_meters(self, tick: float) -> None:
        """Who is silent, what is open for too long?"""
        age = None if self.batch is None or self.out_of_service else self.age_days
        heard = [p.tick for p in self.probes if p.known]
        out = self.meters.sources_out
        self.meters.review(tick, self._floor_now(), heard, age_days=age)
        if self.meters.sources_out != out:
            self.evaluate(tick)

    def heat_in(self, tick: float) -> HeatIn | None:
        """The heat that goes in, where every source has a plug that measures it."""
        plugs = self.meters.plugs(tick)
        floor = self._floor_now().coldest_c
        if plugs is None or self.batch is None:
            return None
        return heat_in(
            plugs,
            floor_c=floor,
            w_per_k=self.estimate.w_per_k,
            bird_watts=self.estimate.bird_watts,
        )

    def _know_heat(self, tick: float, *, mains_off: bool) -> None:
        if self.estimate.heat_is(tick, self.meters.known(tick, mains_off=mains_off)):
            self.diagnosed(tick)

    def _floor_now(self) -> FloorWarmth:
        temps = [p.temp_c for p in self.on_floor() if p.temp_c is not None]
        return FloorWarmth(min(temps, default=None), self.target_c, self.high_c)

    def unwatched(self, left: float, back: float) -> None:
        """Nobody watched between these ticks; what the probes said before is not what is."""
        self.woke = back
        if self.night.side != night.IDLE:
            self.night.see(night.UNSEEN, max(left, self.night.since))
        for probe in self.probes:
            probe.stir()

    @property
    def unseen(self) -> bool:
        """Nothing is known of the floor; the next reading may change that."""
        return self.night.side == night.UNSEEN

    def limit_probes(self) -> None:
        """Give every probe the limits of its place."""
        limits: Limits = self.brooder.limits
        for probe in self.inside:
            target = low = high = chill = None
            overheat = limits.fire_c
            if self.schedule is not None and self.age_days is not None:
                target, low, high, chill, overheat = self._limits(
                    self.schedule, self.age_days, probe.place
                )
            probe.limit(
                target_c=target,
                low_c=low,
                high_c=high,
                chill_c=chill,
                overheat_c=overheat,
                dead_band_c=limits.dead_band_c,
                fire_c=limits.fire_c,
            )

    def out_of_use(self, out: bool) -> None:
        """Out of service, or in service again."""
        self.out_of_service = out
        for probe in self.probes:
            probe.box_out = out

    # -- judging

    def on_floor(self) -> list[ProbeWatch]:
        """The probes that a cold floor is told by: all that are heard and have a target. No finding
        and no doubt of one silences it: who is thought to err is told as that, beside it."""
        return [p for p in self.usable() if p.target_c is not None]

    def trusted(self) -> list[ProbeWatch]:
        """The probes that nothing was found of; all where none of them lies on the floor: a finding
        never leaves it unwatched."""
        usable = self.usable()
        trusted = [p for p in usable if p.finding is None]
        return trusted if any(p.place is Place.FLOOR for p in trusted) else usable

    def counting(self) -> list[ProbeWatch]:
        """The probes that are believed now."""
        trusted = self.trusted()
        return [p for p in trusted if not p.doubted] or trusted

    def usable(self) -> list[ProbeWatch]:
        """The probes that say something a floor can be; doubted ones too."""
        return [
            p
            for p in self.inside
            if p.known and not p.out_of_service and not p.silent and not self.faults.misleads(p)
        ]

    @property
    def has_own_outside(self) -> bool:
        """Has its own outside probe spoken? Then the site's, which hangs elsewhere, says nothing of
        this box any more; not even when the own one falls silent, for a sudden other outside would
        look like lost heat."""
        return any(p.known and not p.out_of_service for p in self._outside)

    @property
    def blind(self) -> bool:
        """Nothing tells how the floor is: each of its probes is silent or stuck."""
        inside = [p for p in self.inside if not p.out_of_service]
        floor = [p for p in inside if p.place is Place.FLOOR]
        watched = floor or inside
        return bool(watched) and all(p.mute for p in watched)

    def evaluate(self, tick: float) -> None:
        """Feed the alarms with what the probes say now."""
        self._see_doubts()
        for probe in self.inside:
            probe.was_beyond = probe.beyond()
        if self.out_of_service:
            self.night.see(night.IDLE, tick)
            return
        counting = self.counting()
        self._see_heat(counting, tick)
        if self.batch is None or self.target_c is None:
            self.night.see(night.IDLE, tick)
        else:
            self._see_band([p for p in self.trusted() if p.target_c is not None], tick)
        self.keep_extremes()

    def _explain(self, tick: float) -> None:
        """A better diagnosis reaches the phone. Looked for with each outlook, and at once when heat
        is found to be lost; not at each evaluation: when those come, a restart may change."""
        if self.batch is None or self.target_c is None or self.out_of_service:
            return
        below = any(p.cold.beyond for p in self.on_floor())  # else it is over as soon as believed
        for alarm in (self.chill, self.heat_loss, self.cold):
            told = alarm.active and (below or alarm is self.heat_loss)
            if told and cause_of(self, alarm) is not alarm.cause:
                self.register.explain(alarm, tick)

    def _see_heat(self, counting: list[ProbeWatch], tick: float) -> None:
        """Fire needs no birds and no floor probe; a lamp that slips needs the thermal side."""
        rising = self.batch is not None and self.estimate.diagnosis.cause is Cause.OVERHEAT
        usable = self.usable()
        if not counting and not any(p.burning for p in usable):
            self.register.hold(self.overheat)
            return
        over = rising or any(p.too_hot for p in counting) or any(p.burning for p in usable)
        self._see(self.overheat, over, tick, at_once=rising)

    def _see(self, alarm: Alarm, holds: bool, tick: float, *, at_once: bool = False) -> None:
        """An alarm may begin with whatever is said; it does not end by the word of stuck probes."""
        if not holds and self.blind:
            self.register.hold(alarm)
        else:
            self.register.see(alarm, holds, tick, at_once=at_once)

    def _see_band(self, judged: list[ProbeWatch], tick: float) -> None:
        """The probes that have a target, against it: cold by all of them, hot by those believed.
        Without any nothing is known of the band: what is active stays active, though a probe under
        the lamp may be well. That heat is lost may show there all the same."""
        floor = self.on_floor()
        cold = any(p.cold.beyond for p in floor)
        # A floor still below its band is no sign that the heat is back.
        lost = self.estimate.diagnosis.heat_lost
        lost = lost or (self.heat_loss.delay.active and (cold or not floor))
        out = bool(self.meters.sources_out)
        mended = (lost or out) and self._is_mended(floor, tick)
        if out and mended and self.heat_loss.state is AlarmState.ACKNOWLEDGED:
            self.meters.answered_while_warm()
            out = False
        # What its own plug says is out needs no fall, and a warm floor is no sign that it is back.
        self._see(self.heat_loss, out or (lost and not mended), tick)
        if not floor:
            for alarm in (self.chill, self.cold, self.hot):
                self.register.hold(alarm)
            self.night.see(night.UNSEEN, tick)
            return
        # What one probe in doubt says ends nothing: a chick sits on the cold probe.
        doubtful = any(p.doubted for p in floor)
        for alarm, holds in ((self.chill, any(p.chill.beyond for p in floor)), (self.cold, cold)):
            if doubtful and alarm.active and not holds:
                self.register.hold(alarm)
            else:
                self._see(alarm, holds, tick)
        self._see_hot(judged, tick)
        if self.blind or all(p.tick < self.woke for p in floor):
            self.night.see(night.UNSEEN, tick)
            return
        below, above = band_side(
            min((p.temp_c for p in floor if p.temp_c is not None), default=math.nan),
            max((p.temp_c for p in judged if p.temp_c is not None), default=math.nan),
            floor[0].cold.limit_c,
            floor[0].hot.limit_c,
        )
        self.night.see(night.BELOW if below else night.ABOVE if above else night.IN, tick)

    def _see_hot(self, judged: list[ProbeWatch], tick: float) -> None:
        """Above the band, or headed there; a floor that may still be as warm as before its step is
        headed nowhere."""
        beyond = any(p.hot.beyond for p in judged)
        edge_k = (self.high_c or 0.0) - (self.target_c or 0.0)
        soon = self.estimate.diagnosis.warmth is Warmth.SOON
        soon = soon and edge_k <= self.brooder.limits.band_c + 0.05
        self._see(self.hot, beyond or soon, tick, at_once=soon)

    def _warmth_matters(self, tick: float) -> bool:
        """Whether a floor above its band is worth a call before the morning: not while the estimate
        says that it can wait, but once it is above by more than a thermometer's error for an hour,
        whatever that says."""
        if self.estimate.diagnosis.warmth is not Warmth.CAN_WAIT:
            return True
        began = self.hot.delay.began
        if began is None or tick - began < WARM_LONG_S:
            return False
        hot = [p for p in self.trusted() if p.hot.beyond]
        return any(p.lately_mean_c(tick) > p.hot.limit_c + PROBE_ERROR_K for p in hot)

    def _is_mended(self, floor: list[ProbeWatch], tick: float) -> bool:
        """It ends when it is over: no heat is missing where the whole floor has been at its target
        for ten minutes since that was told, until it is below it again."""
        if not floor or any((p.temp_c or 0.0) < (p.target_c or 0.0) for p in floor):
            self.warm_since, self.mended = None, False
            return False
        if self.warm_since is None:
            self.warm_since = tick
        loss = self.heat_loss
        if loss.active and tick - max(self.warm_since, loss.raised_tick) >= MENDED_S:
            self.mended = True
        return self.mended

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
        if self.hot.active and self.hot.priority is Priority.ADVICE and self._warmth_matters(tick):
            self.register.renew(self.hot, tick)
        for alarm in (self.overheat, self.chill, self.cold, self.hot):
            self.register.ask_again(alarm, tick)
        self.keep_extremes()

    def keep_extremes(self) -> None:
        """The lowest and highest while an alarm is on or pending."""
        for alarm in (self.chill, self.cold, self.heat_loss):
            if alarm.watched:
                _keep_extreme(alarm, self.on_floor(), min)
        if self.hot.watched or self.overheat.watched:
            judged = [p for p in self.trusted() if p.target_c is not None]
            _keep_extreme(self.hot, judged, max)
            # A sheath beneath a lamp is no floor, but what fell on it burns.
            _keep_extreme(self.overheat, judged + [p for p in self.usable() if p.too_hot], max)

    # -- the thermal side

    def see_stuck(self) -> bool:
        """Take over which probes tell nothing of the floor; True: others than before."""
        found = {f.probe: f for f in self.estimate.diagnosis.findings if f.kind in TELLS_NOTHING}
        changed = False
        for probe in self.inside:
            finding = found.get(probe.key)
            changed = changed or (finding is None) != (probe.stuck_since is None)
            probe.stuck_since = None if finding is None else finding.since
            if finding is not None:
                probe.found = finding.kind
        return changed

    def diagnosed(self, tick: float) -> None:
        """The diagnosis has changed."""
        diagnosis = self.estimate.diagnosis
        found = {finding.probe: finding for finding in diagnosis.findings}
        for probe in self.inside:
            finding = found.get(probe.key)
            reason = None if finding is None else finding.reason
            probe.found = None if finding is None else finding.kind
            if reason != probe.finding:
                probe.finding = reason
                self.faults.see(probe, tick, at_once=reason is not None)
            probe.stir()
        self.evaluate(tick)
        if diagnosis.cause in (Cause.HEAT_SOURCE, Cause.COVER_OPEN):
            self._explain(tick)

    def _see_doubts(self) -> None:
        doubts = self.estimate.diagnosis.doubted
        for probe in self.inside:
            probe.doubted = probe.key in doubts

    def rate_c_per_h(self, tick: float) -> float | None:
        """How fast the floor falls or rises: the estimate's figure, else the lead probe's slope."""
        rate = self.estimate.diagnosis.rate_k_per_h
        if rate:
            return rate
        lead = lead_probe(self)
        return None if lead is None else lead.trend_c_per_h(tick)

    def minutes_to_chill(self, tick: float) -> Interval | None:
        """Minutes to the configured chill limit; None: not on its way there, or there already."""
        lead = lead_probe(self, AlarmName.COLD)
        if self.chill_c is None or lead is None or (lead.temp_c or 0.0) <= self.chill_c:
            return None
        return self.estimate.minutes_to(self.chill_c, tick)

    def look_ahead(self, tick: float, forecast: Forecast | None) -> None:
        """From the afternoon to the morning: will the floor hold tonight?"""
        at = self.register.wall_at(tick)
        hour = datetime.fromtimestamp(at, self.zone).hour
        now = Moment(at, tick)
        self.estimate.foretold(now, forecast)
        if self.batch is None:
            self._look_at_empty(now, forecast)
        if self.known_since is None and any(p.known for p in self.floor):
            self.known_since = tick
        if self.batch is None or self.low_c is None or self.out_of_service:
            self.outlook = self.outlook_at = None
        elif NIGHT_TO_H <= hour < OUTLOOK_FROM_H:
            self.outlook = self.outlook_at = None
            self.register.stop(self.cold_night, tick, "the night is over")
        else:
            self.outlook = self.estimate.tonight(
                now, low_at=self.low_at, forecast=forecast, wish=Wish()
            )
            self.outlook_at = at
            if self.outlook is not None:
                expected = self.cold_night.delay.condition
                by_day = NIGHT_TO_H <= hour <= NIGHT_FROM_H  # until that hour is over
                not_told = BY_FLOOR_CHANCE if self.outlook.by_floor else WARN_CHANCE
                not_told = BY_DAY_CHANCE if by_day else not_told
                enough = CLEAR_CHANCE if expected else not_told
                known = self.known_since is not None and tick - self.known_since >= KNOWN_S
                if expected or known:
                    self.register.see(self.cold_night, self.outlook.chance >= enough, tick)
        self._explain(tick)

    def _look_at_empty(self, now: Moment, forecast: Forecast | None) -> None:
        floor = [p for p in self.usable() if p.place is Place.FLOOR]
        floor_c = [p.temp_c for p in floor if p.temp_c is not None]
        if not self.empty.waits or self.out_of_service or not floor_c or not self.empty.limits:
            self.empty.forget()
            return
        outlook = self.estimate.tonight(now, low_at=self.low_at, forecast=forecast, wish=Wish())
        self.empty.see(floor_c, now.tick, outlook)

    # -- Owner

    def suppressed_until(self, alarm: Alarm, tick: float) -> float | None:
        """A grower at work in the box, or a single reading, holds an alarm back for a while."""
        return suppressed_until(self, alarm, tick)

    def describe(self, alarm: Alarm, tick: float) -> Description:
        """The numbers at the moment it is raised."""
        facts = temperature_facts(self, alarm, tick)
        cause = cause_of(self, alarm)
        if alarm is self.cold_night:
            if self.outlook is not None:
                outlook_facts(self.outlook, facts)
            return Description(facts, cause)
        if cause is Cause.HEAT_SOURCE:
            source_facts(self, alarm, facts)
            self.meters.source_facts(facts)
        heard = [p.place for p in self.usable()]
        if cause in (Cause.HEAT_SOURCE, Cause.COVER_OPEN) and cover_or_heat(self.brooder, heard):
            facts["either"] = True
        lead = lead_probe(self, alarm.rule.alarm)
        waits = alarm is self.hot and not self._warmth_matters(tick)
        return Description(
            facts, cause, None if lead is None else lead.key, Priority.ADVICE if waits else None
        )

    def closing(self, alarm: Alarm, tick: float) -> Facts:
        """The numbers at the moment it is cleared."""
        return temperature_facts(self, alarm, tick)

    def _take_over(self, before: "BrooderWatch") -> None:
        """The batch is the ledger's, and is known already."""
        self.estimate.birds(self.batch, before.age_days, before.target_c)
        super()._take_over(before)

    def resume(self) -> None:
        self.out_of_use(self.out_of_service)
        if self.batch is None:
            self.moving = None
        self.limit_probes()


def _keep_extreme(
    alarm: Alarm, probes: list[ProbeWatch], furthest: Callable[[list[float]], float]
) -> None:
    temps = [p.temp_c for p in probes if p.temp_c is not None]
    if alarm.watched and temps:
        known = [] if alarm.extreme_c is None else [alarm.extreme_c]
        alarm.extreme_c = furthest(temps + known)
