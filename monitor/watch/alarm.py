"""One alarm: where it stands, its open occurrence, and who knows the numbers behind it.

A record; it is moved by watch.alarm_register only."""

from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol, cast

from monitor.events import Cause, Facts, Priority, State
from monitor.watch.alarm_table import AlarmRule
from monitor.watch.band import Delay
from monitor.watch.life_cycle import ACTIVE, AlarmState


class Description(NamedTuple):
    """What its owner says of an alarm at the moment it is raised."""

    facts: Facts
    cause: Cause = Cause.UNKNOWN
    probe: str | None = None
    priority: Priority | None = None  # None: the table's


class Owner(Protocol):
    """Whoever judges an alarm's condition and knows the numbers behind it."""

    def describe(self, alarm: "Alarm", tick: float) -> Description:
        """The facts at the moment it is raised."""
        ...

    def closing(self, alarm: "Alarm", tick: float) -> Facts:
        """The facts at the moment it is cleared."""
        ...

    def suppressed_until(self, alarm: "Alarm", tick: float) -> float | None:
        """A tick before which it should not be raised: a grower is at work in the box."""
        ...


@dataclass(slots=True, kw_only=True)
class Alarm:
    """One alarm of one brooder (probe, contact, site): where it stands, and its open occurrence."""

    key: str
    rule: AlarmRule
    brooder: str | None
    subject: str | None  # probe key or contact, where there can be several
    owner: Owner
    delay: Delay
    state: AlarmState = AlarmState.NORMAL
    occurrence: str = ""
    incident: str = ""
    folded: bool = False
    priority: Priority = Priority.ADVICE
    rank: int = 0
    cause: Cause = Cause.UNKNOWN
    probe: str | None = None
    began_at: float = 0.0
    raised_at: float = 0.0
    raised_tick: float = 0.0
    extreme_c: float | None = None
    facts: Facts = field(default_factory=Facts)
    by: str | None = None
    acknowledged_at: float | None = None
    ended_at: float | None = None  # when it was over; None: it is not, or nobody saw it
    shelved_until: float | None = None  # tick
    shelved_note: str | None = None
    last_second: int = 0

    @property
    def active(self) -> bool:
        """Told and not over: unacknowledged or acknowledged."""
        return self.state in ACTIVE

    @property
    def watched(self) -> bool:
        """Is its condition running or being waited for? Then extremes are kept."""
        return self.delay.condition or self.delay.active

    @property
    def untouched(self) -> bool:
        """As it was opened: never raised, put aside or waited for. Nearly all of them are."""
        delay = self.delay
        return (
            self.state is AlarmState.NORMAL
            and not self.occurrence
            and not (delay.condition or delay.active)
            and delay.began is None
            and delay.due is None
            and self.extreme_c is None
        )

    def kept(self) -> State:
        """JSON-able."""
        delay = self.delay
        row: dict[str, Any] = {name: getattr(self, name) for name in _KEPT}
        row["state"] = self.state.value
        row["priority"] = self.priority.value
        row["cause"] = self.cause.value
        row["facts"] = dict(self.facts)
        row["delay"] = [delay.condition, delay.active, delay.began, delay.due]
        row["place"] = [self.rule.alarm.value, self.brooder, self.subject]
        return row

    def restore(self, row: dict[str, Any], shift_s: float) -> None:
        """As it was, `shift_s` later."""
        for name in _KEPT:
            setattr(self, name, row.get(name, getattr(self, name)))
        for name in _TICKS:
            value = getattr(self, name)
            if value is not None:
                setattr(self, name, value + shift_s)
        self.state = AlarmState(row["state"])
        self.priority = Priority(row["priority"])
        self.cause = Cause(row["cause"])
        self.facts = cast(Facts, dict(row["facts"]))
        delay = self.delay
        delay.condition, delay.active, delay.began, delay.due = row["delay"]
        delay.shift(shift_s)


_KEPT = (
    "occurrence",
    "incident",
    "folded",
    "rank",
    "probe",
    "began_at",
    "raised_at",
    "raised_tick",
    "extreme_c",
    "by",
    "acknowledged_at",
    "ended_at",
    "shelved_until",
    "shelved_note",
    "last_second",
)
_TICKS = ("raised_tick", "shelved_until")
