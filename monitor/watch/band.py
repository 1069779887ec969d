"""Limit, dead band, on-delay and off-delay: when a temperature becomes an alarm, and when it ends.

Called by watch.brooder_watch (edges, per reading) and watch.alarm_register (delays). The behaviour
is that of OPC 10000-9 (OPC UA Part 9: Alarms and Conditions, release 1.05.03), 5.8.2 and annex B,
in our words: a value beyond its limit starts the on-delay; coming back before the on-delay has
passed ends it without an alarm; once active the alarm ends only when the value has come back past
the limit by the dead band and has stayed there for the off-delay."""

from monitor.kept import Kept, Tick, part

# One reading raises nothing: a jump of a single one is no temperature. Three in a row do, or two
# that lie five minutes apart, where a probe speaks seldom. Common practice.
SURE_READINGS, SURE_SELDOM, SURE_SELDOM_S = 3, 2, 300.0


@part
class Edge(Kept):
    """One limit with its dead band: is a temperature beyond it, and for how many readings in a
    row? The dead band is for what has begun: a reading within it bears nothing out."""

    __slots__ = ("back_c", "below", "beyond", "count", "last", "limit_c", "since")
    beyond: bool
    count: int  # readings beyond the limit itself in a row
    since: Tick  # the first of them
    last: Tick

    def __init__(self, *, below: bool) -> None:
        self.below = below
        self.beyond = False
        self.count = 0
        self.since = self.last = 0.0
        self.limit_c = self.back_c = _never(below)

    def move(self, limit_c: float | None, dead_band_c: float) -> None:
        """Set the limit; None: there is none, and nothing is beyond it."""
        if limit_c is None:
            self.limit_c = self.back_c = _never(self.below)
            self.beyond = False
        else:
            self.limit_c = limit_c
            self.back_c = limit_c + dead_band_c if self.below else limit_c - dead_band_c

    def take(self, temp_c: float, tick: float) -> None:
        """Takes a new reading."""
        self.see(temp_c)
        if not (temp_c < self.limit_c if self.below else temp_c > self.limit_c):
            self.count = 0
            return
        self.count += 1
        self.last = tick
        if self.count == 1:
            self.since = tick

    @property
    def sure(self) -> bool:
        """Beyond, by more than one reading's word."""
        seldom = self.count >= SURE_SELDOM and self.last - self.since >= SURE_SELDOM_S
        return self.count >= SURE_READINGS or seldom

    def see(self, temp_c: float) -> bool:
        """Look at a temperature; is it beyond the limit (or not yet back past the dead band)?"""
        if self.below:
            self.beyond = temp_c < self.back_c if self.beyond else temp_c < self.limit_c
        else:
            self.beyond = temp_c > self.back_c if self.beyond else temp_c > self.limit_c
        return self.beyond


def _never(below: bool) -> float:
    return float("-inf") if below else float("inf")


@part
class Delay(Kept):
    """On-delay and off-delay over a condition. `due` is the tick at which `active` will follow
    the condition if the condition stays as it is; whoever owns the timer calls `settle` then."""

    condition: bool = False
    active: bool = False
    began: Tick | None = None  # when the condition that led (or may lead) to active began
    due: Tick | None = None

    def __init__(self, *, on_s: float, off_s: float) -> None:
        self.on_s, self.off_s = on_s, off_s

    def see(self, condition: bool, tick: float) -> None:
        """The condition as it is from `tick` on."""
        if condition == self.condition:
            return
        self.condition = condition
        if condition == self.active:
            self.due = None
            if not condition:
                self.began = None
            return
        if condition:
            self.began = tick
            self.due = tick + self.on_s
        else:
            self.due = tick + self.off_s

    def settle(self) -> bool:
        """The delay has passed: follow the condition. Returns whether it is active now."""
        self.active = self.condition
        self.due = None
        if not self.active:
            self.began = None
        return self.active

    def hold(self) -> None:
        """The condition can no longer be judged: it stays as it was last seen. What is active does
        not end, and what was on its way to an alarm arrives: a probe that is lost in the cold is no
        sign of warmth."""
        if self.active and not self.condition:
            self.condition = True
            self.due = None

    def reset(self) -> None:
        """Nothing to judge any more (the batch has left): off at once."""
        self.condition = self.active = False
        self.began = self.due = None
