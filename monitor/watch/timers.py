"""What is due when, on the steady clock. Owned by watch.engine.

A timer has a name (rank, kind, key): timers due at the same tick fire in the order of their
names, so the order does not depend on when each was set, and a restart keeps it."""

from collections.abc import Iterable, Iterator
from heapq import heappop, heappush
from typing import Annotated, NamedTuple

from pydantic import PlainSerializer

from monitor.kept import ByTuple, Kept, Tick, part

NEVER = float("inf")


class Slot(NamedTuple):
    """A timer's name. `rank` orders what falls due together: what others look at comes first."""

    rank: int
    kind: str
    key: str


def _in_order(due: dict[Slot, float]) -> list[tuple[Slot, float]]:
    return sorted(due.items())


@part
class Timers(Kept):
    """At most one due time per slot; setting it again moves it."""

    __slots__ = ("_due", "_heap", "next_due", "tick")
    tick: Tick  # how far the watch has come
    _due: Annotated[ByTuple[Slot, Tick], PlainSerializer(_in_order)]

    def __init__(self, tick: float) -> None:
        self.tick = tick
        self._due = {}
        self._heap: list[tuple[float, Slot]] = []
        self.next_due = NEVER  # read once a reading: an attribute, not a call

    def set(self, slot: Slot, due: float | None) -> None:
        """Fire `slot` at `due`; None: not at all."""
        if due is None:
            self._due.pop(slot, None)
        elif self._due.get(slot) != due:
            self._due[slot] = due
            heappush(self._heap, (due, slot))
        self._drop_moved()

    def pop(self) -> tuple[float, Slot]:
        """The first one due, taken out. Only call when `next_due` is not NEVER."""
        due, slot = heappop(self._heap)
        del self._due[slot]
        self._drop_moved()
        return due, slot

    def until(self, tick: float) -> Iterator[tuple[Slot, float]]:
        """What is due by then, one after the other, each at its time."""
        while self.next_due <= tick:
            due, slot = self.pop()
            self.tick = max(self.tick, due)
            yield slot, due

    def due(self, slot: Slot) -> float | None:
        """When `slot` fires, if it is set."""
        return self._due.get(slot)

    def _drop_moved(self) -> None:
        heap, due = self._heap, self._due
        while heap and due.get(heap[0][1]) != heap[0][0]:
            heappop(heap)
        self.next_due = heap[0][0] if heap else NEVER

    def resume(self) -> None:
        self._heap = sorted((due, slot) for slot, due in self._due.items())
        self._drop_moved()

    def drop(self, unknown: Iterable[Slot]) -> None:
        """Timers of what there is no more."""
        for slot in unknown:
            self.set(slot, None)

    @property
    def slots(self) -> list[Slot]:
        """All timers that are set."""
        return list(self._due)
