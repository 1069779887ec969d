"""One probe as it is watched: last reading, limits, trend, whether to believe it.

Owned by watch.engine. `calm_low_c`..`calm_high_c` until `calm_until` is the range in which a new
reading changes nothing but the last value: the engine's short way for nearly all readings."""

from typing import NamedTuple

from monitor.events import ProbeFact
from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Limits, Place, Probe
from monitor.thermal.course import SPIKE_K
from monitor.thermal.diagnosis import FaultKind
from monitor.watch.band import Edge
from monitor.watch.gaps import Gaps
from monitor.watch.probe_trend import SAMPLE_S, ProbeTrend
from monitor.watch.wild_readings import WildReadings

_BAD_COUNT, _BAD_WINDOW_S = 3, 600.0  # three bad values in ten minutes are a fault. Common practice
_SET_BACK = 3
_FIRST_S = 3600.0  # by then it has spoken twice, if only every half hour. Common practice
_INF = float("inf")


# Readings hours old come from a probe's own store, and then younger ones follow; where all are late
# by the same for some minutes, it is the probe's clock. Common practice.
_LAG_STEADY_S, _LAG_SURE_S = 60.0, 300.0

# A floor above its band by more than a DS18B20's error (+/-0.5 K, datasheet): a little more counts
# by its share of the time. Common practice.
_ERROR_K, _MORE_K, _GAP_S = 0.5, 0.2, 600.0


class Lag(NamedTuple):
    """Readings that came long after their own time stamps."""

    age_s: float  # of the first of them, when it came
    since: Tick  # when that one came
    last: Tick  # when the latest one came that was as late
    temp_c: float  # what that one says


class Edges(NamedTuple):
    """The target and the limits at a place, degC; None: not judged."""

    target_c: float | None
    low_c: float | None
    high_c: float | None
    chill_c: float | None
    overheat_c: float


class Extreme(NamedTuple):
    """A lowest or highest reading. Ordered by temperature."""

    temp_c: float
    at: float  # Unix s


