"""Every table row as its source prints it, and every formula behind a printed figure worked anew.

What other publishers say of the same is in the other files of this folder; here a number is held to
its own source, exactly, so that none can change unnoticed (`tests/bench/mutate_numbers.py` tries).
The sources stand beside the tables; `(from memory)`, `assumed` and `common practice` as there."""

from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pytest
import scipy

from monitor.brooding import (
    age_limits,
    birds_heat,
    calendar,
    envelope,
    harm_known,
    heat_balance,
    lamp_safety,
    losses,
    moving,
    space,
)
from monitor.brooding.bird_kinds import KINDS, mass_kg
from monitor.brooding.schedules import BUILT_IN
from monitor.review.exposure import Exposure, TargetLine, Trace, exposure
from monitor.review.figure_text import degree_hours
from monitor.site import Brooder, HeatSource, Limits, Place, Probe, Site, Steps
from monitor.thermal.harm import course
from monitor.units import Unit

SQUARE_FOOT_M2 = 0.3048**2
RISE_PER_R = 0.1761  # m2.K/W for an ft2.F.h/Btu


def f(degrees: float) -> float:
    return (degrees - 32) * 5 / 9


# --- schedules: (from day, degC as printed, or degF) ---------------------------------------

PRINTED = {
    # Minnesota Extension: about 95 degF, 5 less a week; Missouri (quoted): 70 degF at five weeks
    "weekly": [(0, f(95)), (7, f(90)), (14, f(85)), (21, f(80)), (28, f(75)), (35, f(70))],
    # Ross handbook, column A (from memory)
    "broiler": [
        *((0, 32), (3, 30), (6, 28), (9, 27), (12, 26)),
        *((15, 25), (18, 24), (21, 23), (24, 22), (27, 20)),
    ],
    # Lohmann, table 1, the middle of 35-36, 33-34, 31-32, 28-29, 26-27, 22-24 and 18-20 degC on
    # days 1, 3, 5 and in weeks 2, 3, 4 and 5; its day 1 is age 0
    "pullet": [
        *((0, (35 + 36) / 2), (2, (33 + 34) / 2), (4, (31 + 32) / 2), (7, (28 + 29) / 2)),
        *((14, (26 + 27) / 2), (21, (22 + 24) / 2), (28, (18 + 20) / 2)),
    ],
    # Poultry Producer: 35, 32, 29, 27, 21-24 degC by week; room 21-22
    "turkey": [(0, 35), (7, 32), (14, 29), (21, 27), (28, (21 + 24) / 2), (35, 21)],
    # Cornell Duck Research Laboratory (from memory)
    "duck": [(0, 30), (7, 27), (14, 23), (21, 19), (28, 15), (35, 13)],
    # Mississippi State: 90-95, 85-90, 80-85, 75-80, 70-75, 70 degF
    "quail": [
        *((0, f(92.5)), (7, f(87.5)), (14, f(82.5)), (21, f(77.5)), (28, f(72.5)), (35, f(70))),
    ],
    # Mississippi State (from memory): 95 degF for two weeks, 5 less a week to 70
    "guinea": [(0, f(95)), (14, f(90)), (21, f(85)), (28, f(80)), (35, f(75)), (42, f(70))],
}


def test_every_row_of_every_schedule_is_its_source_s():
    assert {name: [row.from_day for row in one.rows] for name, one in BUILT_IN.items()} == {
        name: [day for day, _ in rows] for name, rows in PRINTED.items()
    }
    for name, rows in PRINTED.items():
        assert [row.target_c for row in BUILT_IN[name].rows] == pytest.approx(
            [target_c for _, target_c in rows], abs=0.001
        )


def test_ducklings_begin_as_a_second_page_has_it():
    # farmingfriends.com, brooder temperatures for ducklings: about 86 degF on day 1, 81 by day 7
    assert [row.target_c for row in BUILT_IN["duck"].rows[:2]] == pytest.approx(
        [f(86), f(81)], abs=0.3
    )


# --- birds ---------------------------------------------------------------------------------------

# Body mass in g at the end of week 0, 1, ... (all from memory; the other columns of the breeders'
# tables are in test_outside_heat)
GRAMS = {
    "broiler": [43, 210, 528, 1010, 1615, 2290],
    "layer": [37, 70, 125, 192, 272, 360],
    "turkey": [58, 120, 245, 480, 950, 1500, 2000],
    "duck": [55, 270, 780, 1380, 1960, 2490, 2960],
    "quail": [7, 26, 60, 100, 135, 160],
    "pheasant": [20, 38, 75, 135, 210, 300, 400],
    "guinea": [27, 58, 110, 190, 290, 400, 520],
}


