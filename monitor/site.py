"""What the core knows of a site: boxes, probes, heat, limits. Plain data, validated by `settings`.

All lengths in metres, temperatures in degC, durations in seconds, powers in watts."""

import re
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Annotated
from zoneinfo import ZoneInfo

from pydantic import PlainSerializer, PlainValidator

from monitor.measures import Price
from monitor.quantities import QUANTITIES, Quantity
from monitor.units import Unit

SITE_WIDE = "site"  # in a box's place, for what belongs to none: no box can have that name


class Place(StrEnum):
    """Where a probe lies. A target is compared only with the place it was published for."""

    FLOOR = "floor"  # chick-back height at the edge of the heat
    UNDER_HEAT = "under-heat"  # beneath a lamp or plate: tells whether that source is alive
    COOL_END = "cool-end"  # where chicks go to cool off
    OUTSIDE = "outside"  # in the shade, out of the box


def plain(name: str) -> str:
    """A name as it stands in a topic or an account: `Under west lamp` is `under-west-lamp`."""
    return re.sub(r"[^\w.]+|_", "-", name.casefold()).strip("-") or "probe"


def place_for(name: str) -> Place:
    """Where a probe most likely lies that has this name, or says this topic."""
    word = name.lower()
    if "out" in word or "shade" in word or "weather" in word:
        return Place.OUTSIDE
    if "lamp" in word or "heat" in word or "plate" in word:
        return Place.UNDER_HEAT
    if "cool" in word or "far" in word:
        return Place.COOL_END
    return Place.FLOOR


# Kept by its name: who asks which it is compares with the row itself.
OfKind = Annotated[
    Quantity, PlainSerializer(lambda row: row.kind), PlainValidator(lambda kind: QUANTITIES[kind])
]


class Steps(StrEnum):
    """How the target comes down between a schedule's rows."""

    WEEKLY = "weekly"  # one step at the start of each week of age, as growers raise a lamp
    STRAIGHT = "straight"  # a straight line between the rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """One thermometer. `key` is unique in the site: `porch/floor`, or `site/shade` for one that
    serves every brooder (`brooder` is then None and the place is outside)."""

    key: str
    brooder: str | None
    name: str
    topic: str
    place: Place
    unit: Unit = Unit.CELSIUS
    value_pointer: str | None = None  # JSON Pointer (RFC 6901); None: bare number or SenML
    time_pointer: str | None = None
    senml_name: str | None = None  # resolved SenML name, where one pack carries several
    offset_c: float = 0.0  # added to what the probe says, from the ice-water check


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """What measures something beside temperature. `key` is unique in the site and ends with the
    quantity's column: `porch/west lamp power_w`, `porch/humidity_percent`, `site/mains_on`."""

    brooder: str | None
    name: str | None  # None: the only one of its kind there
    topic: str
    quantity: OfKind
    value_pointer: str | None = None
    time_pointer: str | None = None
    senml_name: str | None = None
    source: str | None = None  # of power: the heat source whose it is
    local: bool = False  # read on this board, not from the broker

    @property
    def series(self) -> str:
        """Its name within its place, wherever it is kept."""
        column = self.quantity.column
        return column if self.name is None else f"{self.name} {column}"

    @property
    def key(self) -> str:
        """Unique in the site."""
        return f"{self.brooder or 'site'}/{self.series}"

    @property
    def title(self) -> str:
        """In a sentence: `west lamp`, `humidity`."""
        return self.name or self.quantity.title


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatSource:
    """A lamp, plate or panel: `kind` is lamp | plate | panel | other."""

    name: str
    kind: str
    watts: float
    thermostat: bool | None = None  # does one switch it? None: nobody said


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When a temperature is wrong; each brooder may have its own. Common practice where no other
    source stands."""

    band_c: float = 2.8  # target +/- this is right (5 degF; common practice)
    harm_c: float = 5.6  # further than this from target, harm is near (10 degF; common practice)
    overheat_c: float | None = None  # an overheat at the latest; None: by age, brooding.harm_known
    fire_c: float = 50.0  # overheat at any age: a fallen lamp
    band_delay_s: float = 180
    harm_delay_s: float = 30
    clear_delay_s: float = 60  # back in band for this long before it is called over
    dead_band_c: float = 0.5  # 1 % of a 0-50 degC range: EEMUA 191, as quoted by exida
    silent_s: float = 900  # a probe not heard for this long (a ten-minute radio gap is usual)
    open_s: float = 1200  # a cover may stay open for so long; feeding takes 5 to 15 min


@dataclass(frozen=True, slots=True, kw_only=True)
class ScheduleRow:
    """From `from_day` (age in days, hatch = 0) on, hold `target_c`."""

    from_day: float
    target_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Brooder:
    name: str
    length_m: float
    width_m: float
    height_m: float
    cover: str = "none"  # a name of brooding.envelope's covers
    walls: str = "plywood"
    in_wind: bool = False  # else it stands in a shed, a garage or on a sheltered porch
    probes: tuple[Probe, ...] = ()
    heat: tuple[HeatSource, ...] = ()
    meters: tuple[Meter, ...] = ()
    limits: Limits = field(default_factory=Limits)
    schedule: str | None = None  # a built-in schedule's name; None: the usual one for the kind
    own_schedule: tuple[ScheduleRow, ...] = ()  # not empty: overrides `schedule`
    steps: Steps = Steps.WEEKLY
    renamed_from: str | None = None  # its birds are still in the ledger under this name

    def __hash__(self) -> int:
        """By what differs between boxes that are compared: what a lamp more makes of it is asked
        often, and all its probes are the same then."""
        return hash((self.name, self.cover, self.length_m, self.heat))

    @property
    def floor_area_m2(self) -> float:
        return self.length_m * self.width_m

    @property
    def watts(self) -> float:
        return sum(source.watts for source in self.heat)


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Everything watched by one service."""

    name: str
    timezone: ZoneInfo
    units: Unit
    brooders: tuple[Brooder, ...]
    probes: tuple[Probe, ...] = ()  # outside probes that serve every brooder
    meters: tuple[Meter, ...] = ()  # of the whole site: mains, battery
    mains_volts: float = 120.0
    circuit_amps: float = 15.0
    price_per_kwh: Price | None = None

    @property
    def all_probes(self) -> tuple[Probe, ...]:
        """Every probe of the site, the site's own first."""
        return self.probes + tuple(p for b in self.brooders for p in b.probes)

    @property
    def all_meters(self) -> tuple[Meter, ...]:
        """Every meter of the site, the site's own first."""
        return self.meters + tuple(m for b in self.brooders for m in b.meters)

    @property
    def all_sensors(self) -> tuple[Probe | Meter, ...]:
        return self.all_probes + self.all_meters

    @property
    def published(self) -> tuple[Probe | Meter, ...]:
        """What of that comes by way of the broker."""
        return self.all_probes + tuple(m for m in self.all_meters if not m.local)

    def brooder(self, name: str) -> Brooder:
        """The brooder of that name. Raises KeyError with the known names."""
        for brooder in self.brooders:
            if brooder.name == name:
                return brooder
        known = ", ".join(b.name for b in self.brooders)
        raise KeyError(f"no brooder is called {name!r}; the configuration has {known}")
