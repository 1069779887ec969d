"""Birds that go from one box into another: two entries of the ledger, which are made, refused and
taken back together. Used by the command and the page."""

from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import UTC, tzinfo

from monitor.brooding.entries import Entry, EntryKind, with_word
from monitor.brooding.ledger import Ledger
from monitor.brooding.objection import objection


def split(moved: Entry, into: str | None, ledger: Ledger) -> tuple[Entry, ...]:
    """`moved`, and the same birds as they come into that box; by itself where they come into
    none."""
    batch = ledger.running(moved.brooder or "")
    if into is None:
        return (moved,)
    if batch is None:  # any number is one too many, and the ledger says so
        return (replace(moved, count=moved.count or 1),)
    out = replace(moved, count=batch.head_count() if moved.count is None else moved.count)
    came = replace(
        out,
        entry=EntryKind.PLACED,
        brooder=into,
        hatched=batch.hatched.isoformat(),
        kind=batch.kind,
        note=with_word(f"from {out.brooder}", out.note),
    )
    return replace(out, note=with_word(f"into {into}", out.note)), came


def taken_back_with(number: int, ledger: Ledger) -> list[int]:
    """The numbers of what is taken back with that entry, itself among them, the last first; of one
    that is not there its own, which the service refuses."""
    entry = ledger.entry(number)
    return [number] if entry is None else [one.number for one in with_other_half(entry, ledger)]


def with_other_half(entry: Entry, ledger: Ledger) -> tuple[Entry, ...]:
    """What is taken back with an entry, the last first: both halves of a split, else it alone."""
    first = entry.number - (entry.entry is EntryKind.PLACED)
    out, came = ledger.entry(first), ledger.entry(first + 1)
    if out is None or came is None or not {out.number, came.number}.isdisjoint(ledger.undone):
        return (entry,)
    halves = (out.entry, came.entry) == (EntryKind.MOVED, EntryKind.PLACED)
    named = _names(out, f"into {came.brooder}") and _names(came, f"from {out.brooder}")
    return (came, out) if halves and named and out.count == came.count else (entry,)


def _names(entry: Entry, word: str) -> bool:
    return f"{entry.note};".startswith(f"{word};")


def objection_to_any(
    ledger: Ledger, entries: Iterable[Entry], *, zone: tzinfo = UTC, brooders: Collection[str] = ()
) -> str | None:
    """Why one of these must not be kept, each after those before it."""
    for entry in entries:
        words = objection(ledger, entry, zone=zone, brooders=brooders)
        if words is not None:
            return words
        ledger = ledger.with_entry(replace(entry, number=ledger.next_number))
    return None
