"""One fall of the floor below what is usual, from its onset to its end. Held by `fall_watch`.

Simple rules come first: how far it came down, whether it still falls, whether it is heading out of
the band, and for how long a grower at work would explain it. `causes` weighs why."""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import exp, log

from monitor.kept import ByTuple, Kept, Tick
from monitor.thermal.causes import (
    Explanation,
    Lost,
    Weighed,
    Why,
    chances,
    explanations,
    weigh,
)
from monitor.thermal.course import Course
from monitor.thermal.floor import Floor
from monitor.thermal.slope import goes_on_k
from monitor.thermal.swing import overdue
from monitor.thermal.witness import SELDOM_S, Witness

HOLD_S = 1200.0  # a cover is off for feeding 5 to 15 min (common practice); warm again 5 min later
# How far below the usual low the floor must be, K: to be looked at, and to be told; quick falls and
# those of half an hour. The more restless a floor, the further.
_LOOKED_AT_K, _LOOKED_AT_SLOW_K = 0.5, 1.0
_TOLD_K, _TOLD_SLOW_K = 0.6, 1.2
_RESTLESS, _RESTLESS_TOLD = 0.7, 0.9  # of the spread
_STEPS = 2.0  # of a coarse probe: one may be next to nothing
# Looked at too: by so much within six minutes, and more steeply than ever in the hour before. One
# that ends below its usual low is no way back down.
_STEEP_K, _BELOW_K = 0.2, 0.3
_SWINGS_K = 0.3  # so wide a spread may be a thermostat's
_STILL_K_PER_H = -1.2  # falls no faster: it has come to rest
_AT_LOWEST_K = 0.2
# A fall at work hours waits for a feeding to be over, and longer where it is like one: an open
# cover lets the air out at once and loses little after. Where harm is near it waits less: within
# ten minutes as the fall slackens, or within two while that is not yet seen. Common practice.
_ASLEEP_S, _AWAKE_S, _FEEDING_S = 200.0, 540.0, 900.0
_AIR_OUT = 0.45  # of the mean pace since the onset
# In its band it is told where it would leave that within half an hour; within ten minutes while
# work at the box may explain it, no longer than a feeding lasts, and while it slackens and no other
# probe shares it: birds leave a probe, litter shifts over it. Common practice.
_AHEAD_S, _AHEAD_UNSURE_S = 1800.0, 600.0
_SHUT_S = 300.0  # ... where the cover is seen to be on: a lamp is swapped in less
_HARM_S, _HARM_ASLEEP_S, _HARM_AWAKE_S = 600.0, 100.0, 180.0
_OTHERS_HOLD_S = 360.0  # by day, while nothing else in the box falls: a probe's fault shows by then
_LATEST_S = 120.0
_SHAPE_S = 2.5 * _LATEST_S  # sooner nobody can tell whether it slackens
_LEAST_READINGS = 3
# From so near the chill limit, or below: so much of what the heat holds it above outside.
_NEAR_CHILL_K, _OF_RISE = 2.0, 0.1
_RENAME = 2.5  # log weight by which another cause must be the better one
_RETHINK_S = 2700.0  # later the end of a fall says little of its cause
# Which of several lamps is weighed with these parts of the learned constant too.
_TAU_FACTORS, _TAU_SD = (0.25, 0.4, 0.63, 1.0, 1.6), 0.7  # sd of its logarithm
_ANEW_S, _SHARP = 240.0, 0.4
_SAMPLES = 48
_PACE_S = 3600.0  # an evening's pace before the fall is taken from so long ...
_PACE_MOST = 1.5 / 3600.0  # ... and is no more than this, K/s
_LEVEL_S = 600.0
_FAST_BACK_S, _SLOW_BACK_S = 1500.0, 3600.0  # where the onset is looked for
_QUIET_END_S = 2700.0  # not told for so long: the new usual
_SETTLED_S = 4 * 3600.0  # told for so long: the filter knows the new rise


