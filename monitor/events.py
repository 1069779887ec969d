"""What goes into the engine and what comes out of it: records, no behaviour, no I/O.

Two times travel with every event. `at` is wall time in Unix seconds (UTC): ages, the journal and
what a person reads. `tick` is steady time in seconds: it never jumps, and every delay, repeat and
rate is measured on it. A recorded night has tick == at; a live board may not (its clock can be
set in the night). Both are floats because the engine handles tens of thousands a second."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, NamedTuple

from typing_extensions import TypedDict  # typing's own says too little to pydantic before 3.12

# Passed on: these three stand lower because brooding.ledger folds them.
from monitor.brooding.entries import Entry as Entry  # noqa: PLC0414 - a name of this module too
from monitor.brooding.entries import EntryKind as EntryKind  # noqa: PLC0414
from monitor.brooding.entries import new_id as new_id  # noqa: PLC0414


class Moment(NamedTuple):
    """Now, on both clocks (seconds)."""

    at: float
    tick: float

    def at_tick(self, tick: float) -> "Moment":
        """The moment of another tick; no clock was set in between. To the millisecond."""
        return Moment(round(self.at - (self.tick - tick), 3), tick)

    def at_wall(self, at: float) -> "Moment":
        """The moment of another wall time; no clock was set in between."""
        return Moment(at, self.tick - (self.at - at))


class ClockStep(NamedTuple):
    """The wall clock was set `by_s`. What was before `since`, by the clock until then, was told by
    another clock than the one that was wrong, and is by `before_s` only."""

    by_s: float
    before_s: float
    since: float

    def moved(self, at: float) -> float:
        """When that was, by the new clock's reckoning."""
        return at + (self.before_s if at < self.since else self.by_s)


class Reading(NamedTuple):
    """One temperature of one probe, corrected by the probe's offset."""

    at: float
    tick: float
    probe: str  # Probe.key
    temp_c: float
    clock_sure: bool = True  # False: taken before the board knew the time


class Measured(NamedTuple):
    """Something else than a temperature, in the unit of its kind (see monitor.quantities)."""

    at: float
    tick: float
    meter: str  # Meter.key
    value: float
    clock_sure: bool = True


class CameLate(NamedTuple):
    """A message whose newest stamp was old when it came, or the first after such that was not: what
    is known of its sender's clock follows from these."""

    at: float  # when it came
    tick: float
    sensor: str  # Probe.key or Meter.key
    lag_s: float


class BadValue(NamedTuple):
    """A claimed probe said something no floor can be: 85.0 at power-up, -127, out of range."""

    at: float
    tick: float
    probe: str
    reason: str  # one plain clause, for the grower
    temp_c: float | None


class AlarmName(StrEnum):
    """Every alarm and advice there is."""

    COLD = "cold"
    HOT = "hot"
    CHILL = "chill"
    OVERHEAT = "overheat"
    HEAT_LOSS = "heat-loss"
    COLD_NIGHT = "cold-night"
    NO_READINGS = "no-readings"
    UNWATCHED = "unwatched"
    PROBE_FAULT = "probe-fault"
    METER_SILENT = "meter-silent"
    LEFT_OPEN = "left-open"
    AIR = "air"
    MAINS_LOST = "mains-lost"
    BATTERY_LOW = "battery-low"
    BROKER_LOST = "broker-lost"
    NAME_TAKEN = "name-taken"
    STORAGE_FAULT = "storage-fault"
    DELIVERY_FAULT = "delivery-fault"
    MIRROR_FAULT = "mirror-fault"
    CLOCK_FAULT = "clock-fault"
    WAS_DOWN = "was-down"
    STEP_DOWN = "step-down"
    CROWDED = "crowded"
    LOSSES_HIGH = "losses-high"
    READY_TO_MOVE = "ready-to-move"


ALARM_NAMES = tuple(name.value for name in AlarmName)


class Priority(StrEnum):
    """In falling order."""

    URGENT = "urgent"
    WARNING = "warning"
    ADVICE = "advice"


class Cause(StrEnum):
    """Why, as far as the readings tell."""

    HEAT_SOURCE = "heat-source"
    COLD_NIGHT = "cold-night"
    COVER_OPEN = "cover-open"
    OVERHEAT = "overheat"
    SENSOR = "sensor"
    SILENCE = "silence"
    UNKNOWN = "unknown"


LOSES_HEAT = (Cause.HEAT_SOURCE, Cause.COVER_OPEN)  # what takes heat from a box at once


