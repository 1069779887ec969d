"""Will these lamps hold this box? First principles, for a box that has no history yet.

Called by the thermal estimator for its `Prior`, by `brooder tonight`, `check`, the page and the
weekly outlook. Steady state; two paths from the plug to the floor thermometer:

1. All heat that stays in the box warms its air: (sources x useful share + birds) / losses.
2. What a lamp radiates falls on the litter first, so the floor at the edge of the heat is warmer
   than the box's air (infrared warms what it strikes: USDA Leaflet 397). The lift is the radiant
   watts over the lit floor, times the part of the mean that arrives at the edge, over the film
   of still air. One lamp over a 24 degC room then gives about 6 K of lift at the edge; Miller's
   hatchery advice (one lamp, room at least 24 degC, first-week chicks at 32 to 35) needs 8 to 11
   between edge and centre. We stay under it.

Useful share: under a lid a lamp's heat stays in but for what leaves at the cord and the
reflector's back (0.9); without a lid only what it radiates downward counts (0.65). A plate or
panel touches or faces the birds: 0.95, 0.8 without a lid. These and the edge share are working
figures, and the spread of the prior (a quarter of the rise) covers them; a few hours of readings
replace them all.

How many watts, against common rules: 2 to 3 W a chick in a cold room (from memory); this balance
asks for about 5 W a chick in a porch box at 5 degC with a target of 35."""

from collections.abc import Collection
from dataclasses import dataclass

from monitor.brooding import birds_heat
from monitor.brooding.envelope import FILM_UP, Envelope, cover_named, envelope
from monitor.brooding.flock import mass_kg
from monitor.brooding.provenance import Mark, Source
from monitor.brooding.schedules import schedule_for, target_at
from monitor.site import Brooder, HeatSource, Place, Steps

SHARE_SOURCE = Source("useful and radiant shares of heat sources, argued in the code", Mark.ASSUMED)
EDGE_SHARE = 0.35  # of the mean irradiance, at the edge of the heat
RISE_SPREAD = 0.25  # one standard deviation, as a share of the rise
TIME_SPREAD = 1.8  # one standard deviation, as a factor


@dataclass(frozen=True, slots=True)
class Shares:
    """What becomes of a source's watts, by kind."""

    covered: float  # stays in a box with a lid
    open: float  # stays in a box without
    radiant: float  # falls on the floor first
    lit_m2: float  # on how much floor


