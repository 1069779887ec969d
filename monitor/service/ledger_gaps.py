"""What another copy of the ledger has and ours has not, or the other way round. Used by `core`;
pure."""

from collections.abc import Callable, Iterable
from dataclasses import replace

from monitor.brooding.ledger import Ledger
from monitor.events import Entry, new_id


def unknown_in(others: Iterable[Entry], entries: Iterable[Entry]) -> list[Entry]:
    """Those of `entries` that are not among `others`, by what makes an entry itself."""
    known = {_identity(entry) for entry in others}
    return [entry for entry in entries if _identity(entry) not in known]


def lost_from(ledger: Ledger, kept: Iterable[Entry]) -> list[Entry]:
    """The entries that a second copy has `kept` and the ledger has nothing like; oldest first."""
    there = {_what(entry) for entry in ledger.entries}
    lost = (entry for entry in kept if _what(entry) not in there)
    return sorted(lost, key=lambda entry: (entry.at, entry.number))


def with_free_number(entry: Entry, ledger: Ledger, next_number: Callable[[], int]) -> Entry:
    """One whose number another entry has got meanwhile gets a new one: nothing in the copy names a
    number. Where the ledger has its id, but damaged, it gets a new id."""
    if any(known.number == entry.number for known in ledger.entries):
        entry = replace(entry, number=next_number())
    if any(known.id == entry.id for known in ledger.entries):
        entry = replace(entry, id=new_id(entry.number))
    return entry


def _what(entry: Entry) -> tuple[object, ...]:
    """What an entry says, whatever its number: a journal brought in from elsewhere numbers anew."""
    return (
        round(entry.at),
        entry.entry,
        entry.brooder,
        entry.count,
        entry.hatched,
        entry.kind,
    )


def _identity(entry: Entry) -> str | int:
    return entry.id or entry.number
