"""Every alarm and advice as one table of data: how each behaves. Read by watch.alarm_register
(delays, life cycle, incidents), by tell.notification_plan (what is told when) and by the page. How
often what is urgent is repeated, and to whom it is passed on, is the grower's to set: tell.policy,
tell.contact."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.events import AlarmName, Priority
from monitor.site import Limits

_URGENT, _WARNING, _ADVICE = Priority.URGENT, Priority.WARNING, Priority.ADVICE
_HOUR_S = 3600.0


class Family(StrEnum):
    """Alarms that one cause can set off together: in one place they make one incident."""

    COLD = "cold"
    HOT = "hot"
    SILENCE = "silence"


class Lasting(StrEnum):
    """How an alarm ends."""

    CONDITION = "condition"  # when what it says is no longer true
    MOMENT = "moment"  # it tells of something that has happened: over as soon as told


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRule:
    """One row. A delay is a number of seconds or the name of the brooder's own limit."""

    alarm: AlarmName
    priority: Priority
    family: Family | None = None  # None: stands alone
    rank: int = 0  # within the family: a higher one is a worse form of the same trouble
    on_delay: float | str = 0.0
    off_delay: float | str = 0.0
    needs_batch: bool = False
    lasting: Lasting = Lasting.CONDITION
    told_once: bool = False  # no repeats, and its end is no news (but see tell.notification_plan)

    @property
    def shelve_max_s(self) -> float:
        """The longest it may be put aside. An urgent alarm may not sleep through a night. Common
        practice."""
        return 4 * _HOUR_S if self.priority is Priority.URGENT else 24 * _HOUR_S

    def delay_s(self, which: float | str, limits: Limits) -> float:
        """A delay in seconds, with the limits of the brooder it is for."""
        return which if isinstance(which, float) else float(getattr(limits, which))


