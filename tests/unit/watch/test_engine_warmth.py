"""A floor above its band: who is called at night, who reads of it in the morning."""

from collections.abc import Callable
from dataclasses import replace
from math import exp
from random import Random

import pytest
from support.engine_night import EVENING, Night, a_brooder, a_site, with_probe

from monitor.events import AlarmName, Change, ChangeKind, EntryKind, Priority
from monitor.site import Place

HIGH_C = 35.0 + 2.8
OVERHEAT_C = 39.0
OF_HEAT = (AlarmName.HOT, AlarmName.OVERHEAT)


def warm(night: Night) -> list[Change]:
    return [c for c in night.changes if c.alarm is AlarmName.HOT and c.change is ChangeKind.RAISED]


class Box:
    """One floor probe read every 30 s, with a little noise."""

    def __init__(self, start_h: float = 18.0, start: float = EVENING) -> None:
        self.night = Night(a_site(a_brooder()), start=start)
        self.night.t = (start_h - 18.0) * 3600.0
        self._rng = Random(1)
        self.temp_c = 35.0

    def goes(self, for_s: float, *, by_k_per_h: float = 0.0, sat_on_k: float = 0.0) -> None:
        """`sat_on_k`: by how much a bird warms the probe, with the probe's lag."""
        end, began = self.night.t + for_s, self.night.t
        for _ in self.night.until(end):
            self.temp_c += by_k_per_h * 30.0 / 3600.0
            bird_k = sat_on_k * (1.0 - exp(-(self.night.t - began) / 90.0))
            self.night.says(self.temp_c + bird_k + self._rng.gauss(0, 0.04))


def test_a_bird_on_the_probe_wakes_nobody() -> None:
    box = Box()
    box.temp_c = 36.5
    box.goes(4 * 3600)
    box.goes(25 * 60, sat_on_k=2.4)
    box.goes(3600)
    (told,) = warm(box.night)
    assert told.priority is Priority.ADVICE


@pytest.mark.parametrize("sat_on_k", [0.6, 0.9, 1.3, 1.8, 2.2])
@pytest.mark.parametrize("below_edge_k", [0.3, 0.9])
def test_a_bird_on_the_probe_of_a_floor_near_its_bands_edge_wakes_nobody(
    sat_on_k: float, below_edge_k: float
) -> None:
    """However little it warms the probe: what it adds looks like a pace until it comes to rest."""
    box = Box()
    box.temp_c = HIGH_C - below_edge_k
    box.goes(2 * 3600)
    box.goes(20 * 60, sat_on_k=sat_on_k)
    box.goes(3600)
    assert {told.priority for told in warm(box.night)} <= {Priority.ADVICE}


@pytest.mark.parametrize("sat_on_k", [2.6, 3.0, 3.4])
def test_a_bird_that_sits_down_while_the_floor_rises_wakes_nobody(sat_on_k: float) -> None:
    box = Box()
    box.temp_c = HIGH_C - 2.4
    box.goes(2 * 3600)
    box.goes(480, by_k_per_h=6.0)
    box.goes(25 * 60, sat_on_k=sat_on_k)
    assert {told.priority for told in warm(box.night)} <= {Priority.ADVICE}


@pytest.mark.parametrize("start_h", [18.8, 19.5])
@pytest.mark.parametrize(("by_k_per_h", "sat_on_k"), [(0.8, 0.8), (1.2, 1.3), (1.6, 1.6)])
def test_in_the_evening_a_bird_that_sits_down_on_a_floor_that_still_warms_is_no_steady_rise(
    start_h: float, by_k_per_h: float, sat_on_k: float
) -> None:
    box = Box(start_h=start_h)
    box.temp_c = HIGH_C - 0.1 - by_k_per_h
    box.goes(3600, by_k_per_h=by_k_per_h)
    box.goes(14 * 60, by_k_per_h=0.5 * by_k_per_h, sat_on_k=sat_on_k)
    assert {told.priority for told in warm(box.night)} == {Priority.ADVICE}


def test_after_a_step_at_midnight_a_bird_on_a_floor_as_warm_as_before_wakes_nobody() -> None:
    box = Box(start=Night.evening("2026-02-14"))
    box.temp_c = 36.6
    box.goes(8 * 3600)
    box.goes(20 * 60, sat_on_k=2.2)
    box.goes(3600)
    assert {told.priority for told in warm(box.night)} == {Priority.ADVICE}


def test_a_lamp_hung_for_the_night_that_lifts_the_floor_to_its_bands_edge_wakes_nobody() -> None:
    box = Box(start_h=18.4)
    box.temp_c = HIGH_C - 0.5
    box.goes(3600)
    box.goes(14 * 60, by_k_per_h=2.6)
    box.goes(4 * 3600)
    assert {told.priority for told in warm(box.night)} <= {Priority.ADVICE}


def test_a_floor_that_grazes_its_bands_edge_all_night_waits_for_the_morning() -> None:
    box = Box()
    box.temp_c = HIGH_C - 0.3
    box.goes(3600)
    box.goes(3600, by_k_per_h=0.5)
    box.goes(8 * 3600)
    assert {told.priority for told in warm(box.night)} == {Priority.ADVICE}