def test_every_weight_is_its_table_s_and_growth_between_two_is_by_the_same_share_each_day():
    for kind, grams in GRAMS.items():
        assert KINDS[kind].grams == tuple((7.0 * week, one) for week, one in enumerate(grams))
        assert mass_kg(kind, -2) * 1000 == grams[0]
        assert mass_kg(kind, 100) * 1000 == grams[-1]
        # half a week later: the geometric mean
        assert mass_kg(kind, 3.5) * 1000 == pytest.approx((grams[0] * grams[1]) ** 0.5)
        assert mass_kg(kind, 8.75) * 1000 == pytest.approx(grams[1] ** 0.75 * grams[2] ** 0.25)


def test_the_heat_rules_are_the_published_ones():
    # CIGR 2002 (from memory)
    assert birds_heat.cigr_total_w("broiler", 16.0, 20.0) == pytest.approx(10.62 * 8)
    assert birds_heat.cigr_total_w("layer", 16.0, 25.0) == pytest.approx(6.8 * 8 * 0.9)
    assert birds_heat.cigr_total_w("turkey", 1.0, 10.0) == pytest.approx(9.86 * 1.2)
    assert birds_heat.cigr_total_w("turkey", 2.0, 20.0) == pytest.approx(9.86 * 2**0.77)
    for kind in ("duck", "quail", "pheasant", "guinea"):
        assert birds_heat.cigr_total_w(kind, 16.0, 20.0) == pytest.approx(6.8 * 8)
    # 0.61 (1000 + 20 (20 - t)) - 0.228 t^2 of 1000 + 20 (20 - t)
    for air_c in (20.0, 27.0, 35.0):
        total = 1000 + 20 * (20 - air_c)
        assert birds_heat.sensible_share(air_c) == pytest.approx(
            (0.61 * total - 0.228 * air_c * air_c) / total
        )
    assert birds_heat.sensible_share(60.0) == 0.0
    assert birds_heat.fresh_air_m3_h(16.0) == pytest.approx(0.702 * 8)


def test_a_day_old_gives_what_was_measured_and_a_growing_one_by_the_power_of_its_mass():
    # Xin and Harrison 1996: W/kg in all and sensible at 20, 25, 30 and 35 degC
    measured = {20: (10.3, 7.8), 25: (9.1, 6.4), 30: (8.5, 5.7), 35: (8.4, 5.2)}
    kg = 0.043
    for air_c, (total, sensible) in measured.items():
        assert birds_heat.day_old_w("broiler", kg, air_c) == pytest.approx(
            (kg * total, kg * sensible)
        )
        doubled = birds_heat.day_old_w("broiler", 2 * kg, air_c)
        assert doubled == pytest.approx((2**0.75 * kg * total, 2**0.75 * kg * sensible))
    between = birds_heat.day_old_w("broiler", kg, 21.0)
    assert between == pytest.approx((kg * (10.3 - 0.2 * 1.2), kg * (7.8 - 0.2 * 1.4)))
    assert birds_heat.day_old_w("broiler", kg, 5.0) == birds_heat.day_old_w("broiler", kg, 20.0)
    assert birds_heat.day_old_w("broiler", kg, 45.0) == birds_heat.day_old_w("broiler", kg, 35.0)


def test_between_hatch_and_ten_days_a_bird_counts_by_its_age():
    kg, air_c = 0.1, 32.0
    day_old, rule = (
        birds_heat.day_old_w("broiler", kg, air_c),
        (
            birds_heat.cigr_total_w("broiler", kg, air_c),
            birds_heat.cigr_total_w("broiler", kg, air_c) * birds_heat.sensible_share(air_c),
        ),
    )
    for age, share in ((-1.0, 0.0), (0.0, 0.0), (2.5, 0.25), (10.0, 1.0), (12.0, 1.0)):
        wanted = [a + share * (b - a) for a, b in zip(day_old, rule, strict=True)]
        assert birds_heat.total_w("broiler", kg, air_c, age) == pytest.approx(wanted[0])
        assert birds_heat.sensible_w("broiler", kg, air_c, age) == pytest.approx(wanted[1])
    # outside the temperatures of the rule it stands still, and nothing is below nothing
    for beyond, edge in ((10.0, 20.0), (45.0, 35.0)):
        for age in (0.0, 5.0, 20.0):
            for of in (birds_heat.total_w, birds_heat.sensible_w):
                assert of("broiler", kg, beyond, age) == of("broiler", kg, edge, age)
    # a quail's rule gives less than a chick's measured heat by the kilogram would
    assert birds_heat.total_w("quail", 2.0, 20.0, 0.0) == pytest.approx(
        min(6.8 * 2**0.75, 0.007 * (2 / 0.007) ** 0.75 * 10.3)
    )


