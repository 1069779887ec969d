"""The floor's temperature and the rise its heat sustains, as a Kalman filter. Called by `thermal`
for every filter step and by `time_constant` for each time constant it weighs.

One box, one store of heat: dT/dt = -(T - outside - rise) / tau, with `rise` a slow random walk.
R. E. Kalman, "A new approach to linear filtering and prediction problems", J. Basic Engineering 82
(1960) 35-45; exact for irregular steps because the equation is solved in closed form over each.
Without an outside probe the caller passes 0 for outside: `rise` is then the temperature the floor
is heading for, outside included, and is let walk faster."""

from dataclasses import dataclass
from math import exp, sqrt

from monitor.kept import Tick

_RISE_WALK = 0.6**2 / 3600.0  # K2/s: the rise moves by 0.6 K in an hour (wind, birds, sun)
_FLOATING_WALK = 1.5**2 / 3600.0  # K2/s where the outside is not measured and walks too


def rise_walk(outside_known: bool) -> float:
    """How fast a rise walks, K2/s."""
    return _RISE_WALK if outside_known else _FLOATING_WALK


@dataclass(slots=True, kw_only=True, eq=False)
class FloorFilter:
    """Two states: `temp_c` and `rise_k`, with their covariance."""

    tick: Tick
    temp_c: float
    rise_k: float
    p_tt: float
    p_tr: float = 0.0
    p_rr: float
    reading_var: float  # K2
    temp_walk: float  # K2/s
    rise_walk: float

    @property
    def rise_sd_k(self) -> float:
        """Standard deviation of `rise_k`."""
        return sqrt(self.p_rr)

    def predict(self, tick: float, outside_c: float, tau_s: float) -> None:
        """Move on to `tick` with nothing measured."""
        step_s = tick - self.tick
        if step_s <= 0.0:
            return
        self.tick = tick
        keep = exp(-step_s / tau_s)
        gain = 1.0 - keep
        self.temp_c = keep * self.temp_c + gain * (outside_c + self.rise_k)
        p_tr = self.p_tr
        p_rr = self.p_rr
        self.p_tt = (
            keep * keep * self.p_tt
            + 2.0 * keep * gain * p_tr
            + gain * gain * p_rr
            + self.temp_walk * step_s
        )
        self.p_tr = keep * p_tr + gain * p_rr
        self.p_rr = p_rr + self.rise_walk * step_s

    def correct(self, temp_c: float) -> tuple[float, float]:
        """Take in one measured floor temperature; its residual and the residual's variance."""
        residual = temp_c - self.temp_c
        spread = self.p_tt + self.reading_var
        gain_t = self.p_tt / spread
        gain_r = self.p_tr / spread
        self.temp_c += gain_t * residual
        self.rise_k += gain_r * residual
        self.p_rr -= gain_r * self.p_tr
        self.p_tr -= gain_t * self.p_tr
        self.p_tt -= gain_t * self.p_tt
        return residual, spread