@pytest.mark.parametrize(("comes_to_c", "rings"), [(HIGH_C + 0.34, False), (HIGH_C + 1.0, True)])
def test_lamps_hung_at_dusk_ring_once_the_floor_is_above_its_band_by_all_that_a_probe_errs(
    comes_to_c: float, rings: bool
) -> None:
    """It goes up steadily until it has settled."""
    box = Box(start_h=18.2)
    box.temp_c = HIGH_C - 1.2
    box.goes(1800)
    while box.temp_c < comes_to_c:
        box.goes(60, by_k_per_h=1.8)
    box.goes(1800)
    told = {change.priority for change in warm(box.night)}
    assert (Priority.WARNING in told) is rings


def test_a_floor_that_heads_for_harm_is_told_as_a_warning() -> None:
    box = Box()
    box.temp_c = 36.0
    box.goes(4 * 3600)
    box.goes(75 * 60, by_k_per_h=2.6)
    assert warm(box.night)[-1].priority is Priority.WARNING


def test_an_hour_above_the_band_by_more_than_a_probe_errs_is_a_warning_told_anew() -> None:
    box = Box()
    box.goes(4 * 3600)
    box.temp_c = HIGH_C + 0.9
    box.goes(50 * 60)
    assert [told.priority for told in warm(box.night)] == [Priority.ADVICE]
    box.goes(20 * 60)
    assert [told.priority for told in warm(box.night)] == [Priority.ADVICE, Priority.WARNING]
    assert not warm(box.night)[-1].facts.get("folded")


def test_an_evening_above_the_band_by_hardly_more_than_a_probe_errs_waits_for_the_morning() -> None:
    box = Box()
    box.goes(4 * 3600)
    box.temp_c = HIGH_C + 0.3
    box.goes(50 * 60)
    box.goes(25 * 60, by_k_per_h=1.0)
    box.goes(30 * 60, by_k_per_h=-1.0)
    assert [told.priority for told in warm(box.night)] == [Priority.ADVICE]


def test_by_day_a_floor_that_rises_to_harm_is_a_warning_as_soon_as_a_plain_alarm() -> None:
    """The sun on a closed box."""
    box = Box(start_h=27.0)  # three in the morning
    box.goes(4 * 3600)
    while box.temp_c <= HIGH_C:
        box.goes(60, by_k_per_h=2.4)
    left = box.night.t
    box.goes(1800, by_k_per_h=2.4)
    told = warm(box.night)[-1]
    assert told.priority is Priority.WARNING
    assert told.at - box.night.start - left <= 600.0


@pytest.mark.parametrize("cooler_k", [0.2, 1.6])
def test_by_day_a_steady_rise_of_one_spot_waits_until_no_spot_is_left_in_its_band(
    cooler_k: float,
) -> None:
    """Chicks that are too warm walk to the cooler one; and of two probes one always errs upward."""
    night, rng, temp_c = Night(a_site(a_brooder(floors=2))), Random(1), 35.0
    left = {"porch/floor": 0.0, "porch/far floor": 0.0}
    for minute in range(14 * 60, 20 * 60):
        temp_c += 2.4 / 60.0 if minute > 18 * 60 else 0.0
        for half in (0.0, 30.0):
            night.t = 60.0 * minute + half
            for probe, cooler in (("porch/floor", 0.0), ("porch/far floor", cooler_k)):
                night.says(temp_c - cooler + rng.gauss(0.0, 0.04), probe)
                if temp_c - cooler <= HIGH_C:
                    left[probe] = night.t
    first, told = warm(night)
    assert (first.priority, told.priority) == (Priority.ADVICE, Priority.WARNING)
    assert told.at - night.start >= left["porch/far floor"] - 60.0
    assert told.at - night.start - left["porch/far floor"] <= 600.0


def test_by_night_one_step_up_of_a_coarse_probe_is_no_rise() -> None:
    """It says 37 and 38 by turns on the way, and that is all that the half hour shows."""
    night, rng = Night(a_site(a_brooder())), Random(3)
    for step in range(10 * 120):
        night.t = 30.0 * step
        late_h = night.t / 3600.0 - 8.0
        temp_c = 37.1 + min(0.62, max(0.0, 1.2 * late_h)) + rng.gauss(0.0, 0.12)
        night.says(round(temp_c))
    assert {told.priority for told in warm(night)} == {Priority.ADVICE}


@pytest.mark.parametrize("by_k", [2.6, 3.0])
def test_by_day_a_floor_that_birds_and_air_warm_for_an_hour_rings_nowhere(by_k: float) -> None:
    box = Box(start_h=30.0)
    box.goes(2 * 3600)
    for share in (0.2, 0.3, 0.3, 0.15, 0.05, -0.3, -0.4):
        box.goes(600, by_k_per_h=6.0 * share * by_k)
    assert {told.priority for told in warm(box.night)} <= {Priority.ADVICE}


@pytest.mark.parametrize("sat_on_k", [1.6, 2.0])
def test_a_bird_at_the_top_of_a_slow_swing_wakes_nobody(sat_on_k: float) -> None:
    box = Box(start_h=22.0)
    box.temp_c = 34.6
    for _ in range(3):
        box.goes(2100, by_k_per_h=3.8)
        box.goes(2100, by_k_per_h=-3.8)
    box.goes(1380, by_k_per_h=3.8)
    box.goes(720, by_k_per_h=3.8, sat_on_k=sat_on_k)
    box.goes(2100, by_k_per_h=-3.8)
    assert {told.priority for told in warm(box.night)} <= {Priority.ADVICE}


