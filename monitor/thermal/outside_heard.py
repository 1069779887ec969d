"""The outside of one box as it is heard now, and its past. Held by `thermal`."""

from monitor.brooding.heat_balance import Prior
from monitor.events import Moment, State
from monitor.thermal.outside_curve import OutsideCurve, OutsideHistory

_SMOOTHED_S = 420.0
_FRESH_S = 1800.0  # an older reading makes nobody think of a probe that fell out
_LOST_S = 3600.0  # after so long a silence the floor is foretold without
_FLOOR_SHARE = 0.55  # of a floor's own fall is the weather's; the rest is sun and birds of the day


class OutsideHeard:
    """The outside temperature, smoothed; None while it was never heard. Where there is no outside
    probe, the floor's own course by night stands in for the history."""

    __slots__ = ("_by_floor", "_tick", "history", "temp_c")

    def __init__(self) -> None:
        self.history = OutsideHistory()
        self.temp_c: float | None = None
        self._tick = 0.0  # of the last reading
        self._by_floor = False  # the history holds the floor, for want of an outside

    def observe(self, tick: float, temp_c: float) -> None:
        """One reading."""
        self.history.add(tick, temp_c)
        old = self.temp_c
        if old is None:
            self.temp_c = temp_c
        else:
            gap_s = min(tick - self._tick, 3600.0)
            if gap_s > 0.0:
                self.temp_c = old + (temp_c - old) * gap_s / (gap_s + _SMOOTHED_S)
        self._tick = tick

    def stand_in(self, tick: float, floor_c: float) -> None:
        """A floor that nothing disturbs; it counts where no outside was ever heard."""
        if self.temp_c is None:
            self.history.add(tick, floor_c)
            self._by_floor = True

    def measured(self, tick: float) -> bool:
        """Is it heard well enough to foretell the floor by it?"""
        return self.temp_c is not None and tick - self._tick < _LOST_S

    def fresh(self, tick: float) -> bool:
        """Is what it said last still what is outside?"""
        return tick - self._tick < _FRESH_S

    def forget_floor(self) -> None:
        """An outside is heard now: the floor's past is none of it."""
        if self._by_floor:
            self.history = OutsideHistory()
            self._by_floor = False

    def curve(self, now: Moment, until_at: float, prior: Prior) -> OutsideCurve | None:
        """The coming outside from what the outside probe said; without one, from the floor's own
        cooling, less the rise that the box should have. None: too little was said."""
        curve = self.history.curve(now, until_at)
        if curve is None or not self._by_floor:
            return curve
        source = "the floor's own cooling, no outside probe"
        return curve.lowered(prior.rise_k, _FLOOR_SHARE, source)

    def state(self) -> State:
        """What is needed to go on after a restart."""
        return {
            "history": self.history.state(),
            "outside": [self.temp_c, self._tick],
            "fed_with_floor": self._by_floor,
        }

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`."""
        self.history.restore(state["history"], shift_s)
        self.temp_c, tick = state["outside"]
        self._tick = float(tick) + shift_s
        self._by_floor = bool(state["fed_with_floor"])
