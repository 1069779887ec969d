"""What is known of harm, against the papers it is from and others; and the limits made of it.

All abstracts were read at the address that `monitor.brooding.harm_known` gives, unless it says so
here."""

import pytest

from monitor.brooding import harm_known
from monitor.brooding.age_limits import limits_at
from monitor.brooding.schedules import BUILT_IN, target_at
from monitor.site import Limits, Place, Steps

AGES = [0, 3, 6.9, 7.2, 10, 14, 21, 28, 31, 35, 42]


def overheat_c(name: str, age: float, limits: Limits | None = None) -> float:
    found = limits_at(BUILT_IN[name], age, Steps.WEEKLY, Place.FLOOR, limits or Limits())
    assert found is not None
    return found.overheat_c


def test_a_floor_at_which_chicks_of_a_day_die_within_two_days_is_an_overheat():
    # 48 h at 35, 37 or 39 degC from hatch: deaths at 39
    assert overheat_c("weekly", 0) == overheat_c("weekly", 6.9) == 39.0
    assert overheat_c("turkey", 3) == overheat_c("guinea", 13) == 39.0


def test_it_lies_between_panting_and_the_limit_of_survival():
    # Misson 1976: panting from 38 degC, survived to 41.5 at 80 % and to 43 at 20 % humidity
    facts = {known.name: known.value for known in harm_known.KNOWN}
    assert facts["air, a chick of a day pants from"] == 38.0
    assert facts["air, survived by a chick of a day at 80 % humidity"] == 41.5
    assert facts["air, survived by a chick of a day at 20 % humidity"] == 43.0
    assert 38.0 < overheat_c("weekly", 0) < 41.5


def test_broilers_from_day_31_on_die_of_days_over_34_degrees_whatever_their_target():
    # Vale and others 2010: 34.4 degC
    wide = Limits(harm_c=20.0)
    assert overheat_c("weekly", 30.9, wide) == 39.0
    assert overheat_c("weekly", 31.0, wide) == 34.4


@pytest.mark.parametrize("name", BUILT_IN)
@pytest.mark.parametrize("age", AGES)
def test_the_cap_only_ever_lowers_the_limit_and_never_into_the_band(name, age):
    found = limits_at(BUILT_IN[name], age, Steps.WEEKLY, Place.FLOOR, Limits())
    before_c = target_at(BUILT_IN[name], age - 0.5, Steps.WEEKLY, Place.FLOOR)
    assert found is not None
    assert before_c is not None
    assert found.high_c <= found.overheat_c <= max(found.target_c, before_c) + 5.6 + 1e-9
    assert found.chill_c == pytest.approx(found.target_c - 5.6)


def test_a_grower_s_own_cap_holds_at_every_age_and_the_fire_limit_over_it():
    assert overheat_c("weekly", 3, Limits(overheat_c=40.0)) == 40.0
    assert overheat_c("weekly", 3, Limits(overheat_c=30.0)) == pytest.approx(35.0 + 2.8)
    assert overheat_c("weekly", 3, Limits(overheat_c=50.0, harm_c=20.0, fire_c=45.0)) == 45.0


@pytest.mark.parametrize(
    ("age", "published_c"), [(0, 35.0), (1, 34.7), (7, 33.0), (14, 31.0), (21, 29.0)]
)
def test_the_lower_critical_temperature_of_pullets(age, published_c):
    # 35 - 0.286 x age in days, worked by hand
    assert harm_known.lower_critical_c(age) == pytest.approx(published_c, abs=0.02)
    assert harm_known.lower_critical_c(21.1) is None


@pytest.mark.parametrize("age", range(21))
def test_weekly_targets_lie_about_the_lower_critical_temperature(age):
    # a second look at the schedule: an air in which they need no extra heat of their own
    target_c = target_at(BUILT_IN["weekly"], age, Steps.STRAIGHT, Place.FLOOR)
    assert target_c == pytest.approx(harm_known.lower_critical_c(age), abs=2.8)


def test_figures_of_lasting_cold_are_the_papers():
    # Ipek and Sahan 2006: ascites 9.52 against 1.90 %; 4.3, 3.8 and 4.4 K colder in weeks 1 to 3
    assert (harm_known.ASCITES_PERCENT, harm_known.ASCITES_RIGHT_PERCENT) == (9.52, 1.90)
    assert pytest.approx(4.17, abs=0.01) == harm_known.ASCITES_COLDER_K
    # Xin and Harrison 1996: unfed for 50 h
    assert harm_known.DEATHS_UNFED == ((20.0, 1.09), (25.0, 0.71), (30.0, 0.28), (35.0, 0.33))
    # PubMed 38181614: 18 degC for 8 h a day in week 1
    assert [k.value for k in harm_known.KNOWN if "8 h a day" in k.name] == [18.0]


def test_figures_of_heat_are_the_papers():
    # upper critical 36 to 37 degC; water lost 1.8 g at 30.8 degC, 4.4 g at 38.8
    assert harm_known.WATER_LOST_G_A_DAY == ((30.8, 1.8), (38.8, 4.4))
    assert [k.value for k in harm_known.KNOWN if "upper critical" in k.name] == [36.0, 37.0]
    # Meijerhof 2011: 134 J a degree at 0.3 W are roughly 450 s or 7.5 min
    assert pytest.approx(450 / 60, abs=0.1) == harm_known.HELD_IN_MIN_PER_K
    # heat production of Tetra B broilers: 35 degC in weeks 1 and 2, 30 in weeks 3 to 6
    broilers = [k.value for k in harm_known.KNOWN if "lower critical, meat" in k.name]
    assert broilers == [35.0, 30.0]