def test_by_day_new_heat_is_urgent_before_it_has_come_to_harm() -> None:
    """A lamp that slipped: nobody waits for the limit."""
    box = Box(start_h=34.0)
    box.goes(2 * 3600)
    box.goes(9 * 60, by_k_per_h=24.0)
    told = [c for c in box.night.changes if c.alarm is AlarmName.OVERHEAT]
    assert [c.change for c in told] == [ChangeKind.RAISED]
    assert told[0].facts["temp_c"] < 39.0


def test_what_is_told_anew_says_since_when_it_is_so_and_how_long_it_has() -> None:
    box = Box()
    box.goes(4 * 3600)
    box.temp_c = HIGH_C + 0.9
    began = box.night.start + box.night.t
    box.goes(70 * 60)
    advice, warning = warm(box.night)
    assert warning.facts["since"] == advice.facts["since"] == pytest.approx(began, abs=60.0)


def test_a_warning_of_new_heat_says_how_long_until_it_is_dangerous_and_advice_does_not() -> None:
    box = Box(start_h=26.0)
    box.goes(2 * 3600)
    box.goes(15 * 60, by_k_per_h=12.0)
    told = warm(box.night)[0].facts
    left_k = 39.0 - told["temp_c"]  # the most for chicks of a day
    assert told["minutes_to_overheat"] == pytest.approx(60.0 * left_k / 12.0, rel=0.4)
    waits = Box()
    waits.temp_c = HIGH_C - 0.3
    waits.goes(2 * 3600)
    waits.goes(20 * 60, sat_on_k=1.3)
    assert [("minutes_to_overheat" in told.facts) for told in warm(waits.night)] == [False]


def test_a_steady_rise_within_the_band_is_foretold_to_nobody() -> None:
    box = Box()
    box.goes(4 * 3600)
    box.goes(3600, by_k_per_h=2.4)
    assert warm(box.night) == []


def assert_told_in_its_band(told: Change, night: Night, *, since: float) -> None:
    """Within ten minutes, and so that it rings."""
    assert told.priority is Priority.WARNING
    assert told.facts["temp_c"] < HIGH_C
    assert told.at - night.start - since <= 600.0


def test_by_night_new_heat_is_told_before_it_has_driven_the_floor_out_of_its_band() -> None:
    """A lamp that slipped: some minutes of a steady climb out of all that was."""
    box = Box(start_h=26.0)
    box.goes(2 * 3600)
    slipped = box.night.t
    box.goes(15 * 60, by_k_per_h=12.0)
    (told,) = warm(box.night)
    assert_told_in_its_band(told, box.night, since=slipped)


def test_what_was_hung_at_the_last_round_of_the_evening_settles_unless_it_leaves_the_band() -> None:
    """The floor climbs, as it does for a lamp that slipped, and comes to rest."""
    box = Box(start_h=19.0)
    box.goes(2.2 * 3600)
    box.goes(10 * 60, by_k_per_h=12.0)
    box.goes(3600.0)
    assert warm(box.night) == []
    box.goes(10 * 60, by_k_per_h=12.0)
    assert warm(box.night) != []


def test_new_heat_above_the_band_already_waits_for_nothing() -> None:
    box = Box(start_h=26.0)
    box.temp_c = 37.0
    box.goes(2 * 3600)
    slipped = box.night.t
    box.goes(12 * 60, by_k_per_h=12.0)
    told = warm(box.night)[-1]
    assert told.priority is Priority.WARNING
    assert told.at - box.night.start - slipped <= 600.0


@pytest.mark.parametrize("lit_k", [0.8, 1.4])
def test_by_night_heat_that_the_probe_beneath_it_feels_too_is_told_within_four_minutes(
    lit_k: float,
) -> None:
    """The lamp's light is felt at once, so the floor's pace slackens: no bird warms two probes."""
    night, slipped = boxed_with_sheath(lambda minute: lit_k * (1 - exp(-minute)) + 0.15 * minute)
    told = warm(night)[0]
    assert told.priority is Priority.WARNING
    assert told.at - night.start - slipped <= 240.0


def beneath_the_only_lamp() -> Night:
    """One probe on the floor, one beneath the lamp."""
    box = with_probe(a_brooder(), "under west lamp", Place.UNDER_HEAT)
    return Night(a_site(replace(box, heat=box.heat[:1])))


