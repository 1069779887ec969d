"""What would make a cold night hold: each way tried in the model, the least effort first.

Called by thermal.estimate when the floor is likely to leave its band. A cover that keeps a gap for
fresh air costs nothing and burns nothing, so it comes first; blankets and foam are left out, since
they lie next to lamps. Lamp sizes are the usual ones. Common practice.

Nothing is offered that puts one danger in the place of another: no lamp beyond what the circuit
should carry all night, and no half of a box in which the birds would be crowded by the morning."""

from collections.abc import Callable, Iterator
from dataclasses import replace

from monitor.brooding import space
from monitor.brooding.envelope import COVERS
from monitor.brooding.heat_balance import Flock, prior
from monitor.site import Brooder
from monitor.thermal.diagnosis import Outlook
from monitor.thermal.tonight import CLEAR_CHANCE

LAMPS_W = (100.0, 175.0, 250.0)
WARMER_ROOM = "take the birds to a warmer room tonight"  # how the last resort begins
_COVERS = ("plywood", "boards")
_BETTER = 1.05  # a cover that keeps in no more than that is no other cover
_UNTIL_MORNING_DAYS = 1.0  # they grow a day older under the advice, and may then need more floor

Try = Callable[[float, float], Outlook | None]  # extra watts, gain of the box's W/K


def mends(brooder: Brooder, look: Try, *, flock: Flock, spare_w: float) -> tuple[str, ...]:
    """Up to three clauses, best first; the last resort is named where nothing holds. `spare_w`:
    what the box's circuit can carry besides its own heat."""
    ways = _Ways(brooder, look, flock, spare_w)
    singly = [next(way, None) for way in (ways.covers(), ways.lamps(1.0), ways.half(1.0))]
    found = [clause for clause in singly if clause is not None]
    return tuple(found) or (next(ways.together(), None) or ways.last_resort(),)


class _Ways:
    """Each yields what holds, the least effort first."""

    def __init__(self, brooder: Brooder, look: Try, flock: Flock, spare_w: float) -> None:
        self._brooder, self._look, self._flock = brooder, look, flock
        self._sizes_w = [watts for watts in LAMPS_W if watts <= spare_w]
        self._own = prior(brooder).watts_per_k
        gains = ((name, self._own / prior(brooder, cover=name).watts_per_k) for name in _COVERS)
        self._gains = [(name, gain) for name, gain in gains if gain > _BETTER]
        self._lit = any(source.kind == "lamp" for source in brooder.heat)

    def covers(self) -> Iterator[str]:
        """Another cover alone."""
        return (self._cover(name) for name, gain in self._gains if self._holds(0.0, gain))

    def lamps(self, gain: float) -> Iterator[str]:
        """A lamp of a size that the circuit bears."""
        many = "one more lamp" if self._lit else "a heat lamp"
        return (f"{many} of {watts:.0f} W" for watts in self._sizes_w if self._holds(watts, gain))

    def half(self, gain: float) -> Iterator[str]:
        """Half the floor for all the heat, where the birds have room on it."""
        box, birds = self._brooder, self._flock
        crowded = space.is_crowded(
            birds.kind,
            birds.age_days + _UNTIL_MORNING_DAYS,
            area_m2=box.floor_area_m2 / 2,
            head_count=birds.head_count,
        )
        halved = self._own / prior(replace(box, length_m=box.length_m / 2)).watts_per_k
        if not crowded and self._holds(0.0, gain * halved):
            clear = " well clear of the lamps" if self._lit else ""
            yield f"halve the box with a board{clear}, so that the heat serves half the floor"

    def together(self) -> Iterator[str]:
        """A cover and a lamp, or a cover and half the box."""
        for name, gain in self._gains:
            for lamp in self.lamps(gain):
                yield f"{self._cover(name)}, and hang {lamp}"
        for name, gain in self._gains:
            for half in self.half(gain):
                yield f"{self._cover(name)}, and {half}"

    def last_resort(self) -> str:
        """Nothing here holds: why, and where the birds go."""
        most = max((gain for _, gain in self._gains), default=1.0)
        why = (
            "what is missing is more than its circuit should carry"
            if self._holds(LAMPS_W[-1], most)
            else "more than one lamp is missing"
        )
        return f"{WARMER_ROOM} ({why})"

    def _cover(self, name: str) -> str:
        clear = ", clear of the lamps" if self._lit else ""
        return f"cover it with {COVERS[name].title}{clear}, a gap left for fresh air"

    def _holds(self, extra_watts: float, gain: float) -> bool:
        outlook = self._look(extra_watts, gain)
        return outlook is not None and outlook.chance < CLEAR_CHANCE