# --- the box -------------------------------------------------------------------------------------


def test_every_resistance_is_its_source_s():
    r = {
        layer.name: layer.r_m2k_per_w
        for stack in (
            *(w.layers for w in envelope.WALLS.values()),
            *(c.layers for c in envelope.COVERS.values()),
        )
        for layer in stack
    }
    assert r == pytest.approx(
        {
            "plywood, 1/2 in": 0.62 * RISE_PER_R,  # the values as ASHRAE, design manual
            "corrugated cardboard, 4 mm": 0.004 / 0.06 + 0.0033,  # 0.06 W/m.K (from memory), 0.07
            "softwood, 3/4 in": 0.75 * 1.25 * RISE_PER_R,  # R 1.25 an inch
            "polystyrene foam, 1 in": 3.75 * RISE_PER_R,  # R 3.6 to 4.2 an inch (from memory)
            "blanket, 10 mm": 0.010 / 0.04,  # (from memory)
            "thin metal or plastic": 0.0,
        },
        rel=0.002,
    )
    assert pytest.approx(0.075 / 0.075) == envelope.LITTER.r_m2k_per_w  # 75 mm, 0.06-0.09 W/m.K
    films = (envelope.FILM_WALL, envelope.FILM_UP, envelope.FILM_DOWN)
    assert [film.r_m2k_per_w for film in films] == pytest.approx(
        [0.68 * RISE_PER_R, 0.61 * RISE_PER_R, 0.92 * RISE_PER_R], rel=0.005
    )


def test_assumed_figures_of_box_and_heat_are_the_stated_ones():
    leaks = {name: cover.leak_m3_per_h_m2 for name, cover in envelope.COVERS.items()}
    assert leaks == {
        **{"none": 40.0, "wire": 40.0, "cardboard": 8.0, "plywood": 8.0, "foam": 8.0},
        **{"boards": 6.0, "blanket": 6.0},
    }
    shares = {
        kind: (one.covered, one.open, one.radiant, one.lit_m2)
        for kind, one in heat_balance.SHARES.items()
    }
    assert shares == {
        "lamp": (0.90, 0.65, 0.65, 1.0),
        "plate": (0.95, 0.80, 0.40, 0.25),
        "panel": (0.95, 0.80, 0.60, 1.0),
        "other": (0.90, 0.50, 0.0, 1.0),
    }
    assert heat_balance.EDGE_SHARE == 0.35
    assert (heat_balance.RISE_SPREAD, heat_balance.LIFT_SPREAD) == (0.25, 0.9)
    assert heat_balance.TIME_SPREAD == 1.8
    assert heat_balance.PROBING_W == 100
    # thickness x density x specific heat (from memory)
    assert pytest.approx(0.0127 * 550 * 1600) == envelope.PLYWOOD_J_PER_M2_K
    assert pytest.approx(0.075 * 120 * 1700) == envelope.LITTER_J_PER_M2_K
    assert envelope.FOLLOWING_SHARE == 0.5
    assert pytest.approx(1200 / 3600) == envelope.AIR_WH_PER_M3_K


BOX = Brooder(
    name="porch",
    length_m=2.0,
    width_m=1.0,
    height_m=0.5,
    cover="plywood",
    heat=(HeatSource(name="lamp", kind="lamp", watts=200),),
)
OPEN = replace(BOX, cover="none")


