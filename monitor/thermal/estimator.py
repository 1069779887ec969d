"""The seam to the thermal side: what the engine needs of `thermal_watch.ThermalWatch`, and a null
object where there is none. Called through thermal.estimate only."""

from collections.abc import Callable
from typing import Protocol

from monitor.brooding.heat_balance import Change, Prior, prior
from monitor.events import Moment, State
from monitor.site import Brooder
from monitor.thermal.diagnosis import Diagnosis, Interval, Learned, Outlook
from monitor.thermal.outside_curve import OutsideCurve
from monitor.thermal.thermal_watch import ThermalWatch
from monitor.thermal.tonight import LowAt


class Estimator(Protocol):
    """One brooder's thermal watch."""

    @property
    def diagnosis(self) -> Diagnosis:
        """What the floor is doing, and why."""
        ...

    @property
    def learned(self) -> Learned | None:
        """What is known of the box by now; None: nothing was heard of it."""
        ...

    def observe(self, tick: float, probe_key: str, temp_c: float) -> Diagnosis | None:
        """An inside probe's reading. None: nothing new."""
        ...

    def observe_outside(self, tick: float, temp_c: float) -> None:
        """The outside probe's reading."""
        ...

    def leave_out(self, probe_key: str) -> None:
        """What an inside probe said counts no longer, until it is heard again."""
        ...

    def target_is(self, target_c: float | None) -> None:
        """The floor's target from now on; None: no batch."""
        ...

    def prior_is(self, prior: Prior) -> None:
        """What the box should do from first principles, with these birds."""
        ...

    def hour_is(self, tick: float, hour: float) -> None:
        """The local hour of day, 0..24, at a tick: at night nobody feeds."""
        ...

    def grower_acted(self, tick: float) -> None:
        """The grower did something to the box or the birds."""
        ...

    def minutes_to(self, limit_c: float, tick: float) -> Interval | None:
        """Minutes until the floor reaches a limit. None: it is not on its way there."""
        ...

    def outside_curve(self, now: Moment, until_at: float) -> OutsideCurve | None:
        """The coming outside from what the outside probe said."""
        ...

    def outlook(
        self,
        start: Moment,
        outside: OutsideCurve,
        until_at: float,
        *,
        low_at: LowAt,
        change: Change,
    ) -> Outlook | None:
        """How the hours until `until_at` will go in the box with that change."""
        ...

    def state(self) -> State:
        """JSON-able."""
        ...

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`."""
        ...


MakeEstimator = Callable[[Brooder, bool], Estimator]  # the bool: is the outside measured?


def thermal(brooder: Brooder, outside_known: bool) -> Estimator:
    """The real one; birds are told to it when there are some."""
    return ThermalWatch(brooder, prior(brooder), outside_known)


def none(_brooder: Brooder, _outside_known: bool) -> Estimator:
    """For a watch without estimates."""
    return NoEstimate()


class NoEstimate:
    """Says nothing."""

    diagnosis = Diagnosis()
    learned: Learned | None = None

    def observe(self, tick: float, probe_key: str, temp_c: float) -> Diagnosis | None:
        """Nothing new."""
        return None

    def observe_outside(self, tick: float, temp_c: float) -> None:
        """Not looked at."""

    def leave_out(self, probe_key: str) -> None:
        """Not looked at."""

    def target_is(self, target_c: float | None) -> None:
        """Not looked at."""

    def prior_is(self, prior: Prior) -> None:
        """Not looked at."""

    def hour_is(self, tick: float, hour: float) -> None:
        """Not looked at."""

    def grower_acted(self, tick: float) -> None:
        """Not looked at."""

    def minutes_to(self, limit_c: float, tick: float) -> Interval | None:
        """Not known."""
        return None

    def outside_curve(self, now: Moment, until_at: float) -> OutsideCurve | None:
        """Not known."""
        return None

    def outlook(
        self,
        start: Moment,
        outside: OutsideCurve,
        until_at: float,
        *,
        low_at: LowAt,
        change: Change,
    ) -> Outlook | None:
        """Not known."""
        return None

    def state(self) -> State:
        """Nothing to keep."""
        return {}

    def restore(self, state: State, shift_s: float) -> None:
        """Nothing to take up."""
