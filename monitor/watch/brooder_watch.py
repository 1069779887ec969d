"""One brooder as it is watched: its batch, its limits, and the alarms of its temperature.

Owned by watch.engine. Several probes make one alarm: the coldest (or hottest) one leads, and a
probe that is silent, faulty or out of service does not count while another one does. When none
counts, nothing can be judged: what is active stays active."""

from datetime import datetime, timedelta, tzinfo

from monitor.brooding.batch import Batch
from monitor.brooding.calendar import age_days, local_date, midnight
from monitor.brooding.schedules import Schedule, schedule_for, target_at
from monitor.site import Brooder, Place
from monitor.watch.alarms import Alarm, Book, Description
from monitor.watch.diagnosis import Diagnosis, Interval, Outlook
from monitor.watch.estimator import Estimator, Guarded
from monitor.watch.events import AlarmName, Cause, Facts, Moment, State
from monitor.watch.probe_watch import ProbeWatch
from monitor.watch.timers import Slot, Timers

REVIEW = "review"
REVIEW_S = 900.0  # divides every local midnight, so a step comes on time
# After a step the old target's upper edge counts for half a day: a step comes at midnight, and a
# grower raises the lamp in the morning. Common practice.
STEP_GRACE_DAYS = 0.5
HELD_MAX_S = 900.0  # a grower at work in the box holds an alarm back no longer than this
NIGHT_FROM_H, NIGHT_TO_H = 18, 8
OUTLOOK_FROM_H = 15  # from the afternoon on there is still time to do something about the night
COLD_NIGHT_CHANCE, COLD_NIGHT_CLEARS = 0.5, 0.2


