"""On which side of its band a floor is: one definition, for the night's figures as they grow
(watch) and for the record sheet (review), so that one spell has one length wherever it is said."""

from typing import overload

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@overload
def band_side(
    coldest_c: float, hottest_c: float, low_c: float, high_c: float
) -> tuple[bool, bool]: ...
@overload
def band_side(
    coldest_c: Floats, hottest_c: Floats, low_c: Floats, high_c: Floats
) -> tuple[Bools, Bools]: ...
def band_side(
    coldest_c: float | Floats,
    hottest_c: float | Floats,
    low_c: float | Floats,
    high_c: float | Floats,
) -> tuple[bool | Bools, bool | Bools]:
    """(below, above) of a floor whose coldest and hottest probe read so. Strict: on the edge of the
    band is in it, and no alarm's dead band counts. One corner freezing while another cooks is
    below, as the worse. NaN (nothing read, no target) is neither."""
    below = coldest_c < low_c
    above = (hottest_c > high_c) & (coldest_c >= low_c)
    return below, above
