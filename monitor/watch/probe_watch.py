"""One probe as it is watched: last reading, limits, trend, whether to believe it.

Owned by watch.engine. `calm_low_c`..`calm_high_c` until `calm_until` is the range in which a new
reading changes nothing but the last value: the engine's short way for nearly all readings."""

from collections import deque
from typing import NamedTuple

from monitor.events import ProbeFact, State
from monitor.site import Place, Probe
from monitor.thermal.diagnosis import FaultKind
from monitor.thermal.slope import slope_per_h
from monitor.watch.band import Edge
from monitor.watch.status import ProbeStatus

_SAMPLE_S = 60.0
_SAMPLES = 16  # a quarter of an hour of trend
_TREND_MIN_S = 240.0
_LATELY_S = 120.0
_BAD_COUNT, _BAD_WINDOW_S = 3, 600.0  # three bad values in ten minutes are a fault. Common practice
_INF = float("inf")
_LIT_C, _LEAP_K = 35.0, 10.0  # a probe beneath a lamp that was lit, and a leap of it
_EDGES = ("cold", "chill", "hot", "overheat")


# Readings hours old come from a probe's own store, and then younger ones follow; where all are late
# by the same for some minutes, it is the probe's clock. Common practice.
_LAG_STEADY_S, _LAG_SURE_S = 60.0, 300.0


class Lag(NamedTuple):
    """Readings that came long after their own time stamps."""

    age_s: float  # of the first of them, when it came
    since: float  # tick at which that one came
    last: float  # tick at which the latest one came that was as late


class Extreme(NamedTuple):
    """A lowest or highest reading, and the target it had then. Ordered by temperature."""

    temp_c: float
    at: float
    target_c: float | None


