"""What the thermal side says: records, no behaviour. Made by `thermal`, read by the engine, the
wording and the page. Times are ticks (steady seconds) unless a name ends in `_at`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, NamedTuple

from pydantic import AfterValidator, PlainSerializer

from monitor.events import LOSES_HEAT, Cause
from monitor.kept import NEVER, Tick


class FaultKind(StrEnum):
    """How a probe can mislead."""

    SPIKES = "spikes"  # single readings far from their neighbours in time, again and again
    TORN = "torn"  # jumps to and fro: two send on its topic, or its wire is loose
    STUCK = "stuck"  # says the same while the others move
    DRIFT = "drift"  # wanders away from its neighbours
    FELL_OUT = "fell-out"  # follows the outside now
    FELL_ALONE = "fell-alone"  # cools as no floor can while all else holds: wet, buried, moved
    MOVED = "moved"  # went down by some degrees at once while all else holds
    OTHER_UNIT = "other-unit"  # rises and falls by 9/5 of what is beside it: Fahrenheit for Celsius
    SWAPPED = "swapped"  # two probes have changed places, or their names have
    WARMED = "warmed"  # an outside probe in the sun, or brought indoors
    UNDER_LAMP = "under-lamp"  # lies in the light: far hotter than its neighbours


class Warmth(StrEnum):
    """What a floor above its band means, should it be there."""

    UNKNOWN = "unknown"
    CAN_WAIT = "can-wait"  # nothing says that it harms
    SOON = "soon"  # it is headed there, or onwards, for certain
    HARMS = "harms"  # it heads for harm, or has been halfway there for long


# Such a probe is looked after in the morning: it is off by a few degrees.
CAN_WAIT = frozenset({FaultKind.DRIFT, FaultKind.MOVED})
# What such a probe says tells nothing of the floor.
TELLS_NOTHING = frozenset({FaultKind.STUCK, FaultKind.TORN, FaultKind.OTHER_UNIT})
# That one falls is no word of the heat: it lies elsewhere, jumps, or tells nothing of the floor.
PROVES_NOTHING = TELLS_NOTHING | {FaultKind.FELL_OUT, FaultKind.FELL_ALONE, FaultKind.SPIKES}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One probe that cannot be trusted, and why."""

    probe: str  # Probe.key
    kind: FaultKind
    reason: str  # one plain clause, for the grower
    since: Tick
    other: str | None = None  # the other one of two exchanged probes


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """What the floor of one brooder is doing, and why. `cause` is None while nothing is wrong.

    Never COLD_NIGHT: that is a judgement on the hours to come, see `coming_night`."""

    cause: Cause | None = None  # SENSOR: one that falls alone; other faults are among the findings
    cause_sure: bool = True  # False: lost heat and an open cover would look much the same
    started: float | None = None  # when the fall began, as estimated
    source: str | None = None  # the heat source most likely lost
    source_sure: bool = False  # False: two sources would look the same
    suspects: tuple[str, ...] = ()  # all that may have stopped: whoever is seen to work is none
    source_watts: float = 0.0
    rate_k_per_h: float = 0.0  # of the floor, now: what is sure of it; 0: it may be scatter
    hold_until: float | None = None  # looks like a grower's act: no alarm of cold before this tick
    rests_until: float = NEVER  # a thermostat's rest brings the floor down, as those before did
    pulses_until: float = NEVER  # a thermostat's pulse brings it up, as those before did
    findings: tuple[Finding, ...] = ()
    # Probes whose newest reading is far from the one before: it waits for the next to bear it out.
    doubted: tuple[str, ...] = ()
    warmth: Warmth = Warmth.UNKNOWN

    @property
    def heat_lost(self) -> bool:
        """A source stopped or the cover is off, and no grower's act explains it."""
        return self.cause in LOSES_HEAT


@dataclass(frozen=True, slots=True)
class HeatKnown:
    """What is measured of heat and cover, and need not be guessed. Sources by index."""

    lit: Mapping[int, Tick]  # surely lit, and the tick at which that was said last
    out: frozenset[int]
    cover_open: bool | None  # None: no switch says
    mains_off: bool = False
    drawn_w: float | None = None  # by all sources; None: not every plug is heard
    whole_w: float | None = None  # with all of them lit; None: no thermostat spares any
    # Since and until when a thermostat's rest brings the floor down, as usual.
    rests_since: Tick = NEVER
    rests_until: Tick = NEVER


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with its 80 % interval."""

    mid: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """What is known of a box by now, its dimensions and its own readings weighed together."""

    floor_c: float  # of all floor probes together
    rise_k: float | None  # floor above outside that the heat sustains; None: no outside
    rise_sd_k: float
    time_constant_s: float
    share: float  # 0: all from the dimensions, 1: all from readings


class Foreseen(NamedTuple):
    """The floor at a time to come (Unix s), degC, with its 80 % interval."""

    at: float
    mid_c: float
    low_c: float
    high_c: float


# Kept as they are read, also where they are only looked for then.
Clauses = Annotated[Sequence[str], AfterValidator(tuple), PlainSerializer(list)]
Ways = tuple[tuple[float, tuple[tuple[float, float], ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """How the coming hours will go for one floor."""

    lowest_c: Interval
    lowest_at: float  # Unix seconds
    leaves_band_at: float | None  # Unix seconds; None: the middle course stays in the band
    # Of leaving the band downwards, 0..1; where it is below already: of not coming back, or of
    # leaving it again.
    chance: float
    missing_watts: float  # 0: none
    outside_low_c: float
    outside_from: str  # where the outside curve was taken from
    learned: float  # 0: all from the box's dimensions, 1: all from its own readings
    by_floor: bool = False  # ... from the floor itself, for want of an outside probe
    mend: Clauses = ()  # what would help, best first
    below_now: bool = False  # the floor is below its band as one looks ahead
    # The floor was seen to go with an outside that is measured, through a night or into a front.
    seen: bool = True
    first_night: bool = False  # nobody has seen this heat and these birds through a night yet
    was_cold_c: float | None = None  # the last night's lowest, if too cold for this one's morning
    open_share: float = 0.0  # of the cover, that must stay open for the birds' fresh air
    begins: tuple[float, float] = (0.0, 0.0)  # Unix seconds, and the floor then
    # The ways the night may go, each with its chance, by quarters of an hour from then on: the
    # floor's middle and its standard deviation. `tonight.course` makes a picture's course of them.
    ways: Ways = ()

    @property
    def foretold(self) -> bool:
        """Does a forecast or the grower say what the weather will do, or may it go more ways?"""
        return len(self.ways) < 2
