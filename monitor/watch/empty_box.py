"""A box before its chicks: which birds are to come, and whether it is warm for them, and level.
Nothing here is told as an alarm, and nothing of it stays once they are in. Owned by
watch.brooder_watch, looked at every quarter of an hour."""

from dataclasses import dataclass
from datetime import date

from monitor.brooding.age_limits import AgeLimits, limits_at
from monitor.brooding.entries import Entry, day_of
from monitor.brooding.rearing_plan import ARRIVAL_DAYS
from monitor.brooding.schedules import schedule_for
from monitor.kept import Kept, Tick, part
from monitor.site import Brooder, Place
from monitor.thermal.diagnosis import Outlook


@dataclass(frozen=True, slots=True)
class ExpectedBirds:
    """Birds that are to come."""

    day: date
    count: int
    kind: str | None


@dataclass(frozen=True, slots=True)
class WarmUp:
    """An empty box against what chicks of a day will need. None: not known."""

    waits: bool  # birds are to come, or none have ever been in it
    limits: AgeLimits
    level_since: float | None  # Unix s since which its floor has been in their band
    outlook: Outlook | None  # of the coming night, without the birds' own warmth


@part
class EmptyBox(Kept):
    """Mutable: what is known of a box while nobody is in it. What is expected is the ledger's."""

    level_since: Tick | None = None
    outlook: Outlook | None = None

    def __init__(self, brooder: Brooder) -> None:
        self._brooder = brooder
        self.expected: ExpectedBirds | None = None
        self.waits = True
        self.limits = self._limits()  # of the floor, for chicks as they come; asked for often

    def take(self, entry: Entry | None, *, had: bool) -> None:
        """What the ledger says of birds to come, and whether it has had any."""
        day = None if entry is None else day_of(entry)
        self.expected = None
        if entry is not None and day is not None:
            self.expected = ExpectedBirds(day, entry.count or 0, entry.kind)
        self.waits = entry is not None or not had
        self.limits = self._limits()

    def _limits(self) -> AgeLimits | None:
        kind = None if self.expected is None else self.expected.kind
        schedule = schedule_for(self._brooder, kind)
        box = self._brooder
        return limits_at(schedule, ARRIVAL_DAYS, box.steps, Place.FLOOR, box.limits)

    def see(self, floor_c: list[float], tick: float, outlook: Outlook | None) -> None:
        """The floor's probes at this moment, and the night to come."""
        limits, self.outlook = self.limits, outlook
        if limits is None or min(floor_c) < limits.low_c or max(floor_c) > limits.high_c:
            self.level_since = None
        elif self.level_since is None:
            self.level_since = tick

    def forget(self) -> None:
        """Drops what was seen of the empty box: birds are in."""
        self.level_since = self.outlook = None

    def status(self, offset_s: float) -> WarmUp | None:
        """None: no target is known for chicks of a day."""
        limits, since = self.limits, self.level_since
        if limits is None:
            return None
        return WarmUp(self.waits, limits, None if since is None else since + offset_s, self.outlook)
