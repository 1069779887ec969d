"""Where words go in the chart so that none covers another. Called by `panels` and `lanes`."""

from collections.abc import Sequence

import numpy as np

LETTER_PX = 5.6  # mean advance of the chart's font at its small size
_AWAY_PX = 7.0  # from a symbol's middle to its text
_HALF_PX = 5.0  # of a symbol, with some air


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


def sides(marks: Sequence[tuple[float, str]], wide_px: float) -> list[str | None]:
    """For symbols in one row, each at a pixel and with a text: whether the text stands to the
    `right` or `left` of it, or nowhere (None) because it would cover a symbol or another text."""
    taken = [(x - _HALF_PX, x + _HALF_PX) for x, _ in marks]
    found: list[str | None] = []
    for x, text in marks:
        width = len(text) * LETTER_PX
        right = (x + _AWAY_PX, x + _AWAY_PX + width)
        left = (x - _AWAY_PX - width, x - _AWAY_PX)
        side = None
        for name, (start, stop) in (("right", right), ("left", left)):
            inside = start >= 0 and stop <= wide_px
            if inside and not any(a < stop and b > start for a, b in taken):
                side = name
                taken.append((start, stop))
                break
        found.append(side if text else None)
    return found


def in_lines(name: str, letters: int, most: int) -> str:
    """A name in at most `most` lines of about `letters`; an ellipsis where more would be needed."""
    lines: list[str] = []
    for word in name.split():
        if lines and len(lines[-1]) + 1 + len(word) <= letters:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    kept = [
        line if len(line) <= letters + 1 else line[: letters - 1] + "…" for line in lines[:most]
    ]
    if len(lines) > most and not kept[-1].endswith("…"):
        kept[-1] = kept[-1][: letters - 1] + "…"
    return "\n".join(kept)
