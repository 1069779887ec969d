"""Every figure with its source, from the very tables the code decides by. Called by
`brooder sources`; a test checks that no table is left out."""

from collections.abc import Iterator

from monitor.brooding import (
    arrival,
    birds_heat,
    feed,
    harm_known,
    lamp_safety,
    losses,
    moving,
    power_cut,
    rearing_plan,
    signs,
    space,
)
from monitor.brooding.age_limits import GRACE_SOURCE, STEP_GRACE_DAYS
from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.calendar import MAIL_DAYS
from monitor.brooding.chick_skin import AVIAGEN, CHICK_SKIN_C
from monitor.brooding.envelope import (
    AIR_J_PER_M3_K,
    COVERS,
    EXCHANGE,
    EXCHANGE_SOURCE,
    FILM_DOWN,
    FILM_UP,
    FILM_WALL,
    FILM_WIND,
    FOLLOWING_SHARE,
    FOLLOWING_SOURCE,
    LEAK,
    LITTER,
    LITTER_J_PER_M2_K,
    PLYWOOD_J_PER_M2_K,
    STORED_SOURCE,
    WALLS,
    Layer,
)
from monitor.brooding.heat_balance import (
    EDGE_SHARE,
    LIFT_SPREAD,
    RISE_SPREAD,
    SHARE_SOURCE,
    SHARES,
    TIME_SPREAD,
)
from monitor.brooding.lamp_safety import CIRCUIT_SOURCE, CONTINUOUS_SHARE, usual_load_w
from monitor.brooding.provenance import COMMON_PRACTICE, Figure, Mark, Source, figure
from monitor.brooding.schedules import BUILT_IN
from monitor.quantities import QUANTITIES
from monitor.site import Limits

_DEAD_BAND = Source(
    "EEMUA 191, dead band for temperature 1 % of range (0-50 degC), as quoted by exida",
    Mark.QUOTED,
    "https://exida.com/Blog/why-should-i-use-an-alarm-deadband",
)


def figures() -> Iterator[Figure]:
    yield from _lamps()
    yield from _air()
    yield from _targets()
    yield from _limits()
    yield from harm_known.KNOWN
    yield from _growth()
    yield from _birds()
    yield from _box()
    yield from _heat_sources()
    yield from _space()
    yield from _losses()
    yield from _feed()
    yield from _plan()
    yield from _moving()


def _targets() -> Iterator[Figure]:
    for schedule in BUILT_IN.values():
        subject = f"target temperature: {schedule.title}, at {schedule.measured}"
        for row in schedule.rows:
            name = f"{schedule.name} from day {row.from_day:g}"
            yield figure(subject, name, row.target_c, "degC", row.source)


def _limits() -> Iterator[Figure]:
    usual = Limits()
    for name, value, unit, source in (
        ("band, either side of target", usual.band_c, "K", COMMON_PRACTICE),
        ("chill and overheat, from target", usual.harm_c, "K", COMMON_PRACTICE),
        ("old upper edges after a step", 24 * STEP_GRACE_DAYS, "h", GRACE_SOURCE),
        ("any probe, overheat at any age", usual.fire_c, "degC", COMMON_PRACTICE),
        ("delay of cold and hot", usual.band_delay_s, "s", COMMON_PRACTICE),
        ("delay of chill and overheat", usual.harm_delay_s, "s", COMMON_PRACTICE),
        ("back in band for", usual.clear_delay_s, "s", COMMON_PRACTICE),
        ("dead band", usual.dead_band_c, "K", _DEAD_BAND),
        ("probe called silent after", usual.silent_s, "s", COMMON_PRACTICE),
    ):
        yield figure("limit", name, value, unit, source)


def _growth() -> Iterator[Figure]:
    for kind in KINDS.values():
        for day, grams in kind.grams:
            yield figure("body mass", f"{kind.one}, day {day:g}", grams, "g", kind.growth_source)


