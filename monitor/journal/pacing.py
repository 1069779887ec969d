"""When is a commit due? Pure decisions for the service's writer thread; time is passed in.

Each commit costs an SD card at least one page and one sync, and acknowledges every message in it.
The broker sends only so many messages ahead of acknowledgements (20 at Mosquitto's default,
max_inflight_messages), so waiting for more than that is waiting for ever: a commit is due before
the window is full. Eight probes every ten seconds fill 18 in 23 s: 160 commits an hour.

A broker may allow fewer in flight than we believe. Then a wait ends by age with the same small
number each time, and as soon as those are acknowledged the held-back ones arrive at once: the
window is learned from that, so that a backlog flows at the pace of the disk. One or two that waited
and as many just after them may be chance: that must be seen twice. Where messages come
quickly that wait is cut short: as many as a usual window are pending, and by the pace so far
twice as many should have come.

The built-in broker has the probes themselves wait, and a probe's program waits for so long only
before it says everything again. Hence `hold_s`, which no setting stretches."""

from dataclasses import dataclass
from math import inf

AT_ONCE_S = 0.5  # arrivals this soon after acknowledgements were held back by the window
CHANCE = 3  # fewer come together by themselves
FORGET_S = 3600.0  # a learned window is tried again at full width after this
USUAL = 20  # Mosquitto's default of max_inflight_messages
STALL_S = 1.0
_SMOOTHING, _LEAST_GAP_S, _MOST_OF_GAP = 16, 1e-4, 10.0


@dataclass(slots=True)
class Pacing:
    """`full_at` is nine tenths of the window: the rest arrives while the disk is busy."""

    window: int = 20
    longest_s: float = 25.0
    hold_s: float = inf  # whoever waits for an acknowledgement lives with this much
    _learned: int | None = None
    _learned_tick: float = 0.0
    _small: int = 0  # size of the last commit that ended by age
    _small_tick: float = 0.0
    _after_small: int = 0  # arrivals at once after it
    _held_back: int = 0  # a size that as many followed at once, the last time
    _suspect: int = USUAL  # a window that it may be, learned before or usual
    _arrived_tick: float | None = None
    _gap_s: float = 1.0  # between arrivals, smoothed; a pause counts little

    @property
    def full_at(self) -> int:
        """This many pending messages are worth a commit."""
        return max(1, min(self.window, self._learned or self.window) * 9 // 10)

    @property
    def _longest_s(self) -> float:
        return min(self.longest_s, self.hold_s)

    def arrived(self, tick: float, count: int = 1) -> None:
        if self._arrived_tick is not None:
            gap_s = min((tick - self._arrived_tick) / count, _MOST_OF_GAP * self._gap_s)
            self._gap_s += (gap_s - self._gap_s) / _SMOOTHING
            self._gap_s = max(self._gap_s, _LEAST_GAP_S)
        self._arrived_tick = tick
        if self._small and tick - self._small_tick <= AT_ONCE_S:
            self._after_small += count
            if self._after_small >= self._small:
                if self._small >= CHANCE or self._small == self._held_back:
                    self._learned, self._learned_tick = self._small, tick
                self._held_back, self._small = self._small, 0
        if self._learned is not None and tick - self._learned_tick > FORGET_S:
            self._suspect, self._learned = self._learned, None

    def due(
        self, *, pending: int, oldest_age_s: float, urgent: bool = False, more_waiting: bool = False
    ) -> bool:
        """Commit now? `pending` counts unacknowledged messages handled since the last commit,
        `urgent` says that a change or a grower's entry waits to be told, `more_waiting` that more
        messages are already in the queue and may share this commit."""
        if urgent:
            return True
        if pending <= 0:
            return oldest_age_s >= self.longest_s
        if oldest_age_s >= self._longest_s:
            return True
        if self._suspected(pending) and oldest_age_s >= self._stalled_after_s(pending):
            return not more_waiting
        return pending >= self.full_at and not (more_waiting and pending < self.window)

    def wait_s(self, *, pending: int, oldest_age_s: float) -> float:
        """How long a writer may sleep before `due` turns true by age alone."""
        if pending >= self.full_at:
            return 0.0
        longest_s = self._longest_s if pending else self.longest_s
        if self._suspected(pending):
            longest_s = min(longest_s, self._stalled_after_s(pending))
        return max(0.0, longest_s - oldest_age_s)

    def _suspected(self, pending: int) -> bool:
        return self._learned is None and pending >= min(self._suspect, self.window) * 9 // 10

    def _stalled_after_s(self, pending: int) -> float:
        """Of the oldest: by then twice as many should have come."""
        return max(STALL_S, 2 * pending * self._gap_s)

    def committed(self, tick: float, *, acknowledged: int, by_age: bool) -> None:
        """A commit ended and its messages were acknowledged."""
        self._after_small = 0
        self._small_tick = tick
        self._small = acknowledged if by_age and acknowledged < self.full_at else 0
        if self._small != self._held_back:
            self._held_back = 0


PROMPT_S = 0.2  # waits for company this long; nobody notices, and a pack of probes shares a commit


@dataclass(slots=True)
class CommitAllowance:
    """A commit at every message would wear out an SD card; a commit every twenty seconds makes a
    probe that sleeps between readings wait that long. So promptness is an allowance: a commit of
    it is regained every `regain_s`, a few may be saved up. A probe or two a minute, or somebody
    trying things by hand, is answered at once; a busy box falls back to the slow pace."""

    regain_s: float = 20.0
    most: float = 60.0
    _saved: float = 60.0
    _tick: float | None = None

    def prompt(self, tick: float, oldest_age_s: float) -> bool:
        """May a commit be made now, before it is due?"""
        self._regain(tick)
        return oldest_age_s >= PROMPT_S and self._saved >= 1.0

    def wait_s(self, tick: float, oldest_age_s: float) -> float:
        """How long until `prompt` turns true by itself."""
        self._regain(tick)
        missing = max(0.0, 1.0 - self._saved) * self.regain_s
        return max(PROMPT_S - oldest_age_s, missing, 0.0)

    def spent(self, tick: float) -> None:
        """A commit was made, for whatever reason."""
        self._regain(tick)
        self._saved = max(0.0, self._saved - 1.0)

    def _regain(self, tick: float) -> None:
        if self._tick is not None and tick > self._tick:
            self._saved = min(self.most, self._saved + (tick - self._tick) / self.regain_s)
        self._tick = tick
