"""What the floor of one brooder is doing, and why. One for each brooder, held by the engine, which
passes every inside reading to `observe` and every outside reading to `observe_outside`.

The way of a reading: `track` sums it up; every 25 s or so the sums of all floor probes make one
step of the `floor` and of its model (`model_in_use`); once that is lower than is usual,
`fall_watch` decides when to tell and weighs why, and `lost_heat` remembers it until it is back;
`rise`, `climb` and `warming` look at heat; `probe_health` looks at single probes once a minute;
`held_heat` learns for the night. Time and memory are bounded, and all is pure."""

from monitor.brooding.heat_balance import Prior
from monitor.brooding.night_hours import asleep
from monitor.events import Moment
from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Brooder, Place
from monitor.thermal import answers
from monitor.thermal.answers import ComingNight
from monitor.thermal.box_known import BoxKnown
from monitor.thermal.climb import Climb
from monitor.thermal.coming_night import LowAt
from monitor.thermal.diagnosis import Diagnosis, HeatKnown, Interval, Learned
from monitor.thermal.fall_watch import FallWatch
from monitor.thermal.floor import Floor
from monitor.thermal.held_heat import HeldHeat
from monitor.thermal.lost_heat import LostHeat
from monitor.thermal.model_in_use import ModelInUse
from monitor.thermal.neighbours import CHECK_S
from monitor.thermal.outside_curve import Skies
from monitor.thermal.outside_heard import OutsideHeard
from monitor.thermal.probe_health import ProbeHealth
from monitor.thermal.rise import Rise
from monitor.thermal.track import Track
from monitor.thermal.warming import Warming
from monitor.thermal.witness import Witness

_STEP_S = 25.0  # a filter step at most this often: a reading every 30 s makes one step each
_GAP_S = 1800.0  # nothing heard for longer: begin anew, a ten-minute radio gap is bridged
_LATELY_S = 900.0  # a fall that began since is its first minutes
_ACTED_SD_K = 2.0  # what a grower's act may do to the rise
_CHANGED_SD_K = 4.0  # what a changed lamp may: it is what holds the floor


