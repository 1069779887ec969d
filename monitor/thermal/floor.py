"""The floor as all that lies on it says: its temperature, pace, course, and where it stands in the
band. Held by `thermal_watch`, which steps it every 25 s or so.

Two probes of one floor differ by where they lie. How they usually do is learned, so that the floor
does not jump when one of them is away or not to be trusted."""

from collections.abc import Sequence
from dataclasses import field

from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Place
from monitor.thermal.box_known import BoxKnown
from monitor.thermal.course import Course
from monitor.thermal.diagnosis import Finding
from monitor.thermal.slope import slope_per_h, sure_per_h
from monitor.thermal.swing import FAR_K, Rests, Swing, Switching
from monitor.thermal.track import Track

_OFFSET_RATE = 0.002  # of a step: how two floor probes differ is learned over half a day
_OFFSET_S = 1200.0  # probes heard within this are compared
# What the rate is taken from: so far back, so many, and so long at least: after a gap a minute of
# readings says nothing of it.
_RECENT_S, _RECENT_LEAST, _RECENT_SPAN_S = 290.0, 3, 100.0
_SWING_KNOWN_S = 3600.0  # a thermostat has gone on and off by then


@part
class Floor(Kept):
    """Of one box. `lies_on`: the probes that are taken for it."""

    temp_c: float | None = None
    stepped: Tick = NEVER
    course: Course
    _switching: Switching
    _rests: Rests = field(default_factory=Rests)
    _first: Tick = NEVER
    _recent: list[tuple[Tick, float]]

    def __init__(self, box: BoxKnown, tracks: Sequence[Track]) -> None:
        self._box = box
        self._all = len(tracks)
        # Without a probe on the floor another one shows falls as well, but not how warm the floor
        # is; only where the cool end is too hot, the floor is.
        self.lies_on = _first_of(tracks, Place.FLOOR, Place.COOL_END, Place.UNDER_HEAT)
        self.measured = any(track.place is Place.FLOOR for track in self.lies_on)
        self.warmest = [track for track in self.lies_on if track.place is not Place.UNDER_HEAT]
        self.course, self._switching = Course(slow=True), Switching()
        self._rests = Rests()
        self._recent = []
        self._rate_k_per_h: float | None = None  # None: nobody has asked since the last step

    def step(
        self, tick: float, fresh: list[Track], *, findings: Sequence[Finding], learns: bool
    ) -> float | None:
        """Its temperature by those that were heard in this step (`fresh`), degC; None: by nobody.
        Probes with `findings` are not trusted. `learns`: all is usual, so their differences are
        too."""
        temp_c = self._fuse(tick, fresh, findings=findings, learns=learns)
        if temp_c is None:
            return None
        if self._first == NEVER:
            self._first = tick
        self.stepped = tick
        self.temp_c = temp_c
        self._rate_k_per_h = None
        recent = self._recent
        recent.append((tick, temp_c))
        while (
            len(recent) > _RECENT_LEAST
            and recent[0][0] < tick - _RECENT_S
            and recent[1][0] <= tick - _RECENT_SPAN_S
        ):
            del recent[0]
        self.course.grain_k = max([track.quantum_k for track in self.lies_on])
        self.course.add(tick, temp_c)
        self._switching.see(tick, temp_c)
        self._rests.see(tick, temp_c)
        return temp_c

    def leave(self, for_s: float) -> None:
        """Nobody is left who says anything of it: it begins anew, as after a silence of so long."""
        self.stepped -= for_s
        self.course.clear()

    def begin_again(self) -> None:
        """After a long silence it has no pace."""
        self._recent.clear()
        self._rate_k_per_h = None

    def forget_swings(self) -> None:
        """The birds came or went: what was tried before with the heat is no thermostat's."""
        self._switching, self._rests = Switching(), Rests()

    @property
    def rate_k_per_h(self) -> float:
        """Over the last five minutes, by least squares."""
        if self._rate_k_per_h is None:
            known = len(self._recent) >= _RECENT_LEAST
            self._rate_k_per_h = slope_per_h(self._recent) if known else 0.0
        return self._rate_k_per_h

    def told_rate_k_per_h(self, *, known: bool) -> float:
        """The same where it is `known` to be a fall; else what is sure of it beyond the scatter of
        the readings."""
        rate = self.rate_k_per_h
        return rate if known else sure_per_h(self._recent, rate)

    def resume(self) -> None:
        self._rate_k_per_h = None

    @property
    def swing(self) -> Swing | None:
        """How a thermostat swings it; None: none does."""
        return None if self.temp_c is None else self._switching.swing(self.stepped, self.temp_c)

    @property
    def pulses_until(self) -> float:
        """Until when (tick) a thermostat's pulse may go on as the one before; NEVER: by none."""
        temp_c = self.temp_c
        return NEVER if temp_c is None else self._switching.pulses_until(self.stepped, temp_c)

    @property
    def pulses(self) -> bool:
        """Is it in a thermostat's pulse that is no longer than the one before?"""
        return self.stepped <= self.pulses_until

    @property
    def top_c(self) -> float:
        """How far up a thermostat's next pulse may go, degC; -inf: none is foretold."""
        return self._switching.top_c(self.stepped)

    @property
    def rests_until(self) -> float:
        """Until when (tick) it may fall by a thermostat's rest; NEVER: by none."""
        temp_c = self.temp_c
        return NEVER if temp_c is None else self._switching.rests_until(self.stepped, temp_c)

    def overdue(self, tick: float, floor_c: float) -> bool:
        """Has a thermostat's next pulse not come, by its last two swings? Not while people are
        about: a feeding makes a rest longer."""
        return self._box.nobody_at_work(tick) and self._switching.overdue(tick, floor_c)

    def rests_on(self, tick: float, floor_c: float) -> bool:
        """Has a thermostat let it go far below its target, and for far longer than ever of late?
        Once it has settled by how the heat hangs for the night."""
        wanted_c = self.wanted_c
        short = wanted_c is not None and floor_c < wanted_c - FAR_K
        return short and self._box.hangs(tick) and self._rests.outlasted(tick, floor_c)

    @property
    def low_c(self) -> float | None:
        """The lower edge of its band; None: nothing tells how warm the floor itself is."""
        return self._box.low_c if self.measured else None

    @property
    def wanted_c(self) -> float | None:
        """What it is brought down to: its target, or in the evening before a step down that after
        it. None as above."""
        low_c = self.low_c
        return None if low_c is None else low_c + self._box.limits.band_c

    def is_hung(self, tick: float, floor_c: float) -> bool:
        """May somebody at the box be bringing it down? By day, and in the evening, lamps are raised
        or turned down to hold the target: until it is below that, a fall is no more than this."""
        wanted_c = self.wanted_c
        return wanted_c is not None and floor_c >= wanted_c and not self._box.nobody_at_work(tick)

    @property
    def chill_c(self) -> float | None:
        """Where cold harms; None as above."""
        target_c = self._box.target_c if self.measured else None
        return None if target_c is None else target_c - self._box.limits.harm_c

    def heard_for(self, tick: float) -> float:
        """Seconds since its first reading."""
        return tick - self._first

    @property
    def was_hot(self) -> bool:
        """Was it above its band in the hour before?"""
        usual, target_c = self.course.quick, self._box.target_c
        if usual is None or target_c is None:
            return False
        return usual.high_c > target_c + self._box.limits.band_c

    def may_swing(self, tick: float) -> bool:
        """In its first hour a thermostat's off-phase looks like lost heat, and after an hour that
        was too hot the way back to its target does: what its usual low is, is not known. Once out
        of the band, or halfway from the target, it is neither."""
        low_c, temp_c = self.low_c, self.temp_c
        if low_c is None or temp_c is None or temp_c < low_c:
            return False
        on_its_way = self.was_hot and temp_c > low_c + 0.5 * self._box.limits.band_c
        return on_its_way or self.heard_for(tick) < _SWING_KNOWN_S

    def _fuse(
        self, tick: float, fresh: list[Track], *, findings: Sequence[Finding], learns: bool
    ) -> float | None:
        floor = self.lies_on
        read = fresh if len(floor) == self._all else [t for t in fresh if t in floor]
        if len(floor) == 1:
            return read[0].mean if read else None
        trusted = floor
        if findings:
            bad = {finding.probe for finding in findings}
            trusted = [t for t in floor if t.key not in bad]
        if len(trusted) < len(floor):
            read = [track for track in read if track in trusted] or (read if not trusted else [])
        if not read:
            return None
        if learns:
            _learn_offsets(trusted, tick)
        return sum([track.mean - (track.offset or 0.0) for track in read]) / len(read)

    @property
    def left_alone(self) -> bool:
        """None of them has said anything that counts."""
        return all(track.level is None for track in self.lies_on)


def _first_of(tracks: Sequence[Track], *places: Place) -> list[Track]:
    for place in places:
        found = [track for track in tracks if track.place is place]
        if found:
            return found
    return []


def _learn_offsets(floor: list[Track], tick: float) -> None:
    heard = [t for t in floor if t.level is not None and tick - t.last_tick < _OFFSET_S]
    if len(heard) < 2:
        return
    mean = sum([track.mean for track in heard]) / len(heard)
    for track in heard:
        apart = track.mean - mean
        if track.offset is None:
            track.offset = apart
        else:
            track.offset += _OFFSET_RATE * (apart - track.offset)
