"""The night's figures of one floor since 18:00 local time: how low, how high, how long outside the
band, how long unseen. Kept by watch.brooder_watch for the morning message and the page.

Unseen is every time in which chicks were in the box and nothing was known of it: no probe to
believe, or nobody there to hear one. A night is called good only where there was none."""

from dataclasses import dataclass, field
from datetime import tzinfo

from monitor.brooding.night_hours import NIGHT_FROM_H, hour_before
from monitor.kept import NEVER, Kept, Tick
from monitor.watch.probe_watch import Extreme, ProbeWatch
from monitor.watch.status import NightStatus

BELOW, IN, ABOVE, UNSEEN, IDLE = "below", "in", "above", "unseen", "idle"
_COUNTED = (BELOW, ABOVE, UNSEEN)


@dataclass(eq=False)
class NightFigures(Kept):
    """Adds up time by side of the band; the probes keep their own lows and highs."""

    from_at: float = 0.0
    side: str = IDLE  # idle: no batch, nothing to count
    since: Tick = 0.0
    back: Tick = NEVER  # when it last came back from one side of the band
    _counted_from: Tick = 0.0  # this night's 18:00
    _first: Tick | None = None  # when there was something to count
    _seconds: dict[str, float] = field(default_factory=lambda: dict.fromkeys(_COUNTED, 0.0))

    def begin(self, at: float, tick: float, zone: tzinfo) -> bool:
        """Begins a new night if 18:00 has passed; returns whether it has."""
        from_at = hour_before(at, NIGHT_FROM_H, zone)
        if from_at == self.from_at:
            return False
        self.from_at = from_at
        self._seconds = dict.fromkeys(_COUNTED, 0.0)
        self._counted_from = tick - (at - from_at)
        self._first = None if self.side == IDLE else self._counted_from
        return True

    def birds_since(self, tick: float) -> None:
        """Chicks are in the box since `tick`, which may be long ago: nobody knew of them, so nobody
        judged their floor."""
        if self.side == IDLE:
            self.see(UNSEEN, max(tick, self.since))

    def see(self, side: str, tick: float) -> None:
        """On which side the floor is from `tick` on."""
        if side == self.side:
            return
        if self.side in self._seconds:
            self._seconds[self.side] += self._lasted(tick)
        if side == IN or {side, self.side} == {BELOW, ABOVE}:
            self.back = tick
        self.side = side
        self.since = tick
        if self._first is None and side != IDLE:
            self._first = max(tick, self._counted_from)

    def _lasted(self, tick: float) -> float:
        return max(0.0, tick - max(self.since, self._counted_from))

    def _so_far(self, side: str, tick: float) -> float:
        return self._seconds[side] + (self._lasted(tick) if side == self.side else 0.0)

    def status(self, floor: list[ProbeWatch], tick: float) -> NightStatus:
        """The figures of the night so far."""
        lows = [p.night_low for p in floor if p.night_low is not None]
        highs = [p.night_high for p in floor if p.night_high is not None]
        lowest = min(lows, key=_temp, default=None)
        highest = max(highs, key=_temp, default=None)
        first = self._counted_from if self._first is None else self._first
        return NightStatus(
            since_at=self.from_at + first - self._counted_from,
            low_c=None if lowest is None else lowest.temp_c,
            low_at=None if lowest is None else lowest.at,
            high_c=None if highest is None else highest.temp_c,
            high_at=None if highest is None else highest.at,
            below_s=self._so_far(BELOW, tick),
            above_s=self._so_far(ABOVE, tick),
            unseen_s=self._so_far(UNSEEN, tick),
        )


def _temp(extreme: Extreme) -> float:
    return extreme.temp_c
