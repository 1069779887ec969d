"""Birds of one hatch and kind in one box, from the first placed to none left: how many
there are, and how many were lost. Made by `brooding.ledger` alone."""

from bisect import bisect_right
from dataclasses import dataclass
from datetime import date

from monitor.brooding.entries import Entry, EntryKind


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadCountChange:
    """One change of a batch's head count, and the head count after it."""

    at: float
    entry: EntryKind
    number: int
    count: int
    heads_after: int
    note: str | None = None
    carried: bool = False  # placed: they came out of another box, and are counted there already


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Birds of one hatch and kind in one box, from the first placed to none left."""

    brooder: str
    number: int  # of the entry that began it
    kind: str
    hatched: date
    tallies: tuple[HeadCountChange, ...]
    notes: tuple[Entry, ...] = ()  # and all other remarks
    root: int = 0  # number of the batch that it was split from, or of itself

    @property
    def started_at(self) -> float:
        return self.tallies[0].at

    @property
    def ended_at(self) -> float | None:
        """When the last bird left, or None while there are any."""
        return None if self.tallies[-1].heads_after else self.tallies[-1].at

    @property
    def placed(self) -> int:
        return sum(t.count for t in self.tallies if t.entry is EntryKind.PLACED)

    def hatched_out(self, *, to_at: float | None = None) -> int:
        """Birds placed that came from no other box."""
        return sum(
            t.count
            for t in self.tallies
            if t.entry is EntryKind.PLACED and not t.carried and (to_at is None or t.at <= to_at)
        )

    def placed_until(self, at: float) -> int:
        """Birds placed up to and at a time."""
        return sum(t.count for t in self.tallies if t.entry is EntryKind.PLACED and t.at <= at)

    def head_count(self, at: float | None = None) -> int:
        """Birds in the box at a time, or after the last entry."""
        if at is None:
            return self.tallies[-1].heads_after
        index = bisect_right(self.tallies, at, key=lambda tally: tally.at)
        return self.tallies[index - 1].heads_after if index else 0

    @property
    def losses(self) -> tuple[HeadCountChange, ...]:
        return tuple(t for t in self.tallies if t.entry is EntryKind.LOSS)

    def lost(self, from_at: float | None = None, to_at: float | None = None) -> int:
        """Birds lost, over all or in from <= time < to."""
        return sum(
            t.count
            for t in self.tallies
            if t.entry is EntryKind.LOSS
            and (from_at is None or t.at >= from_at)
            and (to_at is None or t.at < to_at)
        )

    def runs_at(self, at: float) -> bool:
        return self.head_count(at) > 0