def test_the_losses_and_the_store_of_a_box_by_hand():
    box = envelope.envelope(BOX)
    plywood, air = 0.109, 8 * 2.0 / 3.0
    assert box.walls == pytest.approx(3.0 / (0.12 + plywood + 0.12))
    assert box.top == pytest.approx(2.0 / (0.107 + plywood + 0.107))
    assert box.floor == pytest.approx(2.0 / (0.162 + 1.0 + plywood + 0.162))
    assert box.air == pytest.approx(air)
    assert box.total == pytest.approx(box.walls + box.top + box.floor + air)
    stored = 0.5 * ((3.0 + 2.0) * 11176 + 2.0 * 15300) + 2.0 * 0.5 * 1200
    assert box.stored_j_per_k == pytest.approx(stored)
    tiny = replace(BOX, length_m=0.25, width_m=0.2)  # its gaps are all the air that is asked for
    assert envelope.envelope(tiny).air == pytest.approx(8 * 0.05 / 3.0)
    # without a cover: one film, the air of an open box, no lid that stores
    bare = envelope.envelope(OPEN)
    assert bare.top == pytest.approx(2.0 / 0.107)
    assert bare.air == pytest.approx(40 * 2.0 / 3.0)
    assert bare.stored_j_per_k == pytest.approx(stored - 0.5 * 2.0 * 11176)


def test_the_gap_for_the_birds_air_is_where_epsteins_exchange_gives_it():
    # Epstein 1988 (from memory): Q = 0.055 sqrt(g' D^5), solved for the area D^2 by scipy; air that
    # is 10 K warmer than 293 K
    wanted_m3_h = 40.0

    def missing(area_m2: float) -> float:
        exchange = 0.055 * np.sqrt(9.81 * 10 / 293 * np.sqrt(area_m2) ** 5)
        return float(exchange * 3600 - (wanted_m3_h - 8 * 2.0))

    open_m2 = scipy.optimize.brentq(missing, 1e-6, 2.0)
    share = envelope.open_share(BOX, fresh_air_m3_h=wanted_m3_h)
    assert share == pytest.approx(open_m2 / 2.0, rel=1e-6)
    assert envelope.open_share(BOX, fresh_air_m3_h=15.0) == 0.0
    assert envelope.open_share(BOX, fresh_air_m3_h=5000.0) == 1.0
    assert envelope.open_share(OPEN, fresh_air_m3_h=0.0) == 1.0
    part = envelope.envelope(BOX, fresh_air_m3_h=wanted_m3_h)
    closed = 2.0 / (0.107 + 0.109 + 0.107)
    assert part.top == pytest.approx(share * 2.0 / 0.107 + (1 - share) * closed)
    assert part.air == pytest.approx(wanted_m3_h / 3.0)


def test_the_floor_of_a_box_by_hand():
    flock = heat_balance.Flock(kind="broiler", age_days=0.0, head_count=20)
    steady = heat_balance.balance(BOX, flock, outside_c=10.0)
    birds = 20 * 0.043 * 5.2
    total = envelope.envelope(BOX, fresh_air_m3_h=20 * 0.702 * 0.043**0.75).total
    assert steady.bird_watts == pytest.approx(birds)
    assert steady.air_c == pytest.approx(10.0 + (0.9 * 200 + birds) / total)
    light = 0.65 * 200 / 1.0  # one lamp lights a square metre
    assert steady.floor_c == pytest.approx(steady.air_c + 0.35 * 0.107 * light)
    # a plate lights a quarter of one; together they are brightest where the brighter one is
    plate = HeatSource(name="plate", kind="plate", watts=100)
    both = replace(BOX, heat=(*BOX.heat, plate))
    two = heat_balance.balance(both, flock, outside_c=10.0)
    assert two.air_c == pytest.approx(10.0 + (0.9 * 200 + 0.95 * 100 + birds) / total)
    brightest = max(130.0, 40 / 0.25, (130 + 40) / 1.25)
    assert two.floor_c - two.air_c == pytest.approx(0.35 * 0.107 * brightest)
    small = replace(both, length_m=0.5, width_m=0.5)
    tight = heat_balance.balance(small, heat_balance.Flock(), outside_c=10.0)
    assert tight.floor_c - tight.air_c == pytest.approx(0.35 * 0.107 * (130 + 40) / 0.25)
    # without a cover only what it radiates downward counts
    bare = heat_balance.balance(OPEN, heat_balance.Flock(), outside_c=10.0)
    assert bare.air_c == pytest.approx(10 + 0.65 * 200 / envelope.envelope(OPEN).total)
    # an unknown kind of heat counts as "other": no light
    odd = replace(BOX, heat=(HeatSource(name="x", kind="stove", watts=100),))
    same = heat_balance.balance(odd, heat_balance.Flock(), outside_c=10.0)
    assert same.floor_c == same.air_c


