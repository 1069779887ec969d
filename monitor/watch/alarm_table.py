"""Every alarm and advice as one table of data: the only place that says how each behaves.

Read by watch.alarms (delays, life cycle, incidents), tell.plan (repeats) and the documentation."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.site import Limits
from monitor.watch.events import AlarmName, Priority

_URGENT, _WARNING, _ADVICE = Priority.URGENT, Priority.WARNING, Priority.ADVICE
_HOUR_S = 3600.0


class Family(StrEnum):
    """Alarms that one cause can set off together: in one place they make one incident."""

    COLD = "cold"
    HOT = "hot"
    SILENCE = "silence"


class Scope(StrEnum):
    """What one alarm of a name is about."""

    SITE = "site"
    BROODER = "brooder"
    PROBE = "probe"
    CONTACT = "contact"


class Lasting(StrEnum):
    """How an alarm ends."""

    CONDITION = "condition"  # when what it says is no longer true
    MOMENT = "moment"  # it tells of something that has happened: over as soon as told


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One row. A delay is a number of seconds or the name of the brooder's own limit."""

    alarm: AlarmName
    priority: Priority
    family: Family | None  # None: stands alone
    rank: int  # within the family: a higher one is a worse form of the same trouble
    on_delay: float | str = 0.0
    off_delay: float | str = 0.0
    needs_batch: bool = False
    scopes: tuple[Scope, ...] = (Scope.BROODER,)
    lasting: Lasting = Lasting.CONDITION
    repeat_s: float | None = None  # told again this often while active and unacknowledged
    escalate_s: float | None = None  # passed to the next contact after this, again and again
    shelve_max_s: float = 24 * _HOUR_S
    says: str = ""  # for the documentation

    def delay_s(self, which: float | str, limits: Limits) -> float:
        """A delay in seconds, with the limits of the brooder it is for."""
        return which if isinstance(which, float) else float(getattr(limits, which))


# Repeats and passing on: five and fifteen minutes, one hour for warnings: common practice. A night
# without an answer is why the next contact is called; three times, then everybody has been.
REPEAT_URGENT_S, REPEAT_WARNING_S, ESCALATE_S, ESCALATIONS_MAX = 300.0, _HOUR_S, 900.0, 3
# An urgent alarm may not sleep through a night: longest shelving 4 h. Common practice.
_SHELVE_URGENT_S = 4 * _HOUR_S


def _urgent(alarm: AlarmName, family: Family | None, rank: int, **more: object) -> Rule:
    return Rule(
        alarm=alarm,
        priority=_URGENT,
        family=family,
        rank=rank,
        repeat_s=REPEAT_URGENT_S,
        escalate_s=ESCALATE_S,
        shelve_max_s=_SHELVE_URGENT_S,
        **more,  # type: ignore[arg-type]
    )


def _warning(alarm: AlarmName, family: Family | None, rank: int, **more: object) -> Rule:
    return Rule(
        alarm=alarm,
        priority=_WARNING,
        family=family,
        rank=rank,
        repeat_s=REPEAT_WARNING_S,
        **more,  # type: ignore[arg-type]
    )


def _advice(alarm: AlarmName, says: str) -> Rule:
    return Rule(alarm=alarm, priority=_ADVICE, family=None, rank=0, needs_batch=True, says=says)


_ROWS = (
    _warning(
        AlarmName.COLD_NIGHT,
        Family.COLD,
        1,
        needs_batch=True,
        says="the floor will leave the band before morning",
    ),
    _warning(
        AlarmName.COLD,
        Family.COLD,
        2,
        on_delay="band_delay_s",
        off_delay="clear_delay_s",
        needs_batch=True,
        says="a floor probe is below the band",
    ),
    _urgent(
        AlarmName.HEAT_LOSS,
        Family.COLD,
        3,
        off_delay="clear_delay_s",
        needs_batch=True,
        says="a heat source stopped: known from the shape of the fall",
    ),
    _urgent(
        AlarmName.CHILL,
        Family.COLD,
        4,
        on_delay="harm_delay_s",
        off_delay="clear_delay_s",
        needs_batch=True,
        says="cold enough to harm chicks",
    ),
    _warning(
        AlarmName.HOT,
        Family.HOT,
        1,
        on_delay="band_delay_s",
        off_delay="clear_delay_s",
        needs_batch=True,
        says="a floor probe is above the band",
    ),
    # Needs no batch: a lamp that fell into the litter of an empty box burns as well.
    _urgent(
        AlarmName.OVERHEAT,
        Family.HOT,
        2,
        on_delay="harm_delay_s",
        off_delay="clear_delay_s",
        says="hot enough to harm chicks, or a fallen lamp",
    ),
    # One power-up value is not a fault: a bad value must stand for a minute, or come three times
    # in ten minutes (watch.probe_watch). It ends after ten minutes without one. Common practice.
    _warning(
        AlarmName.PROBE_FAULT,
        Family.SILENCE,
        1,
        scopes=(Scope.PROBE,),
        on_delay=60.0,
        off_delay=600.0,
        says="a probe says what no floor can be",
    ),
    # Rank, delay and priority of no-readings depend on how much is silent: watch.silence.
    _urgent(
        AlarmName.NO_READINGS,
        Family.SILENCE,
        3,
        scopes=(Scope.PROBE, Scope.BROODER, Scope.SITE),
        off_delay=60.0,
        says="nothing is heard from a probe, a brooder or the whole site",
    ),
    _warning(
        AlarmName.BROKER_LOST,
        Family.SILENCE,
        2,
        scopes=(Scope.SITE,),
        says="no connection to the broker",
    ),
    _warning(
        AlarmName.STORAGE_FAULT,
        None,
        1,
        scopes=(Scope.SITE,),
        says="the journal cannot be written",
    ),
    _warning(
        AlarmName.DELIVERY_FAULT,
        None,
        1,
        scopes=(Scope.CONTACT,),
        says="a contact cannot be reached",
    ),
    _warning(
        AlarmName.CLOCK_FAULT,
        None,
        1,
        scopes=(Scope.SITE,),
        says="the board's clock jumped or is not known to be right",
    ),
    _warning(
        AlarmName.WAS_DOWN,
        None,
        1,
        scopes=(Scope.SITE,),
        lasting=Lasting.MOMENT,
        says="the watcher itself was not running for a while",
    ),
    _advice(AlarmName.STEP_DOWN, "tomorrow the target steps down"),
    _advice(AlarmName.CROWDED, "the birds need more floor"),
    _advice(AlarmName.LOSSES_HIGH, "more birds were lost than is usual at this age"),
    _advice(AlarmName.READY_TO_MOVE, "the birds no longer need the brooder"),
)

TABLE: dict[AlarmName, Rule] = {row.alarm: row for row in _ROWS}
