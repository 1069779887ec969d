"""What a grower writes: the ledger's entries and acts on alarms. Records, no behaviour.

An entry is known by its `id` wherever it goes: a back-up, a mirror, a journal on a new card. Its
`number` is its place in this journal, for people.

They live here because `brooding.ledger` folds them; everyone above takes them from
`monitor.events`, which passes them on."""

import re
import secrets
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from monitor.measures import counted


class EntryKind(StrEnum):
    """What a grower writes in the ledger, or does to an alarm."""

    PLACED = "placed"
    LOSS = "loss"
    MOVED = "moved"
    NOTE = "note"
    EXPECTED = "expected"  # birds are to come on a day
    DEAD_ON_ARRIVAL = "dead-on-arrival"  # never placed: the hatchery's claim is about these
    CHECKED = "checked"  # a step of the day on which chicks come
    SEEN = "seen"  # how the birds lie
    WEIGHED = "weighed"
    HEAT_CHANGED = "heat-changed"  # turned up or down, or moved, on purpose
    END = "end"  # the batch is over: all that are left have gone, in this box or in every one
    UNDO = "undo"
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out-of-service"
    IN_SERVICE = "in-service"


# Beside the batch: what was seen of it, and what is to come. No head count changes by them.
REMARKS = frozenset(
    {
        EntryKind.NOTE,
        EntryKind.CHECKED,
        EntryKind.SEEN,
        EntryKind.WEIGHED,
        EntryKind.HEAT_CHANGED,
        EntryKind.DEAD_ON_ARRIVAL,
    }
)
BY_CONFIGURATION = "configuration"  # who wrote the entries of a box that was renamed
LEDGER_KINDS = REMARKS | {
    EntryKind.PLACED,
    EntryKind.LOSS,
    EntryKind.MOVED,
    EntryKind.EXPECTED,
    EntryKind.END,
    EntryKind.UNDO,
}


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


def iso_date(text: str | None) -> date | None:
    """A date written as ISO 8601, or None where it is none."""
    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        return None


def new_id(number: int) -> str:
    """For the entry that is written under this number: 96 random bits, so that no two journals ever
    give the same, behind the number, so that entries of one moment stay in the order in which they
    were written, in whatever journal they are."""
    return f"{number:08x}{secrets.token_hex(12)}"


# What these entries say besides a count stands first in the note, so that every form of a journal,
# also one written by an older version, carries it.
SIGNS = ("spread", "huddled", "panting", "one-sided")
_GRAMS = re.compile(r"(\d+(?:\.\d+)?) g\b")


def with_word(word: str, note: str | None) -> str:
    """A note that begins with what the entry says."""
    return f"{word}; {note}" if note else word


def sign_of(entry: Entry) -> str | None:
    """How the birds lay, one of SIGNS; None: it says nothing of that."""
    word = (entry.note or "").partition(";")[0].strip()
    return word if entry.entry is EntryKind.SEEN and word in SIGNS else None


def grams_of(entry: Entry) -> float | None:
    """What one of the weighed birds weighed, in grams."""
    found = _GRAMS.match(entry.note or "")
    return float(found[1]) if found and entry.entry is EntryKind.WEIGHED else None


def day_of(entry: Entry) -> date | None:
    """The day on which birds are to come."""
    word = (entry.note or "").partition(";")[0].strip()
    return iso_date(word) if entry.entry is EntryKind.EXPECTED else None


def step_of(entry: Entry) -> str | None:
    """Which step of the arrival was done: a name of `brooding.arrival`."""
    word = (entry.note or "").partition(";")[0].strip()
    return word if entry.entry is EntryKind.CHECKED and word else None


_MAILED = re.compile(r"(\d) days? in the mail\b")
MOST_MAIL_DAYS = 5  # nothing that lives on its yolk is posted for longer


def mailed(days: int) -> str:
    """How long chicks were under way, as it stands first in the note of their placement."""
    return f"{counted(days, 'day')} in the mail"


def mail_days_of(entry: Entry) -> int | None:
    """Days in the mail; None: not said."""
    found = _MAILED.match(entry.note or "")
    return int(found[1]) if found and entry.entry is EntryKind.PLACED else None


def remark_words(entry: Entry) -> str | None:
    """What an entry says that changes no head count, without its time and box; None: it does, or is
    a plain note."""
    also = f": {entry.note}" if entry.note else ""
    return {
        EntryKind.SEEN: f"seen{also}",
        EntryKind.WEIGHED: f"{entry.count} weighed{also}",
        EntryKind.DEAD_ON_ARRIVAL: f"{entry.count} dead on arrival{also}",
        EntryKind.CHECKED: f"done on arrival{also}",
        EntryKind.HEAT_CHANGED: f"the heat was changed{also}",
        EntryKind.EXPECTED: f"{entry.count} expected on {entry.note}",
        EntryKind.END: f"the batch has ended{also}",
    }.get(entry.entry)
