"""One alarm: where it stands, its open occurrence, and who knows the numbers behind it.

A record; it is moved by watch.alarm_register only."""

from typing import NamedTuple, Protocol

from monitor.events import Cause, Facts, Priority
from monitor.kept import Kept, Tick, part
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
        """The facts at the moment it is cleared: nothing more to say."""
        return Facts()

    def ended(self, alarm: "Alarm", tick: float) -> float:
        """When it was over, if its condition ended at `tick`: then."""
        return tick

    def suppressed_until(self, alarm: "Alarm", tick: float) -> float | None:
        """A tick before which it should not be raised: nothing holds it back."""
        return None


@part
class Alarm(Kept):
    """One alarm of one brooder (probe, contact, site): where it stands, and its open occurrence."""

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
    raised_tick: Tick = 0.0
    extreme_c: float | None = None
    facts: Facts
    by: str | None = None
    acknowledged_at: float | None = None
    ended_at: float | None = None  # when it was over; None: it is not, or nobody saw it
    shelved_until: Tick | None = None
    shelved_note: str | None = None
    last_second: int = 0

    def __init__(
        self,
        *,
        key: str,
        rule: AlarmRule,
        brooder: str | None,
        subject: str | None,
        owner: Owner,
        delay: Delay,
    ) -> None:
        """`subject`: probe key or contact, where there can be several."""
        self.key, self.rule, self.brooder, self.subject = key, rule, brooder, subject
        self.owner, self.delay, self.facts = owner, delay, Facts()

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
        return (
            self.state is AlarmState.NORMAL
            and not self.occurrence
            and self.delay.began is None
            and self.extreme_c is None
        )
