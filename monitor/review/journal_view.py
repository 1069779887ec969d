"""What the review asks of a journal. `journal.reader.JournalReader` gives it."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

from monitor.events import Change, Entry
from monitor.journal.records import BadCount, KnownProbe
from monitor.review.exposure import Floats


class JournalView(Protocol):
    """The part of the journal reader that the review uses."""

    def readings_of(
        self, probe_keys: Iterable[str] | None, from_at: float, to_at: float, *, only_sure: bool
    ) -> dict[str, tuple[Floats, Floats]]:
        """Times and temperatures by probe, from <= at < to, in time order; `only_sure` leaves out
        what was read before the board knew the time."""
        ...

    def samples(
        self, series: str, name: str, from_at: float, to_at: float
    ) -> tuple[Floats, Floats]:
        """Times and values of a number that is kept beside the temperatures."""
        ...

    def entries(self) -> Sequence[Entry]:
        """The ledger and the acts on alarms."""
        ...

    def changes(self, from_at: float, to_at: float) -> Sequence[Change]:
        """Alarm changes, in time order."""
        ...

    def bad_values(self, from_at: float, to_at: float) -> Sequence[BadCount]:
        """What probes said that no floor can be, counted by hour."""
        ...

    def known(self) -> Mapping[int, KnownProbe]:
        """Every probe as it was ever configured."""
        ...

    def span(self) -> tuple[float, float] | None:
        """From when to when there are readings."""
        ...


class NotFound(Exception):
    """What was asked for is not in the journal; one line that says what would be right."""
