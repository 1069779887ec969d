"""How long the box takes to follow: its time constant, weighed among a few by how well each
foretells the floor. Called by `thermal` with means of a quarter of an hour.

D. T. Magill, "Optimal adaptive estimation of sampled stochastic processes", IEEE Trans. Automatic
Control 10 (1965) 434-439: a bank of Kalman filters, one for each value the constant may have, each
weighted by the likelihood of its residuals. Also holds the slow estimate of the rise, for the
nights to come, where the filter in `thermal` is quick."""

from dataclasses import dataclass
from math import exp, log, sqrt

from monitor.thermal.kalman import FloorFilter, rise_walk

_FACTORS = (0.4, 0.63, 1.0, 1.6, 2.5)  # of the prior's time constant: even steps of its logarithm
_MEAN_SD_K = 0.2  # K; such a mean wanders by this with birds and draughts
_MEAN_WALK = 0.05**2 / 900.0  # K2/s
_FORGET = 0.993  # a step: what was learned a day ago counts half (96 steps a day)


@dataclass(slots=True, init=False, eq=False)
class TimeConstants:
    """The bank. `tau_s`, `rise_k` and `rise_sd_k` are the weighted results."""

    _taus: list[float]
    _log_weights: list[float]
    _filters: list[FloorFilter]
    steps: int
    tau_s: float
    rise_k: float
    rise_sd_k: float

    def __init__(
        self,
        *,
        tick: float,
        temp_c: float,
        tau_s: float,
        tau_spread: float,
        rise_k: float,
        rise_sd_k: float,
        outside_known: bool,
    ) -> None:
        sd = log(tau_spread)
        self._taus = [tau_s * factor for factor in _FACTORS]
        self._log_weights = [-0.5 * (log(factor) / sd) ** 2 for factor in _FACTORS]
        self._filters = [
            FloorFilter(
                tick=tick,
                temp_c=temp_c,
                rise_k=rise_k,
                p_tt=_MEAN_SD_K**2,
                p_rr=rise_sd_k**2,
                reading_var=_MEAN_SD_K**2,
                temp_walk=_MEAN_WALK,
                rise_walk=rise_walk(outside_known),
            )
            for _ in _FACTORS
        ]
        self.steps = 0
        self._mix()

    def add(self, tick: float, temp_c: float, outside_c: float) -> None:
        """One more mean of the floor."""
        for index, (tau_s, one) in enumerate(zip(self._taus, self._filters, strict=True)):
            one.predict(tick, outside_c, tau_s)
            residual, spread = one.correct(temp_c)
            fit = -0.5 * (min(residual * residual / spread, 16.0) + log(spread))
            self._log_weights[index] = _FORGET * self._log_weights[index] + fit
        best = max(self._log_weights)
        self._log_weights = [max(weight - best, -30.0) for weight in self._log_weights]
        self.steps += 1
        self._mix()

    def resume(self, tick: float, temp_c: float) -> None:
        """Go on from here after a time that was not the box's own (a fall, a silence)."""
        for one in self._filters:
            one.tick = tick
            one.temp_c = temp_c
            one.p_tt = _MEAN_SD_K**2
            one.p_tr = 0.0
            one.p_rr += 0.25
        self._mix()

    def lost(self, step_k: float, sd_k: float) -> None:
        """The rise is known to have changed by `step_k` at once (a lamp went out)."""
        for one in self._filters:
            one.rise_k += step_k
            one.p_rr += sd_k * sd_k
        self._mix()

    def _mix(self) -> None:
        weights = [exp(weight) for weight in self._log_weights]
        total = sum(weights)
        weights = [weight / total for weight in weights]
        self.tau_s = exp(
            sum(weight * log(tau) for weight, tau in zip(weights, self._taus, strict=True))
        )
        rises = [one.rise_k for one in self._filters]
        self.rise_k = sum(w * rise for w, rise in zip(weights, rises, strict=True))
        variance = sum(
            w * (one.p_rr + (one.rise_k - self.rise_k) ** 2)
            for w, one in zip(weights, self._filters, strict=True)
        )
        self.rise_sd_k = sqrt(variance)
