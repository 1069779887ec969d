"""Will these lamps hold this box? First principles, for a box that has no history yet.

Called by the watch for its thermal estimator's `Prior`, and for what another cover, another lamp
or half the box would make of it (`changed`): one balance for what is and for what if.
Steady state; two paths from the plug to the floor thermometer:

1. All heat that stays in the box warms its air: (sources x useful share + birds) / losses.
2. What a lamp radiates falls on the litter first, so the floor at the edge of the heat is warmer
   than the box's air (infrared warms what it strikes: USDA Leaflet 397). The lift is the radiant
   watts over the floor they light, times the part that arrives at the edge, over the film of
   still air. One lamp over a warm room then gives about 6 K of lift at the edge.

That lift is the weakest figure here. Some heat the house to 10 to 16 degC and let lamps do the rest
(the same leaflet), which takes 20 K under the lamp. In a measured heated box (H. Milan and others,
Transactions of the ASABE 62(2), 2019; animals in it, 0 to 200 W) light of 31 to 95 W/m2 lifted a
black globe by 0.3 to 0.9 K over the air, at most a fifth of what path 2 gives for that light; air
and watts went by a straight line of 23.6 W/K, as path 1 has it. So nine tenths of the lift are in
doubt (`LIFT_SPREAD`).

Useful share: under a lid a lamp's heat stays in but for what leaves at the cord and the
reflector's back (0.9); without a lid only what it radiates downward counts (0.65); under a lid of
which a part stays open for air, in between. A plate or panel touches or faces the birds: 0.95, 0.8
without a lid. These are working figures, and the spread of the prior (a quarter of the air's rise)
covers them; a few hours of readings replace them all.

How many watts, against common rules: 2 to 3 W a chick in a cold room (from memory); this balance
asks for about 5 W a chick in a porch box at 5 degC with a target of 35."""

from dataclasses import dataclass, replace
from functools import lru_cache
from math import hypot

from monitor.brooding import birds_heat
from monitor.brooding.bird_kinds import mass_kg
from monitor.brooding.envelope import FILM_UP, Envelope, cover_named, envelope, open_share
from monitor.brooding.provenance import Mark, Source
from monitor.brooding.schedules import schedule_for, target_at
from monitor.site import Brooder, HeatSource, Place, Steps

SHARE_SOURCE = Source("useful and radiant shares of heat sources, argued in the code", Mark.ASSUMED)
EDGE_SHARE = 0.35  # of the mean irradiance, at the edge of the heat
RISE_SPREAD = 0.25  # one standard deviation, as a share of the rise of the air
LIFT_SPREAD = 0.9  # the same, as a share of the floor's lift over the air
TIME_SPREAD = 1.8  # one standard deviation, as a factor
LEAST_RISE_K = 0.1  # of a box that holds next to nothing no share is taken
PROBING_W = 100.0  # a lamp of the usual size, to see what a watt brings


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

    floor_c: float  # at chick height, at the edge of the heat
    air_c: float  # in the box
    bird_watts: float  # sensible, all birds


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What the thermal estimator starts from."""

    rise_k: float  # floor above outside, at equilibrium with the present sources and birds
    rise_sd_k: float
    time_constant_s: float  # of air, litter and walls together
    time_constant_spread: float  # one standard deviation, as a factor
    bird_watts: float  # sensible, all birds


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxChange:
    """What a change to the box makes of its floor, by the balance."""

    rise_gain: float  # the coming rise over the present one
    time_gain: float  # the coming time constant over the present one
    rise_per_watt_k: float  # what a further watt then brings, as the balance has it
    open_share: float  # of the cover, if there is one, that must stay open for the birds' fresh air


def balance(brooder: Brooder, flock: Flock, *, outside_c: float) -> Balance:
    """The floor that a box comes to with all its sources on."""
    return _at_rest(brooder, flock, _box(brooder, flock), outside_c)


def _at_rest(brooder: Brooder, flock: Flock, box: Envelope, outside_c: float) -> Balance:
    open_ = gap(brooder, flock)
    kept = sum(source.watts * _kept_share(source, open_) for source in brooder.heat)
    lift_k = EDGE_SHARE * FILM_UP.r_m2k_per_w * _brightest_w_m2(brooder)
    birds = _bird_watts(brooder, flock)
    air_c = outside_c + (kept + birds) / box.total
    return Balance(floor_c=air_c + lift_k, air_c=air_c, bird_watts=birds)


@lru_cache(maxsize=64)  # one night is looked at with many a change to the same box
def prior(
    brooder: Brooder, head_count: int = 0, age_days: float = 0.0, kind: str | None = None
) -> Prior:
    """The estimator's start for a box and its birds."""
    flock = Flock(kind=kind or "broiler", age_days=age_days, head_count=head_count)
    box = _box(brooder, flock)
    at_zero = _at_rest(brooder, flock, box, 0.0)
    return Prior(
        rise_k=at_zero.floor_c,
        rise_sd_k=max(
            1.0,
            hypot(RISE_SPREAD * at_zero.air_c, LIFT_SPREAD * (at_zero.floor_c - at_zero.air_c)),
        ),
        time_constant_s=box.stored_j_per_k / box.total,
        time_constant_spread=TIME_SPREAD,
        bird_watts=at_zero.bird_watts,
    )


