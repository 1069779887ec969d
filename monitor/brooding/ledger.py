"""The flock ledger: entries folded into batches. Called by the engine, the review and the page.

The fold is the only reading of the ledger there is, so head counts agree everywhere. It is total:
whatever the journal holds gives a Ledger, and what makes no sense is left out and named in
`faults` (a journal from elsewhere may hold anything). `brooding.objection` keeps such entries from
being written at all. Entries need distinct numbers: whoever reads a journal from elsewhere
numbers them.

Rules. Entries count in the order of their time, then of their identity (which begins with the
number they were written under), so one written late falls in its place, and entries of several
journals have one order wherever they are. A `placed` while birds are in the box adds to them if
the hatch date and the kind are the same (two crates of one hatch, or birds back from a second
box); otherwise it is refused, since one box has one target. A `moved` without a count moves all;
of an empty box that says that it is empty. A batch ends when none are
left, moved or dead, or with an `end`. Birds moved out of one box and placed in another within
hours are the same birds: both boxes are one family, with one mortality. An `undo` takes back one
entry, as if it had never been written; an undo itself is not undone, the entry is written again."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace

from monitor.brooding.batch import Batch, HeadCountChange
from monitor.brooding.entries import LEDGER_KINDS, REMARKS, Entry, EntryKind, iso_date
from monitor.brooding.entry_faults import entry_fault

# Birds that leave one box and come into another within so long are the same birds.
CARRIED_S = 6 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """All batches, and what the fold left out. `entries` are what it was folded from."""

    batches: tuple[Batch, ...] = ()  # in the order they began
    entries: tuple[Entry, ...] = ()
    undone: frozenset[int] = frozenset()
    faults: dict[int, str] = field(default_factory=dict)  # entry number -> why it does not count
    open: dict[str, int] = field(default_factory=dict)  # box with birds in it -> index in batches

    def running(self, brooder: str) -> Batch | None:
        """The batch in a box now: after the last entry."""
        index = self.open.get(brooder)
        return None if index is None else self.batches[index]

    def of(self, brooder: str) -> tuple[Batch, ...]:
        """The batches a box has had, in the order they began."""
        return tuple(batch for batch in self.batches if batch.brooder == brooder)

    def family(self, batch: Batch) -> tuple[Batch, ...]:
        """All that was split from the same birds, itself among them: one mortality, one report."""
        return tuple(each for each in self.batches if each.root == batch.root)

    def families(self, boxes: Collection[str]) -> list[tuple[Batch, ...]]:
        """Each family once, as far as it was in these boxes, in the order they began."""
        found = (
            tuple(each for each in self.batches if each.root == root and each.brooder in boxes)
            for root in dict.fromkeys(each.root for each in self.batches)
        )
        return [family for family in found if family]

    def family_count(self, batch: Batch, *, to_at: float | None = None) -> tuple[int, int]:
        """Birds placed and birds lost so far, over all boxes of the family."""
        family = self.family(batch)
        placed = sum(each.hatched_out(to_at=to_at) for each in family)
        return placed, sum(each.lost(to_at=to_at) for each in family)

    def of_arrival(self, brooder: str, batch: Batch | None) -> tuple[Entry, ...]:
        """What was written of a box from the end of the batch before, until the end of this one,
        and not taken back. `batch` None: of birds that are to come."""
        mine = self.of(brooder)
        before = mine if batch is None else mine[: mine.index(batch)]
        since = max((each.ended_at or 0.0 for each in before), default=float("-inf"))
        until = None if batch is None else batch.ended_at
        return tuple(
            entry
            for entry in self.entries
            if entry.brooder == brooder
            and entry.number not in self.undone
            and since < entry.at
            and (until is None or entry.at <= until)
        )

    def expected(self, brooder: str) -> Entry | None:
        """The newest word of birds to come into a box, unless some have been placed since."""
        return self.all_expected().get(brooder)

    def all_expected(self) -> dict[str, Entry]:
        """The same by box, in one walk: a site of thousands asks of all at once."""
        found: dict[str, Entry] = {}
        for entry in self.entries:
            if entry.number in self.undone or entry.brooder is None:
                continue
            if entry.entry is EntryKind.EXPECTED:
                found[entry.brooder] = entry
            elif entry.entry is EntryKind.PLACED:
                found.pop(entry.brooder, None)
        return found

    def entry(self, number: int) -> Entry | None:
        return next((entry for entry in self.entries if entry.number == number), None)

    @property
    def next_number(self) -> int:
        """Of the entry that is written next."""
        return max((entry.number for entry in self.entries), default=0) + 1

    def with_entry(self, entry: Entry) -> "Ledger":
        """The fold with one entry more. The newest of all is laid on top, whatever came before:
        a site of thousands of boxes does not fold its whole past for each crate of chicks."""
        if entry.entry not in LEDGER_KINDS:
            return self
        if not self._goes_on_top(entry):
            return fold([*self.entries, entry])
        batches, open_ = list(self.batches), dict(self.open)
        fault = _lay(entry, batches, open_)
        return Ledger(
            batches=tuple(batches),
            entries=(*self.entries, entry),
            undone=self.undone,
            faults=self.faults if fault is None else {**self.faults, entry.number: fault},
            open=open_,
        )

    def _goes_on_top(self, entry: Entry) -> bool:
        if entry.entry is EntryKind.UNDO:
            return False
        if self.entries and _order(self.entries[-1]) >= _order(entry):
            return False
        # An undo may have been waiting for just this entry.
        waiting = (self.entry(number) for number in self.faults)
        return all(each is None or not _names(each, entry) for each in waiting)


def fold(entries: Iterable[Entry]) -> Ledger:
    """The ledger of these entries, in any order. Acts on alarms among them are passed over."""
    kept = tuple(sorted((entry for entry in entries if entry.entry in LEDGER_KINDS), key=_order))
    undone, faults = _undone(kept)
    batches: list[Batch] = []
    open_: dict[str, int] = {}
    for entry in kept:
        if entry.entry is EntryKind.UNDO or entry.number in undone:
            continue
        fault = _lay(entry, batches, open_)
        if fault is not None:
            faults[entry.number] = fault
    return Ledger(batches=tuple(batches), entries=kept, undone=undone, faults=faults, open=open_)


def _order(entry: Entry) -> tuple[float, str, int]:
    return entry.at, entry.id or "~", entry.number  # one that is not kept yet comes last


def _lay(entry: Entry, batches: list[Batch], open_: dict[str, int]) -> str | None:
    """Lays one entry on top of the batches so far; why it does not count, if so."""
    if entry.entry is EntryKind.END and entry.brooder is None:
        ends = [replace(entry, brooder=name) for name in sorted(open_)]
        faults = [_lay(end, batches, open_) for end in ends]
        return next((fault for fault in faults if fault), None) if ends else _NOTHING_RUNS
    box = entry.brooder or ""
    index = open_.get(box)
    batch = None if index is None else batches[index]
    fault = entry_fault(entry, batch)
    if fault is not None:
        return fault
    source = _carried_from(entry, batches) if entry.entry is EntryKind.PLACED else None
    if batch is None or index is None:
        if entry.entry is EntryKind.PLACED:
            open_[box] = len(batches)
            batches.append(_begun(entry, source))
        return None
    batches[index] = after = _after(batch, entry, carried=source is not None)
    if after.ended_at is not None:
        del open_[box]
    return None


_NOTHING_RUNS = "No box holds birds: there is no batch to end."


def _carried_from(placed: Entry, batches: list[Batch]) -> Batch | None:
    """The batch these birds were moved out of just before, in another box."""
    for batch in reversed(batches):
        same = batch.kind == (placed.kind or batch.kind) and (
            placed.hatched is None or iso_date(placed.hatched) == batch.hatched
        )
        if batch.brooder == placed.brooder or not same:
            continue
        for tally in reversed(batch.tallies):
            if tally.at < placed.at - CARRIED_S:
                break
            if tally.entry is EntryKind.MOVED and tally.count >= (placed.count or 0):
                return batch
    return None


def _names(undo: Entry, entry: Entry) -> bool:
    """Is it this entry that an undo takes back? Its number may be another's in this journal."""
    if undo.undoes_id is not None:
        return undo.undoes_id == entry.id
    return undo.undoes == entry.number


