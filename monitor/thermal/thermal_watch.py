"""What the floor of one brooder is doing, and why. One for each brooder, held by the engine, which
passes every inside reading to `observe` and every outside reading to `observe_outside`.

The way of a reading: `track` sums it up; every 25 s or so the sums of all floor probes make one
step of the `kalman` filter; its residual goes to the `cusum` test; while that says "falls away from
what was foretold", `fall` weighs why; `probe_health` looks at single probes once a minute.
Everything is O(1) in time and memory, and pure."""

from dataclasses import replace

from monitor.brooding.heat_balance import Change, Prior
from monitor.events import Moment, State
from monitor.site import Brooder, Place
from monitor.thermal import answers as thermal_answers
from monitor.thermal import doubt
from monitor.thermal.answers import Floor, Night
from monitor.thermal.causes import Explanation, Why
from monitor.thermal.diagnosis import Diagnosis, Interval, Learned, Outlook
from monitor.thermal.fall import Fall
from monitor.thermal.floor_fusion import FloorFusion
from monitor.thermal.loss import HeatLoss, loss_from
from monitor.thermal.model import LIMIT, FloorModel
from monitor.thermal.outside_curve import OutsideCurve
from monitor.thermal.outside_heard import OutsideHeard
from monitor.thermal.probe_health import CHECK_S, ProbeHealth
from monitor.thermal.rise import Rise
from monitor.thermal.slope import slope_per_h
from monitor.thermal.spare_heat import AgainstTarget, SpareHeat
from monitor.thermal.track import NEVER, Track
from monitor.thermal.upturn import Upturn
from monitor.thermal.witness import Witness

_STEP_S = 25.0  # a filter step at most this often: a reading every 30 s makes one step each
_GAP_S = 1800.0  # nothing heard for longer: begin anew, a ten-minute radio gap is bridged
_OUTSIDE_WAIT_S = 600.0  # a configured outside probe is waited for so long
_TAU_KNOWN, _SWITCHED_SD_K = 1.3, 3.0  # what stays known when the outside comes or goes
_ACTED_SD_K = 2.0  # what a grower's act may do to the rise
_RECENT = 12  # steps that the rate is taken from: five minutes
ASLEEP_FROM_H, ASLEEP_TO_H = 22.5, 5.0  # nobody feeds or raises lamps. Common practice


