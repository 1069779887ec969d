"""A floor that a thermostat swings, whether one was declared or not: its falls to where it goes on
again. `Switching` sees over hours where the middle is, how far down they reach, how far the next
pulse goes and for how long, and whether it has not come (held by `floor`); `overdue` says the last
of any course, in an hour and a half (called by `fall`, `witness`, `climb`). `Rests` asks less
of the rests before, and more of the one that does not end (held by `floor`). Figures are this
project's (assumed); tests/bench measures what they do."""

from collections.abc import Sequence
from math import inf
from statistics import median
from typing import NamedTuple

from monitor.kept import NEVER, Kept, Tick, part

_SWING_K, _TURN_K = 0.8, 0.35  # from peaks to troughs, at least; what turns a rise or a fall
_TURN_SHARE = 0.3  # of its swings: birds that come and go end no rest
_FALLS = 2  # that ended, and alike: birds that run about make no two alike
_ALIKE, _ALIKE_K = 1.5, 0.6  # longest by shortest; peaks, and troughs
_SMOOTHED_S = 450.0  # half a quarter of an hour: its mean shows less of quick swings
_OLD_S = 3 * 3600.0  # without another fall it swings no more
# The next pulse: times as long as the one before, of two within so long (a mild day may pass
# between them); no pulse is longer. It goes further by so much of how far it swings.
_PULSE, _LOOK_S, _SWUNG_S, _PULSE_S = 1.1, 60.0, 12 * 3600.0, 3600.0
_TOP_SHARE = 0.5

_KINK = 0.5  # of the deepest: a kink on the way up is no fall
_OF_HOUR_K, _OF_HOUR_SHARE = 0.5, 0.3  # peaks, and troughs: or by the swing
# So many times as long as the longest of them, and so far below any of their troughs (K).
_OVERDUE = ((1.5, 0.4), (2.2, 0.2))
_BY_NIGHT = ((1.25, 0.6), *_OVERDUE)  # no feeding makes a rest longer
# Wherever they turn: so many rests are remembered, none of them so many times as long as another;
# one that does not end lasts so many times as long as any, longer than a feeding, and goes so far
# below all (K).
_RESTS, _EVEN, _LONG, _LONG_S, FAR_K = 4, 2.0, 2.0, 1200.0, 0.8
_UNHEARD_S = 900.0  # a pulse may have come meanwhile


class _Ended(NamedTuple):
    """One fall of a swinging floor, from its peak to its trough."""

    peak_at: Tick
    peak_c: float
    lasted_s: float
    trough_c: float
    over_at: Tick = NEVER  # since when it rises


class Swing(NamedTuple):
    """degC, and K below that of its lowest quarter of an hour. `sure`: more than one was seen."""

    middle_c: float
    dips_k: float
    sure: bool


@part
class Switching(Kept):
    """Learns the swings of one floor whose heat a thermostat switches."""

    _falls: list[_Ended]
    falling: bool = False
    peak: tuple[Tick, float] = (NEVER, -1e9)
    _trough: tuple[Tick, float] = (NEVER, 1e9)

    def __init__(self, turn_k: float | None = None) -> None:
        """`turn_k`: what turns it, however wide it swings; None: what does not end a wide rest."""
        self._falls, self._turn_k = [], _TURN_K if turn_k is None else turn_k
        self._turn_share = _TURN_SHARE if turn_k is None else 0.0

    def see(self, tick: float, floor_c: float) -> _Ended | None:
        """Takes one step of the floor; the fall that ended with it, if one did."""
        if self.falling:
            if floor_c < self._trough[1]:
                self._trough = (tick, floor_c)
            elif floor_c > self._trough[1] + self._ends_k(tick):
                (peak_at, peak_c), (trough_at, trough_c) = self.peak, self._trough
                ended = _Ended(peak_at, peak_c, trough_at - peak_at, trough_c, tick)
                self._falls = [*self._falls[-1:], ended]
                self.falling, self.peak = False, (tick, floor_c)
                return ended
        elif floor_c > self.peak[1]:
            self.peak = (tick, floor_c)
        elif floor_c < self.peak[1] - self._turn_k:
            self.falling, self._trough = True, (tick, floor_c)
        return None

    def _ends_k(self, tick: float) -> float:
        """By how much it rises once a fall is over: birds that come and go end none."""
        falls = self._falls
        if len(falls) < _FALLS or falls[0].peak_at < tick - _SWUNG_S:
            return self._turn_k
        return max(self._turn_k, self._turn_share * min(f.peak_c - f.trough_c for f in falls))

    def rests_until(self, tick: float, floor_c: float) -> float:
        """Until when (tick) it may be as low as this by a rest as those before; NEVER: by none."""
        swing = self.swing(tick, floor_c)
        if swing is None or not swing.sure:
            return NEVER
        longest_s = max(fall.lasted_s for fall in self._falls)
        return self.peak[0] + _ALIKE * longest_s if self.falling else tick + longest_s

    def overdue(self, tick: float, floor_c: float) -> bool:
        """Has it come down for far longer than those before, and to where they did not reach? By
        its last two falls, however slow. To be asked by night."""
        lasts_s, falls = tick - self.peak[0], self._falls
        known = self.falling and len(falls) == _FALLS and lasts_s < _OLD_S
        return known and _late(falls, lasts_s, floor_c, _BY_NIGHT)

    def top_c(self, tick: float) -> float:
        """How far up its next pulse may go, degC, as the box warms; -inf: none is foretold."""
        falls = self._falls
        if len(falls) < _FALLS or falls[0].peak_at < tick - _SWUNG_S:
            return -inf
        swings_k = min(f.peak_c for f in falls) - max(f.trough_c for f in falls)
        if swings_k < _SWING_K:
            return -inf
        return max(f.peak_c for f in falls) + _TOP_SHARE * swings_k

    def pulses_until(self, tick: float, floor_c: float) -> float:
        """Until when (tick) it may rise by a pulse that is no longer than the one before, or come
        down from that; NEVER: by none."""
        if floor_c > self.top_c(tick):
            return NEVER
        first, last = self._falls
        rose_s = last.peak_at - first.over_at
        if rose_s > _PULSE_S:
            return NEVER
        return (tick if self.falling else last.over_at + _PULSE * rose_s) + _LOOK_S

    def swing(self, tick: float, floor_c: float) -> Swing | None:
        """None: it does not swing, or is where its swings do not reach."""
        falls = self._falls
        since_s = tick - self._trough[0]
        sure = len(falls) == _FALLS
        if not falls or since_s > (_OLD_S if sure else _ALIKE * falls[0].lasted_s):
            return None
        _, peaks_c, lasted_s, troughs_c, _ = zip(*falls, strict=True)
        if not _alike(falls, _ALIKE_K) or min(peaks_c) - max(troughs_c) < _SWING_K:
            return None
        peak_c, trough_c = sum(peaks_c) / len(falls), sum(troughs_c) / len(falls)
        if not trough_c - _TURN_K <= floor_c <= peak_c + _TURN_K:
            return None
        shown = min(lasted_s) / (min(lasted_s) + _SMOOTHED_S)
        return Swing(0.5 * (peak_c + trough_c), 0.5 * shown * (peak_c - trough_c), sure)


