"""Is what an outside probe says the outside? One for each outside probe, held by the engine.

Nothing lies beside it: it is judged by what the air of a day can do. What it says while it jumps,
stands still or was warmed by something else makes neither a cold night nor a mild one: the floor is
then foretold as without it. A wet one, a few degrees too cold in the wind, looks like the weather:
nobody can tell it from its readings."""

from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Place
from monitor.thermal.course import SPIKE_K
from monitor.thermal.diagnosis import FaultKind, Finding
from monitor.thermal.neighbours import CHECK_S
from monitor.thermal.probe_still import lifeless
from monitor.thermal.track import SPIKES, Track

# Open air warms by some 2 or 3 K in its best hour; the sun on a sheath, a house or a box does this
# within minutes. Until it is back by half, or for as long. Common practice.
_WARMED_K, _WITHIN_S, _OVER_S = 6.0, 1200.0, 300.0
_IN_A_ROW = 3  # readings: two wild ones are neither warmth nor what it rose from
_WARMED_FOR_S = 12 * 3600.0
_LEAP_K, _LEAP_S = SPIKE_K, 180.0  # from one reading to the next: no weather either

_STILL_S = 3000.0  # a calm night's air stands for half an hour
# As warm as rooms are kept, and through a day and a night no further apart: no air outside. Common
# practice.
_INDOORS_C, _INDOORS_K, _INDOORS_FOR_S = (16.0, 28.0), 2.0, 24 * 3600.0


@part
class OutsideProbe(Kept):
    """`finding`: why it is not believed."""

    _track: Track
    _heard: Tick = NEVER  # the last reading that was borne out
    _looked: Tick = NEVER
    _waits_until: Tick = NEVER  # it moved as no weather does: by then it is borne out, or found
    _warmed_from_c: float | None = None
    _warmed_k: float = 0.0
    _even_since: Tick | None = None  # it stayed as warm, within these
    _even_c: tuple[float, float] = (0.0, 0.0)
    finding: Finding | None = None

    def __init__(self, key: str) -> None:
        self._track = Track(key, Place.OUTSIDE)

    def believes(self, tick: float, temp_c: float) -> bool:
        """One reading. False: it waits for the next one to bear it out, or is not the outside's."""
        before_c = self._track.last_c
        first = tick if self._track.held is None else self._track.held_since
        borne_out = self._track.add(tick, temp_c)
        if borne_out:
            if abs(temp_c - before_c) > _LEAP_K and first - self._heard < _LEAP_S:
                self._waits_until = tick + _WITHIN_S
            self._heard = tick
        step_s = tick - self._looked
        if step_s >= CHECK_S:
            self._looked = tick
            self._track.take(step_s)
            self._track.forget(step_s)
            found = self._look(tick)
            if found is None:
                if self.finding is not None:
                    self._waits_until = tick + _WITHIN_S
                self.finding = None
            elif self.finding is None or self.finding.kind is not found[0]:
                kind, reason = found
                self.finding = Finding(probe=self._track.key, kind=kind, reason=reason, since=tick)
        return borne_out and self.finding is None and tick >= self._waits_until

    def _look(self, tick: float) -> tuple[FaultKind, str] | None:
        track = self._track
        stays = self.finding is not None and self.finding.kind is FaultKind.SPIKES
        if track.jumps or (stays and track.spike_score > 0.5 * SPIKES):
            return FaultKind.SPIKES, "its readings jump and come back"
        if track.still_s > _STILL_S and lifeless(track):
            return FaultKind.STUCK, "its value has not changed for long"
        if self._is_warmed(tick):
            return FaultKind.WARMED, "it rose faster than air outside does: in the sun, or indoors"
        if self._is_indoors(tick):
            return FaultKind.WARMED, "it is as warm by night as by day: indoors"
        return None

    def _is_indoors(self, tick: float) -> bool:
        level_c, (low_c, high_c) = self._track.level, self._even_c
        if level_c is None:
            return False
        if self._even_since is not None:
            low_c, high_c = min(low_c, level_c), max(high_c, level_c)
        if self._even_since is None or high_c - low_c > _INDOORS_K:
            self._even_since, low_c, high_c = tick, level_c, level_c
        self._even_c = (low_c, high_c)
        room = _INDOORS_C[0] <= low_c and high_c <= _INDOORS_C[1]
        return room and tick - self._even_since >= _INDOORS_FOR_S

    def _is_warmed(self, tick: float) -> bool:
        course = self._track.course
        now_c = min(course.latest(tick, _OVER_S, _IN_A_ROW), default=None)
        before_c = max(course.latest(tick - _WITHIN_S, _OVER_S, _IN_A_ROW), default=None)
        if now_c is None:
            return self._warmed_from_c is not None
        if self._warmed_from_c is not None and self.finding is not None:
            self._warmed_k = max(self._warmed_k, now_c - self._warmed_from_c)
            back = now_c - self._warmed_from_c < 0.5 * self._warmed_k
            if not back and tick - self.finding.since < _WARMED_FOR_S:
                return True
            self._warmed_from_c = None
            return False
        if before_c is None or now_c - before_c < _LEAP_K:
            return False
        if now_c - before_c < _WARMED_K:
            self._waits_until = max(self._waits_until, tick + 2 * CHECK_S)
            return False
        self._warmed_from_c, self._warmed_k = before_c, now_c - before_c
        return True