class BrooderWatch:
    """Mutable state of one brooder."""

    def __init__(
        self,
        *,
        brooder: Brooder,
        zone: tzinfo,
        probes: list[ProbeWatch],
        book: Book,
        timers: Timers,
        estimator: Estimator,
    ) -> None:
        self.brooder = brooder
        self.name = brooder.name
        self.zone = zone
        self.inside = [p for p in probes if p.place is not Place.OUTSIDE]
        self.floor = [p for p in probes if p.place is Place.FLOOR]
        self.probes = probes
        self.book = book
        self.estimate = Guarded(estimator)
        self.batch: Batch | None = None
        self.schedule: Schedule | None = None
        self.age_days: float | None = None
        self.target_c: float | None = None  # of the floor
        self.low_c: float | None = None
        self.high_c: float | None = None
        self.chill_c: float | None = None
        self.overheat_c = brooder.limits.fire_c
        self.out_of_service = False
        self.outside_c: float | None = None
        self.outlook: Outlook | None = None
        self.outlook_at: float | None = None
        self.clock_sure = True
        self.in_band: bool | None = None
        self.side = 0  # -1 below the band, +1 above
        self.side_since = 0.0  # tick
        self.below_s = self.above_s = 0.0  # since the night began
        self.night_from_at = 0.0
        self._timers = timers

        def open_(name: AlarmName) -> Alarm:
            return book.open(name, brooder.name, self, limits=brooder.limits)

        self.chill, self.cold = open_(AlarmName.CHILL), open_(AlarmName.COLD)
        self.overheat, self.hot = open_(AlarmName.OVERHEAT), open_(AlarmName.HOT)
        self.heat_loss, self.cold_night = open_(AlarmName.HEAT_LOSS), open_(AlarmName.COLD_NIGHT)
        self.faults: dict[str, Alarm] = {}

    def open_faults(self) -> None:
        """A `probe-fault` for each probe."""
        for probe in self.probes:
            self.faults[probe.key] = self.book.open(
                AlarmName.PROBE_FAULT,
                self.name,
                self,
                limits=self.brooder.limits,
                subject=probe.probe.name,
            )

    # -- limits

    def begin_batch(self, batch: Batch | None, tick: float) -> None:
        """The ledger says what is in the box now."""
        self.batch = batch
        self.take_schedule()
        self.target_c = None  # take the new one even while the clock is in doubt
        self.refresh(tick)

    def take_schedule(self) -> None:
        """The schedule of the birds in the box."""
        batch = self.batch
        self.schedule = None if batch is None else schedule_for(self.brooder, batch.kind)

    def age_days_at(self, at: float) -> float:
        """Age of the birds at a wall time; a stale clock does not make them unborn."""
        batch = self.batch
        if batch is None:
            return 0.0
        return age_days(batch.hatched, max(at, batch.started_at), self.zone)

    def refresh(self, tick: float) -> None:
        """Set the limits for the age the birds have now."""
        batch, schedule, limits = self.batch, self.schedule, self.brooder.limits
        if batch is None or schedule is None:
            self.age_days = self.target_c = self.low_c = self.high_c = self.chill_c = None
            self.overheat_c = limits.fire_c
            for alarm in (self.chill, self.cold, self.hot, self.heat_loss, self.cold_night):
                self.book.stop(alarm, tick, "no batch in the brooder")
        elif self.clock_sure or self.target_c is None:
            self.age_days = self.age_days_at(tick + self.book.offset_s)
            self.target_c, self.low_c, self.high_c, self.chill_c, overheat_c = self._limits(
                schedule, self.age_days, Place.FLOOR
            )
            self.overheat_c = limits.fire_c if overheat_c is None else overheat_c
        self._limit_probes()
        self.evaluate(tick)

    def _limits(
        self, schedule: Schedule, age: float, place: Place
    ) -> tuple[float | None, float | None, float | None, float | None, float | None]:
        limits = self.brooder.limits
        target = target_at(schedule, age, self.brooder.steps, place)
        if target is None:
            return None, None, None, None, None
        before = target_at(schedule, age - STEP_GRACE_DAYS, self.brooder.steps, place)
        return (
            target,
            target - limits.band_c,
            max(target, target if before is None else before) + limits.band_c,
            target - limits.harm_c,
            min(target + limits.harm_c, limits.fire_c),
        )

    def _limit_probes(self) -> None:
        limits = self.brooder.limits
        for probe in self.inside:
            target = low = high = chill = overheat = None
            if self.schedule is not None and self.age_days is not None:
                target, low, high, chill, overheat = self._limits(
                    self.schedule, self.age_days, probe.place
                )
            probe.limit(
                target_c=target,
                low_c=low,
                high_c=high,
                chill_c=chill,
                overheat_c=limits.fire_c if overheat is None else overheat,
                dead_band_c=limits.dead_band_c,
                fire_c=limits.fire_c,
            )

    # -- judging

    def counting(self) -> list[ProbeWatch]:
        """The probes that are believed now."""
        usable = self._usable()
        trusted = [p for p in usable if p.finding is None]
        return trusted if any(p.place is Place.FLOOR for p in trusted) else usable

    def _usable(self) -> list[ProbeWatch]:
        return [
            p
            for p in self.inside
            if p.known
            and not p.out_of_service
            and not p.silent
            and not (p.bad and self.faults[p.key].delay.active)
        ]

    def evaluate(self, tick: float) -> None:
        """Feed the alarms with what the probes say now."""
        if self.out_of_service:
            return
        counting = self.counting()
        if not counting:
            for alarm in (self.chill, self.cold, self.overheat, self.hot):
                self.book.hold(alarm)
            self._keep_side(None, tick)
            return
        cold = any(p.cold.beyond for p in counting)
        hot = any(p.hot.beyond for p in counting)
        see = self.book.see
        if self.batch is not None:
            see(self.chill, any(p.chill.beyond for p in counting), tick)
            see(self.cold, cold, tick)
        rising = self.batch is not None and self.diagnosis.cause is Cause.OVERHEAT
        fire_c = self.brooder.limits.fire_c
        over = (
            rising
            or any(p.overheat.beyond for p in counting)
            or any((p.temp_c or 0.0) > fire_c for p in self._usable())
        )
        see(self.overheat, over, tick, at_once=rising)
        if self.batch is not None:
            see(self.hot, hot, tick)
        self.keep_extremes()
        self._keep_side(-1 if cold else 1 if hot else 0, tick)

    def keep_extremes(self) -> None:
        """The lowest and highest while an alarm is on or pending."""
        counting = self.counting()
        temps = [p.temp_c for p in counting if p.temp_c is not None and p.target_c is not None]
        hottest = max((p.temp_c for p in counting if p.temp_c is not None), default=None)
        for alarm in (self.chill, self.cold, self.heat_loss):
            if alarm.watched and temps:
                coldest = min(temps)
                alarm.extreme_c = (
                    coldest if alarm.extreme_c is None else min(coldest, alarm.extreme_c)
                )
        for alarm in (self.overheat, self.hot):
            if alarm.watched and hottest is not None:
                alarm.extreme_c = (
                    hottest if alarm.extreme_c is None else max(hottest, alarm.extreme_c)
                )

    def close_watch(self) -> bool:
        """Something is on or pending: extremes are kept."""
        return (
            self.cold.watched
            or self.hot.watched
            or self.chill.watched
            or self.overheat.watched
            or self.heat_loss.watched
        )

    def _keep_side(self, side: int | None, tick: float) -> None:
        """How long below, in and above the band. None: nobody knows."""
        in_band = None if side is None or self.target_c is None else side == 0
        if in_band == self.in_band and (side or 0) == self.side:
            return
        self._add_side_time(tick)
        self.in_band = in_band
        self.side = side or 0
        self.side_since = tick

    def _add_side_time(self, tick: float) -> None:
        self.below_s, self.above_s = self.side_seconds(tick)

    def side_seconds(self, tick: float) -> tuple[float, float]:
        """Seconds below and above the band since the night began."""
        lasted = max(0.0, tick - max(self.side_since, self.night_from_at - self.book.offset_s))
        below = lasted if self.side < 0 else 0.0
        above = lasted if self.side > 0 else 0.0
        return self.below_s + below, self.above_s + above

    # -- the thermal side

    @property
    def diagnosis(self) -> Diagnosis:
        """What the floor is doing, and why."""
        return self.estimate.inner.diagnosis

    def diagnosed(self, tick: float) -> None:
        """The diagnosis has changed."""
        diagnosis = self.diagnosis
        reasons = {finding.probe: finding.reason for finding in diagnosis.findings}
        for probe in self.inside:
            reason = reasons.get(probe.key)
            if reason != probe.finding:
                probe.finding = reason
                self.see_fault(probe, tick, at_once=reason is not None)
        if self.batch is not None and not self.out_of_service:
            self.book.see(self.heat_loss, diagnosis.cause is Cause.HEAT_SOURCE, tick)
        for probe in self.inside:
            probe.stir()
        self.evaluate(tick)

    def see_fault(self, probe: ProbeWatch, tick: float, *, at_once: bool = False) -> None:
        """Is the probe believed?"""
        if not probe.out_of_service and not self.out_of_service:
            wrong = probe.bad or probe.finding is not None
            self.book.see(self.faults[probe.key], wrong, tick, at_once=at_once)

    def acted(self, tick: float, what: str) -> None:
        """The grower did something to the box or the birds."""
        self.estimate.call(lambda inner: inner.grower_acted(tick, what))

    # -- every quarter of an hour

    def set_review(self, tick: float) -> None:
        """The next quarter of an hour on the wall clock."""
        at = tick + self.book.offset_s
        due = (at // REVIEW_S + 1) * REVIEW_S - self.book.offset_s
        self._timers.set(Slot(0, REVIEW, self.name), due)

    def review(self, tick: float) -> None:
        """Limits for the age, the night's start, the outlook."""
        self.set_review(tick)
        self.begin_night(tick)
        self.refresh(tick)
        self._look_ahead(tick)

    def begin_night(self, tick: float) -> None:
        """At 18:00 local time the night's figures begin anew."""
        at = tick + self.book.offset_s
        from_at = _hour_before(at, NIGHT_FROM_H, self.zone)
        if from_at == self.night_from_at:
            return
        self.night_from_at = from_at
        self.below_s = self.above_s = 0.0
        for probe in self.probes:
            probe.begin_night()

    def _look_ahead(self, tick: float) -> None:
        at = tick + self.book.offset_s
        hour = datetime.fromtimestamp(at, self.zone).hour
        if self.batch is None or self.low_c is None or self.out_of_service:
            self.outlook = None
            return
        if NIGHT_TO_H <= hour < OUTLOOK_FROM_H:
            self.outlook = None
            self.book.see(self.cold_night, False, tick)
            return
        until_at = _hour_before(at + 86400.0, NIGHT_TO_H, self.zone)
        low_c = self.low_c
        self.outlook = self.estimate.call(
            lambda inner: inner.tonight(Moment(at, tick), until_at, low_c)
        )
        self.outlook_at = at
        if self.outlook is not None:
            floor = COLD_NIGHT_CLEARS if self.cold_night.delay.condition else COLD_NIGHT_CHANCE
            self.book.see(self.cold_night, self.outlook.chance >= floor, tick)

    # -- what an alarm says (Owner)

    def held_until(self, alarm: Alarm) -> float | None:
        """A grower at work in the box holds `cold`, `hot` and `chill` back, for a while."""
        held = self.diagnosis.hold_until
        if held is None or alarm not in (self.cold, self.hot, self.chill):
            return None
        return min(held, (alarm.delay.began or 0.0) + HELD_MAX_S)

    def describe(self, alarm: Alarm, tick: float) -> Description:
        """The numbers at the moment it is raised."""
        if alarm.rule.alarm is AlarmName.PROBE_FAULT:
            return self._describe_fault(alarm)
        facts = self._temperature_facts(alarm, tick)
        diagnosis = self.diagnosis
        if alarm is self.cold_night:
            self._outlook_facts(facts)
            return Description(facts, Cause.COLD_NIGHT)
        if diagnosis.cause is Cause.HEAT_SOURCE or alarm is self.heat_loss:
            if diagnosis.source is not None:
                facts["source"] = diagnosis.source
                facts["source_sure"] = diagnosis.source_sure
                facts["source_watts"] = diagnosis.source_watts
            if alarm is self.heat_loss and diagnosis.started is not None:
                facts["since"] = diagnosis.started + self.book.offset_s
        lead = self.lead(alarm)
        return Description(facts, self._cause(alarm), None if lead is None else lead.key)

    def _cause(self, alarm: Alarm) -> Cause:
        cause = self.diagnosis.cause
        if alarm in (self.hot, self.overheat):
            return Cause.OVERHEAT if alarm is self.overheat else (cause or Cause.UNKNOWN)
        if self.heat_loss.active or alarm is self.heat_loss:
            return Cause.HEAT_SOURCE
        if cause is not None and cause not in (Cause.OVERHEAT, Cause.SENSOR):
            return cause
        return Cause.COLD_NIGHT if self.cold_night.active else Cause.UNKNOWN

    def _describe_fault(self, alarm: Alarm) -> Description:
        probe = next(p for p in self.probes if self.faults[p.key] is alarm)
        facts = Facts(reason=probe.fault or "is not believed")
        if probe.temp_c is not None:
            facts["temp_c"] = probe.temp_c
        faulty = [p for p in self.probes if p.fault is not None]
        facts["probes"] = [p.fact() for p in faulty]
        return Description(facts, Cause.SENSOR, probe.key)

    def lead(self, alarm: Alarm | None = None) -> ProbeWatch | None:
        """The probe that decides: the coldest, the hottest, or the furthest from its target."""
        counting = [p for p in self.counting() if p.temp_c is not None]
        judged = [p for p in counting if p.target_c is not None]
        if alarm in (self.hot, self.overheat):
            over = alarm is self.overheat
            beyond = [p for p in counting if (p.overheat if over else p.hot).beyond]
            return max(beyond or judged or counting, key=_temp, default=None)
        if alarm is not None:
            return min(judged or counting, key=_temp, default=None)
        if judged:
            return max(judged, key=lambda p: abs(_temp(p) - (p.target_c or 0.0)))
        floor = [p for p in counting if p.place is Place.FLOOR]
        return min(floor or counting, key=_temp, default=None)

    def _temperature_facts(self, alarm: Alarm, tick: float) -> Facts:
        facts = Facts(probes=[p.fact() for p in self.inside if not p.out_of_service])
        lead = self.lead(alarm)
        if lead is not None and lead.temp_c is not None:
            facts["temp_c"] = lead.temp_c
        if self.target_c is not None and self.low_c is not None and self.high_c is not None:
            facts["target_c"] = self.target_c
            facts["low_c"], facts["high_c"] = self.low_c, self.high_c
        if self.chill_c is not None:
            facts["chill_c"] = self.chill_c
        if self.age_days is not None:
            facts["age_days"] = int(self.age_days)
        if self.outside_c is not None:
            facts["outside_c"] = self.outside_c
        rate = self.rate_c_per_h(tick)
        if rate is not None:
            facts["rate_c_per_h"] = rate
        if alarm in (self.cold, self.heat_loss, self.cold_night):
            minutes = self.minutes_to_chill(tick)
            if minutes is not None:
                facts["minutes_to_chill"] = minutes.mid
                facts["minutes_to_chill_low"] = minutes.low
                facts["minutes_to_chill_high"] = minutes.high
        if (
            alarm is self.overheat
            and lead is not None
            and (lead.temp_c or 0.0) > self.brooder.limits.fire_c
        ):
            facts["reason"] = "hotter than any floor should be: a lamp may have fallen"
        return facts

    def _outlook_facts(self, facts: Facts) -> None:
        outlook = self.outlook
        if outlook is None:
            return
        facts["lowest_c"] = outlook.lowest_c.mid
        facts["lowest_at"] = outlook.lowest_at
        if outlook.leaves_band_at is not None:
            facts["leaves_band_at"] = outlook.leaves_band_at
        facts["chance"] = outlook.chance
        facts["missing_watts"] = outlook.missing_watts
        facts["outside_low_c"] = outlook.outside_low_c
        facts["outside_from"] = outlook.outside_from
        facts["mend"] = list(outlook.mend)

    def closing(self, alarm: Alarm, tick: float) -> Facts:
        """The numbers at the moment it is cleared."""
        if alarm.rule.alarm is AlarmName.PROBE_FAULT:
            return self._describe_fault(alarm).facts
        return self._temperature_facts(alarm, tick)

    def rate_c_per_h(self, tick: float) -> float | None:
        """How fast the floor falls or rises: the estimate's figure, else the lead probe's slope."""
        rate = self.diagnosis.rate_k_per_h
        if rate:
            return rate
        lead = self.lead()
        return None if lead is None else lead.trend_c_per_h(tick)

    def minutes_to_chill(self, tick: float) -> Interval | None:
        """Minutes to the configured chill limit; None: not on its way there, or there already."""
        chill_c, lead = self.chill_c, self.lead(self.cold)
        if chill_c is None or lead is None or _temp(lead) <= chill_c:
            return None
        return self.estimate.call(lambda inner: inner.minutes_to(chill_c, tick))

    # -- over a restart

    def state(self) -> State:
        """JSON-able; the batch is the ledger's."""
        return {
            "limits": [self.age_days, self.target_c, self.low_c, self.high_c, self.chill_c],
            "overheat_c": self.overheat_c,
            "out": self.out_of_service,
            "outside_c": self.outside_c,
            "side": [self.in_band, self.side, self.side_since, self.below_s, self.above_s],
            "night_from_at": self.night_from_at,
            "clock_sure": self.clock_sure,
            "estimate": self.estimate.inner.state(),
            "estimate_fault": self.estimate.fault,
        }

    def restore(self, state: State, shift_s: float) -> None:
        """As it was, `shift_s` later; probes and the batch are restored before."""
        self.age_days, self.target_c, self.low_c, self.high_c, self.chill_c = state["limits"]
        self.overheat_c = state["overheat_c"]
        self.out_of_service = state["out"]
        self.outside_c = state["outside_c"]
        self.in_band, self.side, since, self.below_s, self.above_s = state["side"]
        self.side_since = since + shift_s
        self.night_from_at = state["night_from_at"]
        self.clock_sure = state["clock_sure"]
        self.estimate.call(lambda inner: inner.restore(state["estimate"], shift_s))
        self._limit_probes()


def _temp(probe: ProbeWatch) -> float:
    return 0.0 if probe.temp_c is None else probe.temp_c


def _hour_before(at: float, hour: int, zone: tzinfo) -> float:
    """The last time the local clock showed `hour` o'clock, at or before `at`."""
    today = local_date(at, zone)
    for day in (today, today - timedelta(days=1)):
        noon = datetime(day.year, day.month, day.day, hour, tzinfo=zone).timestamp()
        if noon <= at:
            return noon
    return midnight(today - timedelta(days=1), zone)
