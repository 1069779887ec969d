"""The last quarter of an hour of one probe, a sample a minute: how fast it rises or falls, and
whether it leaps. Held by watch.probe_watch."""

from collections import deque

from monitor.kept import NEVER, Kept, Tick, part
from monitor.thermal.slope import goes_on_k, slope_per_h

SAMPLE_S = 60.0
_SAMPLES = 16
_LEAST_S, _LEAST = 240.0, 3  # of them, for a slope
_LATELY_S = 120.0
_NONE_C = -273.15
_LIT_C, _LEAP_K = 35.0, 10.0  # a probe beneath a lamp that was lit, and a leap of it


@part
class ProbeTrend(Kept):
    """Where one probe's temperature is going, by samples of its last quarter of an hour."""

    lit_c: float = _NONE_C  # its highest until a quarter of an hour ago
    _samples: deque[tuple[Tick, float]]

    def __init__(self) -> None:
        self._samples = deque(maxlen=_SAMPLES)

    @property
    def sampled(self) -> float:
        """Tick of the latest sample."""
        return self._samples[-1][0] if self._samples else NEVER

    def add(self, tick: float, temp_c: float, *, now_c: float | None) -> None:
        """Takes a sample. `now_c`: what the probe said last; no leap is what it was while lit."""
        if len(self._samples) == _SAMPLES and not self.leaps(now_c):
            self.lit_c = max(self.lit_c, self._samples[0][1])
        self._samples.append((tick, temp_c))

    def leaps(self, now_c: float | None) -> bool:
        """Is it far above all that it was while lit?"""
        return now_c is not None and _LIT_C < self.lit_c < now_c - _LEAP_K

    def lately(self, tick: float) -> list[tuple[float, float]]:
        """The last quarter of an hour: (tick, degC)."""
        return [s for s in self._samples if s[0] > tick - _SAMPLES * SAMPLE_S]

    def c_per_h(self, tick: float) -> float | None:
        """Its slope by least squares, as far as the later half goes on with it: what leapt once
        and rests since is no longer falling. None: too little to say."""
        recent = self.lately(tick)
        if len(recent) < _LEAST or recent[-1][0] - recent[0][0] < _LEAST_S:
            return None
        whole, later = slope_per_h(recent), slope_per_h(recent[len(recent) // 2 :])
        return min(whole, later, key=abs) if whole * later > 0.0 else 0.0

    def in_c(self, ahead_s: float, tick: float, now_c: float) -> float:
        """Where a fall is in so long, at the pace to which it slackens; as now, if none is seen."""
        last = self._before(tick)
        if last is None:
            return now_c
        at, last_c = last
        before = self._before(at)
        before_k = 0.0 if before is None else (last_c - before[1]) / (at - before[0]) * (tick - at)
        return now_c + min(0.0, goes_on_k(before_k, now_c - last_c, ahead_s / (tick - at)))

    def _before(self, tick: float) -> tuple[Tick, float] | None:
        """What it said two or three minutes before."""
        return next((s for s in reversed(self._samples) if tick - s[0] >= _LATELY_S), None)

    def clear(self) -> None:
        """Nobody knows how long ago they were."""
        self._samples.clear()

    def resume(self) -> None:
        self._samples = deque(self._samples, _SAMPLES)
