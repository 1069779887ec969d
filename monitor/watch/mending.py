"""What would make a cold night hold: each way tried in the model, the least effort first.

Called by watch.estimate when the floor is likely to leave its band. A cover that keeps a gap for
fresh air costs nothing and burns nothing, so it comes first; blankets and foam are left out, since
they lie next to lamps. Lamp sizes are the usual ones. Common practice."""

from collections.abc import Callable
from dataclasses import replace

from monitor.brooding.envelope import COVERS
from monitor.brooding.heat_balance import prior
from monitor.site import Brooder
from monitor.watch.diagnosis import Outlook
from monitor.watch.tonight import CLEAR_CHANCE

LAMPS_W = (100.0, 175.0, 250.0)
_COVERS = ("plywood", "boards")

Try = Callable[[float, float], Outlook | None]  # extra watts, gain of the box's W/K


def mends(brooder: Brooder, look: Try) -> tuple[str, ...]:
    """Up to three clauses, best first; the last resort is named where nothing holds by itself."""
    found: list[str] = []
    own = prior(brooder).watts_per_k
    covers = [(name, own / prior(brooder, cover=name).watts_per_k) for name in _COVERS]
    better = [(name, gain) for name, gain in covers if gain > 1.05]
    half = own / prior(replace(brooder, length_m=brooder.length_m / 2)).watts_per_k
    cover = next((c for c in better if _holds(look(0.0, c[1]))), None)
    if cover is not None:
        found.append(f"cover it with {COVERS[cover[0]].title}, a gap left for fresh air")
    lamp = next((w for w in LAMPS_W if _holds(look(w, 1.0))), None)
    if lamp is not None:
        found.append(f"one more lamp of {lamp:.0f} W")
    if _holds(look(0.0, half)):
        found.append("halve the box with a board, so that the heat serves half the floor")
    if not found:
        gain = max((g for _, g in better), default=1.0)
        if better and _holds(look(LAMPS_W[-1], gain)):
            title = COVERS[better[-1][0]].title
            found.append(f"cover it with {title} and hang one more lamp of {LAMPS_W[-1]:.0f} W")
        else:
            found.append("more than one lamp is missing: take the birds to a warmer room tonight")
    return tuple(found[:3])


def _holds(outlook: Outlook | None) -> bool:
    return outlook is not None and outlook.chance < CLEAR_CHANCE