def a_leap(
    *,
    start_h: float = 25.0,
    beneath_c: float = 42.0,
    beneath_k: float = 0.0,
    floor_k_per_min: float = 0.0,
    was_k: float = 0.0,
    sat_on_k: float = 0.0,
    entry_s: float | None = None,
) -> tuple[Night, float]:
    """A probe beneath the only lamp that rises by `beneath_k` within two minutes, and a floor that
    rises steadily from then on, or by `sat_on_k` as a bird warms it. An hour before the floor lay
    warmer by `was_k`. And when that begins. It lasts for ten minutes. `entry_s`: so long before the
    grower has written of a dead bird."""
    night = beneath_the_only_lamp()
    rng = Random(1)
    leaps = (start_h - 18.0) * 3600.0 + 2 * 3600.0
    night.t = leaps - 2 * 3600.0
    for _ in night.until(leaps + 600.0):
        if entry_s is not None and night.t == leaps - entry_s:
            night.entry(EntryKind.LOSS, brooder="porch", count=1)
        since_s = max(0.0, night.t - leaps)
        up = 1.0 - exp(-since_s / 60.0)
        before_k = was_k if 3000.0 < leaps - night.t < 4500.0 else 0.0
        floor_k = floor_k_per_min * since_s / 60.0 + sat_on_k * up + before_k
        night.says(35.2 + floor_k + rng.gauss(0, 0.04))
        night.says(beneath_c + beneath_k * up + rng.gauss(0, 0.04), "porch/under west lamp")
    return night, leaps


def test_by_night_a_lamp_that_came_down_is_told_within_four_minutes_however_cool_the_floor() -> (
    None
):
    night, slipped = a_leap(beneath_k=6.0, floor_k_per_min=0.12, was_k=1.0)
    told = warm(night)[0]
    assert told.priority is Priority.WARNING
    assert told.at - night.start - slipped <= 240.0
    assert told.facts["temp_c"] < 36.0


@pytest.mark.parametrize(("entry_s", "rings"), [(1200.0, False), (6000.0, True)])
def test_by_night_a_floor_that_settles_after_the_grower_was_there_wakes_nobody(
    entry_s: float, rings: bool
) -> None:
    """Who has hung a lamp lower for the cold heard twenty minutes later to open the cover."""
    night, _ = a_leap(beneath_k=6.0, floor_k_per_min=0.12, was_k=1.0, entry_s=entry_s)
    assert bool(warm(night)) is rings


@pytest.mark.parametrize("sat_on_k", [0.0, 0.9])
def test_by_night_a_bird_beneath_the_heat_and_one_on_the_floor_probe_wake_nobody(
    sat_on_k: float,
) -> None:
    """No hotter than a bird, and the floor has been as warm within the hour."""
    night, _ = a_leap(beneath_c=33.0, beneath_k=3.0, sat_on_k=sat_on_k, was_k=1.2)
    assert warm(night) == []


def test_by_night_heat_that_comes_back_to_a_box_that_was_cold_is_not_told_as_too_hot() -> None:
    """Floor and sheath rise out of all that they were, and swing with their thermostat again."""
    night = beneath_the_only_lamp()
    rng = Random(1)
    night.t = began = 5 * 3600.0
    back = began + 2.5 * 3600.0
    for _ in night.until(back + 2 * 3600.0):
        up = 1.0 - exp(-max(0.0, night.t - back) / 600.0)
        minute = max(0.0, night.t - back - 1800.0) / 60.0
        half = minute % 10.0 if minute % 20.0 < 10.0 else 10.0 - minute % 10.0
        night.says(32.6 + 3.8 * up + 0.1 * half + rng.gauss(0, 0.04))
        night.says(34.0 + 8.0 * up + 0.2 * half + rng.gauss(0, 0.04), "porch/under west lamp")
    assert warm(night) == []


@pytest.mark.parametrize(("start_h", "k_per_min"), [(16.0, 0.12), (19.5, 0.085)])
def test_a_lamp_that_is_hung_lower_while_people_are_about_is_no_warning(
    start_h: float, k_per_min: float
) -> None:
    """Nor is a box that is covered for the night: both warm the floor and what lies beneath."""
    night, _ = a_leap(start_h=start_h, beneath_k=6.0, floor_k_per_min=k_per_min)
    assert warm(night) == []


def test_a_lamp_that_came_down_while_lamps_are_hung_rings_once_the_floor_is_out_of_its_band() -> (
    None
):
    night, slipped = a_leap(start_h=17.0, beneath_k=6.0, floor_k_per_min=0.5)
    told = warm(night)[0]
    assert told.priority is Priority.WARNING
    assert told.facts["temp_c"] > HIGH_C
    left = slipped + 60.0 * (HIGH_C - 35.2) / 0.5
    assert told.at - night.start - left <= 150.0


def test_by_night_a_swing_that_goes_on_past_all_that_both_probes_were_is_told_in_its_band() -> None:
    """The thermostat no longer switches off: ten minutes up, ten down, and then on and on."""
    night = beneath_the_only_lamp()
    rng = Random(1)
    night.t = began = 6 * 3600.0
    sticks = began + 2 * 3600.0
    for _ in night.until(sticks + 16 * 60.0):
        minute = (night.t - began) / 60.0
        in_swing = minute % 20.0
        up_k = 0.2 * (in_swing if in_swing < 10.0 else 20.0 - in_swing)
        if night.t >= sticks:
            up_k = 0.2 * (night.t - sticks) / 60.0
        night.says(34.6 + up_k + rng.gauss(0, 0.04))
        night.says(38.0 + 1.4 * up_k + rng.gauss(0, 0.04), "porch/under west lamp")
    told = warm(night)[0]
    assert told.priority is Priority.WARNING
    assert told.facts["temp_c"] < HIGH_C - 0.2