def with_watts(brooder: Brooder, extra_watts: float) -> Brooder:
    """The box with one more lamp of so many watts; with so many less of all it has."""
    if extra_watts > 0.0:
        more = HeatSource(name="one more lamp", kind="lamp", watts=extra_watts)
        return replace(brooder, heat=(*brooder.heat, more))
    left = max(0.0, 1.0 + extra_watts / brooder.watts) if brooder.watts > 0.0 else 1.0
    return replace(
        brooder, heat=tuple(replace(one, watts=one.watts * left) for one in brooder.heat)
    )


def changed(brooder: Brooder, wished: Brooder, flock: Flock) -> BoxChange:
    """From the box as it is to the box as somebody wishes it, with the same birds in it."""
    now, then, more = (
        prior(box, flock.head_count, flock.age_days, flock.kind)
        for box in (brooder, wished, with_watts(wished, PROBING_W))
    )
    return BoxChange(
        rise_gain=then.rise_k / max(now.rise_k, LEAST_RISE_K),
        time_gain=then.time_constant_s / now.time_constant_s,
        rise_per_watt_k=(more.rise_k - then.rise_k) / PROBING_W,
        open_share=gap(wished, flock) if cover_named(wished.cover).closed else 0.0,
    )


def gap(brooder: Brooder, flock: Flock) -> float:
    """The share of the cover, 0..1, that must stay open for the birds' fresh air."""
    return open_share(brooder, fresh_air_m3_h=_fresh_air_m3_h(flock))


def _fresh_air_m3_h(flock: Flock) -> float:
    mass = mass_kg(flock.kind, flock.age_days)
    return flock.head_count * birds_heat.fresh_air_m3_h(mass)


def _box(brooder: Brooder, flock: Flock) -> Envelope:
    return envelope(brooder, fresh_air_m3_h=_fresh_air_m3_h(flock))


def _bird_watts(brooder: Brooder, flock: Flock) -> float:
    """All birds' sensible heat, at the temperature they ought to live in."""
    if flock.head_count == 0:
        return 0.0
    schedule = schedule_for(brooder, flock.kind)
    target_c = target_at(schedule, flock.age_days, Steps.WEEKLY, Place.FLOOR)
    air_c = birds_heat.WARMEST_C if target_c is None else target_c
    return flock.head_count * _sensible_w(flock.kind, flock.age_days, air_c)


@lru_cache(maxsize=64)
def _sensible_w(kind: str, age_days: float, air_c: float) -> float:
    return birds_heat.sensible_w(kind, mass_kg(kind, age_days), air_c, age_days)


def _brightest_w_m2(brooder: Brooder) -> float:
    """Radiant watts on the brightest part of the floor. Each source lights a part of its own while
    there is floor; on less they overlap. A weaker one elsewhere takes none of it away."""
    watts = lit_m2 = best = 0.0
    for source in sorted(brooder.heat, key=_own_w_m2, reverse=True):
        watts += source.watts * _shares(source).radiant
        lit_m2 += _shares(source).lit_m2
        best = max(best, watts / min(brooder.floor_area_m2, lit_m2))
    return best


def _own_w_m2(source: HeatSource) -> float:
    return source.watts * _shares(source).radiant / _shares(source).lit_m2


def _kept_share(source: HeatSource, open_: float) -> float:
    shares = _shares(source)
    return shares.covered + open_ * (shares.open - shares.covered)


def _shares(source: HeatSource) -> Shares:
    return SHARES.get(source.kind, SHARES["other"])
