"""What makes a box's thermal watch, or none. Called by the engine, which gives what it gets to
thermal.estimate."""

from collections.abc import Callable

from monitor.brooding.heat_balance import prior
from monitor.site import Brooder
from monitor.thermal.thermal_watch import ThermalWatch

MakeEstimator = Callable[[Brooder, bool], ThermalWatch | None]  # the bool: is the outside measured?


def thermal(brooder: Brooder, outside_known: bool) -> ThermalWatch:
    """The real one; birds are told to it when there are some."""
    return ThermalWatch(brooder, prior(brooder), outside_known)


def none(_brooder: Brooder, _outside_known: bool) -> None:
    """The estimator of a watch that makes no estimates."""
    return None
