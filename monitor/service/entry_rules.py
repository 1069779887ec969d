"""What an entry must be to be kept, what it gets as it is, and which entries follow from another
configuration or another copy of the ledger. Used by `core` and `reloading`; pure."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from monitor.brooding.batch import Batch
from monitor.brooding.entries import BY_CONFIGURATION, LEDGER_KINDS
from monitor.brooding.ledger import Ledger
from monitor.brooding.objection import Objection, objection
from monitor.events import Entry, EntryKind, Moment, new_id
from monitor.journal.resolution import kept_at
from monitor.site import Brooder, Place, Site

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
        raise unknown(site, entry.brooder)


def unknown(site: Site, brooder: str) -> Objection:
    """Against a box that the configuration does not have."""
    names = ", ".join(box.name for box in site.brooders)
    return Objection(f"No brooder is called {brooder!r}; it must be one of {names}.")


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
        by=BY_CONFIGURATION,
    )


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


def lost_by(ledger: Ledger, now: Site, wanted: Site) -> list[str]:
    """The birds that nobody would watch over with the `wanted` configuration, and somebody does
    with the one in force, in sentences."""
    boxes = {box.name: box for box in wanted.brooders}
    before = {box.name: box for box in now.brooders}
    renamed = {box.renamed_from for box in wanted.brooders}
    lost = []
    for name in sorted(ledger.open):
        batch, box = ledger.running(name), boxes.get(name)
        heads = 0 if batch is None else batch.head_count()
        if box is None and name in before and name not in renamed:
            lost.append(
                f"{heads} birds are in {name}, which this configuration does not have; if the "
                f'box only has another name now, write renamed_from = "{name}" under it; if '
                f'they are gone, say so first: brooder flock moved --brooder "{name}"'
            )
        elif box is not None and _on_floor(before.get(name)) and not _on_floor(box):
            lost.append(
                f"{heads} birds are in {name}, and this configuration takes its last floor "
                "probe away: cold would not be watched for there"
            )
    return lost


def moved_into(box: Brooder, ledger: Ledger, now: Moment) -> Iterator[Entry]:
    """The birds of a renamed box are moved to its new name, by entries in the ledger."""
    old = box.renamed_from
    batch = None if old is None else ledger.running(old)
    if old is None or batch is None or ledger.running(box.name) is not None:
        return
    yield Entry(
        at=max(now.at, batch.tallies[-1].at),
        entry=EntryKind.MOVED,
        brooder=old,
        count=batch.head_count(),
        note=f"the box is called {box.name} now",
        by=BY_CONFIGURATION,
    )
    note = f"the box was called {old} before"
    yield placed_by_configuration(batch, box.name, note, ledger, now)


def _on_floor(box: Brooder | None) -> bool:
    return box is not None and any(probe.place is Place.FLOOR for probe in box.probes)
