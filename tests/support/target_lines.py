"""A target laid along the clock by hand, the same way off on either side of it."""

from collections.abc import Sequence

import numpy as np

from monitor.review.exposure import TargetLine


def line_around(
    edges: Sequence[float], levels: Sequence[float], *, band_c: float, harm_c: float
) -> TargetLine:
    """Treads of these targets (NaN: none) between the edges."""
    target_c = np.array(levels, float)
    return TargetLine(
        edges=np.array(edges, float),
        target_c=target_c,
        low_c=target_c - band_c,
        high_c=target_c + band_c,
        chill_c=target_c - harm_c,
        overheat_c=target_c + harm_c,
    )