@dataclass(slots=True, eq=False)
class Fall(Kept):
    """The present or coming fall. Ticks in seconds, departures in K (negative: colder)."""

    open: bool = False
    onset: Tick = 0.0  # last one at which nothing was wrong
    from_c: float = 0.0  # floor then
    _low_k: float = 0.0  # the low that was usual then, above that
    _pace: float = 0.0  # K/s, of the hour before
    rise_k: float = 0.0  # above outside, before
    rise_sd_k: float = 0.0
    ticks: list[Tick] = field(default_factory=list)
    samples: list[float] = field(default_factory=list)
    depth: float = 0.0  # deepest departure
    _readings: int = 0  # since it was looked at
    aired: Tick | None = None  # when the box's air was seen to go
    verdict: Why | None = None
    chance: float = 0.0  # of the verdict
    source_chance: float = 0.0  # that the source named is the one, if it is any
    best: Weighed | None = None  # of the kind in `verdict`
    candidates: list[Explanation] = field(default_factory=list)
    tau_s: float = 0.0  # with which `best` explains the fall
    _taus: ByTuple[tuple[int, ...], float] = field(default_factory=dict)

    @staticmethod
    def begins(floor: Floor, tick: float, floor_c: float) -> bool:
        """Is the floor lower than is usual for it?"""
        course = floor.course
        return (
            _is_below(course, floor_c, _LOOKED_AT_K, _LOOKED_AT_SLOW_K, _RESTLESS)
            or _is_steep(course, tick, floor_c)
            or _is_overdue(floor, tick, floor_c)
        )

    @staticmethod
    def _deep(floor: Floor, tick: float, floor_c: float) -> bool:
        course = floor.course
        told_k = max(_TOLD_K, _STEPS * course.grain_k)
        below = _is_below(course, floor_c, told_k, max(told_k, _TOLD_SLOW_K), _RESTLESS_TOLD)
        return below or _is_overdue(floor, tick, floor_c)

    def begins_anew(self, floor: Floor, tick: float, floor_c: float) -> bool:
        """Something else happened on top of a slow fall that was not worth telling."""
        if self.verdict is not None or tick - self.onset < _ANEW_S:
            return False
        onset, sharp = floor.course.onset(tick, floor_c, _FAST_BACK_S)
        return sharp > _SHARP and onset > self.onset + 0.5 * _ANEW_S

    def begin(self, course: Course, tick: float, floor_c: float) -> None:
        """It does: from when on, and from where?"""
        aired = self.aired
        self.end()
        self.aired = aired
        self.open = True
        quick = course.quick
        fast = quick is not None and quick.low_c - floor_c > _STEEP_K
        back_s = _FAST_BACK_S if fast else _SLOW_BACK_S
        self.onset, _ = course.onset(tick, floor_c, back_s)
        onset = self.onset
        level = course.mean(onset - _LEVEL_S, onset)
        self.from_c = floor_c if level is None else level
        self._low_k = 0.0 if quick is None else quick.low_c - self.from_c
        before = course.mean(onset - _PACE_S, onset - _PACE_S + _LEVEL_S)
        pace = 0.0 if before is None else (self.from_c - before) / (_PACE_S - 0.5 * _LEVEL_S)
        self._pace = min(0.0, max(-_PACE_MOST, pace))
        for at, mean in zip(course.ticks, course.means, strict=True):
            if at > onset:
                self._add(at, mean)

    def explain(
        self,
        watts: tuple[float, ...],
        bird_watts: float,
        *,
        held_k: float,
        held_sd_k: float,
        doubt_k: float,
        nobody_at_work: bool,
    ) -> None:
        """What may be behind it. `held_k`: the rise above outside, foretold to within `doubt_k`."""
        self.candidates = explanations(
            watts,
            bird_watts,
            held_k,
            held_sd_k,
            doubt_k=doubt_k,
            nobody_at_work=nobody_at_work,
        )

    def expected_c(self, tick: float) -> float:
        """The floor at `tick`, had nothing happened."""
        return self.from_c + self._pace * (tick - self.onset)

    def may_pass(self, tick: float) -> bool:
        """May it be a cover that is off for some minutes? Not where heat is known to be lost."""
        return self.open and self.verdict is not Why.LAMP and tick - self.onset <= HOLD_S

    def add(self, tick: float, temp_c: float) -> None:
        """One measured floor temperature."""
        self._readings += 1
        self._add(tick, temp_c)

    def _add(self, tick: float, temp_c: float) -> None:
        departure = temp_c - self.expected_c(tick)
        if len(self.ticks) == _SAMPLES:
            # keep the shape of a long fall in a bounded number of points: every other one
            del self.ticks[1:-1:2]
            del self.samples[1:-1:2]
        self.ticks.append(tick)
        self.samples.append(departure)
        self.depth = min(self.depth, departure)

    def end(self) -> None:
        """Over: the next one begins anew."""
        self.open = False
        self.verdict = self.best = None
        self.depth = 0.0
        self._readings = 0
        self.aired = None
        self.ticks.clear()
        self.samples.clear()
        self._taus.clear()

    @property
    def now_k(self) -> float:
        """The floor's latest departure from where it was, in K."""
        return self.samples[-1] if self.samples else 0.0

    @property
    def lost(self) -> Lost | None:
        """What it takes from the floor, if it is lost heat."""
        best = self.best if self.verdict is Why.LAMP else None
        if best is None:
            return None
        return Lost(best.quick_k, best.slow_k, best.onset, self.rise_k)

    @property
    def recovered(self) -> bool:
        """The floor is back near where it was."""
        if self.verdict is None:
            return self.now_k > min(-_STEEP_K, 0.4 * self.depth)
        return self.now_k > 0.25 * self.depth

    def spent(self, tick: float) -> bool:
        """Long enough ago that what the floor is like now is known."""
        return tick - self.onset > (_QUIET_END_S if self.verdict is None else _SETTLED_S)

    def decided(self, tick: float) -> bool:
        """There is a verdict, and what comes says nothing more of the cause."""
        turned = self.now_k - self.depth > 2.0 * _AT_LOWEST_K
        return self.verdict is not None and (turned or tick - self.onset > _RETHINK_S)

    def lies_open(self, tick: float, hear: Callable[[], Witness], *, nobody_at_work: bool) -> bool:
        """Is the cover off for good, wherever the floor comes to rest? The box's air was seen to
        go and has not come back, and no feeding explains it, or none that lasts so long."""
        if self.aired is None or self._readings < _LEAST_READINGS:
            return False
        if not hear().air_is_away(tick, self.onset):
            self.aired = None  # it was back once; what is away later is the cold outside
            return False
        return nobody_at_work or tick - self.aired >= _FEEDING_S

    def tells(
        self,
        tick: float,
        floor: Floor,
        floor_c: float,
        *,
        nobody_at_work: bool,
        acted_lately: bool,
        by_night: bool,
        hear: Callable[[], Witness],
    ) -> bool:
        """Is it time to say so? `hear`: what the other probes say of it."""
        if self._readings < _LEAST_READINGS or not self._deep(floor, tick, floor_c):
            return False
        lowest_k = self.now_k - self.depth
        rate_k_per_h = floor.rate_k_per_h
        low_c, chill_c = floor.low_c, floor.chill_c
        # That it is cold was told: what takes the heat takes more than a bird that moved.
        little = -self.now_k < _OF_RISE * self.rise_k
        known = chill_c is not None and self.from_c < chill_c + _NEAR_CHILL_K and little
        if rate_k_per_h > _STILL_K_PER_H or lowest_k > _AT_LOWEST_K or known:
            return False
        if low_c is not None and floor_c >= low_c and hear().spared:
            return False  # its birds went, or it is the probe
        course = floor.course
        steeper = course.fell_k(tick, floor_c) > course.steepest_k
        age_s = tick - self.onset if nobody_at_work else self._present_s(tick, steeper=steeper)
        latest = self._latest_pace(tick)
        pace = rate_k_per_h / 3600.0
        quickens = latest <= pace <= self.now_k / (tick - self.onset)
        # A pulse that did not come is no bird that left the probe.
        late = floor.overdue(tick, floor_c)
        slackens_alone = not quickens and not late and not hear().others_fall
        if slackens_alone:
            pace = max(pace, latest)  # that of five minutes ago: what is at rest heads nowhere
        if low_c is None or chill_c is None:
            return age_s >= _AWAKE_S
        # By day a cloud does what a lamp does.
        shut = nobody_at_work or (by_night and not acted_lately and hear().shut)
        feeding = not shut and (acted_lately or latest > _AIR_OUT * self.now_k / age_s)
        doubt_s = 0.0 if nobody_at_work or not hear().others_hold else _OTHERS_HOLD_S
        comes_k = latest * _HARM_S
        if not shut:
            seen = age_s >= _SHAPE_S
            comes_k = self._goes_on_k(tick, _HARM_S) if seen else latest * _LATEST_S
        if floor_c < low_c and floor_c + comes_k < chill_c:
            awake_s = max(doubt_s, _HARM_AWAKE_S)
            wait_s = _HARM_ASLEEP_S if nobody_at_work else _FEEDING_S if feeding else awake_s
            if age_s >= wait_s:
                return True
        awake_s = max(doubt_s, _SHUT_S if shut else _AWAKE_S)
        wait_s = _ASLEEP_S if nobody_at_work else _FEEDING_S if feeding else awake_s
        goes_on = by_night and tick - self.onset >= _FEEDING_S
        sure = goes_on or (nobody_at_work and not slackens_alone) or (shut and quickens)
        comes_k = pace * (_AHEAD_S if sure else _AHEAD_UNSURE_S)
        if not sure and self._seldom(tick):  # a lid that was lifted: the floor comes to rest
            comes_k = max(comes_k, self._goes_on_k(tick, _AHEAD_UNSURE_S))
        # From below its band it is told where it heads for the chill limit: the rest is known.
        edge_c = low_c if self.from_c >= low_c else chill_c
        return age_s >= wait_s and floor_c + comes_k < edge_c

    def _present_s(self, tick: float, *, steeper: bool) -> float:
        """For how long it falls as it does now: twice the time since it was half as deep as against
        the last quarter of an hour; where it falls more steeply than in the hour before, against
        its usual low then. A cover lifted after a lamp was raised, or in a thermostat's off-phase,
        is off since then only."""
        back_s = 1.1 * _FEEDING_S
        highest_k = max(
            k for at, k in zip(self.ticks, self.samples, strict=True) if tick - at <= back_s
        )
        if steeper:
            highest_k = max(self.now_k, min(highest_k, self._low_k))
        half_k, after, after_k = 0.5 * (highest_k + self.now_k), tick, self.now_k
        for at, sample_k in zip(reversed(self.ticks), reversed(self.samples), strict=True):
            if sample_k > half_k:
                share = (half_k - after_k) / (sample_k - after_k)
                return min(tick - self.onset, 2.0 * (tick - after + share * (after - at)))
            after, after_k = at, sample_k
        return tick - self.onset

    def _latest_pace(self, tick: float) -> float:
        """K/s over the last two minutes or so."""
        first = self._latest(tick)
        span_s = self.ticks[-1] - self.ticks[first]
        return (self.samples[-1] - self.samples[first]) / span_s if span_s > 0.0 else 0.0

    def _goes_on_k(self, tick: float, ahead_s: float) -> float:
        """What comes yet in so long, at the pace to which it slackens."""
        first = self._latest(tick)
        from_at, from_k = self.ticks[first], self.samples[first]
        span_s = self.ticks[-1] - from_at
        if span_s <= 0.0:
            return 0.0
        then, after, after_k = from_at - span_s, from_at, from_k
        before_k = 0.0
        for at, sample_k in zip(self.ticks[first::-1], self.samples[first::-1], strict=True):
            if at <= then:
                before_k = sample_k + (after_k - sample_k) * (then - at) / (after - at)
                break
            after, after_k = at, sample_k
        return goes_on_k(from_k - before_k, self.samples[-1] - from_k, ahead_s / span_s)

    def _latest(self, tick: float) -> int:
        """The first sample of the last two minutes or so; of three, or of two that lie further
        apart than that."""
        first = next((k for k, at in enumerate(self.ticks) if tick - at <= _LATEST_S), 0)
        least = 2 if self._seldom(tick) else _LEAST_READINGS
        return max(0, min(first, len(self.ticks) - least))

    def _seldom(self, tick: float) -> bool:
        """Is the floor heard every few minutes only?"""
        return len(self.ticks) > 2 and tick - self.ticks[-3] >= SELDOM_S

    def weigh(
        self,
        tick: float,
        tau_s: float,
        noise_sd: float,
        witness: Callable[[Explanation], float],
    ) -> None:
        """Settle on a cause, or on a better one. `witness` is what the other probes add to an
        explanation's log weight."""
        onsets = [self.onset, *(at for at in self.ticks[:3] if tick - at >= 60.0)]
        witnessed = [witness(one) for one in self.candidates]
        best: dict[tuple[Why, tuple[int, ...]], Weighed] = {}
        for factor in _TAU_FACTORS:
            doubt = -0.5 * (log(factor) / _TAU_SD) ** 2
            for one in weigh(
                self.candidates,
                self.ticks,
                self.samples,
                onsets=onsets,
                tau_s=factor * tau_s,
                noise_sd=noise_sd,
                witness=[added + doubt for added in witnessed],
            ):
                key = (one.explanation.why, one.explanation.sources)
                if key not in best or one.log_weight > best[key].log_weight:
                    best[key] = one
                    if one.explanation.why is Why.LAMP:
                        self._taus[one.explanation.sources] = factor * tau_s
        found = sorted(best.values(), key=lambda one: -one.log_weight)
        chance = chances(found)
        why = max(chance, key=lambda it: chance[it])
        old = self.verdict
        # How it slackens tells little: lost heat may prove to be the probe, but no open cover.
        to_cover = old is Why.LAMP and why is Why.COVER
        if old is not None and (to_cover or chance[why] < exp(_RENAME) * chance[old]):
            why = old
        self.chance = chance[why]
        self._settle(why, [one for one in found if one.explanation.why is why], tau_s)

    def _settle(self, why: Why, found: list[Weighed], tau_s: float) -> None:
        first, old = found[0], self.best
        if old is not None and self.verdict is why:
            # name another source only when it is clearly the better one
            same = next(one for one in found if one.explanation == old.explanation)
            if first.log_weight < same.log_weight + _RENAME:
                first = same
        if why is Why.LAMP:
            total = sum(exp(one.log_weight - first.log_weight) for one in found)
            self.source_chance = 1.0 / total
        self.verdict, self.best = why, first
        self.tau_s = self._taus.get(first.explanation.sources, tau_s)


