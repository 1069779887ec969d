"""What the floor of one brooder is doing, and why. One for each brooder, held by the engine, which
passes every inside reading to `observe` and every outside reading to `observe_outside`.

The way of a reading: `track` sums it up; every 25 s or so the sums of all floor probes make one
step of the `kalman` filter; its residual goes to the `cusum` test; while that says "falls away from
what was foretold", `fall` weighs why; `probe_health` looks at single probes once a minute.
Everything is O(1) in time and memory, and pure."""

from dataclasses import asdict, dataclass
from math import exp, log, sqrt

from monitor.brooding.heat_balance import Prior
from monitor.site import Brooder, Place
from monitor.watch import tonight
from monitor.watch.causes import QUICK_S, Explanation, Why
from monitor.watch.cusum import Cusum
from monitor.watch.diagnosis import Diagnosis, Interval, Outlook
from monitor.watch.events import Cause, Moment, State
from monitor.watch.fall import HOLD_S, Fall
from monitor.watch.kalman import FloorFilter
from monitor.watch.outside_curve import OutsideCurve, OutsideHistory
from monitor.watch.probe_health import CHECK_S, ProbeHealth
from monitor.watch.rise import Rise
from monitor.watch.slope import slope_per_h
from monitor.watch.time_constant import TimeConstants
from monitor.watch.track import NEVER, Track
from monitor.watch.witness import Witness

_STEP_S = 25.0  # a filter step at most this often: a reading every 30 s makes one step each
_GAP_S = 1800.0  # nothing heard for longer: begin anew, a ten-minute radio gap is bridged
_BANK_S = 900.0
_OUTSIDE_S = 420.0  # smoothing of the outside probe
_READING_SD = 0.1  # K: quantisation, noise and the nearest bird
_TEMP_WALK = 0.10**2 / 60.0  # K2/s: draughts and birds move the floor by 0.1 K in a minute
_RISE_WALK = 0.6**2 / 3600.0  # K2/s
_FLOATING_WALK = 1.5**2 / 3600.0  # K2/s, where the outside is not measured
_NOISE_LEAST = 0.1
ASLEEP_FROM_H, ASLEEP_TO_H = 22.0, 5.0  # nobody feeds or raises lamps. Common practice
_FORGOTTEN_S = 36 * 3600.0  # lost heat that nobody missed for so long is how the box is now
_BANK_READY = 8  # steps after which the slow estimate is the better one
_SOURCE_SURE = 0.9
_RETURN_S = 2400.0  # a floor that rose quickly and comes back within this has not lost heat
_RETURN_K = 0.6
_LASTING_S = 900.0  # a rise for so long is more heat, not a chick
_DOUBT_K, _DOUBT_SHARE, _DOUBT_S = 3.5, 0.2, 600.0
_HOLD_DEPTH_K = 1.0  # a fall that is worth waiting for
_SLACK = 0.5  # looks for a shift of one standard deviation
_LIMIT = 7.0  # h: for independent residuals one false start in some 2,000 steps, a day; `causes`
# then says "nothing", so a false start costs a look, not an alarm
_WANDER_SD = 0.22  # K: how far a quiet floor strays from the foretold one within minutes


