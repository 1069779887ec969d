"""The two clocks of the service. The only place that asks the machine for the time.

Boards without a battery clock boot at a stale time and are put right later by the network. So
delays run on a steady clock that never jumps, ages and records on wall time, and every jump of the
wall clock is seen, counted and told."""

import threading
import time
from typing import Protocol

from monitor.events import Moment

JUMP_S = 1.0  # CLOCK_MONOTONIC is slewed with the wall clock, so a difference is a step, not drift


class Clock(Protocol):
    """Now, and how fast it goes against the machine's clock."""

    speed: float

    def now(self) -> Moment:
        """This moment on both clocks."""
        ...

    def jump_s(self) -> float:
        """How far the wall clock jumped since the last call: 0.0 nearly always."""
        ...

    def running_s(self) -> float:
        """How long the machine has been on."""
        ...


class LiveClock:
    """The machine's clocks. `tick` starts at wall time, but never before `not_before`: a board that
    boots with a stale clock must not run its timers in its own past.

    Between two jumps `at - tick` is one constant and both are whole milliseconds, as the journal
    keeps them: so a state rebuilt from the journal is the same to the last digit."""

    speed = 1.0

    def __init__(self, *, not_before: float = 0.0) -> None:
        wall = round(time.time(), 3)
        self._base = max(wall, not_before) - time.monotonic()
        self._offset = round(min(0.0, wall - not_before), 3)

    def now(self) -> Moment:
        """Wall and steady time, in seconds."""
        tick = round(time.monotonic() + self._base, 3)
        return Moment(round(tick + self._offset, 3), tick)

    def jump_s(self) -> float:
        """How far the wall clock was set since the last call; `now` follows it from here on."""
        jump = time.time() - (time.monotonic() + self._base + self._offset)
        if abs(jump) < JUMP_S:
            return 0.0
        self._offset = round(self._offset + jump, 3)
        return jump

    def running_s(self) -> float:
        """The steady clock begins anew when the machine starts."""
        return time.monotonic()


class FastClock:
    """A made-up night at `speed` times the machine's pace, for a rehearsal."""

    def __init__(self, *, start_at: float, speed: float) -> None:
        self.speed = speed
        self._start_at = start_at
        self._zero = time.monotonic()
        self._until = float("inf")
        self._lock = threading.Lock()

    def go_on_until(self, at: float) -> None:
        """It stands still there, so that a machine that stalls for a second makes no silence of
        minutes in the night."""
        self.now()  # how long it has stood does not count
        self._until = at

    def now(self) -> Moment:
        """Both clocks are one here."""
        with self._lock:
            at = self._start_at + (time.monotonic() - self._zero) * self.speed
            if at > self._until:
                self._zero += (at - self._until) / self.speed
                at = self._until
        at = round(at, 3)
        return Moment(at, at)

    def jump_s(self) -> float:
        """A rehearsal's clock does not jump."""
        return 0.0

    def running_s(self) -> float:
        """Not asked for where nothing jumps."""
        return time.monotonic()