def _birds() -> Iterator[Figure]:
    yield figure("birds' heat", "a chick's skin, at most", CHICK_SKIN_C, "degC", AVIAGEN)
    for kind, rule in birds_heat.RULES.items():
        name = f"{kind}: total at 20 degC, x (kg) ^ {rule.power:g}"
        yield figure("birds' heat", name, rule.watts, "W", rule.source)
    for air_c, total, sensible in birds_heat.DAY_OLD_W_PER_KG:
        for name, value in (("in all", total), ("sensible", sensible)):
            yield figure(
                "birds' heat",
                f"day-old chick at {air_c:g} degC, {name}",
                value,
                "W/kg",
                harm_known.XIN_HARRISON,
            )
    days = birds_heat.OWN_TEMPERATURE_DAYS
    yield figure(
        "birds' heat", "full rule counts from", days, "days of age", birds_heat.OWN_TEMPERATURE
    )
    yield figure(
        "birds' heat",
        "fresh air, x (kg) ^ 0.75",
        birds_heat.FRESH_AIR_M3_H,
        "m3/h",
        birds_heat.FRESH_AIR,
    )


def _box() -> Iterator[Figure]:
    layers: dict[str, Layer] = {}
    for stack in (
        *(wall.layers for wall in WALLS.values()),
        *(cover.layers for cover in COVERS.values()),
    ):
        layers.update({layer.name: layer for layer in stack})
    for layer in (FILM_WALL, FILM_WIND, FILM_UP, FILM_DOWN, LITTER):
        yield figure("resistance", layer.name, layer.r_m2k_per_w, "m2.K/W", layer.source)
    for layer in layers.values():
        name = f"wall or cover of {layer.name}"
        yield figure("resistance", name, layer.r_m2k_per_w, "m2.K/W", layer.source)
    for cover in COVERS.values():
        name = f"through {cover.title}, a cover laid on" if cover.closed else f"over {cover.title}"
        yield figure("air exchange", name, cover.leak_m3_per_h_m2, "m3/h.m2", LEAK)
    name = "through a gap in a cover"
    yield figure("air exchange", name, EXCHANGE, "of sqrt(g' D^5)", EXCHANGE_SOURCE)
    for name, value, unit in (
        ("air", AIR_J_PER_M3_K, "J/m3.K"),
        ("1/2 in plywood", PLYWOOD_J_PER_M2_K, "J/m2.K"),
        ("75 mm of litter", LITTER_J_PER_M2_K, "J/m2.K"),
    ):
        yield figure("heat stored", name, value, unit, STORED_SOURCE)
    share = "wood and litter that follow within the hour"
    yield figure("heat stored", share, FOLLOWING_SHARE, "share", FOLLOWING_SOURCE)


def _heat_sources() -> Iterator[Figure]:
    for kind, shares in SHARES.items():
        for name, value, unit in (
            ("stays in a covered box", shares.covered, "share"),
            ("stays in an open box", shares.open, "share"),
            ("falls on the floor first", shares.radiant, "share"),
            ("lights a floor of", shares.lit_m2, "m2"),
        ):
            yield figure("heat source", f"{kind}: {name}", value, unit, SHARE_SOURCE)
    for name, value, unit in (
        ("mean radiation that arrives at the edge", EDGE_SHARE, "share"),
        ("doubt of the air's rise, one standard deviation", RISE_SPREAD, "share"),
        ("doubt of the floor's lift over the air, the same", LIFT_SPREAD, "share"),
        ("doubt of the time constant, the same", TIME_SPREAD, "times"),
    ):
        yield figure("heat source", name, value, unit, SHARE_SOURCE)


def _air() -> Iterator[Figure]:
    for kind in QUANTITIES.values():
        for row in kind.bounds:
            source = Source(row.source, Mark(row.mark), row.where)
            name = f"{kind.title}, from day {row.from_day:g}"
            yield figure("air", f"{name}, at least", row.low, kind.sign, source)
            yield figure("air", f"{name}, at most", row.high, kind.sign, source)


def _lamps() -> Iterator[Figure]:
    for name, value, unit, source in (
        ("heat lamp, the largest", lamp_safety.LARGEST_LAMP_W, "W", lamp_safety.OHIO),
        ("lamp over litter and birds", lamp_safety.HEIGHT_CM, "cm", lamp_safety.OHIO),
        ("lamp over the floor, at least", lamp_safety.LOWEST_CM, "cm", lamp_safety.HANGING),
        ("lamp to anything that burns", lamp_safety.CLEARANCE_CM, "cm", lamp_safety.FIRE_CHIEFS),
        ("circuit, load for hours", 100 * CONTINUOUS_SHARE, "% of its rating", CIRCUIT_SOURCE),
        ("circuit of 15 A at 120 V, load for hours", usual_load_w(), "W", CIRCUIT_SOURCE),
    ):
        yield figure("fire safety", name, value, unit, source)
    for words, source in lamp_safety.CAUTIONS:
        yield figure("fire safety: cautions", words, None, "", source)


