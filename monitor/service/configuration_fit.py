"""What another configuration means for the birds that are in the boxes. Used by `core` and by
`reloading`; pure."""

from collections.abc import Iterator

from monitor.brooding.ledger import Ledger
from monitor.events import Entry, EntryKind, Moment
from monitor.service.entry_rules import placed_by_configuration
from monitor.site import Brooder, Place, Site


def lost_by(ledger: Ledger, now: Site, wanted: Site) -> list[str]:
    """The birds that nobody would watch over with the `wanted` configuration, in sentences."""
    boxes = {box.name: box for box in wanted.brooders}
    before = {box.name: box for box in now.brooders}
    renamed = {box.renamed_from for box in wanted.brooders}
    lost = []
    for name in sorted(ledger.open):
        batch, box = ledger.running(name), boxes.get(name)
        heads = 0 if batch is None else batch.head_count()
        if box is None and name not in renamed:
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
        by="configuration",
    )
    note = f"the box was called {old} before"
    yield placed_by_configuration(batch, box.name, note, ledger, now)


def _on_floor(box: Brooder | None) -> bool:
    return box is not None and any(probe.place is Place.FLOOR for probe in box.probes)
