"""The band and the harm limits around the target at an age: one definition for the watch, the
record sheet and the pictures.

A step comes at midnight, and a grower raises the lamp in the morning. So for half a day after a
step down the upper edges are still those of the old target: a floor that was right at bedtime is
not called too hot, nor dangerously hot, at midnight. Downwards the new target counts at once.

The overheat limit is never over what harms a chick of that age anyhow (`harm_known`)."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, overload

from monitor.brooding.harm_known import overheat_cap_c
from monitor.brooding.provenance import COMMON_PRACTICE
from monitor.brooding.schedules import Schedule, target_at
from monitor.site import Limits, Place, Steps

if TYPE_CHECKING:  # the watch does without numpy
    import numpy as np
    import numpy.typing as npt

    Temps = npt.NDArray[np.float64]
    Marks = npt.NDArray[np.bool_]


STEP_GRACE_DAYS = 0.5
GRACE_SOURCE = COMMON_PRACTICE


@dataclass(frozen=True, slots=True)
class AgeLimits:
    """All in degC. Right is low_c..high_c; harm is near below chill_c and above overheat_c."""

    target_c: float
    low_c: float
    high_c: float
    chill_c: float
    overheat_c: float


def limits_at(
    schedule: Schedule, age_days: float, steps: Steps, place: Place, limits: Limits
) -> AgeLimits | None:
    """The limits at an age, or None where the schedule does not speak of that place."""
    target_c = target_at(schedule, age_days, steps, place)
    before_c = target_at(schedule, age_days - STEP_GRACE_DAYS, steps, place)
    if target_c is None or before_c is None:
        return None
    warm_c = max(target_c, before_c)
    cap_c = overheat_cap_c(age_days) if limits.overheat_c is None else limits.overheat_c
    high_c = warm_c + limits.band_c  # an overheat is never less than too hot
    return AgeLimits(
        target_c=target_c,
        low_c=target_c - limits.band_c,
        high_c=high_c,
        chill_c=target_c - limits.harm_c,
        overheat_c=min(max(high_c, min(warm_c + limits.harm_c, cap_c)), limits.fire_c),
    )


@overload
def band_side(
    coldest_c: float, hottest_c: float, low_c: float, high_c: float
) -> tuple[bool, bool]: ...
@overload
def band_side(
    coldest_c: "Temps", hottest_c: "Temps", low_c: "Temps", high_c: "Temps"
) -> tuple["Marks", "Marks"]: ...
def band_side(
    coldest_c: "float | Temps",
    hottest_c: "float | Temps",
    low_c: "float | Temps",
    high_c: "float | Temps",
) -> tuple["bool | Marks", "bool | Marks"]:
    """(below, above) of a floor whose coldest and hottest probe read so. Strict: on the edge of the
    band is in it, and no alarm's dead band counts. One corner freezing while another cooks is
    below, as the worse. NaN (nothing read, no target) is neither. The only definition, so that one
    spell has one length wherever it is said."""
    below = coldest_c < low_c
    above = (hottest_c > high_c) & (coldest_c >= low_c)
    return below, above
