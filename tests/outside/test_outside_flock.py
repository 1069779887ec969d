"""Space, usual losses and moving out, and the advice made of them, against extension figures.

"(quoted)": seen on a page that quotes the source; "(from memory)": could not be read."""

from dataclasses import replace
from datetime import date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from support.birds import chicks_in

from monitor.brooding import advice, losses, space
from monitor.brooding.batch import Batch
from monitor.brooding.bird_kinds import mass_kg
from monitor.brooding.calendar import at_age
from monitor.brooding.entries import Entry, EntryKind
from monitor.brooding.ledger import fold
from monitor.brooding.moving import Stage, moving
from monitor.site import Brooder, ScheduleRow, Steps

CHICAGO = ZoneInfo("America/Chicago")
HATCHED = date(2026, 3, 1)
BOX = Brooder(name="porch", length_m=1.5, width_m=1.5, height_m=0.56)
SQUARE_FOOT_M2 = 0.3048**2


def day(age: float) -> float:
    return at_age(HATCHED, age, CHICAGO)


def local(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=CHICAGO).timestamp()


def batch(count: int, *losses_at: tuple[float, int], kind: str = "broiler") -> Batch:
    """`count` birds placed on day 1, and losses as (age, count)."""
    entries = [
        chicks_in(day(1.0), number=1, count=count, hatched=HATCHED.isoformat(), kind=kind),
        *(
            Entry(at=day(age), entry=EntryKind.LOSS, brooder="porch", number=2 + i, count=lost)
            for i, (age, lost) in enumerate(losses_at)
        ),
    ]
    ledger = fold(entries)
    assert not ledger.faults
    return ledger.of("porch")[-1]


def told(birds: Batch, now_at: float, box: Brooder = BOX, **weather: object) -> dict[str, dict]:
    found = advice.advise(box, birds, now_at=now_at, zone=CHICAGO, **weather)  # type: ignore[arg-type]
    return {one.alarm: one.facts for one in found}


# --- floor space -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("age", "square_feet"),
    [
        *((3, 0.25), (6.9, 0.25), (7, 0.5), (10, 0.5), (20, 0.5), (20.9, 0.5)),
        *((day, 0.75) for day in range(21, 35)),
        *((35, 1.0), (40, 1.0)),
    ],
)
def test_wanted_floor_is_clauers_table(age, square_feet):
    # P. Clauer, "Space Should Increase as Birds Grow": wk 1 1/4, wk 2-3 1/2, wk 3-5 3/4, wk 5-8 1.
    # Week 4 (days 21 to 27) is in the third row alone; the weeks that are in two rows go by age.
    assert space.floor_need("broiler", age).wanted_m2 == pytest.approx(square_feet * SQUARE_FOOT_M2)


@pytest.mark.parametrize("age", [7, 14, *range(20, 28)])
def test_the_least_floor_in_weeks_two_to_four_is_cornells(age):
    # Cornell, Marble & Schano, "Brooding Chickens in Colony Houses": 10 x 12 ft, not over 250;
    # Estes Hatchery, "Rearing recommendations", 1/2 sq ft to four weeks, is no tighter
    least_m2 = space.floor_need("broiler", age).least_m2
    assert least_m2 == pytest.approx(10 * 12 / 250 * SQUARE_FOOT_M2)
    assert least_m2 < 0.5 * SQUARE_FOOT_M2


def test_from_four_weeks_on_the_overcrowding_limit_is_the_least():
    # extension text on cannibalism (quoted): overcrowded below 3/4 sq ft in weeks 3 to 8
    assert space.floor_need("broiler", 28).least_m2 == pytest.approx(0.75 * SQUARE_FOOT_M2)


def test_floor_and_trough_of_one_table_grow_on_the_same_days():
    rows = space.FLOOR["broiler"]
    grown = [b.from_day for a, b in pairwise(rows) if b.wanted_m2 > a.wanted_m2]
    assert [0.0, *grown] == [row.from_day for row in space.TROUGH]


@pytest.mark.parametrize("age", range(20, 29))
def test_who_is_told_of_crowding_in_the_fourth_week_is_told_what_the_table_asks(age):
    wanted = 0.5 if age == 20 else 0.75
    facts = told(batch(100), day(age + 0.5))["crowded"]
    assert facts["needed_area_per_bird_m2"] == pytest.approx(wanted * SQUARE_FOOT_M2)
    # 48 in 24.2 square feet have half a square foot each: tight, and not below what all books print
    assert ("crowded" in told(batch(48), day(age + 0.5))) == (age == 28)


@pytest.mark.parametrize("kind", space.FLOOR)
@pytest.mark.parametrize("age", [0, 7, 14, 21, 28, 35])
def test_nobody_is_called_uncrowded_below_a_tenth_of_a_square_foot(kind, age):
    row = space.floor_need(kind, age)
    assert 0.1 * SQUARE_FOOT_M2 <= row.least_m2 <= row.wanted_m2