SHARES: dict[str, Shares] = {
    "lamp": Shares(covered=0.90, open=0.65, radiant=0.65, lit_m2=1.0),
    "plate": Shares(covered=0.95, open=0.80, radiant=0.40, lit_m2=0.25),
    "panel": Shares(covered=0.95, open=0.80, radiant=0.60, lit_m2=1.0),
    "other": Shares(covered=0.90, open=0.50, radiant=0.0, lit_m2=1.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Flock:
    """The birds in a box, as far as their heat goes. No birds: `head_count` 0."""

    kind: str = "broiler"
    age_days: float = 0.0
    head_count: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """The steady state of a box at one outside temperature."""

    outside_c: float
    floor_c: float  # at chick height, at the edge of the heat
    air_c: float  # in the box
    loss_w_per_k: float
    bird_watts: float
    source_watts: float  # at the plug
    k_per_watt: float  # floor rise for each watt at the plug, with this mix of sources

    def watts_for(self, floor_c: float) -> float:
        """Watts at the plug that would hold the floor there, with this mix of sources."""
        rise_by_birds = self.bird_watts / self.loss_w_per_k
        return max(0.0, (floor_c - self.outside_c - rise_by_birds) / self.k_per_watt)

    def missing_watts(self, floor_c: float) -> float:
        """How many more than there are, 0 when there are enough."""
        return max(0.0, self.watts_for(floor_c) - self.source_watts)

    def holds(self, low_c: float) -> bool:
        """Does the floor stay at or above a limit?"""
        return self.floor_c >= low_c


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What the thermal estimator starts from."""

    rise_k: float  # floor above outside, at equilibrium with the present sources and birds
    rise_sd_k: float
    time_constant_s: float  # of air, litter and walls together
    time_constant_spread: float  # one standard deviation, as a factor
    watts_per_k: float  # losses of the whole box, fresh air included
    bird_watts: float  # sensible, all birds
    k_per_watt: float  # floor rise for each watt at the plug


def balance(
    brooder: Brooder,
    flock: Flock,
    *,
    outside_c: float,
    lit: Collection[str] | None = None,
    extra_watts: float = 0.0,
    cover: str | None = None,
) -> Balance:
    """The floor that a box comes to. `lit`: names of the sources that burn (all unless told);
    `extra_watts`: one more lamp of that power; `cover`: another lid than its own."""
    burning = [source for source in brooder.heat if lit is None or source.name in lit]
    if extra_watts > 0:
        burning.append(HeatSource(name="extra", kind="lamp", watts=extra_watts))
    box = _box(brooder, flock, cover)
    closed = cover_named(cover or brooder.cover).closed
    watts = sum(source.watts for source in burning)
    kept = sum(source.watts * _kept_share(source, closed=closed) for source in burning)
    radiant = sum(source.watts * _shares(source).radiant for source in burning)
    lift_k = radiant * _lift_k_per_radiant_watt(brooder)
    birds = _bird_watts(brooder, flock)
    air_c = outside_c + (kept + birds) / box.total
    if watts > 0:
        k_per_watt = (kept / box.total + lift_k) / watts
    else:
        k_per_watt = SHARES["lamp"].covered / box.total
    return Balance(
        outside_c=outside_c,
        floor_c=air_c + lift_k,
        air_c=air_c,
        loss_w_per_k=box.total,
        bird_watts=birds,
        source_watts=watts,
        k_per_watt=k_per_watt,
    )


def prior(
    brooder: Brooder,
    head_count: int = 0,
    age_days: float = 0.0,
    kind: str | None = None,
    *,
    cover: str | None = None,
) -> Prior:
    """The estimator's start for a box and its birds, under its own cover or another."""
    flock = Flock(kind=kind or "broiler", age_days=age_days, head_count=head_count)
    at_zero = balance(brooder, flock, outside_c=0.0, cover=cover)
    box = _box(brooder, flock, cover)
    return Prior(
        rise_k=at_zero.floor_c,
        rise_sd_k=max(1.0, RISE_SPREAD * at_zero.floor_c),
        time_constant_s=box.stored_j_per_k / box.total,
        time_constant_spread=TIME_SPREAD,
        watts_per_k=box.total,
        bird_watts=at_zero.bird_watts,
        k_per_watt=at_zero.k_per_watt,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekNeed:
    """What a week of age asks for on a night as cold as `outside_c`."""

    week: int
    target_c: float
    floor_c: float  # with all sources on
    watts_needed: float
    missing_watts: float
    holds: bool  # the floor stays in the band


def watts_by_week(
    brooder: Brooder, kind: str, head_count: int, *, outside_c: float, weeks: int = 6
) -> tuple[WeekNeed, ...]:
    """Watts for each week of age at its first night, when the target is highest and the birds
    are smallest."""
    schedule = schedule_for(brooder, kind)
    needs = []
    for week in range(1, weeks + 1):
        age = 7.0 * (week - 1)
        target_c = target_at(schedule, age, Steps.WEEKLY, Place.FLOOR)
        if target_c is None:
            continue
        flock = Flock(kind=kind, age_days=age, head_count=head_count)
        steady = balance(brooder, flock, outside_c=outside_c)
        needs.append(
            WeekNeed(
                week=week,
                target_c=target_c,
                floor_c=steady.floor_c,
                watts_needed=steady.watts_for(target_c),
                missing_watts=steady.missing_watts(target_c - brooder.limits.band_c),
                holds=steady.holds(target_c - brooder.limits.band_c),
            )
        )
    return tuple(needs)


def _box(brooder: Brooder, flock: Flock, cover: str | None) -> Envelope:
    mass = mass_kg(flock.kind, flock.age_days)
    need_m3_h = flock.head_count * birds_heat.fresh_air_m3_h(mass)
    return envelope(brooder, cover=cover, fresh_air_m3_h=need_m3_h)


def _bird_watts(brooder: Brooder, flock: Flock) -> float:
    """All birds' sensible heat, at the temperature they ought to live in."""
    if flock.head_count == 0:
        return 0.0
    schedule = schedule_for(brooder, flock.kind)
    target_c = target_at(schedule, flock.age_days, Steps.WEEKLY, Place.FLOOR)
    air_c = birds_heat.WARMEST_C if target_c is None else target_c
    mass = mass_kg(flock.kind, flock.age_days)
    return flock.head_count * birds_heat.sensible_w(flock.kind, mass, air_c, flock.age_days)


def _lift_k_per_radiant_watt(brooder: Brooder) -> float:
    """Over the floor that the configured sources light, so a dead lamp leaves its part cold."""
    lit_m2 = sum(_shares(source).lit_m2 for source in brooder.heat) or SHARES["lamp"].lit_m2
    return EDGE_SHARE * FILM_UP.r_m2k_per_w / min(brooder.floor_area_m2, lit_m2)


def _kept_share(source: HeatSource, *, closed: bool) -> float:
    shares = _shares(source)
    return shares.covered if closed else shares.open


def _shares(source: HeatSource) -> Shares:
    return SHARES.get(source.kind, SHARES["other"])
