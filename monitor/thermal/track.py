"""What is remembered of one probe inside the box: sums for the next filter step, a level, and what
its health is judged by. Fed by `thermal` for every reading, so it is lean."""

from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Place
from monitor.thermal.course import SPIKE_K, UNKNOWN_K, Course

# Readings so close to each other; of the air outside, which no hour changes as much, these.
CLOSE_S, _CLOSE_OUTSIDE_S = 180.0, 3600.0
# For so long, or by the third in a row: two wild readings within seconds confirm nothing.
_BORNE_OUT_S, _BORNE_OUT = 20.0, 3
SUNKEN_K = 0.4  # below its usual low: less is no collapse
LEAP_K = 5.0  # and stays there: no floor goes to and fro
# A sheath beneath a source that goes off and on cools and warms by and by: it has its lag. One that
# is at rest in the reading after a leap, within this share of it, was not heated or cooled.
_AT_REST_SHARE = 0.05
SPIKES = 3.0  # a score: one each, forgotten by half in an hour
# A quick thermostat under a probe that speaks each minute or so is seen to go up and down by any
# amount from one word to the next: what comes back is a spike only by so many times what is usual.
_FAR_STRIDES, _STRIDE_RATE = 2.0, 0.1
_NO_FIRST_S = 1e12  # since the reading before, if there was one
_DAY_S = 86400.0
_STOOD_S, _SILENT_S = 7200.0, 1800.0  # more than that may have been a fault
_LEVEL_S = 240.0  # the level follows the readings over this
_NEW_S = 330.0  # an older word says nothing of where it is heading


@part
class Track(Kept):
    """One inside probe. `level` is its recent mean; `offset` what it differs from the floor's."""

    last_tick: Tick = NEVER
    last_c: float = 0.0
    held: float | None = None  # a jump that waits to be confirmed
    held_since: Tick = NEVER
    held_count: int = 0
    leapt_up: bool | None = None  # which way its last leap went
    sum: float = 0.0
    count: int = 0
    mean: float = 0.0  # of the latest step it had readings in
    level: float | None = None
    course: Course
    offset: float | None = None
    moved_tick: Tick = NEVER  # when its value last changed
    unheard_s: float = 0.0  # of the time since then
    same: int = 0  # readings since then
    stood_s: float = 0.0  # the longest that it stood still of late before it changed
    quantum_k: float = UNKNOWN_K  # smallest step seen lately: its resolution, or more
    spike_score: float = 0.0
    stride_k: float = 0.0  # how far it goes from one reading to the next, on average
    readings: int = 0  # since probe_health looked last
    spikes: int = 0

    def __init__(self, key: str, place: Place) -> None:
        self.key = key
        self.place, self.beneath = place, place is Place.UNDER_HEAT
        self._close_s = _CLOSE_OUTSIDE_S if place is Place.OUTSIDE else CLOSE_S
        self.course = Course()

    def add(self, tick: float, temp_c: float) -> bool:
        """One reading. False: it waits for the next one to confirm it."""
        self.readings += 1
        was_c = self.last_c
        jump = temp_c - was_c
        gap_s = tick - self.last_tick
        step = jump if self.held is None else temp_c - self.held
        self.stride_k += (gap_s < CLOSE_S) * _STRIDE_RATE * (abs(step) - self.stride_k)
        if jump != 0.0:
            if (jump > SPIKE_K or jump < -SPIKE_K) and gap_s < self._close_s:
                held = self.held
                if held is None or not -SPIKE_K < temp_c - held < SPIKE_K:
                    self.held, self.held_since, self.held_count = temp_c, tick, 0
                self.held_count += 1
                if tick - self.held_since < _BORNE_OUT_S and self.held_count < _BORNE_OUT:
                    self.last_tick = tick
                    return False
            stood_s = self.still_s + (gap_s if gap_s < _SILENT_S else 0.0)
            self.stood_s = max(self.stood_s, min(stood_s, _STOOD_S))
            self.moved_tick, self.unheard_s, self.same = tick, 0.0, 0
            quantum = self.quantum_k
            if not -quantum < jump < quantum:
                self.quantum_k = 1.005 * quantum  # let go slowly: a coarser one may take its place
            elif gap_s < _NO_FIRST_S:
                self.quantum_k = jump if jump > 0.0 else -jump
        else:
            self.same += 1
            if _SILENT_S < gap_s < _NO_FIRST_S:
                self.unheard_s += gap_s
        held = self.held
        if held is not None:
            self.held = None
            far_k = abs(held - was_c)
            if not -SPIKE_K < temp_c - held < SPIKE_K:
                # Came back: a spike. A lamp that goes off and on lets its sheath come back by half.
                if not self.beneath or abs(jump) <= _AT_REST_SHARE * far_k:
                    self.spike_score += far_k >= _FAR_STRIDES * self.stride_k
                    self.spikes += 1
            elif not -LEAP_K < jump < LEAP_K and (
                not self.beneath or abs(temp_c - held) <= _AT_REST_SHARE * abs(jump)
            ):
                up = jump > 0.0
                back = self.leapt_up is (not up)
                self.spike_score += back  # whatever it stayed for
                self.leapt_up = None if back else up
        self.last_c = temp_c
        self.last_tick = tick
        near = gap_s <= CLOSE_S  # no mean is of what was before a gap and after it
        self.sum = temp_c + near * self.sum
        self.count = 1 + near * self.count
        return True

    def is_new(self, tick: float) -> bool:
        """Does it say where the floor is heading?"""
        return self.level is not None and tick - self.last_tick <= _NEW_S

    @property
    def still_s(self) -> float:
        """How long its value has stood, as far as it was heard meanwhile."""
        return self.last_tick - self.moved_tick - self.unheard_s

    @property
    def jumps(self) -> bool:
        """Its readings jump and come back: what it says proves nothing."""
        return self.spike_score >= SPIKES

    def forget(self, for_s: float) -> None:
        """Half of its spikes in an hour, of its longest stand in a day."""
        days = min(for_s, _DAY_S) / _DAY_S
        if self.spike_score:
            self.spike_score *= 0.5 ** (24.0 * days)
        self.stood_s *= 1.0 - 0.5 * days

    @property
    def sunken(self) -> bool:
        """Its latest reading is far below what is usual for it."""
        usual = self.course.quick
        return usual is not None and usual.low_c - self.last_c >= SUNKEN_K

    def take(self, step_s: float) -> bool:
        """Close the step: `mean` of its readings, `level` moved on. False: it had none."""
        if not self.count:
            return False
        self.mean = mean = self.sum / self.count
        self.sum = 0.0
        self.count = 0
        level = self.level
        if level is None or step_s > 4.0 * _LEVEL_S:
            self.level = mean
        else:
            self.level = level + (mean - level) * (step_s / (step_s + _LEVEL_S))
        self.course.grain_k = self.quantum_k
        self.course.add(self.last_tick, mean)
        return True

    def leave_out(self) -> None:
        """Not in use: it has no level and was never heard. Its habits are remembered."""
        self.held = self.level = None
        self.sum = 0.0
        self.count = 0
        self.last_tick = NEVER
        self.spike_score = 0.0
        self.course.clear()