@dataclass(slots=True)
class Loss:
    """Heat that went out, from the verdict until it is back."""

    sources: tuple[int, ...]
    started: float
    rise_before_k: float
    lost_k: float
    chance: float
    source_chance: float


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
        self._floor = self._judged(Place.FLOOR, Place.COOL_END, Place.UNDER_HEAT)
        self._witness = Witness(brooder, self._all)
        self._health = ProbeHealth(list(self._tracks))
        self._history = OutsideHistory()
        self._outside_c: float | None = None
        self._outside_tick = 0.0
        self._filter: FloorFilter | None = None
        self._bank: TimeConstants | None = None
        self._bank_sum = 0.0
        self._bank_count = 0
        self._bank_tick = 0.0
        self._cusum = Cusum(_SLACK)
        self._noise = 1.0  # residual variance over what the filter expects
        self._fall = Fall()
        self._rise = Rise()
        self._loss: Loss | None = None
        self._rose_first = self._rose_last = -1e18  # when the present rise began, was last seen
        self._rose_from_c = 0.0
        self._calm_c = 0.0  # the floor when it last was not rising
        self._target_c: float | None = None
        self._midnight: float | None = None  # some local midnight
        self._floor_c: float | None = None
        self._floor_ref_c = 0.0  # before the present fall
        self._stepped = -1e18
        self._checked = -1e18
        self._recent: list[tuple[float, float]] = []
        self._told: tuple[object, ...] = ()

    def _judged(self, *places: Place) -> list[Track]:
        for place in places:
            found = [track for track in self._all if track.place is place]
            if found:
                return found
        return []

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
        self._history.add(tick, temp_c)
        old = self._outside_c
        if old is None:
            self._outside_c = temp_c
        else:
            gap_s = min(tick - self._outside_tick, 3600.0)
            if gap_s > 0.0:
                self._outside_c = old + (temp_c - old) * gap_s / (gap_s + _OUTSIDE_S)
        self._outside_tick = tick

    def target_is(self, target_c: float | None) -> None:
        """The floor's target from now on; None: no batch in the box."""
        self._target_c = target_c

    def prior_is(self, prior: Prior) -> None:
        """Birds came, went or grew: what the box should do from first principles."""
        self._prior = prior

    def grower_acted(self, tick: float, what: str) -> None:
        """The grower wrote or did something (`placed`, `moved`, `step-down`, `note`): the next hour
        may look different without anything being wrong."""
        del what  # every act loosens the estimate alike
        if self._filter is not None:
            self._filter.p_rr += 2.0**2
        if self._fall.open and self._fall.verdict is None:
            self._fall.end()
            self._cusum.reset(tick)

    def hour_is(self, tick: float, hour: float) -> None:
        """The local hour of day at `tick`, 0..24: by night nobody feeds."""
        self._midnight = tick - 3600.0 * hour

    # -- the step

    def _step(self, tick: float) -> Diagnosis | None:
        step_s = tick - self._stepped
        for track in self._all:
            track.take(step_s)
        measured = self._fuse(tick)
        if measured is None:
            return None
        self._stepped = tick
        self._floor_c = measured
        recent = self._recent
        recent.append((tick, measured))
        if len(recent) > 12:
            del recent[0]
        if self._outside_known and self._outside_c is None and self._filter is None:
            return None  # nothing can be learned before the outside is heard
        filt = self._filter
        if filt is None:
            filt = self._begin(tick, measured)
        if step_s > _GAP_S:
            self._begin_again(tick, measured)
        ambient = self._ambient_c()
        bank = self._bank
        assert bank is not None
        tau_s = bank.tau_s
        fall = self._fall
        if 0.0 < step_s <= _GAP_S:
            fall.foretell(step_s, ambient, tau_s)
        filt.predict(tick, ambient, tau_s)
        residual, spread = filt.correct(measured)
        scaled = residual * residual / spread
        noise = self._noise
        score = residual / sqrt(spread * noise)
        self._noise = noise + (min(scaled, 6.0 * noise) - noise) * 0.004
        self._noise = max(self._noise, _NOISE_LEAST)
        cusum = self._cusum
        cusum.add(score, tick)
        if cusum.high == 0.0:
            self._calm_c = filt.temp_c
        if fall.open:
            fall.add(tick, measured)
            self._judge_fall(tick, measured, tau_s)
        elif cusum.low == 0.0:
            slow = bank if bank.steps >= _BANK_READY else filt
            if self._outside_known:
                fall.follow(tick, filt.temp_c, slow.rise_k, slow.rise_sd_k)
            else:  # what it heads for is only known from where it is
                fall.follow(
                    tick, filt.temp_c, 0.5 * (filt.temp_c + slow.rise_k), 0.7 + slow.rise_sd_k
                )
            self._floor_ref_c = filt.temp_c
            for track in self._all:
                if track.level is not None:
                    track.ref = track.level
        else:
            fall.add(tick, measured)
            if cusum.low > _LIMIT:
                if self._comes_back(tick, measured):
                    filt.temp_c = measured
                    filt.p_tr = 0.0
                    cusum.reset(tick)
                else:
                    self._begin_fall(tick)
                    self._judge_fall(tick, measured, tau_s)
        if cusum.high > _LIMIT:
            self._rose(tick)
        self._rise.judge(tick, self._floor, self._target_c, self._brooder.limits)
        self._doubt(tick)
        if not fall.open:
            self._learn(tick, measured, ambient)
            if self._loss is not None and self._is_back(tick):
                self._loss = None
        if tick - self._checked >= CHECK_S:
            self._checked = tick
            self._health.check(
                self._all,
                tick,
                self._outside_c,
                self._history.last_c,
                fall.open or self._rise.started is not None,
            )
        return self._tell()

    def _rose(self, tick: float) -> None:
        """More heat than foretold: a chick on a probe, the sun, a lamp on again."""
        filt = self._filter
        assert filt is not None
        if tick - self._rose_last > _LASTING_S:
            self._rose_first = tick
            self._rose_from_c = self._calm_c
        elif tick - self._rose_first > _LASTING_S:
            filt.p_rr += 1.0  # it lasts: learn it quickly
        self._rose_last = tick
        self._cusum.high = 0.0

    def _comes_back(self, tick: float, measured: float) -> bool:
        """Is this fall the end of a rise?"""
        return tick - self._rose_last < _RETURN_S and measured > self._rose_from_c - _RETURN_K

    def _doubt(self, tick: float) -> None:
        """One probe goes its own way far quicker than a box can: it proves nothing for a while."""
        for track in self._all:
            if track.level is None or tick - track.last_tick > _STEP_S:
                continue
            own = abs(track.mean - track.level)
            if own < _DOUBT_K:
                if own < 0.5 * _DOUBT_K:
                    track.doubt_since = NEVER
                continue
            others = [
                abs(other.mean - other.level)
                for other in self._all
                if other is not track and other.level is not None and tick - other.last_tick < 90.0
            ]
            if others and max(others) < _DOUBT_SHARE * own and track.doubt_since == NEVER:
                track.doubt_since = tick

    def _doubted(self) -> tuple[str, ...]:
        tick = self._stepped
        return tuple(
            track.key
            for track in self._all
            if track.held is not None or tick - track.doubt_since < _DOUBT_S
        )

    def _fuse(self, tick: float) -> float | None:
        """One floor temperature from the floor probes that read in this step."""
        read = [track for track in self._floor if tick - track.last_tick <= _STEP_S]
        if len(read) > 1 and self._health.findings:
            bad = {finding.probe for finding in self._health.findings}
            read = [track for track in read if track.key not in bad] or read
        if not read:
            return None
        if len(read) == 1:
            return read[0].mean - (read[0].offset or 0.0)
        fused = sum(track.mean - (track.offset or 0.0) for track in read) / len(read)
        if not self._fall.open:
            for track in read:
                apart = track.mean - fused
                if track.offset is None:
                    track.offset = apart
                else:
                    track.offset += 0.002 * (apart - track.offset)
        return fused

    def _begin(self, tick: float, floor_c: float) -> FloorFilter:
        prior = self._prior
        if self._outside_known and self._outside_c is not None:
            rise_k, rise_sd_k = prior.rise_k, prior.rise_sd_k
            walk = _RISE_WALK
        else:
            rise_k, rise_sd_k = floor_c, 8.0
            walk = _FLOATING_WALK
        self._filter = FloorFilter(
            tick=tick,
            temp_c=floor_c,
            rise_k=rise_k,
            rise_var=rise_sd_k**2,
            reading_var=_READING_SD**2,
            temp_walk=_TEMP_WALK,
            rise_walk=walk,
        )
        self._bank = TimeConstants(
            tick=tick,
            temp_c=floor_c,
            tau_s=prior.time_constant_s,
            tau_spread=prior.time_constant_spread,
            rise_k=rise_k,
            rise_sd_k=rise_sd_k,
            outside_known=self._outside_known,
        )
        self._bank_tick = tick
        return self._filter

    def _begin_again(self, tick: float, floor_c: float) -> None:
        """After a long silence: what the box is like stands, where the floor is does not."""
        filt = self._filter
        assert filt is not None
        filt.tick = tick
        filt.temp_c = floor_c
        filt.p_tt = _READING_SD**2
        filt.p_tr = 0.0
        filt.p_rr += 4.0
        self._cusum.reset(tick)
        self._fall.end()
        self._fall.follow(tick, floor_c, filt.rise_k, sqrt(filt.p_rr))
        self._recent.clear()
        self._resume(tick, floor_c)

    def _resume(self, tick: float, floor_c: float) -> None:
        bank = self._bank
        assert bank is not None
        bank.resume(tick, floor_c)
        self._bank_sum = 0.0
        self._bank_count = 0
        self._bank_tick = tick

    def _judge_fall(self, tick: float, measured: float, tau_s: float) -> None:
        fall = self._fall
        noise_sd = _WANDER_SD * sqrt(max(_NOISE_LEAST, self._noise))
        floor_ref_c = self._floor_ref_c
        age_s = tick - fall.onset

        def witness(one: Explanation) -> float:
            return self._witness.weight(
                one,
                tick=tick,
                age_s=age_s,
                floor_ref_c=floor_ref_c,
                fallen_k=floor_ref_c - measured,
            )

        filt = self._filter
        bank = self._bank
        assert filt is not None
        assert bank is not None
        fall.judge(tick, tau_s, noise_sd, witness, known=bank.steps >= _BANK_READY)
        if fall.verdict is Why.LAMP and fall.best is not None:
            best = fall.best
            lost_k = best.quick_k + best.slow_k
            if self._loss is None or self._loss.started < fall.onset - 60.0:
                # known at once, where the filter would need an hour to learn it
                filt.rise_k = fall.rise_k - lost_k
                filt.p_rr = max(filt.p_rr, (0.3 * lost_k) ** 2)
                bank.lost(-lost_k, 0.3 * lost_k)
            self._loss = Loss(
                best.explanation.sources,
                best.onset,
                fall.rise_k,
                lost_k,
                fall.chance,
                fall.source_chance,
            )
        back = fall.recovered
        if back or fall.spent(tick, self._cusum.low > 0.0):
            if back:
                filt.rise_k = fall.rise_k
                filt.p_rr += 1.0
                if self._loss is not None and fall.verdict is Why.LAMP:
                    self._loss = None
                    bank.lost(fall.rise_k - bank.rise_k, 1.0)
            filt.temp_c = measured
            filt.p_tr = 0.0
            fall.end()
            self._cusum.reset(tick)
            self._resume(tick, measured)

    def _is_back(self, tick: float) -> bool:
        """Has lost heat come back, long after the fall?"""
        loss = self._loss
        filt = self._filter
        if loss is None or filt is None or self._fall.open:
            return False
        return (
            filt.rise_k > loss.rise_before_k - 0.35 * loss.lost_k
            or tick - loss.started > _FORGOTTEN_S
        )

    def _asleep(self, tick: float) -> bool:
        if self._midnight is None:
            return False
        hour = ((tick - self._midnight) / 3600.0) % 24.0
        return hour >= ASLEEP_FROM_H or hour < ASLEEP_TO_H

    def _begin_fall(self, tick: float) -> None:
        # the rise above outside, which a loss takes a share of: measured, or from the box's size
        known = self._outside_known
        self._fall.begin(
            self._watts,
            self._prior.bird_watts,
            held_k=max(4.0, self._fall.rise_k if known else self._prior.rise_k),
            held_sd_k=self._fall.rise_sd_k if known else self._prior.rise_sd_k,
            asleep=self._asleep(tick),
        )

    def _learn(self, tick: float, measured: float, ambient: float) -> None:
        self._bank_sum += measured
        self._bank_count += 1
        if tick - self._bank_tick >= _BANK_S:
            bank = self._bank
            assert bank is not None
            bank.add(tick, self._bank_sum / self._bank_count, ambient)
            self._bank_sum = 0.0
            self._bank_count = 0
            self._bank_tick = tick
            self._history.add_rise(tick, bank.rise_k)

    # -- what comes out

    def _tell(self) -> Diagnosis | None:
        fall = self._fall
        rise = self._rise
        told = (
            fall.verdict,
            None if self._loss is None else self._loss.sources,
            self._hold_until(),
            rise.overheat,
            self._health.findings,
            self._doubted(),
        )
        if told == self._told:
            return None
        self._told = told
        return self.diagnosis

    def _hold_until(self) -> float | None:
        """A fall that may be a grower's act and began in the band: wait and see."""
        hold = self._rise.hold_until
        fall = self._fall
        until = fall.begun + HOLD_S
        if (
            fall.open
            and fall.verdict is not Why.LAMP
            and fall.why is not Why.SMALL
            and fall.depth < -_HOLD_DEPTH_K
            and self._stepped < until
            and (
                self._target_c is None
                or self._floor_ref_c > self._target_c - self._brooder.limits.band_c
            )
        ):
            return until if hold is None else max(hold, until)
        return hold

    @property
    def diagnosis(self) -> Diagnosis:
        """As things stand."""
        fall = self._fall
        findings = self._health.findings
        if self._rise.overheat:
            return Diagnosis(
                cause=Cause.OVERHEAT,
                started=self._rise.started,
                confidence=0.9,
                rate_k_per_h=self.rate_k_per_h,
                hold_until=None,
                findings=findings,
                doubted=self._doubted(),
            )
        if self._loss is not None:
            name, sure, watts = self._source(self._loss)
            return Diagnosis(
                cause=Cause.HEAT_SOURCE,
                started=self._loss.started,
                source=name,
                source_sure=sure,
                source_watts=watts,
                settles_c=self._settles_c(),
                rate_k_per_h=self.rate_k_per_h,
                confidence=self._loss.chance,
                or_cover=not self._witness.can_tell,
                findings=findings,
                doubted=self._doubted(),
            )
        cause: Cause | None = None
        if fall.verdict is Why.COVER:
            cause = Cause.COVER_OPEN
        elif fall.verdict is Why.PROBE or findings:
            cause = Cause.SENSOR
        return Diagnosis(
            cause=cause,
            started=fall.onset if fall.open else None,
            rate_k_per_h=self.rate_k_per_h,
            confidence=fall.chance,
            hold_until=self._hold_until(),
            findings=findings,
            doubted=self._doubted(),
        )

    def _source(self, loss: Loss) -> tuple[str, bool, float]:
        """Name, whether it is hardly another one, watts."""
        lost = loss.sources
        watts = sum(self._watts[index] for index in lost)
        sure = loss.source_chance > _SOURCE_SURE
        if len(lost) > 1:
            return "every heat source", sure, watts
        return self._brooder.heat[lost[0]].name, sure, watts

    def _ambient_c(self) -> float:
        return self._outside_c if self._outside_known and self._outside_c is not None else 0.0

    def _settles_c(self) -> float | None:
        """Where the floor is heading with what heat is left."""
        if self._filter is None:
            return None
        if self._fall.open and self._loss is not None:
            return self._ambient_c() + self._loss.rise_before_k - self._loss.lost_k
        return self._ambient_c() + self._filter.rise_k

    @property
    def rate_k_per_h(self) -> float:
        """Of the floor, over the last five minutes, by least squares."""
        return slope_per_h(self._recent) if len(self._recent) > 2 else 0.0

    @property
    def floor_c(self) -> float | None:
        """The floor as all its probes together say."""
        return self._floor_c

    def minutes_to(self, limit_c: float, tick: float) -> Interval | None:
        """Minutes until the floor reaches `limit_c`, with an 80 % interval. None: it is not heading
        there. Always a limit somebody set: no time to harm has been published."""
        filt = self._filter
        bank = self._bank
        if filt is None or bank is None or self._floor_c is None:
            return None
        fall = self._fall
        now_c = self._floor_c
        ambient = self._ambient_c()
        best = fall.best if fall.verdict is Why.LAMP else None
        if best is not None:
            quick_left = best.quick_k * exp(-max(0.0, tick - best.onset) / QUICK_S)
            now_c -= quick_left
            settles = ambient + fall.rise_k - best.quick_k - best.slow_k
            settles_sd = 0.15 * (best.quick_k + best.slow_k) + 0.5
        else:
            settles = ambient + filt.rise_k
            settles_sd = sqrt(filt.p_rr) + 0.3
        elapsed = max(0.0, tick - self._stepped)
        mid = _minutes(now_c, settles, limit_c, bank.tau_s)
        soon = _minutes(now_c, settles - tonight.Z80 * settles_sd, limit_c, bank.tau_s * 0.75)
        late = _minutes(now_c, settles + tonight.Z80 * settles_sd, limit_c, bank.tau_s * 1.33)
        if mid is None:
            return None
        most = 24 * 60.0
        spent = elapsed / 60.0
        return Interval(
            max(0.0, min(mid, most) - spent),
            max(0.0, min(soon if soon is not None else mid, most) - spent),
            max(0.0, min(late if late is not None else most, most) - spent),
        )

    def outside_curve(self, now: Moment, until_at: float) -> OutsideCurve | None:
        """The coming outside from what the outside probe said. None: it has not said enough."""
        return self._history.curve(now, until_at) if self._outside_known else None

    def outlook(
        self,
        start: Moment,
        outside: OutsideCurve,
        until_at: float,
        *,
        low_c: float,
        extra_watts: float = 0.0,
        cover_gain: float = 1.0,
    ) -> Outlook | None:
        """The coming hours; None: no floor reading yet. `cover_gain` is the W/K of the box as it is
        over the W/K with the other cover."""
        bank = self._bank
        if bank is None or self._floor_c is None:
            return None
        watts = sum(self._watts) + self._prior.bird_watts
        rise_k, rise_sd_k = bank.rise_k, bank.rise_sd_k
        if not self._outside_known or self._outside_c is None:
            rise_k = self._floor_c - outside.at(start.at)
            # the curve's own error at this hour is in the floor's lead over it, and in the night's
            rise_sd_k = 0.8 + 0.8 * outside.sd(start.at)
        history = self._history
        base = history.rise_yesterday(start.tick)

        def change(at: float) -> float:
            then = history.rise_yesterday(start.tick + (at - start.at))
            return 0.0 if base is None or then is None else 0.6 * (then - base)

        return tonight.look_ahead(
            start=start,
            until_at=until_at,
            floor_c=self._floor_c,
            rise_k=rise_k,
            rise_sd_k=rise_sd_k,
            tau_s=bank.tau_s,
            scale=(1.0 + extra_watts / max(watts, 1.0)) * cover_gain,
            outside=outside,
            rise_change=change,
            low_c=low_c,
            watts=watts,
            learned=1.0 - exp(-bank.steps / 36.0),
        )

    # -- restarts

    def state(self) -> State:
        """What is needed to go on after a restart, exactly as if there had been none."""
        return {
            "tracks": {key: track.state() for key, track in self._tracks.items()},
            "health": self._health.state(),
            "history": self._history.state(),
            "outside": [self._outside_c, self._outside_tick],
            "filter": None if self._filter is None else self._filter.state(),
            "bank": None if self._bank is None else self._bank.state(),
            "bank_sums": [self._bank_sum, self._bank_count, self._bank_tick],
            "cusum": self._cusum.state(),
            "noise": self._noise,
            "fall": self._fall.state(),
            "rise": self._rise.state(),
            "loss": None if self._loss is None else asdict(self._loss),
            "target_c": self._target_c,
            "midnight": self._midnight,
            "floor_c": self._floor_c,
            "floor_ref_c": self._floor_ref_c,
            "ticks": [self._stepped, self._checked, self._rose_first, self._rose_last],
            "rose_from_c": [self._rose_from_c, self._calm_c],
            "recent": [list(pair) for pair in self._recent],
        }

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`. Probes that are gone are dropped."""
        for key, saved in state["tracks"].items():
            if key in self._tracks:
                self._tracks[key].restore(saved, shift_s)
        self._health.restore(state["health"], shift_s)
        self._history.restore(state["history"], shift_s)
        outside_c, outside_tick = state["outside"]
        self._outside_c = None if outside_c is None else float(outside_c)
        self._outside_tick = float(outside_tick) + shift_s
        if state["filter"] is not None and state["bank"] is not None:
            self._begin(0.0, 0.0).restore(state["filter"], shift_s)
            assert self._bank is not None
            self._bank.restore(state["bank"], shift_s)
        total, count, tick = state["bank_sums"]
        self._bank_sum, self._bank_count = float(total), int(count)
        self._bank_tick = float(tick) + shift_s
        self._cusum.restore(state["cusum"], shift_s)
        self._noise = float(state["noise"])
        self._fall.restore(state["fall"], shift_s)
        self._rise.restore(state["rise"], shift_s)
        loss = state["loss"]
        self._loss = None
        if loss is not None and max(loss["sources"]) < len(self._watts):
            self._loss = Loss(
                tuple(loss["sources"]),
                loss["started"] + shift_s,
                loss["rise_before_k"],
                loss["lost_k"],
                loss["chance"],
                loss["source_chance"],
            )
        self._target_c = state["target_c"]
        midnight = state["midnight"]
        self._midnight = None if midnight is None else midnight + shift_s
        self._floor_c = state["floor_c"]
        self._floor_ref_c = float(state["floor_ref_c"])
        self._stepped, self._checked, self._rose_first, self._rose_last = (
            float(tick) + shift_s for tick in state["ticks"]
        )
        self._rose_from_c, self._calm_c = (float(temp) for temp in state["rose_from_c"])
        self._recent = [(float(t) + shift_s, float(c)) for t, c in state["recent"]]


def _minutes(now_c: float, settles_c: float, limit_c: float, tau_s: float) -> float | None:
    """From `now_c` towards `settles_c`, until `limit_c` is passed."""
    if now_c <= limit_c:
        return 0.0
    if settles_c >= limit_c:
        return None
    return tau_s / 60.0 * log((now_c - settles_c) / (limit_c - settles_c))
