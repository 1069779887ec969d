"""How much heat a thermostat keeps back for a colder night: learned from the watts that plugs
measure and the kelvins that those watts and the birds hold. Held by `thermal_watch`."""

from dataclasses import dataclass
from math import exp

from monitor.kept import NEVER, Kept, Tick

_FORGETS_S = 8 * 3600.0  # what a box loses: a night's worth
_NOW_S = 1.5 * 3600.0  # what it draws now: a few of a thermostat's rests
_SILENT_S = 900.0  # a plug's word counts no longer
_LEAST_S, _LEAST_K = 2 * 3600.0, 3.0  # less tells nothing of what the box loses


@dataclass(slots=True, init=False, eq=False)
class Reserve(Kept):
    """Of one box. Watts and kelvins are sums over time, older ones fading."""

    _tick: Tick
    _drawn_w: float | None
    _joules: float  # since the last mean
    _heard_s: float
    _seconds: float
    _watt_s: float
    _kelvin_s: float
    _now_w: float

    def __init__(self) -> None:
        self._tick, self._drawn_w = NEVER, None
        self._joules = self._heard_s = self._seconds = self._watt_s = self._kelvin_s = 0.0
        self._now_w = 0.0

    def draws(self, tick: float, watts: float | None) -> None:
        """All sources together, from now on. None: not every plug is heard."""
        if self._drawn_w is not None:
            held_s = min(max(0.0, tick - self._tick), _SILENT_S)
            self._joules += held_s * self._drawn_w
            self._heard_s += held_s
        self._tick, self._drawn_w = tick, watts

    def holds(self, tick: float, above_k: float, bird_watts: float) -> None:
        """A mean: what was drawn since the last one held the floor so far above the outside."""
        self.draws(tick, self._drawn_w)
        heard_s, self._heard_s = self._heard_s, 0.0
        joules, self._joules = self._joules, 0.0
        if heard_s <= 0.0:
            return
        mean_w = joules / heard_s
        kept, now = exp(-heard_s / _FORGETS_S), exp(-heard_s / _NOW_S)
        self._now_w = mean_w if not self._seconds else mean_w + now * (self._now_w - mean_w)
        self._seconds = kept * self._seconds + heard_s
        self._watt_s = kept * self._watt_s + joules + heard_s * bird_watts
        self._kelvin_s = kept * self._kelvin_s + heard_s * above_k

    @property
    def w_per_k(self) -> float | None:
        """What the box loses for each kelvin; None: not known yet."""
        if self._seconds < _LEAST_S or self._kelvin_s < _LEAST_K * self._seconds:
            return None
        return self._watt_s / self._kelvin_s

    def spare_k(self, whole_w: float) -> float | None:
        """So much colder may the outside become before all heat (`whole_w`) is lit all the time."""
        w_per_k = self.w_per_k
        return None if w_per_k is None else max(0.0, whole_w - self._now_w) / w_per_k
