"""What would make a cold night hold: each way tried in the model, the least effort first.

Made by thermal.estimate when the floor is likely to leave its band. A cover that keeps a gap for
fresh air costs nothing and burns nothing, so it comes first; blankets and foam are left out, since
they lie next to lamps. Lamp sizes are the usual ones. Common practice.

Nothing is offered that puts one danger in the place of another: no lamp beyond what the circuit
should carry all night, no half of a box in which the birds would be crowded by the morning, and no
cover that would have to lie so far open for the birds' air that it is none."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

from monitor.brooding import space
from monitor.brooding.envelope import COVERS
from monitor.brooding.heat_balance import Flock, changed, gap, with_watts
from monitor.site import Brooder
from monitor.thermal.coming_night import CLEAR_CHANCE

LAMPS_W = (100.0, 175.0, 250.0)
WARMER_ROOM = "take the birds to a warmer room tonight"  # how the last resort begins
_COVERS = ("plywood", "boards")
_BETTER = 1.05  # a cover that keeps in no more than that is no other cover
_UNTIL_MORNING_DAYS = 1.0  # they grow a day older under the advice, and may then need more floor
_LEAST_OPEN = 0.05  # the gaps of a cover laid on give about so much
_OPEN = (
    (0.1, "a tenth"),
    (0.2, "a fifth"),
    (0.25, "a quarter"),
    (1 / 3, "a third"),
    (0.5, "half"),
    (2 / 3, "two thirds"),
    (0.75, "three quarters"),
)

Try = Callable[[Brooder], float | None]  # a box as it might be: the chance of a cold night in it


def left_open(share: float) -> str | None:
    """In words how much of a cover stays open for the birds' air, rather more than less. None: as
    much as the gaps of any cover."""
    if share < _LEAST_OPEN:
        return None
    return next((words for most, words in _OPEN if share <= most), "all")


class Mends(Sequence[str]):
    """Up to three clauses, best first; the last resort is named where nothing holds. They are
    looked for when somebody reads them: in most nights nobody does."""

    def __init__(self, brooder: Brooder, look: Try, *, flock: Flock, spare_w: float) -> None:
        """`spare_w`: what the box's circuit can carry besides its own heat."""
        self._given = brooder, look, flock, spare_w

    @cached_property
    def _found(self) -> tuple[str, ...]:
        ways, brooder = _Ways(*self._given), self._given[0]
        each = (ways.covers(), ways.lamps(brooder), ways.half(brooder))
        found = [clause for way in each if (clause := next(way, None)) is not None]
        return tuple(found) or (next(ways.together(), None) or ways.last_resort(),)

    def __getitem__(self, index: Any) -> Any:
        return self._found[index]

    def __len__(self) -> int:
        return len(self._found)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and self._found == tuple(other)

    def __hash__(self) -> int:
        return hash(self._found)


class _Ways:
    """Each yields what holds, the least effort first."""

    def __init__(self, brooder: Brooder, look: Try, flock: Flock, spare_w: float) -> None:
        self._look, self._flock = look, flock
        self._sizes_w = [watts for watts in LAMPS_W if watts <= spare_w]
        self._lit = any(source.kind == "lamp" for source in brooder.heat)
        covered = [replace(brooder, cover=name) for name in _COVERS]
        self._covered = [box for box in covered if changed(brooder, box, flock).rise_gain > _BETTER]
        self._most = self._covered[-1] if self._covered else brooder

    def covers(self) -> Iterator[str]:
        """Covers that would do alone."""
        return (self._cover(box) for box in self._covered if self._holds(box))

    def lamps(self, box: Brooder) -> Iterator[str]:
        """Lamps that would do alone, of a size that the circuit bears."""
        many = "hang one more lamp" if self._lit else "hang a heat lamp"
        return (
            f"{many} of {watts:.0f} W"
            for watts in self._sizes_w
            if self._holds(with_watts(box, watts))
        )

    def half(self, box: Brooder) -> Iterator[str]:
        """Half the floor for all the heat, where the birds have room on it. Of birds to come that
        is not known."""
        birds = self._flock
        if birds.head_count == 0:
            return
        crowded = space.is_crowded(
            birds.kind,
            birds.age_days + _UNTIL_MORNING_DAYS,
            area_m2=box.floor_area_m2 / 2,
            head_count=birds.head_count,
        )
        if not crowded and self._holds(replace(box, length_m=box.length_m / 2)):
            clear = " well clear of the lamps" if self._lit else ""
            yield f"halve the box with a board{clear}, so that the heat serves half the floor"

    def together(self) -> Iterator[str]:
        """A cover and a lamp, or a cover and half the box."""
        for box in self._covered:
            for lamp in self.lamps(box):
                yield f"{self._cover(box)}, and {lamp}"
        for box in self._covered:
            for half in self.half(box):
                yield f"{self._cover(box)}, and {half}"

    def last_resort(self) -> str:
        """Nothing here holds: why, where the birds go, and what helps until they are there."""
        why = (
            "it needs more heat than its circuit should carry"
            if self._holds(with_watts(self._most, LAMPS_W[-1]))
            else "one more lamp is not enough"
        )
        until = f"; until then, {self._cover(self._most)}" if self._covered else ""
        return f"{WARMER_ROOM} ({why}){until}"

    def _cover(self, box: Brooder) -> str:
        clear = ", clear of the lamps" if self._lit else ""
        part = left_open(gap(box, self._flock))
        open_ = "a gap" if part is None else f"{part} of the top open"
        return f"cover it with {COVERS[box.cover].title}{clear}, leaving {open_} for fresh air"

    def _holds(self, box: Brooder) -> bool:
        chance = self._look(box)
        return chance is not None and chance < CLEAR_CHANCE
