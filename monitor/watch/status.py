"""How things stand now: immutable, for the page, the commands and the messages.

Made by `Engine.status(now)`. Temperatures degC, `..._at` Unix seconds, ages and durations
seconds. None means: not known."""

from dataclasses import dataclass
from datetime import date

from monitor.brooding.calendar import TargetStep
from monitor.brooding.moving import Moving
from monitor.events import AlarmName, Cause, Facts, Priority
from monitor.quantities import QUANTITIES
from monitor.site import Place
from monitor.thermal.diagnosis import Diagnosis, Interval, Learned, Outlook
from monitor.watch.alarm_table import OF_COLD, OF_HEAT
from monitor.watch.empty_box import ExpectedBirds, WarmUp
from monitor.watch.heat_in import HeatIn
from monitor.watch.life_cycle import AlarmState


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmStatus:
    """An alarm that is not normal, or that was never acknowledged."""

    occurrence: str
    folded: bool  # follows from an alarm already told
    incident: str
    alarm: AlarmName
    brooder: str | None  # None: the site or the watcher itself
    probe: str | None
    contact: str | None
    priority: Priority
    cause: Cause
    state: AlarmState
    since: float  # Unix s at which the condition began
    raised_at: float
    extreme_c: float | None  # lowest or highest so far
    by: str | None  # who acknowledged or shelved it
    acknowledged_at: float | None
    shelved_until: float | None  # Unix s
    shelved_note: str | None
    facts: Facts  # as they were when it was raised; of an advice, as they are now
    ended_at: float | None = None  # when what nobody answered was over
    told: bool | None = None  # of a cold night; False: called off since. The engine knows neither

    @property
    def active(self) -> bool:
        """Its condition holds and it is not put aside."""
        return self.state in (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)

    @property
    def acknowledged(self) -> bool:
        """Somebody has answered."""
        return self.state is AlarmState.ACKNOWLEDGED


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeStatus:
    """One probe."""

    key: str
    name: str
    place: Place
    temp_c: float | None  # the last reading, however old
    at: float | None  # wall time of that reading, as the probe or the broker told it
    age_s: float | None
    silent: bool  # not heard for longer than the limit
    fault: str | None  # why it is not believed, one clause
    out_of_service: bool
    lately_high_c: float | None = None  # the highest of the last quarter of an hour
    usual_gap_s: float = 0.0  # between two of its readings
    stamps_old_s: float | None = None  # it is heard, but its own stamps are too old to count


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterStatus:
    """What measures something beside temperature. `usual_w` to `duty` are of a heat source."""

    key: str
    title: str  # "west lamp", "humidity"
    kind: str  # of monitor.quantities
    value: float | None  # the last one, however old
    at: float | None
    silent: bool
    usual_w: float | None = None  # what it draws when lit
    lit: bool | None = None
    out: bool = False  # draws nothing, and should
    turned_down: bool = False  # draws clearly less than it has drawn, or is said to
    thermostat: bool = False  # one switches it
    duty: float | None = None  # share of the last hours in which it was lit

    @property
    def shown(self) -> str:
        """Its value as a grower reads it."""
        return "not heard yet" if self.value is None else QUANTITIES[self.kind].shown(self.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchStatus:
    """The birds in the box."""

    kind: str
    hatched: date
    age_days: float
    head_count: int
    placed: int
    lost: int
    started_at: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NightStatus:
    """The floor since 18:00 local time, for the morning message."""

    since_at: float  # when there were chicks to count for: 18:00, or later
    low_c: float | None
    low_at: float | None
    high_c: float | None
    high_at: float | None
    below_s: float  # some floor probe below the band
    above_s: float
    unseen_s: float  # no floor reading to believe, or nobody who watched


@dataclass(frozen=True, slots=True, kw_only=True)
class BrooderStatus:
    """One box."""

    name: str
    out_of_service: bool
    temp_c: float | None  # of the floor probe furthest from its target; None: none to believe
    temp_at: float | None  # when that was read (Unix s)
    hottest_c: float | None  # of what a heat alarm goes by
    coldest_c: float | None  # of what an alarm of cold goes by
    target_c: float | None  # None: no batch
    low_c: float | None
    high_c: float | None
    chill_c: float | None
    overheat_c: float
    in_band: bool | None  # None: no target or no reading
    in_band_since: float | None  # Unix s
    trend_c_per_h: float | None
    minutes_to_chill: Interval | None  # minutes until the chill limit, if it keeps falling
    diagnosis: Diagnosis | None
    outlook: Outlook | None
    outlook_at: float | None
    outside_c: float | None
    batch: BatchStatus | None
    next_step: TargetStep | None
    night: NightStatus
    alarms: tuple[AlarmStatus, ...]  # worst first
    probes: tuple[ProbeStatus, ...]
    estimate_fault: str | None  # the thermal estimate gave up, and why
    estimate_error: Exception | None = None  # the same, with its traceback, for the log
    learned: Learned | None = None  # None: no floor reading yet
    meters: tuple[MeterStatus, ...] = ()
    moving: Moving | None = None  # when the birds may move out; None: no birds
    expected: ExpectedBirds | None = None  # birds that are to come
    warm_up: WarmUp | None = None  # None: birds are in
    heat_in: HeatIn | None = None  # None: not every source has a plug that measures

    def judged_c(self, alarm: AlarmName) -> float | None:
        """What that alarm goes by, now: one end of a box may be too hot while another is cold."""
        if alarm in OF_HEAT:
            return self.hottest_c
        return self.coldest_c if alarm in OF_COLD else self.temp_c

    @property
    def too_hot(self) -> bool:
        """Above its band."""
        return self.temp_c is not None and self.high_c is not None and self.temp_c > self.high_c


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteStatus:
    """How everything that one service watches stands."""

    at: float
    clock_sure: bool
    brooders: tuple[BrooderStatus, ...]
    probes: tuple[ProbeStatus, ...]  # the site's own: outside
    alarms: tuple[AlarmStatus, ...]  # of the site and the watcher itself, worst first
    meters: tuple[MeterStatus, ...] = ()  # the site's own: mains, battery

    def brooder(self, name: str) -> BrooderStatus | None:
        """The brooder of that name."""
        return next((b for b in self.brooders if b.name == name), None)

    @property
    def all_alarms(self) -> tuple[AlarmStatus, ...]:
        """Of the watcher and of every brooder."""
        return self.alarms + tuple(a for b in self.brooders for a in b.alarms)