def test_by_night_what_warms_the_floor_probe_and_not_the_one_beneath_the_only_lamp_can_wait() -> (
    None
):
    """Heat from below that lamp would show there: it is a bird, or a swing."""
    night, _ = boxed_with_sheath(lambda minute: min(3.4, 0.4 * minute), beneath=0.0)
    assert [told.priority for told in warm(night)] == [Priority.ADVICE]


def test_by_night_a_floor_out_of_its_band_by_heat_felt_beneath_rings_before_a_plain_alarm() -> None:
    """What it rises by above all it was has slackened to less than half: so does all new heat."""
    night, slipped = boxed_with_sheath(
        lambda minute: 1.2 * (1 - exp(-minute)) + 0.09 * minute, was_k=1.1
    )
    told = warm(night)[0]
    assert told.priority is Priority.WARNING
    left = slipped + 60.0 * (HIGH_C - 36.0 - 1.2) / 0.09
    assert told.at - night.start - left <= 300.0


def test_by_night_a_thermostats_swing_whose_tops_creep_over_the_band_wakes_nobody() -> None:
    """The probe beneath the lamp rises with each of them."""
    night = beneath_the_only_lamp()
    rng = Random(1)
    night.t = 6 * 3600.0
    began = night.t
    for _ in night.until(began + 3 * 3600.0):
        minute = (night.t - began) / 60.0
        in_half = minute % 10.0 if minute % 20.0 < 10.0 else 10.0 - minute % 10.0
        level_k = 0.14 * in_half - 0.7 + minute / 150.0
        night.says(36.6 + level_k + rng.gauss(0, 0.04))
        night.says(42.0 + 1.5 * level_k + rng.gauss(0, 0.04), "porch/under west lamp")
    told = warm(night)
    assert {change.priority for change in told} == {Priority.ADVICE}


def test_by_night_birds_on_the_floor_probe_and_on_the_cool_one_wake_nobody() -> None:
    """The probe beneath the only lamp shows nothing new."""
    box = with_probe(a_brooder(), "under west lamp", Place.UNDER_HEAT)
    night = Night(a_site(with_probe(replace(box, heat=box.heat[:1]), "cool end", Place.COOL_END)))
    rng = Random(1)
    night.t = 7 * 3600.0
    sat_down = night.t + 2 * 3600.0
    for _ in night.until(sat_down + 20 * 60.0):
        sits_s = max(0.0, night.t - sat_down)
        bird_k = 1.7 * (1.0 - exp(-sits_s / 200.0))
        night.says(35.9 + bird_k + rng.gauss(0, 0.04))
        night.says(41.0 + rng.gauss(0, 0.04), "porch/under west lamp")
        night.says(26.0 + 1.5 * bird_k + rng.gauss(0, 0.04), "porch/cool end")
    assert warm(night) == []


def boxed_with_sheath(
    rise_k: Callable[[float], float], beneath: float = 2.0, *, was_k: float = 0.0
) -> tuple[Night, float]:
    """A floor probe, and one under the only lamp that rises `beneath` times as far; and when that
    begins. It lasts for 25 minutes. An hour before, the floor lay so much warmer (`was_k`)."""
    night = beneath_the_only_lamp()
    rng = Random(1)
    night.t = 7 * 3600.0
    slipped = night.t + 2 * 3600.0
    for _ in night.until(slipped + 25 * 60.0):
        more_k = rise_k(max(0.0, night.t - slipped) / 60.0)
        bird_k = was_k if 3000.0 < slipped - night.t < 4500.0 else 0.0
        night.says(36.0 + more_k + bird_k + rng.gauss(0, 0.04))
        night.says(42.0 + beneath * more_k + rng.gauss(0, 0.04), "porch/under west lamp")
    return night, slipped


def test_a_thermostat_that_sticks_is_told_though_its_rise_has_lasted_for_long() -> None:
    """The top that it must pass is the one before its last low, not its own of ten minutes ago."""
    box = Box(start_h=23.0)
    for _ in range(6):
        box.goes(720, by_k_per_h=10.0)
        box.goes(720, by_k_per_h=-10.0)
    box.goes(720, by_k_per_h=10.0)
    stuck = box.night.t
    box.goes(10 * 60, by_k_per_h=8.0)
    told = warm(box.night)[-1]
    assert told.priority is Priority.WARNING
    assert told.at - box.night.start - stuck <= 570.0


def test_a_floor_above_its_band_for_five_minutes_that_still_rises_out_of_all_it_was_rings() -> None:
    """A plain alarm would ring then: a rise that slackens, with nothing else to bear it out."""
    box = Box(start_h=26.0)
    box.temp_c = 36.2
    box.goes(2 * 3600)
    box.goes(150, by_k_per_h=30.0)
    while box.temp_c <= HIGH_C:
        box.goes(30, by_k_per_h=12.0)
    left = box.night.t
    box.goes(330, by_k_per_h=9.0)
    told = warm(box.night)[-1]
    assert told.priority is Priority.WARNING
    assert told.at - box.night.start - left <= 330.0


def test_heat_that_comes_back_to_a_cold_box_at_night_is_not_called_too_hot() -> None:
    box = Box(start_h=26.0)
    box.goes(3600)
    box.goes(2 * 3600, by_k_per_h=-4.0)
    box.goes(40 * 60, by_k_per_h=14.0)
    assert warm(box.night) == []


