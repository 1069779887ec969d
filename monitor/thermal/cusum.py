"""A cumulative-sum test for a change of mean, both ways. Called by `thermal` for every filter step.

E. S. Page, "Continuous inspection schemes", Biometrika 41 (1954) 100-115; in the tabular form of D.
C. Montgomery, Introduction to Statistical Quality Control, 6th ed. 2009, section 9.1.2. G. Lorden,
"Procedures for reacting to a change in distribution", Ann. Math. Statist. 42 (1971) 1897-1908,
shows that no test with as few false alarms is quicker in the worst case, and gives the bound that
the benchmark prints. The last tick at which a sum was zero estimates when the change began
(Page)."""

from monitor.events import State


class Cusum:
    """Two one-sided sums of a standardised residual. `slack` is half the shift looked for, in
    standard deviations (Montgomery's k); the caller compares `low` and `high` with its own h."""

    __slots__ = ("high", "high_since", "low", "low_since", "slack")

    def __init__(self, slack: float) -> None:
        self.slack = slack
        self.low = 0.0
        self.high = 0.0
        self.low_since = 0.0
        self.high_since = 0.0

    def add(self, residual: float, tick: float) -> None:
        """One more residual, seen at `tick`."""
        low = self.low - residual - self.slack
        if low > 0.0:
            self.low = low
        else:
            self.low = 0.0
            self.low_since = tick
        high = self.high + residual - self.slack
        if high > 0.0:
            self.high = high
        else:
            self.high = 0.0
            self.high_since = tick

    def reset(self, tick: float) -> None:
        """Forget what was summed up."""
        self.low = self.high = 0.0
        self.low_since = self.high_since = tick

    def state(self) -> State:
        """What is needed to go on after a restart."""
        return {
            "low": self.low,
            "high": self.high,
            "low_since": self.low_since,
            "high_since": self.high_since,
        }

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`."""
        self.low = float(state["low"])
        self.high = float(state["high"])
        self.low_since = float(state["low_since"]) + shift_s
        self.high_since = float(state["high_since"]) + shift_s