def _undone(kept: tuple[Entry, ...]) -> tuple[frozenset[int], dict[int, str]]:
    known = {entry.number: entry for entry in kept}
    known_by_id = {entry.id: entry for entry in kept if entry.id is not None}
    undone: set[int] = set()
    faults: dict[int, str] = {}
    for entry in kept:
        if entry.entry is not EntryKind.UNDO:
            continue
        if entry.undoes_id is not None:  # a number may be another entry's in this journal
            target = known_by_id.get(entry.undoes_id)
        else:
            target = None if entry.undoes is None else known.get(entry.undoes)
        if target is None:
            named = entry.undoes or entry.undoes_id
            faults[entry.number] = f"There is no ledger entry {named} to take back."
        elif target.entry is EntryKind.UNDO:
            faults[entry.number] = f"Entry {target.number} is an undo and stays."
        else:
            undone.add(target.number)
    return frozenset(undone), faults


def _begun(entry: Entry, source: Batch | None) -> Batch:
    hatched = iso_date(entry.hatched)
    if entry.brooder is None or entry.kind is None or hatched is None or entry.count is None:
        raise ValueError(f"entry {entry.number} does not begin a batch")  # entry_fault checked
    return Batch(
        brooder=entry.brooder,
        number=entry.number,
        kind=entry.kind,
        hatched=hatched,
        tallies=(_tally(entry, entry.count, entry.count, carried=source is not None),),
        root=entry.number if source is None else source.root,
    )


def _after(batch: Batch, entry: Entry, *, carried: bool) -> Batch:
    if entry.entry is EntryKind.EXPECTED:
        return batch
    if entry.entry in REMARKS:
        return replace(batch, notes=(*batch.notes, entry))
    heads = batch.head_count()
    count = heads if entry.count is None else entry.count
    left = heads + count if entry.entry is EntryKind.PLACED else heads - count
    return replace(batch, tallies=(*batch.tallies, _tally(entry, count, left, carried=carried)))


def _tally(entry: Entry, count: int, heads_after: int, *, carried: bool) -> HeadCountChange:
    return HeadCountChange(
        at=entry.at,
        entry=entry.entry,
        number=entry.number,
        count=count,
        heads_after=heads_after,
        note=entry.note,
        carried=carried,
    )