def test_the_start_of_the_estimate_is_the_balance_and_cools_as_scipy_integrates_it():
    start = heat_balance.prior(BOX, 20, 0.0, "broiler")
    flock = heat_balance.Flock(kind="broiler", age_days=0.0, head_count=20)
    steady = heat_balance.balance(BOX, flock, outside_c=0.0)
    lift_k = steady.floor_c - steady.air_c
    assert start.rise_k == pytest.approx(steady.floor_c)
    assert start.rise_sd_k == pytest.approx(
        ((0.25 * steady.air_c) ** 2 + (0.9 * lift_k) ** 2) ** 0.5
    )
    assert heat_balance.prior(replace(BOX, heat=())).rise_sd_k == 1.0
    assert heat_balance.prior(BOX, 20) == start  # who does not say, has meat chicks of a day
    alone = heat_balance.Flock(head_count=1)
    assert heat_balance.balance(BOX, alone, outside_c=0.0).bird_watts == pytest.approx(0.043 * 5.2)
    # C dT/dt = -K T: after one time constant 1/e is left
    box = envelope.envelope(BOX, fresh_air_m3_h=20 * 0.702 * 0.043**0.75)
    cooled = scipy.integrate.solve_ivp(
        lambda _, y: -box.total / box.stored_j_per_k * y,
        (0.0, start.time_constant_s), [20.0], rtol=1e-9,
    )  # fmt: skip
    assert cooled.y[0, -1] == pytest.approx(20.0 / np.e, rel=1e-6)
    assert start.time_constant_spread == 1.8


def test_what_a_change_of_the_box_makes_of_it_is_two_balances():
    flock = heat_balance.Flock(kind="broiler", age_days=10.0, head_count=40)
    now = heat_balance.prior(BOX, 40, 10.0, "broiler")
    warmer = replace(BOX, cover="boards")
    then = heat_balance.prior(warmer, 40, 10.0, "broiler")
    more = heat_balance.prior(heat_balance.with_watts(warmer, 100.0), 40, 10.0, "broiler")
    change = heat_balance.changed(BOX, warmer, flock)
    assert change.rise_gain == pytest.approx(then.rise_k / now.rise_k)
    assert change.time_gain == pytest.approx(then.time_constant_s / now.time_constant_s)
    assert change.rise_per_watt_k == pytest.approx((more.rise_k - then.rise_k) / 100.0)
    air_m3_h = 40 * birds_heat.fresh_air_m3_h(mass_kg("broiler", 10.0))
    assert change.open_share == pytest.approx(envelope.open_share(warmer, fresh_air_m3_h=air_m3_h))
    assert heat_balance.changed(BOX, OPEN, flock).open_share == 0.0
    fewer = heat_balance.with_watts(BOX, -50.0)
    assert [one.watts for one in fewer.heat] == pytest.approx([150.0])
    assert [one.watts for one in heat_balance.with_watts(BOX, -500.0).heat] == [0.0]
    extra = heat_balance.with_watts(BOX, 60.0).heat
    assert [(one.kind, one.watts) for one in extra] == [("lamp", 200), ("lamp", 60.0)]
    assert len(heat_balance.with_watts(BOX, 0.3).heat) == 2
    faint = replace(BOX, heat=(HeatSource(name="x", kind="lamp", watts=0.4),))
    assert [one.watts for one in heat_balance.with_watts(faint, -0.1).heat] == pytest.approx([0.3])
    nothing = replace(BOX, heat=())
    assert heat_balance.with_watts(nothing, -10.0) == nothing
    # a box that holds nothing has a gain all the same
    empty = heat_balance.changed(nothing, BOX, heat_balance.Flock())
    assert empty.rise_gain == pytest.approx(heat_balance.prior(BOX).rise_k / 0.1)


# --- fire ----------------------------------------------------------------------------------------