def test_a_bird_on_the_probe_of_a_swinging_floor_wakes_nobody() -> None:
    """It sits down as the thermostat's swing begins to rise: together they climb for minutes."""
    box = Box(start_h=24.0)
    for _ in range(12):
        box.goes(600, by_k_per_h=12.0)
        box.goes(600, by_k_per_h=-12.0)
    box.goes(600, by_k_per_h=12.0, sat_on_k=1.2)
    assert {told.priority for told in warm(box.night)} <= {Priority.ADVICE}


def test_two_wild_readings_of_a_floor_above_its_band_ring_nowhere() -> None:
    box = Box(start_h=23.0)
    box.goes(2 * 3600)
    box.temp_c = HIGH_C + 0.4
    box.goes(600)
    box.temp_c += 8.0
    box.goes(60)
    box.temp_c -= 8.0
    box.goes(600)
    assert {told.priority for told in warm(box.night)} == {Priority.ADVICE}


def test_the_highest_of_a_floor_too_hot_is_no_sheath_beneath_a_lamp() -> None:
    night = Night(a_site(with_probe(a_brooder(), "under west lamp", Place.UNDER_HEAT)))
    for minute in range(8 * 60):
        warm_k = 0.0 if minute < 240 or minute > 400 else 3.6
        night.says(35.0 + warm_k + 0.06 * (minute % 2))
        night.says(42.0 + 4.0 * warm_k + 0.06 * (minute % 2), "porch/under west lamp")
        night.t += 60.0
    over = [c for c in night.changes if c.alarm is AlarmName.HOT][-1]
    assert over.change is ChangeKind.CLEARED
    assert over.facts["extreme_c"] < 40.0


def test_the_first_swings_of_a_thermostat_are_no_new_heat() -> None:
    box = Box(start_h=26.0)
    for k_per_h in (8.0, -8.0, 15.0, -15.0):
        box.goes(600, by_k_per_h=k_per_h)
    assert {told.priority for told in warm(box.night)} <= {Priority.ADVICE}


def test_of_a_thermostats_pulses_the_second_is_no_new_heat_though_its_rest_ended_sooner() -> None:
    """Each of them was told: the lowest of half an hour lay before the first."""
    night = Night(a_site(a_brooder(floors=2)))
    night.t = began = 3600.0
    rng, seen_c = Random(1), 35.3
    for _ in night.until(began + 4 * 3600.0):
        pulses, since_s = divmod(night.t - began - 2 * 3600.0, 600.0)
        floor_c = 35.5 - 0.1 * (night.t - began) / 3600.0
        if pulses >= 0.0:
            floor_c = 35.25 + (3.2 if since_s < 60.0 else 1.0 - since_s / 600.0)
        seen_c += 0.25 * (floor_c - seen_c)
        night.says(seen_c + rng.gauss(0, 0.03))
        night.says(seen_c - 1.0 + rng.gauss(0, 0.03), "porch/far floor")
    assert len(warm(night)) <= 1


@pytest.mark.parametrize("at_c", [39.0, 42.0])
def test_one_wild_reading_does_not_end_an_alarm_of_a_floor_too_hot(at_c: float) -> None:
    """Whoever reads that all is well again looks no more."""
    box = Box(start_h=22.0)
    box.goes(2 * 3600)
    box.temp_c = at_c
    box.goes(2 * 3600)
    before = len(box.night.changes)
    box.night.says(16.0)
    box.night.t += 90.0
    box.goes(1800)
    assert box.night.changes[before:] == []


def swings(box: Box, *, times: int, by_k_per_h: float = 12.0) -> None:
    """A thermostat: ten minutes up, ten minutes down."""
    for _ in range(times):
        box.goes(600, by_k_per_h=by_k_per_h)
        box.goes(600, by_k_per_h=-by_k_per_h)


@pytest.mark.parametrize("start_h", [20.0, 24.0])
def test_by_night_a_thermostat_that_no_longer_switches_off_is_told_though_it_swings_wide(
    start_h: float,
) -> None:
    """By its time: half as long again as its pulses, and a little above where they ended. It needs
    no hanging for the night, so that holds in the evening too."""
    box = Box(start_h=start_h)
    box.temp_c = 33.8
    swings(box, times=4)
    box.goes(600, by_k_per_h=12.0)
    stuck = box.night.t
    box.goes(12 * 60, by_k_per_h=6.0)
    assert_told_in_its_band(warm(box.night)[0], box.night, since=stuck)


def test_a_thermostats_first_pulse_after_a_mild_day_is_not_told_as_headed_for_harm() -> None:
    """It goes as far and as fast as those of the morning did; the hour before shows none."""
    box = Box(start_h=24.0)
    box.temp_c = 34.4
    for _ in range(4):
        box.goes(480, by_k_per_h=30.0)
        box.goes(1200, by_k_per_h=-12.0)
    box.goes(5 * 3600)
    box.goes(480, by_k_per_h=30.0)
    box.goes(1200, by_k_per_h=-12.0)
    assert {c.priority for c in box.night.changes if c.alarm in OF_HEAT} <= {Priority.ADVICE}


