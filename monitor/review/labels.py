"""Names beside the ends of lines, moved apart where they would cover. Called by `picture`."""

from collections.abc import Sequence

import numpy as np


def apart(wanted: Sequence[float], *, gap: float, low: float, high: float) -> list[float]:
    """Positions as near as can be to those wanted, in the same order, at least `gap` apart, within
    low..high as long as they fit.

    Least squares with an order constraint is isotonic regression; pool-adjacent-violators solves
    it exactly (Ayer et al., Annals of Mathematical Statistics 26:641, 1955)."""
    order = np.argsort(wanted, kind="stable")
    steps = gap * np.arange(len(order))
    blocks: list[tuple[float, int]] = []  # (mean of wanted - step, how many)
    for rank, index in enumerate(order):
        mean, many = wanted[index] - steps[rank], 1
        while blocks and blocks[-1][0] > mean:
            earlier, count = blocks.pop()
            mean, many = (earlier * count + mean * many) / (count + many), count + many
        blocks.append((mean, many))
    base = np.repeat([mean for mean, _ in blocks], [many for _, many in blocks])
    room = max(high - low - gap * (len(order) - 1), 0.0)
    placed = np.clip(base, low, low + room) + steps
    result = [0.0] * len(order)
    for rank, index in enumerate(order):
        result[index] = float(placed[rank])
    return result
