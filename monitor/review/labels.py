"""Where words go in the chart so that none covers another. Called by `panels` and `lanes`."""

from collections.abc import Sequence
from textwrap import wrap

LETTER_PX = 5.6  # mean advance of the chart's font at its small size
_AWAY_PX = 7.0  # from a symbol's middle to its text
_HALF_PX = 5.0  # of a symbol, with some air


def apart(wanted: Sequence[float], *, gap: float, low: float, high: float) -> list[float]:
    """Positions near those wanted, in the same order, at least `gap` apart, within low..high as
    long as they fit: each goes up out of the way of the one below it, and back from the upper end.
    """
    order = sorted(range(len(wanted)), key=wanted.__getitem__)
    placed = list(wanted)
    least = low
    for index in order:
        placed[index] = max(placed[index], least)
        least = placed[index] + gap
    most = high
    for index in reversed(order):
        placed[index] = min(placed[index], most)
        most = placed[index] - gap
    return placed


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
    return "\n".join(wrap(name, letters, max_lines=most, placeholder="…"))