@part
class ThermalWatch(Kept):
    """The estimate and the diagnosis of one floor."""

    _box: BoxKnown
    _tracks: dict[str, Track]
    _floor: Floor
    _outside: OutsideHeard
    _in_use: ModelInUse
    _held: HeldHeat
    _lost: LostHeat
    _falls: FallWatch
    _rise: Rise
    _climb: Climb
    _warming: Warming
    _health: ProbeHealth
    _checked: Tick = NEVER

    def __init__(self, brooder: Brooder, prior: Prior, outside_known: bool) -> None:
        self._outside_known = outside_known
        inside = [probe for probe in brooder.probes if probe.place is not Place.OUTSIDE]
        self._tracks = {probe.key: Track(probe.key, probe.place) for probe in inside}
        self._all = list(self._tracks.values())
        self._beneath = [track for track in self._all if track.beneath]
        self._beside = [track for track in self._all if track.place is not Place.FLOOR]
        self._witness = witness = Witness(brooder, self._all)
        self._health = ProbeHealth(list(self._tracks))
        self._outside = OutsideHeard()
        self._box = box = BoxKnown(brooder, prior)
        self._floor = floor = Floor(box, self._all)
        self._in_use = ModelInUse(box, floor, self._outside, outside_known=outside_known)
        self._held = HeldHeat(box, self._in_use)
        self._lost = LostHeat(box, floor, self._in_use, tracks=self._tracks, witness=witness)
        self._falls = FallWatch(
            box, floor, self._outside, self._lost, health=self._health, witness=witness
        )
        self._fall = self._falls.fall
        self._rise, self._climb, self._warming = Rise(), Climb(), Warming()
        self._told: tuple[object, ...] = ()
        # As things stand. None: they may be others now; whoever changes them sets it so.
        self._said: Diagnosis | None = None

    # -- what comes in

    def observe(self, tick: float, probe_key: str, temp_c: float) -> Diagnosis | None:
        """One inside reading. The diagnosis, when it is another than the last one told."""
        track = self._tracks.get(probe_key)
        if track is None:
            return None
        waited = track.held is not None
        if not track.add(tick, temp_c):
            return None if waited else self._tell()
        if track.beneath and (self._lost.down is not None or track.sunken):
            self._said = None
            waited = self._lost.see_collapse(tick, falls=self._fall.open) or waited
        if tick - self._floor.stepped < _STEP_S:
            return self._tell() if waited else None
        return self._step(tick)

    def observe_outside(self, tick: float, temp_c: float) -> None:
        """One reading of an outside probe."""
        self._outside.observe(tick, temp_c, self._box.midnight)

    def heat_is(self, tick: float, known: HeatKnown) -> Diagnosis | None:
        """What is measured of heat and cover: the lamp that draws nothing is out, the one that
        draws is not. The diagnosis, when it is another than the last one told."""
        before, self._box.heat = self._box.heat, known
        self._held.draws(tick, known.drawn_w)
        if known.cover_open:
            self._box.acted = tick
        if known.out != before.out:
            self._lost.plugs_said(tick, before.out)
        return self._tell()

    def leave_out(self, probe_key: str) -> None:
        """What an inside probe said counts no longer, until it is heard again."""
        track = self._tracks.get(probe_key)
        if track is not None:
            track.leave_out()
            self._health.forget(probe_key)
            self._said, self._told = None, ()  # what is found when it is back is news
            if all(one.level is None for one in self._all):
                self._floor.leave(_GAP_S)
            if self._floor.left_alone:
                self._rise = Rise()  # nobody is left who could say that it is over

    def target_is(
        self, target_c: float | None, warm_c: float | None = None, low_c: float | None = None
    ) -> None:
        """The floor's target from now on. None: no batch in the box, and no heat to be missed: one
        that warms up or stands empty loses none. `warm_c`: as warm as it may still be after a step
        down. `low_c`: the band's lower edge; in the evening before a step down, that after it."""
        if (target_c is None) != (self._box.target_c is None):
            self._fall.end()
            self._lost.forget()
            self._floor.forget_swings()
        self._said = None
        self._box.target_c = target_c
        self._box.warm_c = target_c if warm_c is None else warm_c
        edge_c = None if target_c is None else target_c - self._box.limits.band_c
        self._box.low_c = edge_c if low_c is None else low_c
        if target_c is None:
            self._held.forget()

    def prior_is(self, prior: Prior) -> None:
        """Birds came, went or grew: what the box should do from first principles."""
        self._box.prior = prior

    def grower_acted(self, tick: float) -> None:
        """The grower did something to the box or the birds, as an entry says: the next hour may
        look different without anything being wrong."""
        self._said = None
        self._box.acted = tick
        self._loosen(_ACTED_SD_K)

    def heat_changed(self, tick: float, since: float | None) -> None:
        """The grower changed the heat at tick `since`: no heat is missed, and what the box holds
        is learned anew. None: that entry is taken back."""
        self._box.changed = NEVER if since is None else since
        self._said = None
        if not self._box.settling(tick):
            return
        self._lost.forget()
        for track in self._beneath:
            track.course.clear()
        self._loosen(_CHANGED_SD_K)
        if self._in_use.model is not None:
            self._falls.settle_anew(self._in_use.model, tick)

    def _loosen(self, sd_k: float) -> None:
        if self._in_use.model is not None:
            self._in_use.model.loosen(sd_k)
        self._held.loosen(sd_k)

    def hour_is(self, tick: float, hour: float) -> None:
        """The local hour of day at `tick`, 0..24: by night nobody feeds."""
        self._box.midnight = tick - 3600.0 * hour
        self._said = None

    # -- the step

    def _step(self, tick: float) -> Diagnosis | None:
        step_s = tick - self._floor.stepped
        fresh = [track for track in self._all if track.take(step_s)]
        floor_c = self._floor.step(
            tick, fresh, findings=self._health.findings, learns=not self._fall.open
        )
        if floor_c is None:
            return self._tell()
        before = self._in_use.model
        model = self._in_use.fit(tick, floor_c)
        if model is None:
            return self._tell()
        if model is not before:
            self._fall.end()
        if step_s > _GAP_S:
            model.begin_again(tick, floor_c)
            self._fall.end()
            self._floor.begin_again()
        outside_c = self._in_use.ambient_c
        model.step(tick, floor_c, outside_c)
        self._falls.see(model, tick, floor_c)
        self._see_heat(tick)
        if not self._fall.open:
            if self._outside.temp_c is None:
                swing = self._floor.swing
                steady_c = floor_c if swing is None else swing.middle_c
                self._outside.stand_in(tick, steady_c, self._box.midnight)
            mean_c = model.learn(tick, floor_c, outside_c)
            if mean_c is not None:
                lost = self._lost.loss is not None
                self._held.see(tick, mean_c, self._floor.swing, lost=lost)
            self._lost.see_held(tick, model)
        self._lost.keep_out(tick)
        if tick - self._checked >= CHECK_S:
            self._checked = tick
            self._health.check(
                self._all,
                tick,
                self._outside.temp_c,
                self._outside.last_c,
                self._fall.open,
                outside_fresh=self._outside.fresh(tick),
                sources_seen=self._witness.sees_all,
                by_day=not self._box.is_night(tick),
            )
        return self._tell()

    def _see_heat(self, tick: float) -> None:
        """Is the floor too hot, or headed there?"""
        target_c, limits = self._box.warm_c, self._box.limits
        warmest, hour = self._floor.warmest, self._box.hour(tick)
        as_it_hung = self._box.nobody_at_work(tick) and not self._box.may_settle(tick)
        if target_c is None:
            self._climb.rest()
        else:
            high_c = target_c + limits.band_c
            seen = self._witness.sees_all
            by_night = hour is not None and asleep(hour)
            self._climb.look(
                tick,
                warmest,
                self._beside,
                target_c,
                high_c,
                sources_seen=seen,
                by_night=by_night,
                as_it_hung=as_it_hung,
            )
        self._rise.judge(tick, warmest, target_c, limits, self._climb, pulses=self._floor.pulses)
        self._warming.judge(
            tick,
            self._floor,
            target_c,
            limits,
            hour=hour,
            as_it_hung=as_it_hung,
            climb=self._climb,
            beside=self._beside,
        )

    # -- what comes out

    def _tell(self) -> Diagnosis | None:
        self._said, loss = None, self._lost.loss
        told = (  # what makes one diagnosis differ from another
            self._fall.verdict,
            None if loss is None else loss.sources,
            self._hold_until(),
            self._rise.overheat,
            self._warming.warmth,
            self._health.findings,
            self._doubted(),
        )
        if told == self._told:
            return None
        self._told = told
        return self.diagnosis

    def _doubted(self) -> tuple[str, ...]:
        """Probes whose last reading waits for the next one."""
        return tuple([track.key for track in self._all if track.held is not None])

    def _hold_until(self) -> float | None:
        if not self._fall.open:
            return None
        nobody_at_work = self._box.nobody_at_work(self._floor.stepped)
        return answers.hold_until(self._fall, low_c=self._box.low_c, nobody_at_work=nobody_at_work)

    @property
    def diagnosis(self) -> Diagnosis:
        """What the floor is doing and why, as things stand."""
        if self._said is None:
            self._said = answers.diagnosis(
                self._box.brooder,
                fall=self._fall,
                rise=self._rise,
                loss=self._lost.loss,
                held_until=self._hold_until(),
                rests_until=max(self._floor.rests_until, self._box.heat.rests_until),
                pulses_until=self._floor.pulses_until,
                rate_k_per_h=self._floor.told_rate_k_per_h(known=self._fell_lately()),
                findings=self._health.findings,
                doubted=self._doubted(),
                warmth=self._warming.warmth,
            )
        return self._said

    def _fell_lately(self) -> bool:
        """Was heat lost, or let out, within minutes? Then what the floor does is no scatter."""
        loss, fall = self._lost.loss, self._fall
        began = NEVER if loss is None else loss.started
        if fall.verdict is not None:
            began = max(began, fall.onset)
        return self._floor.stepped - began <= _LATELY_S

    @property
    def learned(self) -> Learned | None:
        """The estimate as numbers; None: no floor reading yet."""
        model, floor_c = self._in_use.model, self._floor.temp_c
        if model is None or floor_c is None:
            return None
        return answers.learned(
            model,
            floor_c=floor_c,
            outside_measured=self._outside_known and self._outside.temp_c is not None,
        )

    def minutes_to(self, limit_c: float, tick: float) -> Interval | None:
        """Minutes until the floor reaches `limit_c`; None: it is not heading there."""
        in_use = self._in_use
        if in_use.model is None:
            return None
        return answers.minutes_to(
            limit_c,
            tick,
            model=in_use.model,
            fall=self._fall,
            lost_heat=self._lost,
            floor=self._floor,
            ambient_c=in_use.ambient_c,
        )

    def skies(self, now: Moment, until_at: float) -> Skies | None:
        """The coming outside from what was heard of it; None: too little was."""
        return self._outside.skies(now, until_at, self._box.midnight)

    def coming_night(
        self, start: Moment, outside: Skies, until_at: float, *, low_at: LowAt
    ) -> ComingNight | None:
        """The coming hours in the box; None: no reading of the floor."""
        floor_c, loss, fall = self._floor.temp_c, self._lost.loss, self._fall
        if floor_c is None or not self._floor.measured:
            return None
        if fall.may_pass(start.tick):
            floor_c = fall.expected_c(start.tick)
        return ComingNight(
            start,
            until_at,
            outside,
            low_at,
            floor_c=floor_c,
            model=self._in_use.model,
            prior=self._box.prior,
            follows=self._held.following(
                start,
                floor_c,
                self._floor.swing,
                outside[0],
                lost_k=0.0 if loss is None else loss.lost_k,
                above_c=self._lost.settles_above_c(start.tick, floor_c),
            ),
            nights=self._held.nights,
            lost=loss is not None,
            first_night=self._held.is_first_night(start.tick),
        )

    @property
    def w_per_k(self) -> float | None:
        """What the box loses for each kelvin, learned from measured watts."""
        return self._held.w_per_k

    def resume(self) -> None:
        """What was told last is told again, which changes nothing for who knows it."""
        self._said, self._told = None, ()