class ThermalWatch:
    """The estimate and the diagnosis of one floor."""

    def __init__(self, brooder: Brooder, prior: Prior, outside_known: bool) -> None:
        self._brooder = brooder
        self._prior = prior
        self._outside_known = outside_known
        self._watts = tuple(source.watts for source in brooder.heat)
        inside = [probe for probe in brooder.probes if probe.place is not Place.OUTSIDE]
        self._tracks = {probe.key: Track(probe.key, probe.place) for probe in inside}
        self._all = list(self._tracks.values())
        self._fusion = FloorFusion(self._all)
        self._witness = Witness(brooder, self._all)
        self._health = ProbeHealth(list(self._tracks))
        self._outside = OutsideHeard()
        self._model: FloorModel | None = None
        self._first = NEVER  # floor reading
        self._fall = Fall()
        self._rise = Rise()
        self._upturn = Upturn()
        self._loss: HeatLoss | None = None
        self._spare = SpareHeat()
        self._target_c: float | None = None
        self._midnight: float | None = None  # some local midnight
        self._floor_c: float | None = None
        self._floor_ref_c = 0.0  # before the present fall
        self._stepped = NEVER
        self._checked = NEVER
        self._recent: list[tuple[float, float]] = []
        self._told: tuple[object, ...] = ()

    # -- what comes in

    def observe(self, tick: float, probe_key: str, temp_c: float) -> Diagnosis | None:
        """One inside reading. The diagnosis, when it is another than the last one told."""
        track = self._tracks.get(probe_key)
        if track is None:
            return None
        waited = track.held is not None
        if not track.add(tick, temp_c):
            return None if waited else self._tell()
        if tick - self._stepped < _STEP_S:
            return self._tell() if waited else None
        return self._step(tick)

    def observe_outside(self, tick: float, temp_c: float) -> None:
        """One reading of an outside probe."""
        self._outside.observe(tick, temp_c)

    def leave_out(self, probe_key: str) -> None:
        """What an inside probe said counts no longer, until it is heard again."""
        track = self._tracks.get(probe_key)
        if track is not None:
            track.leave_out()
            self._health.forget(probe_key)
            self._told = ()  # what is found when it is back is news
            if self._fusion.left_alone:
                self._rise = Rise()  # nobody is left who could say that it is over

    def target_is(self, target_c: float | None) -> None:
        """The floor's target from now on; None: no batch in the box."""
        self._target_c = target_c

    def prior_is(self, prior: Prior) -> None:
        """Birds came, went or grew: what the box should do from first principles."""
        self._prior = prior

    def grower_acted(self, tick: float) -> None:
        """The grower did something to the box or the birds, as an entry says: the next hour may
        look different without anything being wrong."""
        model = self._model
        if model is None:
            return
        model.loosen(_ACTED_SD_K)
        if self._fall.open and self._fall.verdict is None:
            self._fall.end()
            model.test.reset(tick)

    def hour_is(self, tick: float, hour: float) -> None:
        """The local hour of day at `tick`, 0..24: by night nobody feeds."""
        self._midnight = tick - 3600.0 * hour

    # -- the step

    def _step(self, tick: float) -> Diagnosis | None:
        step_s = tick - self._stepped
        fresh = [track for track in self._all if track.take(step_s)]
        floor_c = self._fusion.fuse(
            tick, fresh, findings=self._health.findings, learns=not self._fall.open
        )
        if floor_c is None:
            return self._tell()
        self._stepped = tick
        self._floor_c = floor_c
        self._recent.append((tick, floor_c))
        if len(self._recent) > _RECENT:
            del self._recent[0]
        model = self._modelled(tick, floor_c)
        if model is None:
            return self._tell()
        if step_s > _GAP_S:
            self._begin_again(model, tick, floor_c)
        outside_c = self._ambient_c()
        if 0.0 < step_s <= _GAP_S:
            self._fall.foretell(step_s, outside_c, model.bank.tau_s)
        model.step(tick, floor_c, outside_c)
        self._see_fall(model, tick, floor_c)
        self._see_rise(model, tick)
        doubt.look(self._all, tick, _STEP_S)
        if not self._fall.open:
            self._outside.stand_in(tick, floor_c)
            if model.learn(tick, floor_c, outside_c):
                self._outside.history.add_rise(tick, model.bank.rise_k)
            loss = self._loss
            if loss is not None and (
                loss.over(tick, model.filter.rise_k)
                or self._spare.settled(
                    tick, from_c=loss.from_c, floor=self._against_target(floor_c)
                )
            ):
                self._loss = None
        if tick - self._checked >= CHECK_S:
            self._checked = tick
            disturbed = self._fall.open or self._rise.started is not None
            self._health.check(
                self._all,
                tick,
                self._outside.temp_c,
                self._outside.history.last_c,
                disturbed,
                outside_fresh=self._outside.fresh(tick),
            )
        return self._tell()

    def _modelled(self, tick: float, floor_c: float) -> FloorModel | None:
        """The model, of the kind that fits what is measured now. None: the outside probe has not
        been heard yet, and is waited for."""
        measured = self._outside.measured(tick)
        old = self._model
        if old is not None and old.outside_known == measured:
            return old
        if old is None:
            if self._first == NEVER:
                self._first = tick
            if self._outside_known and not measured and tick - self._first < _OUTSIDE_WAIT_S:
                return None
            prior = self._prior
        else:
            prior = replace(
                self._prior,
                time_constant_s=old.bank.tau_s,
                time_constant_spread=_TAU_KNOWN,
                rise_k=floor_c - (self._outside.temp_c or 0.0),
                rise_sd_k=_SWITCHED_SD_K,
            )
        if measured:
            self._outside.forget_floor()
        self._model = FloorModel(prior, tick=tick, floor_c=floor_c, outside_known=measured)
        if old is not None:
            self._fall.end()
        self._fall.follow(tick, floor_c, *self._model.expected())
        return self._model

    def _begin_again(self, model: FloorModel, tick: float, floor_c: float) -> None:
        model.begin_again(tick, floor_c)
        self._fall.end()
        self._fall.follow(tick, floor_c, model.filter.rise_k, model.filter.rise_sd_k)
        self._recent.clear()

    def _ambient_c(self) -> float:
        model, outside_c = self._model, self._outside.temp_c
        known = model is not None and model.outside_known
        return outside_c if known and outside_c is not None else 0.0

    # -- falls and rises

    def _see_fall(self, model: FloorModel, tick: float, floor_c: float) -> None:
        fall = self._fall
        if fall.open:
            fall.add(tick, floor_c)
            self._judge_fall(model, tick, floor_c)
        elif model.test.low == 0.0:
            fall.follow(tick, model.filter.temp_c, *model.expected())
            self._floor_ref_c = model.filter.temp_c
            for track in self._all:
                if track.level is not None:
                    track.ref = track.level
        else:
            fall.add(tick, floor_c)
            if model.test.low > LIMIT:
                if self._upturn.explains(tick, floor_c):
                    model.filter.temp_c = floor_c
                    model.filter.p_tr = 0.0
                    model.test.reset(tick)
                else:
                    self._begin_fall(tick)
                    self._judge_fall(model, tick, floor_c)

    def _begin_fall(self, tick: float) -> None:
        # the rise above outside, which a loss takes a share of: measured, or from the box's size
        known = self._model is not None and self._model.outside_known
        self._fall.begin(
            self._watts,
            self._prior.bird_watts,
            held_k=max(4.0, self._fall.rise_k if known else self._prior.rise_k),
            held_sd_k=self._fall.rise_sd_k if known else self._prior.rise_sd_k,
            asleep=self._asleep(tick),
        )

    def _asleep(self, tick: float) -> bool:
        if self._midnight is None:
            return False
        hour = ((tick - self._midnight) / 3600.0) % 24.0
        return hour >= ASLEEP_FROM_H or hour < ASLEEP_TO_H

    def _judge_fall(self, model: FloorModel, tick: float, floor_c: float) -> None:
        fall = self._fall
        floor_ref_c = self._floor_ref_c
        begun = fall.begun

        def witness(one: Explanation) -> float:
            return self._witness.weight(
                one,
                begun=begun,
                floor_ref_c=floor_ref_c,
                fallen_k=floor_ref_c - floor_c,
            )

        fall.judge(tick, model.bank.tau_s, model.wander_sd, witness, known=model.known)
        if (
            fall.verdict is Why.LAMP
            and fall.best is not None
            and not self._spare.only(
                from_c=floor_ref_c,
                tau_s=model.bank.tau_s,
                rate_k_per_h=self.rate_k_per_h,
                floor=self._against_target(floor_c),
            )
        ):
            best = fall.best
            lost_k = best.quick_k + best.slow_k
            if self._loss is None or self._loss.started < fall.onset - 60.0:
                model.lost(fall.rise_k, lost_k)
            self._loss = HeatLoss(
                best.explanation.sources,
                best.onset,
                fall.rise_k,
                lost_k,
                self._source_chance(best.explanation.sources, fall.source_chance),
                floor_ref_c,
            )
        if fall.recovered:
            if self._loss is not None and fall.verdict is Why.LAMP:
                self._loss = None
                model.regained(fall.rise_k)
            model.settle(tick, floor_c, fall.rise_k)
            fall.end()
        elif fall.verdict is Why.LAMP and self._spare.settled(
            tick, from_c=floor_ref_c, floor=self._against_target(floor_c)
        ):
            self._loss = None
            model.settle(tick, floor_c, floor_c - self._ambient_c())
            fall.end()
        elif fall.spent(tick, model.test.low > 0.0):
            model.settle(tick, floor_c)
            fall.end()

    def _source_chance(self, sources: tuple[int, ...], chance: float) -> float:
        """That it was these sources. Once named as sure they stay so: what is learned of the fall
        later is its end, which says less about the source than its beginning."""
        loss = self._loss
        return (
            chance if loss is None or loss.sources != sources else max(loss.source_chance, chance)
        )

    def _against_target(self, floor_c: float) -> AgainstTarget:
        return AgainstTarget(floor_c, self._target_c, self._brooder.limits.band_c)

    def _see_rise(self, model: FloorModel, tick: float) -> None:
        test = model.test
        if test.high == 0.0:
            self._upturn.calm(model.filter.temp_c)
        elif test.high > LIMIT:
            if self._upturn.seen(tick):
                model.loosen(1.0)
            test.high = 0.0
        self._rise.judge(tick, self._fusion.warmest, self._target_c, self._brooder.limits)

    # -- what comes out

    def _tell(self) -> Diagnosis | None:
        told = self._sum()
        if told == self._told:
            return None
        self._told = told
        return self.diagnosis

    def _sum(self) -> tuple[object, ...]:
        """What makes one diagnosis differ from another."""
        return (
            self._fall.verdict,
            None if self._loss is None else self._loss.sources,
            self._hold_until(),
            self._rise.overheat,
            self._health.findings,
            doubt.doubted(self._all, self._stepped),
        )

    def _hold_until(self) -> float | None:
        target_c = self._target_c
        return thermal_answers.hold_until(
            self._fall,
            self._rise,
            stepped=self._stepped,
            from_c=self._floor_ref_c,
            low_c=None if target_c is None else target_c - self._brooder.limits.band_c,
        )

    @property
    def diagnosis(self) -> Diagnosis:
        """As things stand."""
        return thermal_answers.diagnosis(
            self._brooder,
            fall=self._fall,
            rise=self._rise,
            loss=self._loss,
            held_until=self._hold_until(),
            rate_k_per_h=self.rate_k_per_h,
            findings=self._health.findings,
            doubted=doubt.doubted(self._all, self._stepped),
        )

    @property
    def rate_k_per_h(self) -> float:
        """Of the floor, over the last five minutes, by least squares."""
        return slope_per_h(self._recent) if len(self._recent) > 2 else 0.0

    @property
    def learned(self) -> Learned | None:
        """The estimate as numbers; None: no floor reading yet."""
        model = self._model
        if model is None or self._floor_c is None:
            return None
        return thermal_answers.learned(
            model,
            floor_c=self._floor_c,
            rate_k_per_h=self.rate_k_per_h,
            outside_measured=self._outside_known and self._outside.temp_c is not None,
        )

    @property
    def floor_c(self) -> float | None:
        """The floor as all its probes together say."""
        return self._floor_c

    def minutes_to(self, limit_c: float, tick: float) -> Interval | None:
        """Minutes until the floor reaches `limit_c`, with an 80 % interval. None: it is not heading
        there, or no probe lies on it. Always a limit somebody set: no time to harm has been
        published."""
        model = self._model
        if model is None or self._floor_c is None or not self._fusion.on_floor:
            return None
        floor = Floor(self._floor_c, self._ambient_c(), self.rate_k_per_h, self._stepped)
        return thermal_answers.minutes_to(limit_c, tick, model=model, fall=self._fall, floor=floor)

    def outside_curve(self, now: Moment, until_at: float) -> OutsideCurve | None:
        """The coming outside from what was heard of it; None: too little was."""
        return self._outside.curve(now, until_at, self._prior)

    def outlook(
        self,
        start: Moment,
        outside: OutsideCurve,
        until_at: float,
        *,
        low_c: float,
        change: Change,
    ) -> Outlook | None:
        """The coming hours in the box with that change; None: no reading of the floor."""
        if self._floor_c is None or not self._fusion.on_floor:
            return None
        return thermal_answers.outlook(
            Night(start, until_at, outside, low_c, change),
            floor_c=self._floor_c,
            model=self._model,
            prior=self._prior,
            fall=self._fall,
            history=self._outside.history,
        )

    # -- restarts

    def state(self) -> State:
        """What is needed to go on after a restart, exactly as if there had been none."""
        return {
            "tracks": {key: track.state() for key, track in self._tracks.items()},
            "health": self._health.state(),
            **self._outside.state(),
            "model": None if self._model is None else self._model.state(),
            "fall": self._fall.state(),
            "rise": self._rise.state(),
            "upturn": self._upturn.state(),
            "loss": None if self._loss is None else self._loss.state(),
            "spare": self._spare.state(),
            "target_c": self._target_c,
            "midnight": self._midnight,
            "floor": [self._floor_c, self._floor_ref_c],
            "ticks": [self._stepped, self._checked, self._first],
            "told": bool(self._told),
            "recent": [list(pair) for pair in self._recent],
        }

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`. Probes that are gone are dropped."""
        for key, saved in state["tracks"].items():
            if key in self._tracks:
                self._tracks[key].restore(saved, shift_s)
        self._health.restore(state["health"], shift_s)
        self._outside.restore(state, shift_s)
        self._model = None
        if state["model"] is not None:
            known = bool(state["model"]["outside_known"])
            self._model = FloorModel(self._prior, tick=0.0, floor_c=0.0, outside_known=known)
            self._model.restore(state["model"], shift_s)
        self._fall.restore(state["fall"], shift_s)
        self._rise.restore(state["rise"], shift_s)
        self._upturn.restore(state["upturn"], shift_s)
        self._loss = None
        if state["loss"] is not None:
            self._loss = loss_from(state["loss"], shift_s, len(self._watts))
        self._spare.restore(state.get("spare", {}), shift_s)
        self._target_c = state["target_c"]
        midnight = state["midnight"]
        self._midnight = None if midnight is None else midnight + shift_s
        self._floor_c, self._floor_ref_c = state["floor"]
        self._stepped, self._checked, self._first = (
            NEVER if tick == NEVER else float(tick) + shift_s for tick in state["ticks"]
        )
        self._recent = [(float(t) + shift_s, float(c)) for t, c in state["recent"]]
        # What was told last is not kept: it is told again, which changes nothing for who knows it.
        self._told = ("before the restart",) if state["told"] else ()
