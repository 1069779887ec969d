"""Birds that go into a box, as the ledger has it."""

from typing import Any

from monitor.events import Entry, EntryKind


def chicks_in(at: float, **given: Any) -> Entry:
    """A hundred meat chicks into the porch, hatched on 8 February, where nothing else is given."""
    usual = {"brooder": "porch", "count": 100, "hatched": "2026-02-08", "kind": "broiler"}
    return Entry(at=at, entry=EntryKind.PLACED, **(usual | given))
