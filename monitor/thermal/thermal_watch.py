"""What the floor of one brooder is doing, and why. One for each brooder, held by the engine, which
passes every inside reading to `observe` and every outside reading to `observe_outside`.

The way of a reading: `track` sums it up; every 25 s or so the sums of all floor probes make one
step of the `kalman` filter and of the floor's `course`; once that is lower than is usual, `fall`
decides when to tell and weighs why; `probe_health` looks at single probes once a minute.
Time and memory are bounded, and all is pure."""

from dataclasses import replace
from math import inf
from typing import NamedTuple

from monitor.brooding.heat_balance import Prior
from monitor.brooding.night_hours import asleep
from monitor.events import Moment
from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Brooder, Place
from monitor.thermal import answers as thermal_answers
from monitor.thermal import doubt
from monitor.thermal.answers import ComingNight, FloorNow
from monitor.thermal.causes import Explanation, Why
from monitor.thermal.climb import Climb
from monitor.thermal.course import Course
from monitor.thermal.diagnosis import (
    LIES_ELSEWHERE,
    Diagnosis,
    HeatKnown,
    Interval,
    Learned,
)
from monitor.thermal.fall import Fall, FloorStanding
from monitor.thermal.floor_fusion import FloorFusion
from monitor.thermal.follow import Follow, Following, unmeasured
from monitor.thermal.loss import HeatLoss
from monitor.thermal.model import FloorModel
from monitor.thermal.outside_curve import OutsideCurve, Skies
from monitor.thermal.outside_heard import OutsideHeard
from monitor.thermal.probe_health import CHECK_S, ProbeHealth
from monitor.thermal.reserve import Reserve
from monitor.thermal.rise import Rise
from monitor.thermal.slope import slope_per_h
from monitor.thermal.tonight import LowAt
from monitor.thermal.track import Track
from monitor.thermal.warming import Warming
from monitor.thermal.witness import Witness, measured

_STEP_S = 25.0  # a filter step at most this often: a reading every 30 s makes one step each
_GAP_S = 1800.0  # nothing heard for longer: begin anew, a ten-minute radio gap is bridged
_OUTSIDE_WAIT_S = 600.0  # a configured outside probe is waited for so long
_TAU_KNOWN, _SWITCHED_SD_K = 1.3, 3.0  # what stays known when the outside comes or goes
_LOST_SPREAD = 0.3  # of what a lost source took: one standard deviation
_ACTED_SD_K = 2.0  # what a grower's act may do to the rise
_CHANGED_SD_K = 4.0  # what a changed lamp may: it is what holds the floor
_CHANGED_S = 5400.0  # until the floor has settled by it: two or three time constants of a box
_NIGHT_SEEN_S = 18 * 3600.0  # since last evening: a night was among it
_RECENT_S, _RECENT_LEAST = 290.0, 3  # what the rate is taken from
_AT_TARGET_S = 600.0  # a floor as warm as it should be for so long has its heat
_SWING_KNOWN_S = 3600.0  # a thermostat has gone on and off by then
_WEATHER_S = 1800.0  # before a fall: an outside that came down by as much since then explains it
_DOWN_S, _DOWN_READINGS = 55.0, 2  # a probe beneath a source is down for so long
_ONSET_S = 300.0  # so exactly is it known when a slow fall began
_AFTER_ONSET_S = 20.0  # what a plug said later than this after the onset, it said of the fall
_NIGHT_H = (18.5, 7.5)  # lamps are hung for the night, and for the day. Common practice
ASLEEP_FROM_H, ASLEEP_TO_H = 23.0, 5.0  # nobody feeds or raises lamps. Common practice


class Down(NamedTuple):
    """A probe beneath a source that collapsed."""

    probe: str  # key
    since: Tick
    heard: Tick  # its latest reading
    readings: int
    back_c: float  # warmer than this it is back
    told: bool