class ChangeKind(StrEnum):
    """What happened to an alarm. The first four are what every reader of events must know."""

    RAISED = "raised"
    CLEARED = "cleared"
    ACKNOWLEDGED = "acknowledged"
    ESCALATED = "escalated"  # nobody answered: passed to the next contact
    EXPLAINED = "explained"  # what is behind it is known to be another thing than was told
    SHELVED = "shelved"
    UNSHELVED = "unshelved"


class ProbeFact(TypedDict):
    """One probe in a message's list."""

    probe: str
    place: str
    temp_c: float | None  # None: silent


class Facts(TypedDict, total=False):
    """The numbers behind a change, for the wording and the journal. All JSON. Temperatures degC,
    times Unix seconds (UTC), durations seconds or minutes as named."""

    temp_c: float
    target_c: float
    low_c: float  # edges of the band
    high_c: float
    chill_c: float  # the configured chill limit
    overheat_c: float  # from here the floor is dangerously hot for their age
    age_days: int
    rate_c_per_h: float  # negative: falling
    minutes_to_chill: float
    minutes_to_chill_low: float  # 80 % interval
    minutes_to_chill_high: float
    minutes_to_overheat: float  # if it goes on rising as it does
    since: float  # when the condition began
    first_since: float  # ... and when for the first time, if it came back
    extreme_c: float  # lowest or highest while it lasted
    lasted_s: float
    quiet_s: float  # since it ended, and nothing else was wrong with that floor
    beside: AlarmName  # of that box too, and not told as over
    probes: list[ProbeFact]
    source: str  # heat source most likely lost
    source_sure: bool
    suspects: list[str]
    either: bool  # lost heat or an open cover: nothing that is heard can tell the two apart
    source_watts: float
    draws_w: float  # measured at the plugs of what is out; it is no guess then
    usual_w: float  # what those drew before
    value: float  # of what a meter measures, in its unit
    right_low: float  # as published for the age
    right_high: float
    meter: str  # what is silent, as a grower calls it
    quantity: str  # and what it measures
    battery_left_s: float  # of the board's own battery
    outside_c: float
    outside_low_c: float
    outside_from: str  # where the coming low was taken from
    lowest_c: float  # lowest floor expected
    lowest_low_c: float  # its 80 % interval
    lowest_high_c: float
    learned: float  # of that: 0 all from the box's measures, 1 all from its readings
    lowest_at: float
    leaves_band_at: float
    evening_at: float  # when the evening message said that one might come
    chance: float  # of leaving the band, 0..1
    missing_watts: float
    mend: list[str]  # what would help, best first
    reason: str
    says_c: float  # what arrives with a time stamp that is too old to count
    doubt: str  # of the probe that leads, one plain clause; the floor is told all the same
    detail: str
    silent_s: float
    down_from: float  # without it: nobody knows for how long
    down_to: float
    times: int  # of several gaps told together: how many,
    down_s: float  # and how long in all
    before_c: float
    after_c: float
    jump_s: float
    birds_unknown: bool  # with the records the watch has lost which birds are in which box
    contact: str
    next_target_c: float
    step_at: float
    head_count: int
    area_m2: float
    area_per_bird_m2: float
    needed_area_per_bird_m2: float
    losses: int
    losses_percent: float
    usual_percent: float
    origin: str  # published source of an advice, or "common practice"
    by: str  # who acknowledged or shelved
    until: float  # end of a shelving
    incident: str  # occurrence of the alarm this trouble began with: one trouble, one message
    folded: bool  # follows from an alarm already told and is no worse: needs no message of its own
    level: int  # on escalated: how many times it has been passed on
    contacts: list[str]  # on escalated: to whom
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change of one alarm. `occurrence` is the same from raised to cleared and is the same
    again when a journal is replayed, so whatever is keyed by it is never done twice."""

    at: float
    brooder: str | None = None  # None: the site or the watcher itself
    alarm: AlarmName
    change: ChangeKind
    priority: Priority
    cause: Cause = Cause.UNKNOWN
    probe: str | None = None  # Probe.key that led
    occurrence: str = ""  # "porch/cold/1770693330": brooder or "site", alarm, Unix second raised
    facts: Facts = field(default_factory=Facts)

    @property
    def ended_at(self) -> float:
        """Of a clearing: when it was over. That is known once it has stayed so for a while."""
        facts = self.facts
        both = "since" in facts and "lasted_s" in facts
        return facts["since"] + facts["lasted_s"] if both else self.at


State = dict[str, Any]  # JSON-able: what a pure part needs to go on after a restart