@pytest.mark.parametrize("goes_on_min", [0, 20])
def test_a_thermostats_pulse_beyond_harm_has_five_minutes_to_end(goes_on_min: int) -> None:
    box = Box(start_h=20.0)
    box.temp_c = OVERHEAT_C - 3.6
    for _ in range(4):
        box.goes(600, by_k_per_h=20.0)
        box.goes(600, by_k_per_h=-20.0)
    box.goes(600, by_k_per_h=23.0)
    beyond = box.night.t
    box.goes(60 * goes_on_min)
    box.goes(1800, by_k_per_h=-8.0)
    told = [
        c
        for c in box.night.changes
        if c.alarm is AlarmName.OVERHEAT and c.change is ChangeKind.RAISED
    ]
    assert bool(told) is bool(goes_on_min)
    if told:
        assert told[0].at < box.night.start + beyond + 5 * 60.0


def test_a_bird_that_sits_on_the_probe_through_a_thermostats_rest_wakes_nobody() -> None:
    """The probe comes down by hardly anything before the next pulse lifts it."""
    box = Box(start_h=24.0)
    box.temp_c = 34.7
    swings(box, times=4, by_k_per_h=9.0)
    box.goes(600, by_k_per_h=9.0)
    box.goes(480, by_k_per_h=-2.2)
    box.goes(600, by_k_per_h=6.0)
    box.goes(1200, by_k_per_h=-9.0)
    assert {told.priority for told in warm(box.night)} <= {Priority.ADVICE}


def test_a_floor_that_came_back_after_feeding_and_falls_by_now_is_not_told_as_rising() -> None:
    """It lies at its band's edge all evening; what the half hour brought is over."""
    box = Box(start_h=18.5)
    box.temp_c = HIGH_C - 0.05
    box.goes(2 * 3600)
    box.goes(300, by_k_per_h=-15.6)
    box.goes(480, by_k_per_h=7.5)
    box.goes(1200, by_k_per_h=1.6)
    box.goes(420, by_k_per_h=-3.5)
    box.goes(1200, by_k_per_h=-1.0)
    assert {told.priority for told in warm(box.night)} == {Priority.ADVICE}


@pytest.mark.parametrize(("comes_to_c", "tau_s"), [(38.3, 1200.0), (38.6, 1800.0)])
def test_by_night_a_rise_that_slackens_and_ends_before_harm_is_not_told_as_headed_there(
    comes_to_c: float, tau_s: float
) -> None:
    box = Box(start_h=22.0)
    box.temp_c = from_c = 36.8
    box.goes(2 * 3600)
    began = box.night.t
    while box.night.t < began + 5400.0:
        box.temp_c = comes_to_c - (comes_to_c - from_c) * exp((began - box.night.t) / tau_s)
        box.goes(30)
    (told,) = warm(box.night)
    assert told.priority is Priority.ADVICE


def the_sun_on(
    start_h: float,
    *,
    beside_k: float,
    from_c: float = 35.2,
    floor_k: float = 3.0,
    sat_on_k: float = 0.0,
    fed_min: float = 0.0,
) -> Night:
    """A floor that goes up from `from_c` by `floor_k` in an hour and a quarter, and a cool end that
    goes up by `beside_k` meanwhile. By `sat_on_k` a bird warms the floor's probe in the last ten
    minutes. After `fed_min` the cover is off for some minutes."""
    night = Night(a_site(with_probe(a_brooder(), "cool end", Place.COOL_END)))
    rng = Random(1)
    began = (start_h - 18.0) * 3600.0
    night.t = began - 3 * 3600.0
    for _ in night.until(began + 4500.0):
        part = max(0.0, night.t - began) / 4500.0
        sat_s = max(0.0, night.t - began - 3900.0)
        bird_k = sat_on_k * (1.0 - exp(-sat_s / 90.0))
        fed_s = max(0.0, night.t - began - 60.0 * fed_min) if fed_min else 0.0
        lifted_k = 1.6 * (fed_s / 240.0) * exp(1.0 - fed_s / 240.0)
        night.says(from_c + floor_k * part + bird_k - lifted_k + rng.gauss(0, 0.04))
        night.says(26.0 + beside_k * part + rng.gauss(0, 0.04), "porch/cool end")
    return night


def test_by_day_the_sun_that_warms_the_whole_box_is_told_before_its_floor_is_too_warm() -> None:
    told = warm(the_sun_on(33.0, beside_k=2.6))[0]
    assert told.priority is Priority.WARNING
    assert told.facts["temp_c"] < HIGH_C - 0.3


def test_by_day_the_sun_is_told_within_twenty_minutes_of_a_feeding_that_hid_it() -> None:
    """The cool end rises fast all along."""
    told = warm(the_sun_on(33.0, beside_k=5.0, floor_k=4.0, fed_min=15.0))[0]
    assert told.priority is Priority.WARNING
    assert told.facts["temp_c"] < HIGH_C - 0.3


