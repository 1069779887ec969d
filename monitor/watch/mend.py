"""What would make tonight hold: another cover, another lamp, half the box. Called by `thermal` with
a look ahead at the night.

Each is tried in the same look ahead; what is enough alone comes first, the least trouble before the
rest. Gains come from the box's W/K (`heat_balance`), so they are as good as its dimensions."""

from collections.abc import Callable
from dataclasses import replace
from math import ceil

from monitor.brooding.heat_balance import prior
from monitor.site import Brooder

_ENOUGH = 0.2  # chance of leaving the band that is left
_STEP_W = 50.0
_MOST_W = 500.0
_SAFE_COVER = "plywood"  # foam and cloth hold more, and catch fire under a lamp
_WORTH = 1.05  # a gain in rise below this is not worth the walk


def mends(
    brooder: Brooder, missing_watts: float, chance: Callable[[float, float], float]
) -> tuple[str, ...]:
    """Plain clauses. `chance(extra_watts, gain)` of leaving the band with so much more heat and
    the rise `gain` times what it is."""
    now = prior(brooder).watts_per_k
    tries: list[tuple[str, float, float]] = []
    boarded = now / prior(brooder, cover=_SAFE_COVER).watts_per_k
    if boarded > _WORTH:
        tries.append((f"cover the box with {_SAFE_COVER}", 0.0, boarded))
    watts = _STEP_W * ceil(max(missing_watts, 1.0) / _STEP_W)
    while watts < _MOST_W and chance(watts, 1.0) > _ENOUGH:
        watts += _STEP_W
    if brooder.heat:
        tries.append((f"add {watts:.0f} W of heat", watts, 1.0))
    half = replace(brooder, length_m=0.5 * brooder.length_m)
    tries.append(("pen the birds into half the box", 0.0, now / prior(half).watts_per_k))
    judged = [(text, chance(extra, gain)) for text, extra, gain in tries]
    enough = [text for text, left in judged if left <= _ENOUGH]
    rest = sorted((left, text) for text, left in judged if left > _ENOUGH)
    return (*enough, *(text for _, text in rest))
