"""One fall of the floor away from what was foretold, from its onset to its end. Held by `thermal`.

While nothing is wrong, `follow` moves the onset along; once the change test speaks, `open` is set
and the departures since the onset are weighed by `causes` at every step, until the floor is back or
the fall has become the new normal."""

from collections.abc import Callable, Sequence
from math import exp, log

from monitor.events import State
from monitor.thermal.causes import Explanation, Weighed, Why, chances, explanations, weigh

HOLD_S = 1200.0  # a cover is off for feeding 5 to 15 min (common practice); warm again 5 min later
_SURE = 0.85  # chance of an explanation that is acted upon
# What stays undecided for so long is told as what it most likely is: a night is too short to wait.
_PATIENCE_S, _IMPATIENCE, _SURE_LEAST = 1200.0, 0.0007, 0.45
_SURE_STEPS = 2  # one after the other
_SURE_EARLY, _STEPS_EARLY = 0.99, 5  # in the first hours, when what is foretold may be wrong
_RENAME = 2.5  # log weight
# Once lamps are the verdict, which of them is weighed with these parts of the learned constant too.
_TAU_FACTORS, _TAU_SD = (0.4, 0.5, 0.63, 0.8, 1.0, 1.25, 1.6), 0.5  # sd of its logarithm
_EARLIEST_S = 75.0  # before that every fall looks alike
_SAMPLES = 48
_SHALLOW_K = -0.7
_SMALL_END_S = 360.0
_QUIET_END_S = 2700.0  # no verdict for so long: slow weather, the filter has followed it
_SETTLED_S = 4 * 3600.0  # a verdict for so long: the filter knows the new rise