def test_figures_of_fire_are_the_published_ones():
    # Ohio State 2022: 250 W, 20 in; Miller Hatcheries: 18 in; Maine Fire Chiefs 2017: 3 ft
    assert lamp_safety.LARGEST_LAMP_W == 250
    lengths = (lamp_safety.HEIGHT_CM, lamp_safety.LOWEST_CM, lamp_safety.CLEARANCE_CM)
    assert lengths == pytest.approx((20 * 2.54, 18 * 2.54, 3 * 30.48))
    assert lamp_safety.lamp_warning(HeatSource(name="x", kind="lamp", watts=250)) is None
    assert lamp_safety.lamp_warning(HeatSource(name="x", kind="lamp", watts=251)) is not None
    # National Electrical Code: conductors for 125 % of a continuous load
    assert lamp_safety.usual_load_w(volts=120, amps=15) == pytest.approx(120 * 15 / 1.25)
    assert lamp_safety.usual_load_w() == pytest.approx(1440)
    assert lamp_safety.spare_w(500, volts=230, amps=10) == pytest.approx(230 * 10 / 1.25 - 500)
    assert lamp_safety.spare_w(5000, volts=230, amps=10) == 0.0
    assert lamp_safety.circuit_warning(1441) is not None
    assert lamp_safety.circuit_warning(1440) is None


# --- space, losses, moving ---------------------------------------------------------------------


def test_every_floor_row_is_its_source_s():
    chickens = [  # P. Clauer; a 6 ft ring for 150; Cornell, 120 sq ft for 250; overcrowding text
        (0, 0.25, 0.19), (7, 0.5, 0.48), (21, 0.75, 0.48), (28, 0.75, 0.75), (35, 1.0, 0.75),
    ]  # fmt: skip
    printed = {
        **dict.fromkeys(("broiler", "layer", "guinea"), chickens),
        "turkey": [(0, 0.5, 0.5), (14, 1.0, 1.0)],  # (from memory)
        "duck": [(0, 0.5, 1 / 3), (7, 1.0, 1.0), (14, 1.5, 1.5), (21, 2.0, 2.0)],  # (from memory)
        "quail": [(0, 0.1, 0.1), (14, 1 / 6, 1 / 6)],  # (from memory)
        "pheasant": [(0, 1 / 4, 1 / 4), (21, 0.7, 0.7)],  # 4 birds a sq ft, then 0.7 sq ft a bird
    }
    assert set(printed) == set(space.FLOOR)
    for kind, rows in printed.items():
        found = [
            (row.from_day, row.wanted_m2 / SQUARE_FOOT_M2, row.least_m2 / SQUARE_FOOT_M2)
            for row in space.FLOOR[kind]
        ]
        assert found == [pytest.approx(row) for row in rows]
        assert space.floor_need(kind, -3) is space.FLOOR[kind][0]
        assert space.floor_need(kind, 99) is space.FLOOR[kind][-1]
    assert pytest.approx(np.pi * 9 / 150, abs=0.002) == 0.19
    assert pytest.approx(10 * 12 / 250) == 0.48
    troughs = [(row.from_day, row.feeder_cm / 2.54, row.drinker_cm / 2.54) for row in space.TROUGH]
    wanted = [(0, 1.0, 0.5), (7, 1.5, 0.5), (21, 2.0, 0.5), (35, 2.0, 0.75)]
    assert troughs == [pytest.approx(row) for row in wanted]
    assert space.is_crowded("turkey", 3, area_m2=0.9 * 0.5 * SQUARE_FOOT_M2 * 40, head_count=40)
    assert not space.is_crowded("turkey", 3, area_m2=1.1 * 0.5 * SQUARE_FOOT_M2 * 40, head_count=40)
    assert not space.is_crowded("turkey", 3, area_m2=1.0, head_count=0)
    assert space.is_crowded("turkey", 3, area_m2=0.01, head_count=1)


def test_usual_losses_are_the_stated_ones():
    # breeder's aim 0.7 %; 1 to 5 % in the first days: 1 % at once and 3 % by day 7; 5 % by day 28
    assert losses.FIRST_WEEK_AIM_PERCENT == 0.7
    ages = (-1, 0, 3.5, 7, 17.5, 28, 50)
    assert [losses.usual_percent(age) for age in ages] == pytest.approx([1, 1, 2, 3, 4, 5, 5])
    assert losses.LEAST_BIRDS == 3
    assert losses.DAY_PERCENT == 2.0  # common practice
    assert losses.are_high(age_days=7, placed=99, lost=3)
    assert not losses.are_high(age_days=7, placed=100, lost=3)
    assert not losses.are_high(age_days=7, placed=10, lost=2)
    assert not losses.are_high(age_days=7, placed=0, lost=9)
    assert losses.are_high(age_days=7, placed=1, lost=3)
    assert losses.day_is_high(head_count_before=149, lost_in_day=3)
    assert not losses.day_is_high(head_count_before=150, lost_in_day=3)
    assert not losses.day_is_high(head_count_before=0, lost_in_day=3)
    assert losses.day_is_high(head_count_before=1, lost_in_day=3)
    assert losses.usual_source(7.0) is losses.FIRST_DAYS_SOURCE
    assert losses.usual_source(7.1) not in (losses.FIRST_DAYS_SOURCE, losses.WHOLE_SOURCE)
    assert losses.usual_source(28.0) is losses.WHOLE_SOURCE


