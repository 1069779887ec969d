"""A floor that a thermostat swings, seen over hours: where the middle of its swings is, and how far
down they reach. Held by `floor`. Whether a thermostat was declared does not matter. Figures are
this project's (assumed)."""

from typing import NamedTuple

from monitor.kept import NEVER, Kept, Tick, part

_TURN_K = 0.35  # what turns a rise or a fall
_SWING_K = 0.8  # from the peaks to the troughs, at least
_FALLS = 2  # that ended, and alike: birds that run about make no two alike
_ALIKE, _ALIKE_K = 1.5, 0.6  # longest by shortest; peaks, and troughs
_SMOOTHED_S = 450.0  # half a quarter of an hour: its mean shows less of quick swings
_OLD_S = 3 * 3600.0  # without another fall it swings no more


class _Ended(NamedTuple):
    """A fall that ended."""

    lasted_s: float
    peak_c: float
    trough_c: float


class Swing(NamedTuple):
    """degC, and K below that of its lowest quarter of an hour. `sure`: more than one was seen."""

    middle_c: float
    dips_k: float
    sure: bool


@part
class Switching(Kept):
    """Of one floor."""

    _falls: list[_Ended]
    _falling: bool = False
    _peak: tuple[Tick, float] = (NEVER, -1e9)
    _trough: tuple[Tick, float] = (NEVER, 1e9)

    def __init__(self) -> None:
        self._falls = []

    def see(self, tick: float, floor_c: float) -> None:
        """One step of the floor."""
        if self._falling:
            if floor_c < self._trough[1]:
                self._trough = (tick, floor_c)
            elif floor_c > self._trough[1] + _TURN_K:
                (peak_at, peak_c), (trough_at, trough_c) = self._peak, self._trough
                self._falls = [*self._falls[-1:], _Ended(trough_at - peak_at, peak_c, trough_c)]
                self._falling, self._peak = False, (tick, floor_c)
        elif floor_c > self._peak[1]:
            self._peak = (tick, floor_c)
        elif floor_c < self._peak[1] - _TURN_K:
            self._falling, self._trough = True, (tick, floor_c)

    def swing(self, tick: float, floor_c: float) -> Swing | None:
        """None: it does not swing, or is where its swings do not reach."""
        falls = self._falls
        since_s = tick - self._trough[0]
        sure = len(falls) == _FALLS
        if not falls or since_s > (_OLD_S if sure else _ALIKE * falls[0].lasted_s):
            return None
        lasted_s, peaks_c, troughs_c = zip(*falls, strict=True)
        alike = max(lasted_s) <= _ALIKE * min(lasted_s) and all(
            max(turns_c) - min(turns_c) < _ALIKE_K for turns_c in (peaks_c, troughs_c)
        )
        if not alike or min(peaks_c) - max(troughs_c) < _SWING_K:
            return None
        peak_c, trough_c = sum(peaks_c) / len(falls), sum(troughs_c) / len(falls)
        if not trough_c - _TURN_K <= floor_c <= peak_c + _TURN_K:
            return None
        shown = min(lasted_s) / (min(lasted_s) + _SMOOTHED_S)
        return Swing(0.5 * (peak_c + trough_c), 0.5 * shown * (peak_c - trough_c), sure)
