"""A floor that climbs out of all it has lately been, at a steady pace: a lamp that slipped, a
thermostat that no longer switches off. Held by `thermal_watch`.

A probe with a bird on it rises at once and comes to rest within minutes; a thermostat's swing ends
where the ones before did; a floor that was cold goes back to where it was. Heat that is new does
none of these: some minutes of it are enough to tell. Figures are this project's (assumed);
tests/bench measures what they do."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from monitor.kept import NEVER, Kept, Tick
from monitor.thermal.track import Track

_LOOK_S = 55.0
_MEAN_S, _SPAN_S = 75.0, 180.0  # a pace is taken between means of so long, so far apart
_KEPT_S = 2 * _SPAN_S + _MEAN_S
_SLOWER, _FASTER = 0.6, 1.8  # of the pace before: neither coming to rest nor only beginning
_LEAST_K = 0.18  # in that time; less is the evening and the birds
_BEEN_FROM_S, _BEEN_TO_S, _BEEN_K = 5400.0, 600.0, 0.5
_KNOWN_S = 3600.0
_SWING = 1.3  # of how far it swings: so much a bird may add to it, if no other probe rises too
_WITNESS_BEEN_K, _WITNESS_K = 0.3, 0.1
_COLD_K = 1.5  # an hour below its target by so much: it is on its way back
_BORNE_OUT = 3  # minutes in a row; one in which another probe rises too counts for two


@dataclass(slots=True, eq=False)
class Climb(Kept):
    """Of all floor probes, the one that is heading highest."""

    _count: int = 0  # minutes in a row
    _looked: Tick = NEVER
    _temp_c: float = 0.0
    _k_per_min: float = 0.0
    _lately: dict[str, list[tuple[Tick, float]]] = field(default_factory=dict)  # by probe

    def look(
        self,
        tick: float,
        floor: Sequence[Track],
        beside: Sequence[Track],
        target_c: float,
        high_c: float,
    ) -> None:
        """At the latest means of the floor probes, and of those `beside` them. `high_c`: the upper
        edge of the floor's band."""
        for track in (*floor, *beside):
            lately = self._lately.setdefault(track.key, [])
            if track.level is not None and (not lately or track.last_tick > lately[-1][0]):
                lately.append((track.last_tick, track.mean))
            while lately and lately[0][0] < tick - _KEPT_S:
                del lately[0]
        if tick - self._looked < _LOOK_S:
            return
        self._looked = tick
        witness = any(self._rises_too(tick, one) for one in beside)
        found = []
        for track in floor:
            rose_k = self._steady_k(tick, track, target_c, high_c, witness=witness)
            if rose_k is not None:
                found.append((track.mean, rose_k * 60.0 / _SPAN_S))
        self._count = self._count + 1 + witness if found else 0
        if found:
            self._temp_c, self._k_per_min = max(found, key=sum)

    def rest(self) -> None:
        """Nobody looks: no birds are in."""
        self._count = 0
        self._lately.clear()

    def in_minutes(self, minutes: float) -> float | None:
        """Where it will be by then if it goes on so, degC; None: nothing climbs."""
        return self._temp_c + minutes * self._k_per_min if self._count >= _BORNE_OUT else None

    def _steady_k(
        self, tick: float, track: Track, target_c: float, high_c: float, *, witness: bool
    ) -> float | None:
        """How far it rose in the last minutes, if it climbs steadily out of what it has been."""
        usual, now_c = track.course.quick, self._mean_c(track, tick)
        if usual is None or now_c is None or now_c < target_c:
            return None
        if usual.low_c < target_c - _COLD_K and now_c < high_c:
            return None
        then_c, before_c = (self._mean_c(track, tick - n * _SPAN_S) for n in (1, 2))
        if then_c is None or before_c is None:
            return None
        late_k, early_k = now_c - then_c, then_c - before_c
        steady = _SLOWER * early_k <= late_k <= _FASTER * early_k
        if not steady or late_k < max(_LEAST_K, track.quantum_k):
            return None
        above_k = max(_BEEN_K, track.quantum_k)
        if not witness:
            above_k = max(above_k, _SWING * usual.spread_k)
        return late_k if _is_new(track, tick, now_c - above_k) else None

    def _rises_too(self, tick: float, track: Track) -> bool:
        now_c, then_c = self._mean_c(track, tick), self._mean_c(track, tick - _SPAN_S)
        if now_c is None or then_c is None or now_c < then_c + _WITNESS_K:
            return False
        return _is_new(track, tick, now_c - _WITNESS_BEEN_K)

    def _mean_c(self, track: Track, tick: float) -> float | None:
        """Of a minute or so until `tick`; None: nothing was heard then."""
        found = [c for at, c in self._lately[track.key] if tick - _MEAN_S < at <= tick]
        return sum(found) / len(found) if found else None


def _is_new(track: Track, tick: float, temp_c: float) -> bool:
    """Was it never so warm lately? Not known in its first hour: a thermostat swings."""
    course = track.course
    highest = course.highest(tick - _BEEN_FROM_S, tick - _BEEN_TO_S)
    known = bool(course.ticks) and tick - course.ticks[0] >= _KNOWN_S
    return known and highest is not None and temp_c >= highest
