"""On which side of its band a floor is: one definition, for the night's figures as they grow
(watch) and for the record sheet (review), so that one spell has one length wherever it is said."""

from typing import TYPE_CHECKING, overload

if TYPE_CHECKING:  # the watch does without numpy
    import numpy as np
    import numpy.typing as npt

    Temps = npt.NDArray[np.float64]
    Marks = npt.NDArray[np.bool_]


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
    below, as the worse. NaN (nothing read, no target) is neither."""
    below = coldest_c < low_c
    above = (hottest_c > high_c) & (coldest_c >= low_c)
    return below, above