def test_a_hundred_meat_chicks_in_one_box_are_crowded_by_three_weeks_and_fifty_are_not():
    crowded = told(batch(100), day(21.0))["crowded"]
    assert crowded["area_per_bird_m2"] == pytest.approx(0.0225)
    assert crowded["needed_area_per_bird_m2"] == pytest.approx(0.75 * SQUARE_FOOT_M2)
    assert crowded["head_count"] == 100
    assert "Clauer" in crowded["origin"]
    assert "crowded" not in told(batch(50), day(21.0))  # the other fifty in a second box


def test_the_european_limit_agrees_about_both_at_three_weeks():
    # Council Directive 2007/43/EC, article 3: at most 33 kg/m2 (from memory)
    kg_per_m2 = mass_kg("broiler", 21.0) / BOX.floor_area_m2
    assert 100 * kg_per_m2 > 33 > 50 * kg_per_m2


def test_a_hundred_and_fifteen_chicks_in_one_box_are_not_crowded_in_their_first_days():
    assert "crowded" not in told(batch(115), day(2.0))


def test_trough_edges_are_clauers_table():
    # P. Clauer, as above: feeder 1, 1.5, 2, 2 in; water 1/2, 1/2, 1/2, 3/4 in a bird
    assert [round(row.feeder_cm / 2.54, 2) for row in space.TROUGH] == [1.0, 1.5, 2.0, 2.0]
    assert [round(row.drinker_cm / 2.54, 2) for row in space.TROUGH] == [0.5, 0.5, 0.5, 0.75]


# --- losses --------------------------------------------------------------------------------


def test_usual_losses_lie_between_the_aim_and_the_upper_end_of_normal():
    # aim below 0.7 % in week 1 (breeder's handbook, quoted); 1-5 % of the first days called normal
    # (farm site); 95 % reared through brooding (Cornell, Marble & Schano)
    assert losses.FIRST_WEEK_AIM_PERCENT == 0.7
    assert 1.0 <= losses.usual_percent(0) <= losses.usual_percent(7) <= 5.0
    assert losses.usual_percent(28) == losses.usual_percent(60) == 5.0


@pytest.mark.parametrize("age", [0, 1, 2, 3, 5, 7, 10, 20, 28, 40])
def test_usual_losses_only_grow_with_age_and_slow_down_after_the_first_week(age):
    # choosenmedia.com, "Mortality pattern", 2022 (quoted; after Tabler, Avian Advice: from memory):
    # peak on days 3 and 4, falling to day 9 or 10, then level to about day 30
    assert losses.usual_percent(age + 1) >= losses.usual_percent(age)
    first_week = losses.usual_percent(7) - losses.usual_percent(0)
    third_week = losses.usual_percent(21) - losses.usual_percent(14)
    assert third_week < first_week


def test_two_dead_of_a_hundred_in_the_first_week_are_not_called_many():
    assert "losses-high" not in told(batch(100, (3.2, 1), (3.3, 1)), day(3.5))


def test_two_dead_of_a_small_flock_are_many_in_percent_and_still_not_told():
    # one chick of 25 is 4 %: below three birds percent says nothing
    assert "losses-high" not in told(batch(25, (3.2, 2)), day(3.5))
    assert not losses.day_is_high(head_count_before=10, lost_in_day=2)
    assert "losses-high" in told(batch(25, (3.2, 3)), day(3.5))


def test_six_dead_of_a_hundred_in_the_first_days_are():
    facts = told(batch(100, (2.5, 2), (3.2, 4)), day(3.5))["losses-high"]
    assert (facts["losses"], facts["losses_percent"]) == (6, 6.0)
    assert facts["usual_percent"] == pytest.approx(2.0)
    assert facts["origin"]


def test_an_old_loss_is_not_told_again_days_later():
    birds = batch(100, (2.5, 2), (3.2, 4))
    assert "losses-high" not in told(birds, day(4.5))


def test_three_dead_in_one_day_of_a_flock_that_had_lost_none_are_told():
    facts = told(batch(100, (20.4, 3)), day(20.5))["losses-high"]
    assert (facts["losses"], facts["losses_percent"]) == (3, 3.0)
    assert facts["origin"] == "common practice"


def test_a_loss_counts_from_the_second_it_is_written_and_for_a_day():
    birds = batch(100, (2.5, 2), (20.5, 4))
    at = day(20.5)
    for late_s, counts in ((-1.1, False), (0.0, True), (86399.0, True), (86401.0, False)):
        assert ("losses-high" in told(birds, at + late_s)) is counts
    assert told(birds, at)["losses-high"]["losses"] == 6  # in all: 6 %, and 4.6 % are usual
    assert told(birds, at)["losses-high"]["since"] == birds.started_at
    in_a_day = told(batch(100, (20.5, 3)), at + 60.0)["losses-high"]
    assert (in_a_day["losses"], in_a_day["since"]) == (3, at + 60.0 - 86400.0)


