"""What a grower writes: the ledger's entries and acts on alarms. Records, no behaviour.

An entry is known by its `id` wherever it goes: a back-up, a mirror, a journal on a new card. Its
`number` is its place in this journal, for people.

They live here because `brooding.batch` folds them; everyone above takes them from
`monitor.events`, which passes them on."""

import secrets
from dataclasses import dataclass, field
from enum import StrEnum


class EntryKind(StrEnum):
    """What a grower writes in the ledger, or does to an alarm."""

    PLACED = "placed"
    LOSS = "loss"
    MOVED = "moved"
    NOTE = "note"
    UNDO = "undo"
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out-of-service"
    IN_SERVICE = "in-service"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One ledger entry or one act on an alarm. `number` is the journal's, 0 before it is kept."""

    at: float
    entry: EntryKind
    brooder: str | None = None  # None: the site, or every brooder (acknowledge)
    number: int = 0
    count: int | None = None
    hatched: str | None = None  # ISO 8601 date in the site's zone
    kind: str | None = None  # kind of bird, a name of brooding.bird_kinds
    note: str | None = None  # also the reason of a shelving
    alarm: str | None = None
    probe: str | None = None  # Probe.key, for out-of-service of one probe
    minutes: float | None = None  # how long a shelving lasts
    undoes: int | None = None  # number of the entry taken back, where it is here
    undoes_id: str | None = field(default=None, compare=False)  # its identity
    by: str | None = None  # who: a contact's name, "page", "command", "mqtt"
    # The entry's own; None before it is kept. Two entries that say the same compare as equal.
    id: str | None = field(default=None, compare=False)


def new_id(number: int) -> str:
    """For the entry that is written under this number: 96 random bits, so that no two journals ever
    give the same, behind the number, so that entries of one moment stay in the order in which they
    were written, in whatever journal they are."""
    return f"{number:08x}{secrets.token_hex(12)}"