_ROWS = (
    # Answered by going out before bed; and at dawn every cold night ends, which is no reason to
    # wake anybody.
    AlarmRule(
        alarm=AlarmName.COLD_NIGHT,
        priority=_WARNING,
        family=Family.COLD,
        rank=1,
        off_delay=2 * _HOUR_S,  # the chance goes up and down with each look
        needs_batch=True,
        told_once=True,
    ),
    AlarmRule(
        alarm=AlarmName.COLD,
        priority=_WARNING,
        family=Family.COLD,
        rank=2,
        on_delay="band_delay_s",
        off_delay="clear_delay_s",
        needs_batch=True,
    ),
    AlarmRule(
        alarm=AlarmName.HEAT_LOSS,
        priority=_URGENT,
        family=Family.COLD,
        rank=3,
        off_delay="clear_delay_s",
        needs_batch=True,
    ),
    AlarmRule(
        alarm=AlarmName.CHILL,
        priority=_URGENT,
        family=Family.COLD,
        rank=4,
        on_delay="harm_delay_s",
        off_delay="clear_delay_s",
        needs_batch=True,
    ),
    AlarmRule(
        alarm=AlarmName.HOT,
        priority=_WARNING,
        family=Family.HOT,
        rank=1,
        on_delay="band_delay_s",
        off_delay="clear_delay_s",
        needs_batch=True,
    ),
    # Needs no batch: a lamp that fell into the litter of an empty box burns as well.
    AlarmRule(
        alarm=AlarmName.OVERHEAT,
        priority=_URGENT,
        family=Family.HOT,
        rank=2,
        on_delay="harm_delay_s",
        off_delay="clear_delay_s",
    ),
    # One power-up value is not a fault: three in ten minutes, or in a row, are
    # (watch.probe_watch). It ends after ten minutes without one. Common practice.
    AlarmRule(
        alarm=AlarmName.PROBE_FAULT,
        priority=_WARNING,
        family=Family.SILENCE,
        rank=1,
        on_delay=60.0,
        off_delay=600.0,
    ),
    # The watch goes on without it, as it does where there is none.
    AlarmRule(alarm=AlarmName.METER_SILENT, priority=_ADVICE, off_delay=60.0),
    # One damp hour is no climate, and nobody is woken by it.
    AlarmRule(
        alarm=AlarmName.AIR,
        priority=_ADVICE,
        on_delay=6 * _HOUR_S,
        off_delay=_HOUR_S,
        needs_batch=True,
    ),
    AlarmRule(
        alarm=AlarmName.LEFT_OPEN,
        priority=_WARNING,
        on_delay="open_s",
        needs_batch=True,
    ),
    # A UPS tests itself for some seconds, and says so once.
    AlarmRule(alarm=AlarmName.MAINS_LOST, priority=_URGENT, on_delay=15.0, off_delay=60.0),
    AlarmRule(alarm=AlarmName.BATTERY_LOW, priority=_URGENT, off_delay=60.0),
    # Delay and priority of no-readings depend on how much is silent: watch.silence.
    AlarmRule(
        alarm=AlarmName.NO_READINGS,
        priority=_URGENT,
        family=Family.SILENCE,
        rank=3,
        off_delay=60.0,
    ),
    # Birds, and no alarm of cold can come from their box: watch.unwatched.
    AlarmRule(alarm=AlarmName.UNWATCHED, priority=_URGENT),
    AlarmRule(alarm=AlarmName.BROKER_LOST, priority=_WARNING, family=Family.SILENCE, rank=2),
    # Whoever bears our name gets our readings, acknowledged: until it is found nothing holds.
    AlarmRule(alarm=AlarmName.NAME_TAKEN, priority=_URGENT),
    AlarmRule(alarm=AlarmName.STORAGE_FAULT, priority=_WARNING),
    AlarmRule(alarm=AlarmName.DELIVERY_FAULT, priority=_WARNING),
    # The records are on the board all the same: nobody need hear of it twice.
    AlarmRule(alarm=AlarmName.MIRROR_FAULT, priority=_WARNING, told_once=True),
    # The clock mends itself.
    AlarmRule(alarm=AlarmName.CLOCK_FAULT, priority=_WARNING, told_once=True),
    AlarmRule(alarm=AlarmName.WAS_DOWN, priority=_WARNING, lasting=Lasting.MOMENT),
    AlarmRule(alarm=AlarmName.STEP_DOWN, priority=_ADVICE, needs_batch=True),
    AlarmRule(alarm=AlarmName.CROWDED, priority=_ADVICE, needs_batch=True),
    AlarmRule(alarm=AlarmName.LOSSES_HIGH, priority=_ADVICE, needs_batch=True),
    AlarmRule(alarm=AlarmName.READY_TO_MOVE, priority=_ADVICE, needs_batch=True),
)

TABLE: dict[AlarmName, AlarmRule] = {row.alarm: row for row in _ROWS}

# What is said of a floor that is too hot, and of one that is too cold or loses its heat: a cold
# night is only foretold.
OF_HEAT = (AlarmName.HOT, AlarmName.OVERHEAT)
TOO_COLD = (AlarmName.COLD, AlarmName.CHILL)
OF_COLD = (*TOO_COLD, AlarmName.HEAT_LOSS)

# What cleaning out a box sets off: put aside together, by the page and by `shelve cleaning-out`.
CLEANING = (
    AlarmName.COLD,
    AlarmName.CHILL,
    AlarmName.HEAT_LOSS,
    AlarmName.HOT,
    AlarmName.NO_READINGS,
    AlarmName.PROBE_FAULT,
)
# So long nobody who has just taken the cover off is called dangerously cold; however long the
# cleaning is meant to be, longer is harm: 45 minutes at 55 F left day-old chicks lighter to the end
# (University of Georgia, Poultry Housing Tips 7(12), 1995).
CHILL_MOST_MINUTES = 30


def cleaning_out(minutes: float) -> dict[AlarmName, float]:
    """For how many minutes each alarm that cleaning sets off may be put aside."""
    return {
        name: min(minutes, CHILL_MOST_MINUTES) if name is AlarmName.CHILL else minutes
        for name in CLEANING
    }