# --- moving out ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "age", "lows_c", "stage"),
    [
        # meat birds: from 3 weeks, nights above about 50 degF (ATTRA / extension, from memory)
        ("broiler", 14, (15.0,), Stage.TOO_YOUNG),
        ("broiler", 18, (15.0,), Stage.HARDEN_OFF),
        ("broiler", 21, (12.0, 10.5, 14.0), Stage.READY),
        ("broiler", 21, (12.0, 8.0, 14.0), Stage.NIGHTS_TOO_COLD),
        # layers are feathered at 5 to 6 weeks (extension, from memory)
        ("layer", 28, (15.0,), Stage.TOO_YOUNG),
        ("layer", 36, (15.0,), Stage.READY),
        # quail: at 5 weeks if the room is near 70 degF (Mississippi State Extension)
        ("quail", 35, (19.0,), Stage.READY),
        ("quail", 35, (10.0,), Stage.NIGHTS_TOO_COLD),
        # pheasants: 6 to 8 weeks with 2 or 3 good days (MacFarlane Pheasants)
        ("pheasant", 36, (15.0,), Stage.TOO_YOUNG),
        ("pheasant", 43, (15.0,), Stage.READY),
    ],
)
def test_when_they_may_move_out(kind, age, lows_c, stage):
    verdict = moving(kind, age, target_c=21.0, coming_lows_c=lows_c)
    assert verdict.stage is stage


def test_a_night_near_the_target_will_do_where_the_target_is_low():
    # ducklings at 5 weeks are held at 13 degC: a night of 8 is near that
    assert moving("duck", 35, target_c=13.0, coming_lows_c=(8.0,)).stage is Stage.READY


def test_the_night_that_is_borne_is_the_one_that_is_told():
    # near the target of 13 degC (10 degF below it), not the 10 degC of the kind
    assert moving("duck", 35, target_c=13.0).borne_c == pytest.approx(7.4)
    assert moving("broiler", 24, target_c=26.7).borne_c == 10.0


def test_no_target_is_so_low_that_birds_move_into_frost():
    verdict = moving("broiler", 40, target_c=5.0, coming_lows_c=(-0.5,))
    assert (verdict.stage, verdict.borne_c) == (Stage.NIGHTS_TOO_COLD, 0.0)


def test_moving_out_is_told_with_the_night_they_bear_and_its_source():
    facts = told(batch(90), day(24.0), coming_lows_c=(11.0, 12.0))["ready-to-move"]
    assert facts["reason"] == "ready"
    assert (facts["outside_low_c"], facts["low_c"]) == (11.0, 10.0)
    assert "50 degF" in facts["origin"]
    assert "ready-to-move" not in told(batch(90), day(24.0), coming_lows_c=(4.0,))


# --- step-down -----------------------------------------------------------------------------


def test_the_step_is_told_on_its_day_when_somebody_can_watch():
    birds = batch(50)
    assert "step-down" not in told(birds, local("2026-03-07 23:59"))
    facts = told(birds, local("2026-03-08 00:00"))["step-down"]
    assert facts["step_at"] == local("2026-03-08 00:00")
    assert (facts["target_c"], facts["next_target_c"]) == pytest.approx((35.0, 32.2), abs=0.03)
    assert "Minnesota" in facts["origin"]
    assert "step-down" in told(birds, local("2026-03-08 23:59"))
    assert "step-down" not in told(birds, local("2026-03-09 00:00"))


@pytest.mark.parametrize("from_day", [3.5, 3.75])
def test_an_own_step_in_the_middle_of_a_day_is_told_once_it_has_come(from_day):
    rows = (ScheduleRow(from_day=0, target_c=34.0), ScheduleRow(from_day=from_day, target_c=31.0))
    box = replace(BOX, own_schedule=rows)
    assert "step-down" not in told(batch(50), day(from_day) - 1, box)
    assert told(batch(50), day(from_day), box)["step-down"]["next_target_c"] == 31.0


def test_a_step_on_the_day_of_a_clock_change_is_told_for_all_of_it():
    # Chicago, 2026-03-08 is 23 hours long; the step of chicks hatched on 1 March is on it
    birds = replace(batch(50), hatched=date(2026, 3, 1))
    assert "step-down" in told(birds, local("2026-03-08 00:00"))
    assert "step-down" in told(birds, local("2026-03-08 23:59"))
    assert "step-down" not in told(birds, local("2026-03-09 00:00"))


def test_a_straight_line_has_no_step_to_announce():
    box = replace(BOX, steps=Steps.STRAIGHT)
    assert "step-down" not in told(batch(50), local("2026-03-07 20:00"), box)


def test_an_empty_box_gets_no_advice():
    birds = batch(40, (3.0, 40))
    assert birds.ended_at == day(3.0)
    assert told(birds, day(3.5)) == {}
