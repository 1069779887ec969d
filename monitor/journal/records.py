"""What the journal keeps, as plain records. Made by the service, `tell` and the watch; written by
`journal.store` in one transaction for each Batch; read back by `journal.reader`.

Times are Unix seconds (UTC); how finely they and temperatures are kept says `resolution`."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, NamedTuple

from monitor.events import (
    AlarmName,
    BadValue,
    CameLate,
    Change,
    Entry,
    Facts,
    Measured,
    Moment,
    Reading,
    State,
)

BROUGHT_IN = "brought-in"  # cursor: the last commit by which something came from elsewhere


class Entered(NamedTuple):
    """A ledger entry or an act on an alarm, and when the engine was given it."""

    entry: Entry
    now: Moment


class WatcherFault(NamedTuple):
    """A fault of the watcher itself that the engine was told: its beginning or its end."""

    name: AlarmName
    active: bool
    now: Moment
    facts: Facts


Input = Reading | Measured | BadValue | Entered | WatcherFault | CameLate


class Sample(NamedTuple):
    """One number worth keeping beside the temperatures: series `porch`, name `target_c`. Write it
    when it changes and once an hour; every sample is a record. What a meter measured (`west lamp
    power_w`) is kept in the same way."""

    at: float
    series: str
    name: str
    value: float


@dataclass(frozen=True, slots=True)
class BadCount:
    """How often a probe said something no floor can be, and from when to when."""

    probe: str
    reason: str
    count: int
    first_at: float
    last_at: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OutboxRow:
    """One message to one contact. (`key`, `contact`) is unique for ever: writing it again does
    nothing, so a rebuilt state never tells twice."""

    key: str
    contact: str
    at: float
    priority: str
    message: Mapping[str, Any]  # JSON-able; the journal does not look inside
    tries: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One try to reach one contact, and the state the message is in after it."""

    key: str
    contact: str
    tried_at: float
    state: str  # pending | sent | given-up | superseded
    tries: int
    failure: str | None = None  # None: it arrived (or was superseded without a try)


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """A part's state after every input up to and including log number `mark`."""

    name: str
    mark: int
    now: Moment  # how far the part's own time had been advanced
    state: State


@dataclass(slots=True, kw_only=True)
class Commit:
    """All that is to become durable together. After a StorageFault the same batch (grown or not)
    is handed over again."""

    inputs: list[Input] = field(default_factory=list)  # in the order the engine handled them
    samples: list[Sample] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    outbox: list[OutboxRow] = field(default_factory=list)
    outcomes: list[Outcome] = field(default_factory=list)
    snapshots: dict[str, State] = field(default_factory=dict)  # state after all of `inputs`
    redelivery_marks: bytes = b""  # of the messages in this batch; concatenated when read back
    advanced_to: Moment | None = None  # how far the engine's time had come

    def extend(self, later: "Commit") -> None:
        """Takes a later batch in, so that a failed commit is tried again together with it."""
        for name in LISTS:
            getattr(self, name).extend(getattr(later, name))
        self.snapshots.update(later.snapshots)
        self.redelivery_marks += later.redelivery_marks
        self.advanced_to = later.advanced_to or self.advanced_to

    def __bool__(self) -> bool:
        return any(getattr(self, name) for name in (*LISTS, "snapshots", "redelivery_marks"))


LISTS = ("inputs", "samples", "changes", "outbox", "outcomes")


class KnownProbe(NamedTuple):
    """One probe as the journal has known it. A probe whose unit, topic or offset was changed has
    several; each keeps what was recorded under it, so that an export rebuilds the payloads."""

    id: int
    key: str
    brooder: str | None
    topic: str
    place: str | None  # None, like the unit: it was brought in, and never configured here
    unit: str
    value_pointer: str | None
    time_pointer: str | None
    senml_name: str | None
    offset_c: float


class StorageFault(Exception):
    """The journal could not be opened or written. `kind`: full | read-only | damaged | in-use |
    newer | earlier | failed. `words` is one clause for the grower; nothing of the batch was
    written."""

    def __init__(self, kind: str, words: str) -> None:
        super().__init__(words)
        self.kind = kind
        self.words = words


def entry_fields(entry: Entry) -> dict[str, Any]:
    """A ledger entry as JSON has it: what is not set is left out."""
    return {k: v for k, v in asdict(entry).items() if v is not None and (k, v) != ("number", 0)}
