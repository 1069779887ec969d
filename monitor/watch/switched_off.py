"""Which probe lies under which source, seen from readings: whoever switches one source off for some
minutes sees the probe beneath it fall alone. Pure; asked by the page and by `brooder warm-up`."""

from collections.abc import Mapping
from typing import NamedTuple

from monitor.site import Brooder, Place

Columns = Mapping[str, Mapping[int, tuple[float, float]]]  # probe -> column -> lowest, highest degC
# A lamp's warmth leaves a probe beneath it within minutes, the floor follows slowly. Assumed.
OWN_FALL_K, WITHIN_S = 5.0, 900.0
_OTHERS_SHARE = 0.5


class OwnFall(NamedTuple):
    """A probe that fell alone."""

    probe: str  # its name
    fell_k: float
    at: float  # Unix s


def own_falls(box: Brooder, columns: Columns, wide_s: float) -> tuple[OwnFall, ...]:
    """The latest fall of each probe under the heat that no other probe of the box shared.
    `columns` are numbered from 1970 and `wide_s` wide."""
    inside = [p for p in box.probes if p.place is not Place.OUTSIDE]
    found = []
    for probe in inside:
        if probe.place is not Place.UNDER_HEAT:
            continue
        others = [columns.get(p.key, {}) for p in inside if p.key != probe.key]
        mine = columns.get(probe.key, {})
        for column in sorted(mine, reverse=True):
            fell_k = _fall_k(mine, column, wide_s)
            shared_k = max((_fall_k(other, column, wide_s) for other in others), default=0.0)
            if fell_k >= OWN_FALL_K and shared_k <= _OTHERS_SHARE * fell_k:
                found.append(OwnFall(probe.name, fell_k, column * wide_s))
                break
    return tuple(found)


def _fall_k(mine: Mapping[int, tuple[float, float]], column: int, wide_s: float) -> float:
    """From the highest of the minutes before to the lowest in this column."""
    if column not in mine:
        return 0.0
    before = [mine[n][1] for n in range(column - int(WITHIN_S // wide_s), column) if n in mine]
    return max([*before, mine[column][0]]) - mine[column][0]