class Fall:
    """The present or coming fall. Ticks in seconds, departures in K (negative: colder)."""

    __slots__ = (
        "_taus",
        "begun",
        "best",
        "candidates",
        "depth",
        "onset",
        "open",
        "open_c",
        "rise_k",
        "rise_sd_k",
        "samples",
        "source_chance",
        "sure_steps",
        "sure_why",
        "tau_s",
        "ticks",
        "verdict",
        "why",
    )

    def __init__(self) -> None:
        self.open = False
        self.begun = 0.0  # when the departures became more than noise
        self.onset = 0.0  # last tick at which nothing was wrong
        self.open_c = 0.0  # floor foretold from the onset on, with nothing measured since
        self.rise_k = 0.0
        self.rise_sd_k = 0.0
        self.ticks: list[float] = []
        self.samples: list[float] = []
        self.depth = 0.0  # deepest departure
        self.verdict: Why | None = None
        self.sure_why: Why | None = None
        self.sure_steps = 0
        self.source_chance = 0.0  # that the source named is the one, if it is any
        self.why: Why | None = None  # leading explanation, sure or not
        self.best: Weighed | None = None  # of the kind in `verdict`, else of `why`
        self.candidates: list[Explanation] = []
        self.tau_s = 0.0  # with which `best` explains the fall
        self._taus: dict[tuple[int, ...], float] = {}

    def follow(self, tick: float, temp_c: float, rise_k: float, rise_sd_k: float) -> None:
        """Nothing is wrong at `tick`: a fall that comes would begin here."""
        self.onset = tick
        self.open_c = temp_c
        self.rise_k = rise_k
        self.rise_sd_k = rise_sd_k
        if self.ticks:
            self.ticks.clear()
            self.samples.clear()

    def foretell(self, step_s: float, outside_c: float, tau_s: float) -> None:
        """Move the foretold floor on by `step_s`."""
        aim = outside_c + self.rise_k
        self.open_c = aim + (self.open_c - aim) * exp(-step_s / tau_s)

    def add(self, tick: float, temp_c: float) -> None:
        """One measured floor temperature."""
        departure = temp_c - self.open_c
        if len(self.ticks) == _SAMPLES:
            # keep the shape of a long fall in a bounded number of points: every other one
            del self.ticks[1:-1:2]
            del self.samples[1:-1:2]
        self.ticks.append(tick)
        self.samples.append(departure)
        self.depth = min(self.depth, departure)

    def begin(
        self,
        watts: tuple[float, ...],
        bird_watts: float,
        *,
        held_k: float,
        held_sd_k: float,
        asleep: bool,
    ) -> None:
        """The change test has spoken. `held_k` is the rise above outside; `asleep`: an hour at
        which nobody is at the box."""
        self.open = True
        self.begun = self.onset
        self.depth = min(self.samples, default=0.0)
        self.verdict = self.why = self.best = self.sure_why = None
        self.sure_steps = 0
        self.candidates = explanations(
            watts, bird_watts, held_k, held_sd_k, doubt_k=self.rise_sd_k, asleep=asleep
        )

    def end(self) -> None:
        """Over: the next `follow` begins anew."""
        self.open = False
        self.verdict = self.why = self.best = self.sure_why = None
        self.sure_steps = 0
        self.depth = 0.0
        self.ticks.clear()
        self.samples.clear()

    @property
    def now_k(self) -> float:
        """The latest departure."""
        return self.samples[-1] if self.samples else 0.0

    @property
    def recovered(self) -> bool:
        """The floor is back near where it was foretold to be."""
        if self.depth > _SHALLOW_K:  # hardly begun
            return self.now_k > -0.1
        return self.now_k > 0.25 * self.depth or self.now_k > max(-0.4, 0.5 * self.depth)

    @property
    def turning(self) -> bool:
        """It is on its way back."""
        return self.now_k > self.depth + max(0.4, -0.12 * self.depth)

    def spent(self, tick: float, falling: bool) -> bool:
        """Nothing that lasts, or long enough ago that the filter has learned what the floor is
        like now. `falling`: the change test still says so."""
        if self.verdict is None and self.why is Why.SMALL and not falling:
            return tick - self.onset > _SMALL_END_S
        limit = _QUIET_END_S if self.verdict is None else _SETTLED_S
        return tick - self.onset > limit

    def judge(
        self,
        tick: float,
        tau_s: float,
        noise_sd: float,
        witness: Callable[[Explanation], float],
        *,
        known: bool,
    ) -> None:
        """Weigh why. `witness` is what the other probes add to an explanation's log weight;
        `known`: the box has been watched long enough to foretell it."""
        age_s = tick - self.onset
        if age_s < _EARLIEST_S or len(self.samples) < 3 or self.turning:
            return
        onsets = self._onsets(tick, noise_sd)
        # an open cover is closed again within a quarter of an hour
        too_long = -max(0.0, tick - self.begun - 1020.0) / 30.0
        weighed = weigh(
            self.candidates,
            self.ticks,
            self.samples,
            onsets=onsets,
            tau_s=tau_s,
            noise_sd=noise_sd,
            witness=[witness(one) + (too_long if one.brief else 0.0) for one in self.candidates],
        )
        chance = chances(weighed)
        self.why = max(chance, key=lambda why: chance[why])
        wait_s = max(0.0, tick - self.begun - _PATIENCE_S)
        sure = max(_SURE_LEAST, _SURE - wait_s * _IMPATIENCE) if known else _SURE_EARLY
        if chance[self.why] > sure and self.why is not Why.SMALL:
            self.sure_steps = self.sure_steps + 1 if self.sure_why is self.why else 1
            self.sure_why = self.why
            if (
                self.sure_steps >= (_SURE_STEPS if known else _STEPS_EARLY)
                and self.verdict is not Why.LAMP
            ):
                self.verdict = self.why  # an open cover may turn out to be lamps, not the reverse
        else:
            self.sure_steps = 0
        told = self.verdict or self.why
        if told is Why.LAMP:
            weighed = self._lamps(onsets, tau_s, noise_sd, witness)
            total = sum(exp(one.log_weight - weighed[0].log_weight) for one in weighed)
            self.source_chance = 1.0 / total  # of the first among the lamps
        best = next(one for one in weighed if one.explanation.why is told)
        old = self.best
        if old is not None and self.verdict is not None and old.explanation.why is told:
            # name another source only when it is clearly the better one
            same = next(one for one in weighed if one.explanation is old.explanation)
            if best.log_weight < same.log_weight + _RENAME:
                best = same
        self.best = best
        self.tau_s = self._taus.get(best.explanation.sources, tau_s)

    def _lamps(
        self,
        onsets: Sequence[float],
        tau_s: float,
        noise_sd: float,
        witness: Callable[[Explanation], float],
    ) -> list[Weighed]:
        """The lamps, each with the time constant that explains the fall best, heaviest first. A
        quiet box tells little of how quickly it follows; the fall itself does, and with a wrong
        constant one dead lamp looks like all of them, or harm like an hour away."""
        lamps = [one for one in self.candidates if one.why is Why.LAMP]
        best: dict[tuple[int, ...], Weighed] = {}
        for factor in _TAU_FACTORS:
            doubt = -0.5 * (log(factor) / _TAU_SD) ** 2
            for one in weigh(
                lamps,
                self.ticks,
                self.samples,
                onsets=onsets,
                tau_s=factor * tau_s,
                noise_sd=noise_sd,
                witness=[witness(lamp) + doubt for lamp in lamps],
            ):
                sources = one.explanation.sources
                if sources not in best or one.log_weight > best[sources].log_weight:
                    best[sources] = one
                    self._taus[sources] = factor * tau_s
        return sorted(best.values(), key=lambda one: -one.log_weight)

    def _onsets(self, tick: float, noise_sd: float) -> list[float]:
        """When it may have begun: the test may have been above zero for a while before that."""
        quiet = 0
        for sample in self.samples:
            if sample < -2.5 * noise_sd:
                break
            quiet += 1
        self.begun = self.onset if quiet == 0 else self.ticks[min(quiet, len(self.ticks)) - 1]
        ends = [0, 1, quiet - 2, quiet - 1, quiet]
        found = {self.ticks[k] for k in ends if 0 <= k < len(self.ticks)}
        return [self.onset, *sorted(at for at in found if tick - at >= 60.0)]

    def state(self) -> State:
        """What is needed to go on after a restart."""
        return {
            "open": self.open,
            "onset": self.onset,
            "begun": self.begun,
            "open_c": self.open_c,
            "rise_k": self.rise_k,
            "rise_sd_k": self.rise_sd_k,
            "candidates": [
                [
                    str(c.why),
                    c.quick_k,
                    c.quick_sd,
                    c.slow_k,
                    c.slow_sd,
                    c.log_prior,
                    list(c.sources),
                    c.brief,
                ]
                for c in self.candidates
            ],
            "ticks": list(self.ticks),
            "samples": list(self.samples),
            "depth": self.depth,
            "verdict": self.verdict,
            "why": self.why,
            "sure": [self.sure_why, self.sure_steps, self.source_chance],
            "tau_s": self.tau_s,
            "best": None
            if self.best is None
            else [
                self.candidates.index(self.best.explanation),
                self.best.log_weight,
                self.best.quick_k,
                self.best.slow_k,
                self.best.onset,
            ],
        }

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`."""
        self.onset = float(state["onset"]) + shift_s
        self.begun = float(state["begun"]) + shift_s
        self.open_c = float(state["open_c"])
        self.rise_k = float(state["rise_k"])
        self.rise_sd_k = float(state["rise_sd_k"])
        self.ticks = [float(tick) + shift_s for tick in state["ticks"]]
        self.samples = [float(sample) for sample in state["samples"]]
        self.open = bool(state["open"])
        self.candidates = [
            Explanation(Why(why), q, q_sd, s, s_sd, prior, tuple(sources), brief)
            for why, q, q_sd, s, s_sd, prior, sources, brief in state["candidates"]
        ]
        self.depth = float(state["depth"])
        self.verdict = None if state["verdict"] is None else Why(state["verdict"])
        self.why = None if state["why"] is None else Why(state["why"])
        sure_why, self.sure_steps, self.source_chance = state["sure"]
        self.sure_why = None if sure_why is None else Why(sure_why)
        self.tau_s = float(state.get("tau_s", 0.0))
        self.best = None
        saved = state["best"]
        if saved is not None:
            index, log_weight, quick_k, slow_k, onset = saved
            self.best = Weighed(
                self.candidates[int(index)], log_weight, quick_k, slow_k, onset + shift_s
            )