@part
class ThermalWatch(Kept):
    """The estimate and the diagnosis of one floor."""

    _tracks: dict[str, Track]
    _health: ProbeHealth
    _outside: OutsideHeard
    _follow: Follow
    _reserve: Reserve
    _birds_held: Tick | None = None  # since when birds are in and the heat holds
    _model: FloorModel | None = None
    _first: Tick = NEVER  # floor reading
    _fall: Fall
    _rise: Rise
    _climb: Climb
    _warming: Warming
    _course: Course
    _outside_course: Course
    _acted: Tick = NEVER  # when the grower last did something here
    _changed: Tick = NEVER  # when the grower last changed the heat
    _warm_since: Tick | None = None  # the floor is at its target or above
    _down: Down | None = None
    _loss: HeatLoss | None = None
    _known: HeatKnown  # measured, not guessed
    _target_c: float | None = None
    _midnight: Tick | None = None  # some local midnight
    _floor_c: float | None = None
    _stepped: Tick = NEVER
    _checked: Tick = NEVER
    _recent: list[tuple[Tick, float]]

    def __init__(self, brooder: Brooder, prior: Prior, outside_known: bool) -> None:
        self._brooder = brooder
        self._prior = prior
        self._outside_known = outside_known
        self._watts = tuple(source.watts for source in brooder.heat)
        inside = [probe for probe in brooder.probes if probe.place is not Place.OUTSIDE]
        self._tracks = {probe.key: Track(probe.key, probe.place) for probe in inside}
        self._all = list(self._tracks.values())
        self._beneath = [track for track in self._all if track.place is Place.UNDER_HEAT]
        self._beside = [track for track in self._all if track.place is not Place.FLOOR]
        self._fusion = FloorFusion(self._all)
        self._witness = Witness(brooder, self._all)
        self._health = ProbeHealth(list(self._tracks))
        self._outside = OutsideHeard()
        self._follow = self._anew()
        self._reserve = Reserve()
        self._fall, self._rise, self._climb, self._warming = Fall(), Rise(), Climb(), Warming()
        self._course, self._outside_course = Course(slow=True), Course()
        self._known = HeatKnown({}, frozenset(), None)
        self._recent = []
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
        if track.place is Place.UNDER_HEAT and (self._down is not None or track.sunken):
            waited = self._see_collapse(tick) or waited
        if tick - self._stepped < _STEP_S:
            return self._tell() if waited else None
        return self._step(tick)

    def observe_outside(self, tick: float, temp_c: float) -> None:
        """One reading of an outside probe."""
        self._outside.observe(tick, temp_c, self._midnight)
        self._outside_course.add(tick, temp_c)

    def heat_is(self, tick: float, known: HeatKnown) -> Diagnosis | None:
        """What is measured of heat and cover: the lamp that draws nothing is out, the one that
        draws is not. The diagnosis, when it is another than the last one told."""
        before, self._known = self._known, known
        self._reserve.draws(tick, known.drawn_w)
        if known.cover_open:
            self._acted = tick
        if known.out != before.out:
            if self._loss is not None and set(self._loss.sources) <= before.out - known.out:
                if self._model is not None:
                    self._model.regained(self._loss.rise_before_k)
                self._loss = None
            self._keep_out(tick)
        return self._tell()

    def _keep_out(self, tick: float) -> None:
        """What is known to be out stays lost, whatever the floor makes believe."""
        out, model = self._known.out, self._model
        sources = tuple(sorted(out))
        if not out or model is None or self._target_c is None:
            return
        if self._loss is not None and set(self._loss.sources) >= out:
            return
        rise_k = model.filter.rise_k if self._loss is None else self._loss.rise_before_k
        share = sum(self._watts[i] for i in sources) / (sum(self._watts) + self._prior.bird_watts)
        # Without an outside probe the model's rise is the floor's own temperature.
        lost_k = share * (rise_k if model.outside_known else self._prior.rise_k)
        if self._loss is None or not out & set(self._loss.sources):
            model.lost(rise_k, lost_k)
        self._loss = HeatLoss(sources, tick, rise_k, lost_k, 1.0, sources)

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
        """The floor's target from now on. None: no batch in the box, and no heat to be missed: one
        that warms up or stands empty loses none."""
        if (target_c is None) != (self._target_c is None):
            self._fall.end()
            self._loss = self._warm_since = self._down = None
        self._target_c = target_c
        if target_c is None:
            self._birds_held = None
            self._follow = self._anew()

    def prior_is(self, prior: Prior) -> None:
        """Birds came, went or grew: what the box should do from first principles."""
        self._prior = prior

    def grower_acted(self, tick: float) -> None:
        """The grower did something to the box or the birds, as an entry says: the next hour may
        look different without anything being wrong."""
        self._acted = tick
        if self._model is not None:
            self._model.loosen(_ACTED_SD_K)
        self._follow.loosen(_ACTED_SD_K)

    def heat_changed(self, tick: float, since: float | None) -> None:
        """The grower changed the heat at tick `since`: no heat is missed, and what the box holds
        is learned anew. None: that entry is taken back."""
        self._changed = NEVER if since is None else since
        if not self._settling(tick):
            return
        self._loss = self._down = self._warm_since = None
        for track in self._beneath:
            track.course.clear()
        if self._model is not None:
            self._model.loosen(_CHANGED_SD_K)
            self._settle_anew(self._model, tick)
        self._follow.loosen(_CHANGED_SD_K)

    def _settling(self, tick: float) -> bool:
        return tick - self._changed < _CHANGED_S

    def _settle_anew(self, model: FloorModel, tick: float) -> None:
        if self._floor_c is not None:
            model.settle(tick, self._floor_c)
        self._fall.end()
        self._course.clear()

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
        recent = self._recent
        recent.append((tick, floor_c))
        while len(recent) > _RECENT_LEAST and recent[0][0] < tick - _RECENT_S:
            del recent[0]
        self._course.add(tick, floor_c)
        model = self._modelled(tick, floor_c)
        if model is None:
            return self._tell()
        if step_s > _GAP_S:
            self._begin_again(model, tick, floor_c)
        outside_c = self._ambient_c()
        model.step(tick, floor_c, outside_c)
        self._see_fall(model, tick, floor_c)
        target_c, limits = self._target_c, self._brooder.limits
        warmest, hour = self._fusion.warmest, self._hour(tick)
        if target_c is None or hour is None or not asleep(int(hour)):
            self._climb.rest()
        else:
            high_c = target_c + limits.band_c
            self._climb.look(tick, warmest, self._beside, target_c, high_c)
        self._rise.judge(tick, warmest, target_c, limits, self._climb)
        self._warming.judge(
            tick,
            warmest,
            target_c,
            limits,
            beneath=self._beneath,
            hour=hour,
            climb=self._climb,
        )
        doubt.look(self._all, tick, _STEP_S)
        if not self._fall.open:
            self._outside.stand_in(tick, floor_c, self._midnight)
            mean_c = model.learn(tick, floor_c, outside_c)
            if mean_c is not None:
                self._see_heat_held(model, tick, mean_c)
            if (
                self._loss is not None
                and self._down is None
                and self._loss.over(tick, model.filter.rise_k)
            ):
                self._loss = None
        self._keep_out(tick)
        if tick - self._checked >= CHECK_S:
            self._checked = tick
            disturbed = self._fall.open or self._rise.started is not None
            self._health.check(
                self._all,
                tick,
                self._outside.temp_c,
                self._outside.last_c,
                disturbed,
                outside_fresh=self._outside.fresh(tick),
                sources_seen=self._witness.sees_all,
            )
        return self._tell()

    def _see_heat_held(self, model: FloorModel, tick: float, mean_c: float) -> None:
        """The bank has learned: of the heat that holds, not of a loss nor of an empty box."""
        if self._loss is not None:
            self._birds_held = None
            return
        if self._target_c is None:
            return
        if self._birds_held is None:
            self._birds_held = tick
        if model.outside_known:
            self._follow.see(tick, mean_c, self._ambient_c(), night=self._is_night(tick))
            above_k = mean_c - self._follow.felt_c
            self._reserve.holds(tick, above_k, self._prior.bird_watts)

    def _anew(self) -> Follow:
        return Follow(thermostat=any(source.thermostat for source in self._brooder.heat))

    def _is_night(self, tick: float) -> bool:
        """Are the lamps hung for the night, and the birds lying down?"""
        hour = self._hour(tick)
        return hour is not None and (hour >= _NIGHT_H[0] or hour < _NIGHT_H[1])

    def _hour(self, tick: float) -> float | None:
        return None if self._midnight is None else ((tick - self._midnight) / 3600.0) % 24.0

    def _is_first_night(self, tick: float) -> bool:
        return self._birds_held is None or tick - self._birds_held < _NIGHT_SEEN_S

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
        return self._model

    def _begin_again(self, model: FloorModel, tick: float, floor_c: float) -> None:
        model.begin_again(tick, floor_c)
        self._fall.end()
        self._recent.clear()

    def _ambient_c(self) -> float:
        model, outside_c = self._model, self._outside.temp_c
        known = model is not None and model.outside_known
        return outside_c if known and outside_c is not None else 0.0

    # -- falls

    def _see_fall(self, model: FloorModel, tick: float, floor_c: float) -> None:
        fall = self._fall
        if self._target_c is None:
            return
        gone = {f.probe for f in self._health.findings if f.kind in LIES_ELSEWHERE}
        if gone and all(track.key in gone for track in self._fusion.floor):
            if fall.open and self._down is None:
                self._loss = None  # it was no floor that fell
            fall.end()
            return
        if self._settling(tick):
            chill_c = self._standing(floor_c).chill_c
            if chill_c is not None and floor_c >= chill_c:
                # The grower's own turn-down is no lost heat. The band is watched all the same.
                self._settle_anew(model, tick)
                return
        begins = (
            fall.begins_anew(self._course, tick, floor_c)
            if fall.open
            else (fall.begins(self._course, tick, floor_c))
        )
        if begins:
            self._begin_fall(model, tick, floor_c)
        if fall.open:
            fall.add(tick, floor_c)
        if fall.open:
            self._judge_fall(model, tick, floor_c)
        self._see_warmth(model, tick, floor_c)

    def _begin_fall(self, model: FloorModel, tick: float, floor_c: float) -> None:
        fall = self._fall
        fall.begin(self._course, tick, floor_c)
        fall.rise_k, fall.rise_sd_k = model.expected()
        # the rise above outside, which a loss takes a share of: measured, or from the box's size
        known = model.outside_known
        fall.explain(
            self._watts,
            self._prior.bird_watts,
            held_k=max(4.0, fall.rise_k if known else self._prior.rise_k),
            held_sd_k=fall.rise_sd_k if known else self._prior.rise_sd_k,
            doubt_k=fall.rise_sd_k,
            asleep=self._undisturbed(tick),
        )

    def _undisturbed(self, tick: float) -> bool:
        """Is nobody at the box: by its cover's switch, else by the hour?"""
        if self._known.cover_open is not None:
            return not self._known.cover_open
        return self._asleep(tick)

    def _asleep(self, tick: float) -> bool:
        hour = self._hour(tick)
        return hour is not None and (hour >= ASLEEP_FROM_H or hour < ASLEEP_TO_H)

    def _standing(self, floor_c: float) -> FloorStanding:
        low_c = chill_c = None
        if self._target_c is not None and self._fusion.on_floor:
            limits = self._brooder.limits
            low_c, chill_c = self._target_c - limits.band_c, self._target_c - limits.harm_c
        return FloorStanding(floor_c, self.rate_k_per_h, low_c, chill_c)

    def _judge_fall(self, model: FloorModel, tick: float, floor_c: float) -> None:
        fall = self._fall
        if fall.recovered:
            if self._loss is not None and fall.verdict is Why.LAMP:
                self._loss = None
                model.regained(fall.rise_k)
            model.settle(tick, floor_c, fall.rise_k)
            fall.end()
            return
        if fall.spent(tick):
            model.settle(tick, floor_c)
            fall.end()
            return
        tells = fall.verdict is not None or (
            fall.tells(
                tick,
                self._course,
                self._standing(floor_c),
                asleep=self._undisturbed(tick),
                acted=self._acted,
                others_hold=lambda: self._others_hold(tick),
            )
            and not self._weather(tick)
            and not self._rests(tick)
            and not self._may_swing(tick, floor_c)
        )
        if tells and not fall.decided(tick):
            self._weigh(model, tick)

    def _others_hold(self, tick: float) -> bool:
        """Does the floor fall, and nothing else that is heard in the box?"""
        self._witness.hear(tick, self._fall.onset, -self._fall.now_k)
        return self._witness.others_hold

    def _rests(self, tick: float) -> bool:
        """Did the floor begin to fall in a thermostat's rest, and may it go on with that?"""
        known = self._known
        return known.rests_since - _ONSET_S < self._fall.onset and tick < known.rests_until

    def _may_swing(self, tick: float, floor_c: float) -> bool:
        """In its first hour a thermostat's off-phase looks like lost heat: what its usual low is,
        is not known yet. Once out of the band it is no swing."""
        low_c = self._standing(floor_c).low_c
        return tick - self._first < _SWING_KNOWN_S and low_c is not None and floor_c >= low_c

    def _weather(self, tick: float) -> bool:
        """Did the outside come down by as much? A box follows it later, and by less."""
        now_c, fall = self._outside.temp_c, self._fall
        before = self._outside_course.mean(fall.onset - _WEATHER_S, fall.onset)
        if now_c is None or before is None or not self._outside.measured(tick):
            return False
        return before - now_c > -fall.now_k

    def _weigh(self, model: FloorModel, tick: float) -> None:
        """Which cause? Lost heat is remembered until it is back."""
        fall, witness = self._fall, self._witness
        heard = witness.hear(tick, fall.onset, -fall.now_k)

        def seen(one: Explanation) -> float:
            return witness.weight(one, heard, -fall.now_k) + measured(
                one,
                self._known,
                since=fall.onset + _AFTER_ONSET_S,
                tick=tick,
            )

        if fall.verdict is None:
            self._warm_since = None  # counted from here on
        fall.weigh(tick, model.bank.tau_s, model.wander_sd, seen, alone=witness.alone)
        best = fall.best
        if fall.verdict is not Why.LAMP or best is None:
            self._loss = None
            return
        lost_k = best.quick_k + best.slow_k
        if self._loss is None or self._loss.started < fall.onset - 60.0:
            model.lost(fall.rise_k, lost_k)
            self._follow.lost(lost_k, _LOST_SPREAD * lost_k)
        self._loss = HeatLoss(
            best.explanation.sources,
            best.onset,
            fall.rise_k,
            lost_k,
            self._source_chance(best.explanation.sources, fall.source_chance),
            tuple(index for index in range(len(self._watts)) if index not in witness.working),
        )

    def _source_chance(self, sources: tuple[int, ...], chance: float) -> float:
        """That it was these sources. Once named as sure they stay so: what is learned of the fall
        later is its end, which says less about the source than its beginning."""
        loss = self._loss
        return (
            chance if loss is None or loss.sources != sources else max(loss.source_chance, chance)
        )

    def _see_collapse(self, tick: float) -> bool:
        """A source whose own probe collapses is told once, whatever the floor does yet. It is over
        when that probe has come halfway back. True: this is news."""
        down, model = self._down, self._model
        if model is None or self._target_c is None:
            return False
        if down is not None and self._tracks[down.probe].last_c > down.back_c:
            if down.told and not self._fall.open:
                self._loss = None
            self._down = down = None
        found = self._witness.collapsed(tick)
        if found is None or (down is not None and down.told):
            return False
        track, index, usual_c = found
        if down is None or down.probe != track.key:
            down = Down(track.key, tick, NEVER, 0, 0.0, False)
        readings = down.readings + (track.last_tick > down.heard and track.held is None)
        told = readings >= _DOWN_READINGS and tick - down.since >= _DOWN_S
        told = told and not (self._floor_c is not None and self._may_swing(tick, self._floor_c))
        back_c = 0.5 * (usual_c + track.last_c)
        self._down = Down(track.key, down.since, track.last_tick, readings, back_c, told)
        if told and self._loss is None:
            self._warm_since = None
            rise_k = model.filter.rise_k
            lost_k = rise_k * self._watts[index] / (sum(self._watts) + self._prior.bird_watts)
            self._loss = HeatLoss((index,), down.since, rise_k, lost_k, 1.0, (index,))
        return told

    def _see_warmth(self, model: FloorModel, tick: float, floor_c: float) -> None:
        """A floor that stays as warm as it should be misses nothing."""
        target_c = self._target_c
        if target_c is None or floor_c < target_c or not self._fusion.on_floor:
            self._warm_since = None
        elif self._warm_since is None:
            self._warm_since = tick
        elif tick - self._warm_since >= _AT_TARGET_S:
            if self._fall.open:
                model.settle(tick, floor_c)
                self._fall.end()
            self._loss = None

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
            self._warming.warmth,
            self._health.findings,
            doubt.doubted(self._all, self._stepped),
        )

    def _hold_until(self) -> float | None:
        target_c = self._target_c
        return thermal_answers.hold_until(
            self._fall,
            self._rise,
            stepped=self._stepped,
            low_c=None if target_c is None else target_c - self._brooder.limits.band_c,
            asleep=self._undisturbed(self._stepped),
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
            warmth=self._warming.warmth,
        )

    @property
    def rate_k_per_h(self) -> float:
        """Of the floor, over the last five minutes, by least squares."""
        return slope_per_h(self._recent) if len(self._recent) >= _RECENT_LEAST else 0.0

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
        floor = FloorNow(self._floor_c, self._ambient_c(), self.rate_k_per_h, self._stepped)
        return thermal_answers.minutes_to(limit_c, tick, model=model, fall=self._fall, floor=floor)

    def skies(self, now: Moment, until_at: float) -> Skies | None:
        """The coming outside from what was heard of it; None: too little was."""
        return self._outside.skies(now, until_at, self._midnight)

    def coming_night(
        self, start: Moment, outside: Skies, until_at: float, *, low_at: LowAt
    ) -> ComingNight | None:
        """The coming hours in the box; None: no reading of the floor."""
        if self._floor_c is None or not self._fusion.on_floor:
            return None
        return ComingNight(
            start,
            until_at,
            outside,
            low_at,
            floor_c=self._floor_c,
            model=self._model,
            prior=self._prior,
            fall=self._fall,
            follows=self._following(start, self._floor_c, outside[0]),
            first_night=self._is_first_night(start.tick),
        )

    def _following(self, start: Moment, floor_c: float, outside: OutsideCurve) -> Following:
        """How the floor goes with the outside; what is not measured is felt as it is foretold."""
        outside_c = outside.at(start.at)
        model = self._model
        if model is not None and model.outside_known:
            night = self._is_night(start.tick)
            return self._follow.at(floor_c, outside_c, night=night)._replace(spare_k=self._spare_k)
        known = model is not None and model.known
        return unmeasured(floor_c, outside_c, known=known, at_once=outside.by_floor)

    @property
    def w_per_k(self) -> float | None:
        """What the box loses for each kelvin, learned from measured watts."""
        return self._reserve.w_per_k

    @property
    def _spare_k(self) -> float:
        whole_w = self._known.whole_w
        spare_k = None if whole_w is None else self._reserve.spare_k(whole_w)
        return inf if spare_k is None else spare_k

    def resume(self) -> None:
        """Sources that are no longer configured drop out. What was told last is told again, which
        changes nothing for who knows it."""
        count, known = len(self._watts), self._known
        if self._loss is not None and max(self._loss.sources) >= count:
            self._loss = None
        self._known = replace(
            known,
            lit={i: tick for i, tick in known.lit.items() if i < count},
            out=frozenset(i for i in known.out if i < count),
        )
        self._told = ()