def _is_below(
    course: Course, floor_c: float, quick_k: float, slow_k: float, restless: float
) -> bool:
    """Lower than is usual, by so much and a share of the spread."""
    quick, slow = course.quick, course.slow
    return (quick is not None and quick.low_c - floor_c > quick_k + restless * quick.spread_k) or (
        slow is not None and slow.low_c - floor_c > slow_k + restless * slow.spread_k
    )


def _is_steep(course: Course, tick: float, floor_c: float) -> bool:
    """Did it fall more steeply than in the hour before, and to where it has not been?"""
    usual = course.quick
    if usual is None or usual.low_c - floor_c < min(_BELOW_K, course.grain_k):
        return False
    fell_k = course.fell_k(tick, floor_c)
    if fell_k <= _STEEP_K:
        return False
    steepest_k = course.steepest_k  # dearest of all, and seldom asked for
    return usual.low_c - floor_c >= min(_BELOW_K, steepest_k) and fell_k > steepest_k


def _is_overdue(floor: Floor, tick: float, floor_c: float) -> bool:
    """A thermostat's next pulse has not come."""
    course, quick = floor.course, floor.course.quick
    if quick is None or floor_c >= quick.low_c:
        return False
    swings = quick.spread_k > _SWINGS_K and overdue(course.ticks, course.means, tick, floor_c)
    return swings or floor.overdue(tick, floor_c)