def test_ages_and_nights_of_moving_out_are_the_stated_ones():
    # 50 degF; quail 70 degF less the 10 called near
    rows = {kind: (row.feathered_days, row.night_c) for kind, row in moving.MOVE.items()}
    assert rows == {
        **{"broiler": (21, 10.0), "layer": (35, 10.0), "turkey": (42, 10.0), "duck": (28, 10.0)},
        **{"quail": (35, 16.0), "pheasant": (42, 10.0), "guinea": (42, 10.0)},
    }
    assert f(70 - 10) == pytest.approx(16.0, abs=0.5)
    assert f(50) == 10.0
    assert (moving.HARDEN_DAYS, moving.NEAR_C, moving.FROST_C) == (4.0, 5.6, 0.0)
    stage = moving.Stage
    for age, wanted in ((16.9, stage.TOO_YOUNG), (17, stage.HARDEN_OFF), (21, stage.READY)):
        assert moving.moving("broiler", age, target_c=None).stage is wanted
    colder = moving.moving("broiler", 30, target_c=None, coming_lows_c=(12.0, 9.9))
    assert (colder.stage, colder.coldest_c) == (stage.NIGHTS_TOO_COLD, 9.9)
    assert moving.moving("duck", 40, target_c=13.0).borne_c == pytest.approx(13 - 5.6)
    assert moving.moving("duck", 40, target_c=3.0).borne_c == 0.0
    assert moving.moving("duck", 40, target_c=30.0).borne_c == 10.0


# --- limits, ages, and what is said of them -----------------------------------------------------


def test_the_usual_limits_are_the_agreed_ones():
    assert Limits() == Limits(
        band_c=2.8, harm_c=5.6, overheat_c=None, fire_c=50.0, band_delay_s=180, harm_delay_s=30,
        clear_delay_s=60, dead_band_c=0.5, silent_s=900,
    )  # fmt: skip
    assert age_limits.STEP_GRACE_DAYS == 0.5
    assert calendar.MAIL_DAYS == (1, 3)
    assert harm_known.OVERHEAT_CAP[0][:2] == (0.0, 39.0)
    assert harm_known.OVERHEAT_CAP[1][:2] == (31.0, 34.4)
    probe = Probe(key="porch/x", name="x", place=Place.FLOOR, brooder="porch", topic="t")
    assert probe.offset_c == 0.0
    site = Site(name="here", timezone=ZoneInfo("UTC"), units=Unit.CELSIUS, brooders=(BOX,))
    assert (site.mains_volts, site.circuit_amps) == (120.0, 15.0)  # a household circuit there
    assert site.all_probes == ()
    assert BOX.floor_area_m2 == 2.0
    assert BOX.watts == 200


def test_the_limits_about_a_step_by_hand():
    # 95 degF to 90 at midnight to day 7; for half a day the upper edges are still those of 95
    for age, warm_c in ((6.9, f(95)), (7.25, f(95)), (7.75, f(90))):
        found = age_limits.limits_at(BUILT_IN["weekly"], age, Steps.WEEKLY, Place.FLOOR, Limits())
        assert found is not None
        target_c = f(95) if age < 7 else f(90)
        edges = (found.target_c, found.low_c, found.high_c, found.chill_c, found.overheat_c)
        wanted = (target_c, target_c - 2.8, warm_c + 2.8, target_c - 5.6, min(warm_c + 5.6, 39.0))
        assert edges == pytest.approx(wanted)


def test_an_age_is_what_the_calendar_says():
    zone, hatched = ZoneInfo("America/Chicago"), date(2026, 3, 7)
    # the 8th of March is 23 hours long there
    noon = calendar.midnight(date(2026, 3, 8), zone) + 11.5 * 3600
    assert calendar.age_days(hatched, noon, zone) == pytest.approx(1.5)
    assert calendar.at_age(hatched, 1.5, zone) == pytest.approx(noon)
    assert calendar.at_age(hatched, 2.25, zone) == calendar.midnight(date(2026, 3, 9), zone) + 21600
    assert [calendar.week_of_age(age) for age in (-0.5, 0, 6.9, 7, 14)] == [0, 1, 1, 2, 3]
    placed = calendar.midnight(hatched, zone) + 3600
    doubts = [calendar.arrival_doubt(hatched, placed + 86400 * day, zone) for day in (0, 1, 3, 4)]
    assert [doubt is None for doubt in doubts] == [False, True, True, False]
    assert "already 4 days" in (doubts[3] or "")