def _space() -> Iterator[Figure]:
    for kind, rows in space.FLOOR.items():
        for row in rows:
            name = f"{kind}: from day {row.from_day:g}"
            yield figure("floor a bird, wanted", name, row.wanted_m2, "m2", row.wanted_source)
            yield figure("floor a bird, least", name, row.least_m2, "m2", row.least_source)
    for trough in space.TROUGH:
        name = f"from day {trough.from_day:g}"
        yield figure("feeder edge a chick", name, trough.feeder_cm, "cm", trough.source)
        yield figure("drinker edge a chick", name, trough.drinker_cm, "cm", trough.source)


def _feed() -> Iterator[Figure]:
    for day in (1, 10, 15, 25, 35):
        meat, pullet = feed.meat_bird_g(day), feed.pullet_g(day)
        yield figure("feed and water", f"meat bird, day {day}", meat, "g a day", feed.MEAT_SOURCE)
        yield figure("feed and water", f"pullet, day {day}", pullet, "g a day", feed.PULLET_SOURCE)
    for name, value, source in (
        ("water to feed", feed.WATER_PER_FEED, feed.WATER_SOURCE),
        (
            f"water to feed to day {feed.FIRST_DAYS:g}",
            feed.FIRST_WATER_PER_FEED,
            feed.FIRST_WATER_SOURCE,
        ),
    ):
        yield figure("feed and water", name, value, "kg/kg", source)
    behind = "behind in weight, under the target's"
    yield figure("feed and water", behind, feed.LIGHT_SHARE, "share", COMMON_PRACTICE)


def _plan() -> Iterator[Figure]:
    plan = rearing_plan
    for name, value, unit, source in (
        ("litter, deep", plan.LITTER_M * 100, "cm", plan.LITTER_SOURCE),
        ("walls at first, high", plan.WALL_M * 100, "cm", plan.WALL_SOURCE),
        ("walls later, high", plan.LATER_WALL_M * 100, "cm", plan.WALL_SOURCE),
        ("chicks to a litre of drinker", plan.CHICKS_PER_LITRE, "birds", plan.DRINKER_SOURCE),
        ("an afternoon over its night", plan.DAY_OVER_NIGHT_K, "K", COMMON_PRACTICE),
    ):
        yield figure("plan", name, value, unit, source)
    for name, sign in signs.SIGNS.items():
        yield figure("signs", f"{name}: {sign.means}", None, "", signs.SIGN_SOURCE)
    for step in (*arrival.BEFORE, *arrival.STEPS):
        yield figure("arrival", step.text, None, "", step.source)
    for advice in arrival.MAIL_ADVICE:
        yield figure("arrival", advice.text, None, "", advice.source)
    for line in power_cut.CARD:
        yield figure("power cut", line.text, None, "", line.source)


def _losses() -> Iterator[Figure]:
    for day, percent, source in losses.USUAL:
        yield figure("usual losses", f"by day {day:g}", percent, "%", source)
    aim = losses.FIRST_WEEK_AIM_PERCENT
    yield figure("usual losses", "breeder's aim, day 7", aim, "%", losses.FIRST_WEEK_AIM_SOURCE)
    yield figure("usual losses", "in one day", losses.DAY_PERCENT, "%", losses.DAY_SOURCE)
    fewest = "called high from"
    yield figure("usual losses", fewest, losses.LEAST_BIRDS, "birds", losses.DAY_SOURCE)


def _moving() -> Iterator[Figure]:
    for kind, row in moving.MOVE.items():
        yield figure("moving out", f"{kind}: feathered", row.feathered_days, "days", row.source)
        yield figure("moving out", f"{kind}: nights down to", row.night_c, "degC", row.night_source)
    for name, value, unit in (
        ("harden off for", moving.HARDEN_DAYS, "days"),
        ("a night is near the target, below it by", moving.NEAR_C, "K"),
        ("no night under", moving.FROST_C, "degC"),
    ):
        yield figure("moving out", name, value, unit, moving.HARDEN_SOURCE)
    for name, day in zip(("from", "to"), MAIL_DAYS, strict=True):
        yield figure("age", f"chicks by mail, {name}", day, "days", COMMON_PRACTICE)