class Rest(NamedTuple):
    """One rest of a thermostat, as the floor shows it."""

    lasted_s: float
    peak_c: float
    trough_c: float


@part
class Rests(Kept):
    """Learns how long a thermostat rests, and sees that one does not end."""

    _ended: list[Rest]
    _peak: tuple[Tick, float] = (NEVER, -1e9)
    _trough: tuple[Tick, float] | None = None  # None: it does not rest
    _heard: Tick = NEVER

    def __init__(self) -> None:
        self._ended = []
        self._swings_k = 0.0  # how far they fell

    def see(self, tick: float, temp_c: float) -> None:
        """Takes one step of the floor."""
        if tick - self._heard > _UNHEARD_S:
            self._peak, self._trough = (tick, temp_c), None
        self._heard = tick
        trough = self._trough
        turn_k = max(_TURN_K, _TURN_SHARE * self._swings_k)
        if trough is None:
            if temp_c > self._peak[1]:
                self._peak = (tick, temp_c)
            elif temp_c < self._peak[1] - turn_k:
                self._trough = (tick, temp_c)
        elif temp_c < trough[1]:
            self._trough = (tick, temp_c)
        elif temp_c > trough[1] + turn_k:
            rest = Rest(trough[0] - self._peak[0], self._peak[1], trough[1])
            self._ended = [*self._ended[1 - _RESTS :], rest]
            self._peak, self._trough = (tick, temp_c), None
            self.resume()

    def outlasted(self, tick: float, temp_c: float) -> bool:
        """Does it rest for far longer than ever of late, and lower?"""
        ended = self._ended
        if self._trough is None or len(ended) < _RESTS or self._swings_k < _SWING_K:
            return False
        lasted_s = [rest.lasted_s for rest in ended]
        low_c = min(rest.trough_c for rest in ended) - FAR_K
        long_s = max(_LONG_S, _LONG * max(lasted_s))
        even = max(lasted_s) <= _EVEN * min(lasted_s)
        return even and long_s < tick - self._peak[0] < _OLD_S and temp_c < low_c

    def resume(self) -> None:
        """How far the rests fell is found when one ends, not at each step."""
        self._swings_k = median([rest.peak_c - rest.trough_c for rest in self._ended] or [0.0])


def overdue(
    ticks: Sequence[float],
    means: Sequence[float],
    tick: float,
    temp_c: float,
    turn_k: float | None = None,
) -> bool:
    """Does a floor whose course (K by seconds) came down and went up again and again come down for
    far longer now, and to where it has not been? `turn_k`: as of `Switching`."""
    floor = Switching(turn_k)
    ended = [fall for at, mean in zip(ticks, means, strict=True) if (fall := floor.see(at, mean))]
    falls = [fall for fall in ended if fall.peak_at > ticks[0]]  # else it began before that
    deepest_k = max((fall.peak_c - fall.trough_c for fall in falls), default=0.0)
    falls = [fall for fall in falls if fall.peak_c - fall.trough_c > _KINK * deepest_k]
    if not floor.falling or len(falls) < _FALLS:
        return False
    return _late(falls, tick - floor.peak[0], temp_c, _OVERDUE)


def _late(
    falls: Sequence[_Ended],
    lasts_s: float,
    temp_c: float,
    beyond: Sequence[tuple[float, float]],
) -> bool:
    _, peaks_c, lasted_s, troughs_c, _ = zip(*falls, strict=True)
    swing_k = min(peaks_c) - max(troughs_c)
    long, below_k = lasts_s / max(lasted_s), min(troughs_c) - temp_c
    return (
        swing_k > _SWING_K
        and _alike(falls, max(_OF_HOUR_K, _OF_HOUR_SHARE * swing_k))
        and any(long > times and below_k > k for times, k in beyond)
    )


def _alike(falls: Sequence[_Ended], alike_k: float) -> bool:
    """Do they last as long, and reach as far up and down?"""
    _, peaks_c, lasted_s, troughs_c, _ = zip(*falls, strict=True)
    return max(lasted_s) <= _ALIKE * min(lasted_s) and all(
        max(turns_c) - min(turns_c) < alike_k for turns_c in (peaks_c, troughs_c)
    )