def test_the_minutes_to_a_limit_are_where_scipy_finds_the_crossing():
    # Newton's law of cooling: dT/dt = -(T - heading) / tau
    for floor_c, heading_c, limit_c, tau_s in (
        (33.0, 10.0, 29.4, 3000.0),
        (30.0, 25.0, 26.0, 900.0),
    ):

        def crossing(t: float, y: list[float], limit: float = limit_c) -> float:
            return y[0] - limit

        crossing.terminal = True  # type: ignore[attr-defined]
        fall = scipy.integrate.solve_ivp(
            lambda _, y, to=heading_c, tau=tau_s: -(y - to) / tau,
            (0.0, 86400.0), [floor_c], events=crossing, rtol=1e-10, atol=1e-10,
        )  # fmt: skip
        assert course(floor_c, heading_c, limit_c, tau_s) == pytest.approx(
            fall.t_events[0][0] / 60.0, rel=1e-6
        )
    assert course(29.0, 10.0, 29.4, 3000.0) == 0.0
    assert course(33.0, 29.4, 29.4, 3000.0) is None


def test_degree_hours_are_the_area_that_scipy_integrates():
    assert degree_hours(3600.0, Unit.CELSIUS) == 1.0
    # four hours, read each minute: a fall of 5 K under a band of 32.2 to 37.8, and as much over it
    begun, span_s = 1000.0, 240 * 60.0
    minutes, fine = np.arange(0.0, 241.0), np.linspace(0.0, 240.0, 240001)

    def of(sign: float) -> tuple[Exposure, npt.NDArray[np.float64]]:
        def course_c(at: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
            return 35.0 + sign * (2.0 + 5.0 * np.sin(np.pi * at / 240))

        trace = Trace(begun + minutes * 60, course_c(minutes))
        target = line(begun, begun + span_s)
        found = exposure([trace], target, start=begun, stop=begun + span_s, hold_s=900.0)
        return found, course_c(fine)

    def area(depth_k: npt.NDArray[np.float64]) -> float:
        return float(scipy.integrate.trapezoid(np.clip(depth_k, 0, None), fine)) / 60

    cold, cold_c = of(-1.0)
    below, chill = area(32.2 - cold_c), area(29.4 - cold_c)
    assert degree_hours(cold.below_ks, Unit.CELSIUS) == pytest.approx(below, rel=0.005)
    assert degree_hours(cold.chill_ks, Unit.CELSIUS) == pytest.approx(chill, rel=0.01)
    assert degree_hours(cold.below_ks, Unit.FAHRENHEIT) == pytest.approx(1.8 * below, rel=0.005)
    share = float((cold_c < 32.2).mean())
    assert cold.below_s == pytest.approx(share * span_s, abs=120.0)
    assert cold.average_c == pytest.approx(float(cold_c.mean()), abs=0.01)
    assert (cold.low_c, cold.low_at) == (pytest.approx(28.0), begun + 7200.0)
    assert (cold.gap_s, cold.judged_s, cold.span_s) == (0.0, span_s, span_s)
    hot, hot_c = of(1.0)
    assert degree_hours(hot.above_ks, Unit.CELSIUS) == pytest.approx(area(hot_c - 37.8), rel=0.005)
    assert hot.overheat_s == pytest.approx(float((hot_c > 39.0).mean()) * span_s, abs=120.0)
    moment = Trace(np.array([begun]), np.array([34.0]))
    half = exposure([moment], line(begun, begun + 0.5), start=begun, stop=begun + 0.5, hold_s=900.0)
    assert half.average_c == 34.0


def line(start: float, stop: float) -> TargetLine:
    """One target of 35 degC all the time, with the usual limits of the first week."""
    return TargetLine(
        edges=np.array([start, stop]), target_c=np.array([35.0]), low_c=np.array([32.2]),
        high_c=np.array([37.8]), chill_c=np.array([29.4]), overheat_c=np.array([39.0]),
    )  # fmt: skip