class ProbeWatch:
    """Mutable state of one probe; a few attributes are read by the engine at every reading."""

    __slots__ = (
        "at",
        "bad",
        "bad_reason",
        "bad_row",
        "bad_ticks",
        "box_out",
        "calm_high_c",
        "calm_low_c",
        "calm_until",
        "chill",
        "cold",
        "doubted",
        "finding",
        "fire_c",
        "found",
        "heard",
        "hot",
        "key",
        "lag",
        "lit_c",
        "night_high",
        "night_low",
        "out_of_service",
        "outside",
        "overheat",
        "place",
        "probe",
        "samples",
        "silent",
        "stuck_since",
        "target_c",
        "temp_c",
        "tick",
        "was_beyond",
    )

    def __init__(self, probe: Probe, start_tick: float) -> None:
        self.probe = probe
        self.key = probe.key
        self.place = probe.place
        self.outside = probe.place is Place.OUTSIDE
        self.was_beyond = 0  # as last evaluated by its brooder
        self.at = -_INF
        self.tick = -_INF
        self.temp_c: float | None = None
        self.heard = start_tick  # last usable reading, or since when one is waited for
        self.silent = False
        self.lag: Lag | None = None
        self.bad = False
        self.bad_reason: str | None = None
        self.bad_ticks: list[float] = []
        self.bad_row = 0  # so many bad values in a row
        self.finding: str | None = None  # the thermal side's reason not to believe it
        self.found: FaultKind | None = None  # what that is
        self.stuck_since: float | None = None  # tick from which it says the same over and over
        self.doubted = False  # its last reading waits for the next one to bear it out
        self.out_of_service = False
        self.box_out = False  # the whole brooder is out of service
        self.target_c: float | None = None
        self.cold, self.chill = Edge(below=True), Edge(below=True)
        self.hot, self.overheat = Edge(below=False), Edge(below=False)
        self.fire_c = _INF
        self.lit_c = -_INF  # its highest until a quarter of an hour ago
        self.samples: deque[tuple[float, float]] = deque(maxlen=_SAMPLES)
        self.night_low: Extreme | None = None
        self.night_high: Extreme | None = None
        self.stir()

    def stir(self) -> None:
        """The next reading takes the long way."""
        self.calm_low_c, self.calm_high_c, self.calm_until = _INF, -_INF, -_INF

    def begin_night(self) -> None:
        """Forget the night's low and high."""
        self.night_low = self.night_high = None
        self.calm_until = -_INF

    def limit(
        self,
        *,
        target_c: float | None,
        low_c: float | None,
        high_c: float | None,
        chill_c: float | None,
        overheat_c: float | None,
        dead_band_c: float,
        fire_c: float,
    ) -> None:
        """Set all limits; None: not judged."""
        self.target_c = target_c
        self.cold.move(low_c, dead_band_c)
        self.hot.move(high_c, dead_band_c)
        self.chill.move(chill_c, dead_band_c)
        self.overheat.move(overheat_c, dead_band_c)
        self.fire_c = fire_c
        if self.temp_c is not None:
            self.judge(self.temp_c)
        self.stir()

    def judge(self, temp_c: float) -> None:
        """Is it beyond its limits?"""
        self.cold.see(temp_c)
        self.chill.see(temp_c)
        self.hot.see(temp_c)
        self.overheat.see(temp_c)

    @property
    def below(self) -> bool:
        """Strictly below the band: the dead band is the alarm's alone."""
        return self.temp_c is not None and self.temp_c < self.cold.limit_c

    @property
    def above(self) -> bool:
        """Strictly above the band."""
        return self.temp_c is not None and self.temp_c > self.hot.limit_c

    def beyond(self) -> int:
        """Which limits it is beyond, as bits."""
        return (
            self.cold.beyond
            + 2 * self.chill.beyond
            + 4 * self.hot.beyond
            + 8 * self.overheat.beyond
            + 16 * self.burning
            + 32 * self.below
            + 64 * self.above
        )

    def take(self, at: float, tick: float, temp_c: float) -> None:
        """A reading, the long way."""
        self.at, self.tick, self.temp_c = at, tick, temp_c
        self.heard = tick
        self.bad_row = 0
        if not self.samples or tick - self.samples[-1][0] >= _SAMPLE_S:
            self._sample(tick, temp_c)
        if self.night_low is None or temp_c < self.night_low.temp_c:
            self.night_low = Extreme(temp_c, at, self.target_c)
        if self.night_high is None or temp_c > self.night_high.temp_c:
            self.night_high = Extreme(temp_c, at, self.target_c)
        for edge in (self.cold, self.chill, self.hot, self.overheat):
            edge.take(temp_c, tick)

    def _sample(self, tick: float, temp_c: float) -> None:
        if len(self.samples) == _SAMPLES and not self._leaps:
            self.lit_c = max(self.lit_c, self.samples[0][1])
        self.samples.append((tick, temp_c))

    def stays_calm(self, tick: float, temp_c: float) -> bool:
        """A reading within its calm range whose time has run out goes on the short way, with
        nothing but its sample taken; False: something else has to be looked at."""
        if self.calm_until == -_INF or self.silent or self.doubted or self.was_beyond:
            return False
        self._sample(tick, temp_c)
        self.calm_until = tick + _SAMPLE_S
        return True

    def came_late(self, now: float, tick: float) -> None:
        """A reading taken at `tick`, as it says itself, came now: far too late to count."""
        age_s = now - tick
        lag = self.lag
        if lag is not None and abs(age_s - lag.age_s) <= _LAG_STEADY_S:
            self.lag = lag._replace(last=now)
        else:
            self.lag = Lag(age_s, now, now)

    def clock_behind_s(self, since: float) -> float | None:
        """By how much its own clock is behind, if by `since` or later it was so for some minutes.
        None: nothing says so."""
        lag = self.lag
        if lag is None or lag.last < since or lag.last - lag.since < _LAG_SURE_S:
            return None
        return lag.age_s

    def settle(self) -> None:
        """After a reading that is beyond nothing: open the short way."""
        low, high = self.night_low, self.night_high
        if low is None or high is None:
            return
        # Chill lies below cold and overheat above hot, unless their limits are set otherwise.
        self.calm_low_c = max(self.cold.limit_c, self.chill.limit_c, low.temp_c)
        self.calm_high_c = min(self.hot.limit_c, self.overheat.limit_c, high.temp_c)
        self.calm_until = self.samples[-1][0] + _SAMPLE_S

    def spoil(self, tick: float, reason: str) -> bool:
        """A value no floor can be. Returns whether it happens too often to be an accident."""
        self.bad, self.bad_reason = True, reason
        self.bad_ticks = [t for t in self.bad_ticks if t > tick - _BAD_WINDOW_S][1 - _BAD_COUNT :]
        self.bad_ticks.append(tick)
        self.bad_row += 1
        self.stir()
        return self.bad_often

    @property
    def bad_often(self) -> bool:
        """Three bad values in ten minutes, or three in a row: one is an accident."""
        return len(self.bad_ticks) >= _BAD_COUNT or self.bad_row >= _BAD_COUNT

    @property
    def faulty(self) -> bool:
        """Not believed, by more than one value's word."""
        return self.finding is not None or (self.bad and self.bad_often)

    @property
    def lost(self) -> bool:
        """What it says has been no temperature for several values."""
        return self.bad_row >= _BAD_COUNT

    @property
    def too_hot(self) -> bool:
        """Beyond what its place may have. A sheath beneath a lamp may be hotter than any floor:
        there a lamp that slips or falls shows as a leap above all that it was while lit."""
        return self.overheat.beyond and (self.place is not Place.UNDER_HEAT or self._leaps)

    @property
    def burning(self) -> bool:
        """Hotter than any floor should be."""
        return self.too_hot and self.temp_c is not None and self.temp_c > self.fire_c

    @property
    def _leaps(self) -> bool:
        return self.temp_c is not None and _LIT_C < self.lit_c < self.temp_c - _LEAP_K

    @property
    def known(self) -> bool:
        """Is there a reading at all?"""
        return self.temp_c is not None

    @property
    def in_use(self) -> bool:
        """Neither it nor its brooder is out of service."""
        return not (self.out_of_service or self.box_out)

    @property
    def mute(self) -> bool:
        """It tells nothing of the floor as it is: nothing is heard of it, or always the same."""
        return self.silent or self.stuck_since is not None

    @property
    def fault(self) -> str | None:
        """Why it is not believed."""
        return self.bad_reason if self.bad else self.finding

    def trend_c_per_h(self, tick: float) -> float | None:
        """Slope of the last quarter of an hour by least squares; None: too little to say."""
        recent = self._recent(tick)
        if len(recent) < 3 or recent[-1][0] - recent[0][0] < _TREND_MIN_S:
            return None
        return slope_per_h(recent)

    def lately_c_per_h(self, tick: float) -> float:
        """From what it said two or three minutes ago to now; 0: it said nothing then."""
        then = next((s for s in reversed(self.samples) if tick - s[0] >= _LATELY_S), None)
        if then is None or self.temp_c is None:
            return 0.0
        return (self.temp_c - then[1]) / (tick - then[0]) * 3600.0

    def lately_mean_c(self, tick: float) -> float:
        """Of the last quarter of an hour, or what it said last."""
        recent = [temp_c for _, temp_c in self._recent(tick)]
        return sum(recent) / len(recent) if recent else self.temp_c or 0.0

    def _recent(self, tick: float) -> list[tuple[float, float]]:
        return [s for s in self.samples if s[0] > tick - _SAMPLES * _SAMPLE_S]

    def fact(self) -> ProbeFact:
        """One line of a message's list."""
        return ProbeFact(
            probe=self.key, place=self.place.value, temp_c=None if self.silent else self.temp_c
        )

    def status(self, tick: float) -> ProbeStatus:
        """As it stands."""
        return ProbeStatus(
            key=self.key,
            name=self.probe.name,
            place=self.place,
            temp_c=self.temp_c,
            at=self.at if self.known else None,
            age_s=max(0.0, tick - self.tick) if self.known else None,
            silent=self.silent,
            fault=self.fault,
            out_of_service=self.out_of_service,
            target_c=self.target_c,
            trend_c_per_h=self.trend_c_per_h(tick),
            lately_high_c=max((temp_c for _, temp_c in self._recent(tick)), default=None),
        )

    def shift_wall(self, jump_s: float) -> None:
        """The wall clock jumped: what was stamped before moves along, so that the next reading is
        not taken for an older one."""
        self.at += jump_s
        if self.night_low is not None:
            self.night_low = self.night_low._replace(at=self.night_low.at + jump_s)
        if self.night_high is not None:
            self.night_high = self.night_high._replace(at=self.night_high.at + jump_s)

    def state(self) -> State:
        """JSON-able. Limits are not kept: the brooder sets them again."""
        return {
            "last": [self.at, self.tick, self.temp_c] if self.known else None,
            "heard": self.heard,
            "silent": self.silent,
            "lag": self.lag,
            "bad": [self.bad, self.bad_reason, self.bad_ticks, self.bad_row],
            "finding": self.finding,
            "found": None if self.found is None else str(self.found),
            "stuck_since": self.stuck_since,
            "doubted": self.doubted,
            "out": self.out_of_service,
            "beyond": {
                name: [edge.count, edge.since, edge.last]
                for name, edge in self._edges()
                if edge.beyond
            },
            "lit_c": None if self.lit_c == -_INF else self.lit_c,
            "was_beyond": self.was_beyond,
            "samples": [list(sample) for sample in self.samples],
            "night": [self.night_low, self.night_high],
        }

    def restore(self, state: State, shift_s: float) -> None:
        """As it was, `shift_s` later."""
        if state["last"] is not None:
            self.at, tick, self.temp_c = state["last"]
            self.tick = tick + shift_s
        self.heard = state["heard"] + shift_s
        self.silent = state["silent"]
        lag = state.get("lag")
        self.lag = None
        if lag is not None:
            age_s, since, last = lag
            self.lag = Lag(age_s, since + shift_s, last + shift_s)
        self.bad, self.bad_reason, ticks, *row = state["bad"]
        self.bad_row = row[0] if row else 0
        self.bad_ticks = [tick + shift_s for tick in ticks]
        self.finding = state["finding"]
        found = state.get("found")
        self.found = None if found is None else FaultKind(found)
        stuck = state.get("stuck_since")
        self.stuck_since = None if stuck is None else stuck + shift_s
        self.doubted = state.get("doubted", False)
        self.out_of_service = state["out"]
        lit_c = state.get("lit_c")
        self.lit_c = -_INF if lit_c is None else lit_c
        self.samples.clear()
        self.samples.extend((tick + shift_s, temp_c) for tick, temp_c in state["samples"])
        low, high = state["night"]
        self.night_low = None if low is None else Extreme(*low)
        self.night_high = None if high is None else Extreme(*high)
        self.stir()

    def restore_edges(self, state: State, shift_s: float) -> None:
        """Which limits it was beyond; after the limits have been set."""
        kept = state["beyond"]
        for name, edge in self._edges():
            edge.beyond = name in kept
            if edge.beyond and isinstance(kept, dict):
                edge.count, since, last = kept[name]
                edge.since, edge.last = since + shift_s, last + shift_s
        self.was_beyond = state["was_beyond"]

    def _edges(self) -> tuple[tuple[str, Edge], ...]:
        return tuple(zip(_EDGES, (self.cold, self.chill, self.hot, self.overheat), strict=True))
