"""One brooder as it is watched: its parts, and what sets each of them going. Owned by watch.engine.

box_needs            what its birds should have now
box_probes           which of its probes count
temperature_alarms   too cold, too hot, heat lost
cold_night_watch     will it hold tonight
box_meters           plugs, the cover's switch, humidity
night                the night's figures
empty_box            while there is no batch
thermal.estimate     what its floor is doing, and why"""

from datetime import tzinfo

from monitor.brooding.batch import Batch
from monitor.brooding.moving import Moving
from monitor.events import Measured, Moment
from monitor.kept import Kept, part
from monitor.site import Brooder, Place
from monitor.thermal.by_size import NightAsked
from monitor.thermal.estimate import Estimate, Forecast, Wish
from monitor.watch import night
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.box_meters import BoxMeters
from monitor.watch.box_needs import BoxNeeds
from monitor.watch.box_probes import BoxProbes
from monitor.watch.cold_night_watch import ColdNightWatch
from monitor.watch.empty_box import EmptyBox
from monitor.watch.heat_in import HeatIn, heat_in
from monitor.watch.heat_seen import FloorWarmth
from monitor.watch.life_cycle import AlarmState
from monitor.watch.night import NightFigures
from monitor.watch.temperature_alarms import TemperatureAlarms


@part
class BrooderWatch(Kept):
    """The watch of one brooder: its probes, meters, estimate and alarms."""

    needs: BoxNeeds
    probes: BoxProbes
    meters: BoxMeters
    night: NightFigures
    estimate: Estimate
    tonight: ColdNightWatch
    temperature: TemperatureAlarms
    empty: EmptyBox
    moving: Moving | None = None  # when may the birds move out? Looked at with the advice

    def __init__(
        self,
        brooder: Brooder,
        *,
        zone: tzinfo,
        probes: BoxProbes,
        register: AlarmRegister,
        estimate: Estimate,
    ) -> None:
        self.brooder = brooder
        self.name = brooder.name
        self.register = register
        self.probes = probes
        self.estimate = estimate
        self.empty = EmptyBox(brooder)
        self.needs = BoxNeeds(brooder, zone, self.empty)
        self.meters = BoxMeters(brooder, register)
        self.night = NightFigures()
        self.tonight = ColdNightWatch(self.needs, probes, estimate, register)
        self.temperature = TemperatureAlarms(
            register,
            estimate,
            self.needs,
            probes,
            meters=self.meters,
            tonight=self.tonight,
            night_figures=self.night,
        )

    # -- its birds

    def begin_batch(self, batch: Batch | None, tick: float) -> None:
        """The ledger says what is in the box now."""
        came = batch is not None and self.needs.batch is None
        if batch is not None and came and not self.probes.out_of_service:
            self.night.birds_since(batch.started_at - self.register.offset_s)
            for probe in self.probes:
                probe.begin_night()  # how cold it was before them is no figure of their night
        self.empty.forget()
        self.needs.take(batch)
        self.refresh(tick)

    def refresh(self, tick: float) -> None:
        """Set the limits for the age the birds have now, and judge by them."""
        needs = self.needs
        needs.refresh(self.register.wall_at(tick))
        if needs.batch is None:
            self.temperature.stop(tick, "no batch in the brooder")
        self._tell_estimate(needs)
        self._limit_probes()
        self.temperature.evaluate(tick)

    def _tell_estimate(self, needs: BoxNeeds) -> None:
        self.estimate.birds(
            self.needs.batch,
            needs.age_days,
            needs.target_c,
            low_c=needs.early_low_c,
            high_c=needs.high_c,
        )

    def _limit_probes(self) -> None:
        for probe in self.probes.inside:
            probe.limit(self.needs.edges(probe.place), self.brooder.limits)

    def unwatched(self, left: float, back: float) -> None:
        """Nobody watched between these ticks; of no time between them nobody knows for how long."""
        if left == back:
            for probe in self.probes.inside:
                self.estimate.leave_out(probe.probe.key)
                probe.trend.clear()
        if self.night.side != night.IDLE:
            self.night.see(night.UNSEEN, max(left, self.night.since))
        self.probes.wake(back)

    @property
    def unseen(self) -> bool:
        """Nothing is known of the floor; the next reading may change that."""
        return self.night.side == night.UNSEEN

    # -- what is measured beside temperature

    def take_measured(self, said: Measured, tick: float, *, mains_off: bool) -> None:
        """A word of a plug, a cover's switch, a sensor of humidity."""
        out, loss = set(self.meters.sources_out), self.temperature.heat_loss
        news = self.meters.take(said, tick, self._floor_now(), mains_off=mains_off)
        self.mains_switched(tick, off=mains_off)
        if news:
            self.review_meters(tick)
            was_active = loss.active
            self.temperature.evaluate(tick)
            if was_active and set(self.meters.sources_out) - out:  # another one too
                if loss.state is AlarmState.ACKNOWLEDGED:
                    self.register.renew(loss, tick)
                self.register.explain(loss, tick)

    def mains_switched(self, tick: float, *, off: bool) -> None:
        """All heat went off at once, or is back. That itself is told by `watch.mains`."""
        if self.estimate.heat_is(tick, self.meters.known(tick, mains_off=off)):
            self.diagnosed(tick)

    def review_meters(self, tick: float) -> None:
        """Who is silent, what is open for too long?"""
        judged = self.needs.batch is not None and not self.probes.out_of_service
        age = self.needs.age_days if judged else None
        heard = [p.tick for p in self.probes if p.known]
        out = self.meters.sources_out
        self.meters.review(tick, self._floor_now(), heard, age_days=age)
        if self.meters.sources_out != out:
            self.temperature.evaluate(tick)

    def heat_in(self, tick: float) -> HeatIn | None:
        """The heat that goes in, where every source has a plug that measures it."""
        plugs = self.meters.plugs(tick)
        if plugs is None or self.needs.batch is None:
            return None
        return heat_in(
            plugs,
            floor_c=self._floor_now().coldest_c,
            w_per_k=self.estimate.w_per_k,
            bird_watts=self.estimate.bird_watts,
        )

    def _floor_now(self) -> FloorWarmth:
        temps = [p.temp_c for p in self.probes.on_floor() if p.temp_c is not None]
        return FloorWarmth(min(temps, default=None), self.needs.target_c, self.needs.high_c)

    # -- the thermal side

    def diagnosed(self, tick: float) -> None:
        """Brings probes and alarms up to a diagnosis that has changed."""
        diagnosis = self.estimate.diagnosis
        news = self.probes.see_findings(diagnosis)
        if news:
            self.temperature.explain(tick)  # first: a fault told as its cause is not told twice
            self.probes.tell_findings(news, tick)
        self.temperature.evaluate(tick)
        if diagnosis.heat_lost:
            self.temperature.explain(tick)

    def look_ahead(self, tick: float, forecast: Forecast | None) -> None:
        """Every quarter of an hour: will the floor hold tonight?"""
        now = Moment(self.register.wall_at(tick), tick)
        self.estimate.foretold(now, forecast)
        if self.needs.batch is None:
            self._look_at_empty(now, forecast)
        self.tonight.look(now, forecast, self.temperature.cold_night)
        self.temperature.explain(tick)
        self.probes.see_lasting(tick)

    def ask_tonight(self, now: Moment, forecast: Forecast | None, wish: Wish) -> NightAsked:
        """The coming night, as the box is or as somebody wishes. Changes nothing."""
        needs, estimate, empty = self.needs, self.estimate, self.empty.limits
        target_c, low_c = needs.target_c, needs.low_c
        if needs.batch is None and empty is not None:
            target_c, low_c = empty.target_c, empty.low_c
        if target_c is None or low_c is None:
            return NightAsked(None, None, None, None)
        return NightAsked(
            target_c,
            low_c,
            estimate.tonight(now, low_at=needs.low_at, forecast=forecast, wish=wish),
            estimate.by_size(now, target_c=target_c, low_c=low_c, forecast=forecast, wish=wish),
        )

    def _look_at_empty(self, now: Moment, forecast: Forecast | None) -> None:
        empty, probes = self.empty, self.probes
        floor = [p for p in probes.usable() if p.place is Place.FLOOR]
        floor_c = [p.temp_c for p in floor if p.temp_c is not None]
        if not empty.waits or probes.out_of_service or not floor_c or not empty.limits:
            empty.forget()
            return
        low_at = self.needs.low_at
        outlook = self.estimate.tonight(now, low_at=low_at, forecast=forecast, wish=Wish())
        empty.see(floor_c, now.tick, outlook)

    def _take_over(self, before: "BrooderWatch") -> None:
        """The batch is the ledger's, and is known already."""
        self._tell_estimate(before.needs)
        super()._take_over(before)

    def resume(self) -> None:
        if self.needs.batch is None:
            self.moving = None
        self._limit_probes()
