"""What an entry must be to be kept, and what it gets as it is. Used by `core`; pure."""

from collections.abc import Callable
from dataclasses import replace

from monitor.brooding.batch import Batch
from monitor.brooding.entries import LEDGER_KINDS
from monitor.brooding.ledger import Ledger
from monitor.brooding.objection import Objection, objection
from monitor.events import Entry, EntryKind, Moment, new_id
from monitor.journal.resolution import kept_at
from monitor.site import Site

SAYS_NOW_S = 60.0  # an entry of this minute is of now


def in_order(entry: Entry, ledger: Ledger, now: Moment) -> Entry:
    """What is written now comes after all that was written before, also where the clock was set
    back since: else birds placed now would have left with those before them."""
    if entry.entry not in LEDGER_KINDS or abs(entry.at - now.at) > SAYS_NOW_S:
        return entry
    last = max((e.at for e in ledger.entries if e.brooder == entry.brooder), default=0.0)
    return replace(entry, at=max(entry.at, last))


def refuse_wrong(entry: Entry, ledger: Ledger, site: Site) -> None:
    """Raises Objection where it may not be kept."""
    names = [box.name for box in site.brooders]
    if entry.entry in LEDGER_KINDS:
        # Birds in a box that is no longer configured can still be moved out of it.
        known = dict.fromkeys([*names, *ledger.open])
        words = objection(ledger, entry, zone=site.timezone, brooders=known)
        if words is not None:
            raise Objection(words)
    elif entry.brooder is not None and entry.brooder not in names:
        raise Objection(
            f"No brooder is called {entry.brooder!r}; it must be one of {', '.join(names)}."
        )


def numbered(entry: Entry, ledger: Ledger, next_number: Callable[[], int]) -> Entry:
    """With its number and its own id, as the journal keeps it. A recorded entry keeps its own."""
    number = entry.number or next_number()
    undone = None if entry.undoes is None else ledger.entry(entry.undoes)
    return replace(
        entry,
        number=number,
        at=kept_at(entry.at),
        id=entry.id or new_id(number),
        undoes_id=entry.undoes_id or (undone.id if undone is not None else None),
    )


def placed_by_configuration(
    batch: Batch, box: str, note: str, ledger: Ledger, now: Moment
) -> Entry:
    """The birds of a batch are in that box from now on."""
    written = (e.at for e in ledger.entries if e.brooder == box)  # the clock may be set back since
    return Entry(
        at=max(now.at, batch.tallies[-1].at, *written),
        entry=EntryKind.PLACED,
        brooder=box,
        count=batch.head_count(),
        hatched=batch.hatched.isoformat(),
        kind=batch.kind,
        note=note,
        by="configuration",
    )
