"""The seam to the thermal side: what the engine needs of it, and a null object for none.

`watch.thermal.ThermalWatch` is the real one. The estimate is an aid: should it fail, band alarms
go on without it, so every call passes through `Guarded`, which keeps the reason for the status."""

from collections.abc import Callable
from typing import Protocol, TypeVar

from monitor.watch.diagnosis import Diagnosis, Interval, Outlook
from monitor.watch.events import Moment, State

T = TypeVar("T")


class Estimator(Protocol):
    """One brooder's thermal watch."""

    @property
    def diagnosis(self) -> Diagnosis:
        """What the floor is doing, and why."""
        ...

    def observe(self, tick: float, probe_key: str, temp_c: float) -> Diagnosis | None:
        """An inside probe's reading. None: nothing new."""
        ...

    def observe_outside(self, tick: float, temp_c: float) -> None:
        """The outside probe's reading."""
        ...

    def grower_acted(self, tick: float, what: str) -> None:
        """The grower did something to the box or the birds."""
        ...

    def minutes_to(self, limit_c: float, tick: float) -> Interval | None:
        """Minutes until the floor reaches a limit. None: it is not on its way there."""
        ...

    def tonight(self, now: Moment, until_at: float, low_c: float) -> Outlook | None:
        """How the hours until `until_at` will go. None: nothing is known of the outside."""
        ...

    def state(self) -> State:
        """JSON-able."""
        ...

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`."""
        ...


class NoEstimate:
    """Says nothing."""

    diagnosis = Diagnosis()

    def observe(self, tick: float, probe_key: str, temp_c: float) -> Diagnosis | None:
        """Nothing new."""
        return None

    def observe_outside(self, tick: float, temp_c: float) -> None:
        """Not looked at."""

    def grower_acted(self, tick: float, what: str) -> None:
        """Not looked at."""

    def minutes_to(self, limit_c: float, tick: float) -> Interval | None:
        """Not known."""
        return None

    def tonight(self, now: Moment, until_at: float, low_c: float) -> Outlook | None:
        """Not known."""
        return None

    def state(self) -> State:
        """Nothing to keep."""
        return {}

    def restore(self, state: State, shift_s: float) -> None:
        """Nothing to take up."""


class Guarded:
    """An estimator that is put aside at its first exception; `fault` then says which."""

    def __init__(self, inner: Estimator) -> None:
        self.inner: Estimator = inner
        self.fault: str | None = None

    def call(self, work: Callable[[Estimator], T]) -> T | None:
        """`work` on the estimator, or None once it has failed."""
        try:
            return work(self.inner)
        except Exception as error:  # whatever it is, the band alarms must go on
            self.give_up(error)
            return None

    def give_up(self, error: Exception) -> None:
        """From here on there is no estimate."""
        self.fault = f"{type(error).__name__}: {error}"
        self.inner = NoEstimate()
