"""How much warmer than the outside a box keeps its floor when the outside gets colder. Held by
`thermal`.

No box follows the outside to the full: birds make more heat in the cold and draw together, a
thermostat gives more, the ground stays as it is. So of a fall outside a part, the `share`, is not
felt on the floor. It is learned from the rise at warmer and at colder hours, by least squares that
forget (a Kalman filter of two states: the rise at the outside of the start, and the share)."""

from monitor.events import State

_SHARE, _SHARE_SD = 0.15, 0.12  # of boxes without a thermostat. Found on invented nights
_MOST = 0.95
_RISE_SD_K = 0.5  # of one estimate of the rise
_RISE_WALK_K = 0.3  # in the root of an hour: wind, birds, lamps moved
_BEGIN_SD_K = 10.0


class Give:
    """`share` 0: the floor follows the outside to the full; 1: not at all."""

    __slots__ = ("_base_c", "_rise_k", "_tick", "_v_both", "_v_rise", "_v_share", "share")

    def __init__(self) -> None:
        self.share = _SHARE
        self._base_c: float | None = None  # outside at the start
        self._rise_k, self._tick = 0.0, 0.0
        self._v_rise, self._v_both, self._v_share = _BEGIN_SD_K**2, 0.0, _SHARE_SD**2

    @property
    def sd(self) -> float:
        """Standard deviation of the share."""
        return float(self._v_share**0.5)

    def see(self, tick: float, rise_k: float, outside_c: float) -> None:
        """The rise held, at that outside."""
        if self._base_c is None:
            self._base_c, self._tick, self._rise_k = outside_c, tick, rise_k
        self._v_rise += _RISE_WALK_K**2 * max(0.0, tick - self._tick) / 3600.0
        self._tick = tick
        colder_k = self._base_c - outside_c
        gain_rise = self._v_rise + colder_k * self._v_both
        gain_share = self._v_both + colder_k * self._v_share
        variance = gain_rise + colder_k * gain_share + _RISE_SD_K**2
        off_k = rise_k - self._rise_k - colder_k * self.share
        self._rise_k += gain_rise / variance * off_k
        self.share = min(_MOST, max(0.0, self.share + gain_share / variance * off_k))
        self._v_rise -= gain_rise * gain_rise / variance
        self._v_both -= gain_rise * gain_share / variance
        self._v_share -= gain_share * gain_share / variance

    def state(self) -> State:
        """JSON-able."""
        variances = [self._v_rise, self._v_both, self._v_share]
        return {"at": [self._base_c, self._rise_k, self._tick, self.share], "var": variances}

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`."""
        self._base_c, self._rise_k, tick, self.share = state["at"]
        self._tick = float(tick) + shift_s
        self._v_rise, self._v_both, self._v_share = state["var"]
