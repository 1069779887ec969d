"""Why an entry of the ledger cannot count, in words: asked by the fold (`brooding.ledger`) of every
entry, and before one is kept (`brooding.objection`)."""

from monitor.brooding.batch import Batch
from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.entries import REMARKS, Entry, EntryKind, iso_date

# Said of a box whether birds are in or not; the dead may be counted before the living are in.
_OF_A_BOX = {
    EntryKind.NOTE,
    EntryKind.CHECKED,
    EntryKind.HEAT_CHANGED,
    EntryKind.EXPECTED,
    EntryKind.DEAD_ON_ARRIVAL,
}


def entry_fault(entry: Entry, batch: Batch | None) -> str | None:
    """Why an entry cannot count, given the batch that runs in its box."""
    if entry.entry in _OF_A_BOX:
        return None if entry.entry is not EntryKind.DEAD_ON_ARRIVAL else count_fault(entry)
    if entry.entry is EntryKind.PLACED:
        return (
            count_fault(entry)
            or _words_fault(entry)
            or (_first_fault(entry) if batch is None else _mixed_fault(entry, batch))
        )
    if batch is None and entry.entry is EntryKind.MOVED and entry.count is None:
        return None if entry.brooder else count_fault(entry)
    if batch is None:
        return f"{no_birds(entry)}; first write down when they were placed."
    if entry.entry in REMARKS:
        return None
    return count_fault(entry) or _heads_fault(entry, batch.head_count())


def no_birds(entry: Entry) -> str:
    return f"There are no birds in {entry.brooder} at that time"


def count_fault(entry: Entry) -> str | None:
    """An entry of birds needs a box and a count of 1 or more; `moved` alone may mean all."""
    if entry.brooder is None:
        return "Which brooder? The entry needs its name."
    if entry.count is None and entry.entry in (EntryKind.MOVED, EntryKind.END):
        return None
    if entry.count is None or entry.count < 1:
        given = "" if entry.count is None else f", not {entry.count}"
        return f"How many birds? It must be 1 or more{given}."
    return None


def _heads_fault(entry: Entry, heads: int) -> str | None:
    if entry.count is None or entry.count <= heads:
        return None
    verb = "lost" if entry.entry is EntryKind.LOSS else "moved"
    return f"{entry.brooder} has {heads} birds at that time; {entry.count} cannot be {verb}."


def _words_fault(entry: Entry) -> str | None:
    if entry.hatched is not None and iso_date(entry.hatched) is None:
        return f"Hatch date {entry.hatched!r} is not a date; write it like 2026-03-01."
    if entry.kind is not None and entry.kind not in KINDS:
        return f"Kind of bird {entry.kind!r} is not known; use one of {', '.join(KINDS)}."
    return None


def _first_fault(entry: Entry) -> str | None:
    if entry.hatched is None:
        return "When did they hatch? The first birds of a batch need their hatch date."
    if entry.kind is None:
        return f"What kind of bird? Use one of {', '.join(KINDS)}."
    return None


def _mixed_fault(entry: Entry, batch: Batch) -> str | None:
    other_hatch = entry.hatched is not None and iso_date(entry.hatched) != batch.hatched
    if other_hatch or (entry.kind is not None and entry.kind != batch.kind):
        return (
            f"{entry.brooder} holds {KINDS[batch.kind].many} hatched {batch.hatched.isoformat()}, "
            "and one box has one target; first write down that those were moved out, or use "
            "another brooder."
        )
    return None