@part
class ProbeWatch(Kept):
    """Mutable state of one probe; a few attributes are read by the engine at every reading."""

    was_beyond: int = 0  # as last evaluated by its brooder
    at: float = NEVER
    tick: Tick = NEVER
    temp_c: float | None = None
    heard: Tick  # last usable reading, or since when one is waited for
    gaps: Gaps
    silent: bool = False
    awaited_until: Tick = NEVER  # beside others its silence is not told before
    lag: Lag | None = None
    bad: bool = False
    bad_reason: str | None = None
    bad_ticks: list[Tick]
    bad_row: int = 0  # so many bad values in a row
    _older: int = 0  # so many in a row with a stamp before that of the last, which came at
    _older_than: Tick = NEVER
    _older_at: float = NEVER  # the first of them was stamped, and came at
    _older_tick: Tick = NEVER
    finding: str | None = None  # the thermal side's reason not to believe it
    found: FaultKind | None = None  # what that is
    stuck_since: Tick | None = None  # it says the same over and over
    doubted: bool = False  # its last reading waits for the next one to bear it out
    leapt: bool = False  # too hot before, that one lies far from the one before: it ends nothing
    out_of_service: bool = False
    cold: Edge
    chill: Edge
    hot: Edge
    overheat: Edge
    warm_s: float = 0.0  # for so long it is above the band by more than it may err
    trend: ProbeTrend
    wild: WildReadings
    night_low: Extreme | None = None
    night_high: Extreme | None = None

    def __init__(self, probe: Probe, start_tick: float) -> None:
        self.probe = probe
        self.key = probe.key
        self.place = probe.place
        self.outside = probe.place is Place.OUTSIDE
        self.heard, self.awaited_until = start_tick, start_tick + _FIRST_S
        self.bad_ticks = []
        self.box_out = False  # the whole brooder is out of service
        self.target_c: float | None = None
        self.cold, self.chill = Edge(below=True), Edge(below=True)
        self.hot, self.overheat = Edge(below=False), Edge(below=False)
        self.fire_c = _INF
        self.trend, self.gaps, self.wild = ProbeTrend(), Gaps(), WildReadings()
        self.stir()

    def stir(self) -> None:
        """The next reading takes the long way."""
        self.calm_low_c, self.calm_high_c, self.calm_until = _INF, -_INF, -_INF

    def begin_night(self) -> None:
        """Forget the night's low and high."""
        self.night_low = self.night_high = None
        self.calm_until = -_INF

    def limit(self, edges: Edges, limits: Limits) -> None:
        """Set the limits of its place."""
        dead_band_c = limits.dead_band_c
        self.target_c = edges.target_c
        self.cold.move(edges.low_c, dead_band_c)
        self.hot.move(edges.high_c, dead_band_c)
        self.chill.move(edges.chill_c, dead_band_c)
        self.overheat.move(edges.overheat_c, dead_band_c)
        self.fire_c = limits.fire_c
        if self.temp_c is not None:
            for edge in (self.cold, self.chill, self.hot, self.overheat):
                edge.see(self.temp_c)
        self.stir()

    def beyond(self) -> int:
        """Which limits it is beyond, as bits; of the band also strictly, for the dead band is the
        alarm's alone."""
        temp_c = self.temp_c
        return (
            self.cold.beyond
            + 2 * self.chill.beyond
            + 4 * self.hot.beyond
            + 8 * self.overheat.beyond
            + 16 * self.burning
            + 32 * (temp_c is not None and temp_c < self.cold.limit_c)
            + 64 * (temp_c is not None and temp_c > self.hot.limit_c)
            + 128 * (self.wild.count > 0)
        )

    def take(self, at: float, tick: float, temp_c: float) -> None:
        """Takes a reading with all that hangs on it."""
        if self.hot.beyond:
            share = (temp_c - self.hot.limit_c - _ERROR_K) / _MORE_K
            gone_s = min(tick - self.tick, _GAP_S)
            self.warm_s = max(0.0, self.warm_s + gone_s * min(1.0, max(-1.0, share)))
        self.wild.see(self.temp_c, temp_c, tick, tick - self.tick, _calm_range_c(self))
        warm = self.hot.beyond or self.overheat.beyond or self.leapt
        self.leapt = warm and self.temp_c is not None and abs(temp_c - self.temp_c) > SPIKE_K
        if tick - self.trend.sampled >= SAMPLE_S:
            if self.temp_c is not None:  # a gap lies between two readings
                self.gaps.add(tick - self.heard)
                self.awaited_until = NEVER
            self.trend.add(tick, temp_c, now_c=temp_c)
        self.at, self.tick, self.temp_c = at, tick, temp_c
        self.heard, self.lag = tick, None
        self.bad_row = 0
        for edge in (self.cold, self.chill, self.hot, self.overheat):
            edge.take(temp_c, tick)
        if not self.hot.beyond:
            self.warm_s = 0.0

    def stays_calm(self, tick: float, temp_c: float) -> bool:
        """A reading within its calm range whose time has run out goes on the short way, with
        nothing but its sample taken; False: something else has to be looked at."""
        if self.calm_until == -_INF or self.doubted:
            return False
        self.gaps.add(tick - self.heard)
        self.awaited_until = NEVER
        self.trend.add(tick, temp_c, now_c=self.temp_c)
        self.calm_until = tick + SAMPLE_S
        return True

    def is_set_back(self, at: float, tick: float) -> bool:
        """A reading has a stamp before that of the last one. By the third in a row its own clock
        was set back; of a store that is emptied the stamps go faster than the words come."""
        slow = 0.0 < at - self._older_at <= 2 * (tick - self._older_tick)
        if self._older_than != self.tick or not slow:
            self._older_than, self._older = self.tick, 0
            self._older_at, self._older_tick = at, tick
        self._older += 1
        return self._older >= _SET_BACK

    def came_late(self, now: float, tick: float, temp_c: float) -> None:
        """A reading taken at `tick`, as it says itself, came now: far too late to count."""
        self.stir()  # one that comes in time says that the clock is right
        age_s = now - tick
        lag = self.lag
        if lag is not None and abs(age_s - lag.age_s) <= _LAG_STEADY_S:
            self.lag = lag._replace(last=now, temp_c=temp_c)
        else:
            self.lag = Lag(age_s, now, now, temp_c)

    def clock_behind(self, since: float) -> Lag | None:
        """Its lag, if by `since` or later it was so for some minutes: its own clock is behind.
        None: nothing says so."""
        lag = self.lag
        if lag is None or lag.last < since or lag.last - lag.since < _LAG_SURE_S:
            return None
        return lag

    def settle(self) -> None:
        """After a reading that is beyond nothing: open the short way."""
        if self.wild.since is not None:
            return
        self.calm_low_c, self.calm_high_c = _calm_range_c(self)
        if self.calm_low_c <= self.calm_high_c:
            self.calm_until = self.trend.sampled + SAMPLE_S

    def spoil(self, tick: float, reason: str) -> bool:
        """A value no floor can be. Returns whether it happens too often to be an accident."""
        self.bad, self.bad_reason = True, reason
        self.bad_ticks = [t for t in self.bad_ticks if t > tick - _BAD_WINDOW_S][1 - _BAD_COUNT :]
        self.bad_ticks.append(tick)
        self.bad_row += 1
        self.stir()
        return self.bad_often

    def spoils(self, tick: float) -> bool:
        """Is it heard these minutes, with values that no floor can be?"""
        return self.bad and tick - self.bad_ticks[-1] < _BAD_WINDOW_S

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
        return self.overheat.beyond and (
            self.place is not Place.UNDER_HEAT or self.trend.leaps(self.temp_c)
        )

    @property
    def burning(self) -> bool:
        """Hotter than any floor should be."""
        return self.too_hot and self.temp_c is not None and self.temp_c > self.fire_c

    @property
    def known(self) -> bool:
        """Is there a reading at all?"""
        return self.temp_c is not None

    @property
    def in_service(self) -> bool:
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

    def fact(self) -> ProbeFact:
        """One line of a message's list."""
        return ProbeFact(
            probe=self.key, place=self.place.value, temp_c=None if self.silent else self.temp_c
        )

    def shift_wall(self, jump_s: float) -> None:
        """The wall clock jumped: what was stamped before moves along, so that the next reading is
        not taken for an older one."""
        self.at += jump_s
        if self.night_low is not None:
            self.night_low = self.night_low._replace(at=self.night_low.at + jump_s)
        if self.night_high is not None:
            self.night_high = self.night_high._replace(at=self.night_high.at + jump_s)

    def resume(self) -> None:
        """Its brooder sets the limits again."""
        self.stir()


def _calm_range_c(probe: ProbeWatch) -> tuple[float, float]:
    """Within it a reading changes no alarm and no figure of the night. Empty: there is none yet."""
    low, high = probe.night_low, probe.night_high
    if low is None or high is None:
        return _INF, -_INF
    # Chill lies below cold and overheat above hot, unless their limits are set otherwise.
    return (
        max(probe.cold.limit_c, probe.chill.limit_c, low.temp_c),
        min(probe.hot.limit_c, probe.overheat.limit_c, high.temp_c),
    )


def keep_extremes(probe: ProbeWatch) -> None:
    """The night's low and high. A wild reading is neither."""
    if probe.temp_c is None or probe.wild.count:
        return
    if probe.night_low is None or probe.temp_c < probe.night_low.temp_c:
        probe.night_low = Extreme(probe.temp_c, probe.at)
    if probe.night_high is None or probe.temp_c > probe.night_high.temp_c:
        probe.night_high = Extreme(probe.temp_c, probe.at)