def test_a_slow_thermostats_next_top_is_not_told_as_the_sun() -> None:
    """Forty minutes up, twenty-five down, all day; its tops differ by a little, the cool end goes
    along."""
    night = Night(a_site(with_probe(a_brooder(), "cool end", Place.COOL_END)))
    rng = Random(1)
    night.t = (31.0 - 18.0) * 3600.0
    for top_c in (37.0, 37.2, 37.0, 37.2, 37.4, 37.1, 37.3, 37.4, 37.2, 37.4):
        began = night.t
        while (at_s := night.t - began) < 3900.0:
            up = at_s / 2400.0 if at_s < 2400.0 else (3900.0 - at_s) / 1500.0
            night.says(34.5 + (top_c - 34.5) * up + rng.gauss(0, 0.04))
            night.says(26.0 + 2.4 * up + rng.gauss(0, 0.04), "porch/cool end")
            night.t += 30.0
    assert warm(night) == []


def test_the_tops_of_a_thermostat_slower_than_the_watch_looks_back_are_not_told_as_the_sun() -> (
    None
):
    """Forty minutes up, an hour to come down and to rest: the top before is too long ago."""
    night = Night(a_site(with_probe(a_brooder(), "cool end", Place.COOL_END)))
    rng = Random(1)
    night.t = (30.5 - 18.0) * 3600.0
    for top_c in (36.9, 37.0, 37.2, 37.4, 37.5, 37.6):
        began = night.t
        while (at_s := night.t - began) < 5700.0:
            up = at_s / 2400.0 if at_s < 2400.0 else max(0.0, 1.0 - (at_s - 2400.0) / 2400.0)
            night.says(35.4 + (top_c - 35.4) * up + rng.gauss(0, 0.04))
            night.says(26.0 + 2.4 * up + rng.gauss(0, 0.04), "porch/cool end")
            night.t += 30.0
    assert warm(night) == []


@pytest.mark.parametrize("start_h", [18.5, 26.0])
def test_a_thermostats_pulse_that_goes_higher_and_quicker_and_ends_as_ever_wakes_nobody(
    start_h: float,
) -> None:
    """The lamps were hung lower for the night: its tops are above the band for minutes."""
    night = beneath_the_only_lamp()
    rng = Random(1)
    night.t = began = (start_h - 18.0) * 3600.0
    for _ in night.until(began + 4 * 3600.0):
        rounds, in_round = divmod((night.t - began) / 60.0, 20.0)
        up = in_round / 11.0 if in_round < 11.0 else (20.0 - in_round) / 9.0
        swing_k = 3.0 if rounds < 7 else 4.2
        beneath_c = 38.0 if rounds < 7 else 40.0
        night.says(34.4 + swing_k * up + rng.gauss(0, 0.04))
        night.says(beneath_c + 0.5 * up + rng.gauss(0, 0.04), "porch/under west lamp")
    assert {change.priority for change in warm(night)} <= {Priority.ADVICE}


def test_a_thermostats_pulse_that_goes_on_for_longer_than_ever_rings() -> None:
    """It is told once it has lasted for as long as the one before."""
    night = beneath_the_only_lamp()
    rng = Random(1)
    night.t = began = 8 * 3600.0
    sticks = began + 7 * 1200.0
    for _ in night.until(sticks + 1200.0):
        in_round = (night.t - began) / 60.0 % 20.0
        up = in_round / 11.0 if in_round < 11.0 else (20.0 - in_round) / 9.0
        if night.t >= sticks:
            up = (night.t - sticks) / 60.0 / 11.0
        night.says(34.4 + 3.0 * up + rng.gauss(0, 0.04))
        night.says(38.0 + 3.0 * up + rng.gauss(0, 0.04), "porch/under west lamp")
    told = warm(night)[-1]
    assert told.priority is Priority.WARNING
    assert told.at - night.start - sticks <= 15 * 60.0


def test_by_night_birds_on_both_probes_of_a_box_whose_heat_no_probe_sees_wake_nobody() -> None:
    """One sits down on the floor's, and minutes later one on the cool end's."""
    night = Night(a_site(with_probe(a_brooder(), "cool end", Place.COOL_END)))
    rng = Random(1)
    night.t = began = 5 * 3600.0
    for _ in night.until(began + 3 * 3600.0):
        on_floor_s, on_cool_s = (max(0.0, night.t - began - at) for at in (7200.0, 7380.0))
        floor_k = 0.3 * (night.t - began) / 3600.0 + 0.7 * (1.0 - exp(-on_floor_s / 240.0))
        night.says(35.8 + floor_k + rng.gauss(0, 0.04))
        cool_k = 2.2 * (1.0 - exp(-on_cool_s / 240.0))
        night.says(28.6 + cool_k + rng.gauss(0, 0.04), "porch/cool end")
    assert warm(night) == []


def test_a_bird_on_the_probe_while_the_air_warms_a_box_is_not_told_as_the_sun() -> None:
    night = the_sun_on(33.0, beside_k=2.6, from_c=34.2, floor_k=2.6, sat_on_k=0.9)
    assert warm(night) == []


@pytest.mark.parametrize(("start_h", "beside_k"), [(33.0, 0.4), (18.0, 2.6)])
def test_a_floor_that_warms_alone_or_in_the_evening_is_told_only_out_of_its_band(
    start_h: float, beside_k: float
) -> None:
    """Birds that gather by day; lamps that are hung for the night."""
    told = warm(the_sun_on(start_h, beside_k=beside_k))
    assert all(change.facts["temp_c"] > HIGH_C - 0.1 for change in told)
