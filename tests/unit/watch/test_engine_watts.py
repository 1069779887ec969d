"""What plugs that measure power tell the watch: a lamp that draws nothing is out, at once and by
name, whatever the floor does; a thermostat's rest is none, and a silent plug proves nothing."""

from collections.abc import Callable
from dataclasses import replace
from math import exp

import pytest
from support.engine_night import Night, a_brooder, a_site, plugged

from monitor.events import AlarmName, Cause, ChangeKind, EntryKind
from monitor.site import HeatSource, Site
from monitor.thermal import estimator
from monitor.watch.engine import Engine
from monitor.watch.heat_seen import FloorWarmth, HeatSeen

WEST, EAST = "porch/west lamp power_w", "porch/east lamp power_w"
Draws = Callable[[float], float]


def plugged_site(*, thermostat: bool | None = None) -> Site:
    box = a_brooder()
    heat = tuple(replace(source, thermostat=thermostat) for source in box.heat)
    return a_site(plugged(replace(box, heat=heat)))


def lit(watts: float = 243.0) -> Draws:
    """The mains wander: no two words are the same for long."""
    return lambda t: watts + (t // 60 % 7)


def out(_t: float) -> float:
    return 0.4


def goes_on(
    night: Night, for_s: float, *, floor: Draws | float = 35.0, **plugs: Draws | None
) -> None:
    """Floor every ten seconds and plugs every 20; None: that plug says nothing."""
    end = night.t + for_s
    for _ in night.until(end, 10):
        night.says(floor if isinstance(floor, float) else floor(night.t))
        if night.t % 20 == 0:
            for key, draws in zip(
                (WEST, EAST), (plugs.get("west"), plugs.get("east")), strict=True
            ):
                if draws is not None:
                    night.meter_says(key, draws(night.t))


@pytest.fixture
def night() -> Night:
    """Both lamps have been lit for three hours."""
    night = Night(plugged_site())
    goes_on(night, 3 * 3600, west=lit(), east=lit())
    assert night.changes == []
    return night


def test_a_lamp_that_draws_nothing_is_told_by_name_with_the_second_word_though_the_floor_is_warm(
    night: Night,
) -> None:
    since = night.t
    goes_on(night, 60, west=out, east=lit())
    (told,) = night.changes
    assert (told.alarm, told.cause) == (AlarmName.HEAT_LOSS, Cause.HEAT_SOURCE)
    assert told.at - night.start - since <= 20
    assert (told.facts["source"], told.facts["source_sure"]) == ("west lamp", True)
    assert told.facts["draws_w"] == pytest.approx(0.4)
    assert told.facts["usual_w"] == pytest.approx(246, abs=4)


def test_one_word_of_nothing_is_no_dead_lamp(night: Night) -> None:
    night.meter_says(WEST, 0.0)
    night.t += 20
    goes_on(night, 3600, west=lit(), east=lit())
    assert night.changes == []


def test_it_stays_out_however_warm_the_floor_is_and_ends_when_it_is_lit(night: Night) -> None:
    goes_on(night, 3600, west=out, east=lit())
    assert night.told(ChangeKind.CLEARED) == []
    goes_on(night, 300, west=lit(), east=lit())
    assert night.told(ChangeKind.CLEARED) == ["porch/heat-loss"]


def test_who_answers_and_keeps_the_floor_warm_without_it_means_it(night: Night) -> None:
    goes_on(night, 120, west=out, east=lit())
    night.entry(EntryKind.ACKNOWLEDGE, brooder="porch", alarm="heat-loss", by="Kim")
    goes_on(night, 1200, west=out, east=lit())
    assert night.told(ChangeKind.CLEARED) == ["porch/heat-loss"]
    goes_on(night, 3600, west=out, east=lit())
    assert night.told() == ["porch/heat-loss"], "not told anew"


def test_the_second_lamp_is_news_of_the_same_trouble(night: Night) -> None:
    goes_on(night, 600, west=out, east=lit())
    goes_on(night, 120, west=out, east=out)
    first, second = [c for c in night.changes if c.change is not ChangeKind.CLEARED]
    assert second.change is ChangeKind.EXPLAINED
    assert second.facts["source"] == "every heat source"
    assert second.facts["incident"] == first.facts["incident"]
    assert not second.facts.get("folded", False)


def test_a_floor_above_its_band_misses_no_heat(night: Night) -> None:
    goes_on(night, 600, floor=39.0, west=out, east=lit())
    assert "porch/heat-loss" not in night.told()
    goes_on(night, 120, floor=34.0, west=out, east=lit())
    assert "porch/heat-loss" in night.told()


def swings(t: float) -> float:
    """A floor that a thermostat holds: 20 minutes up, 20 down, between 34.2 and 35.8."""
    phase = t % 2400 / 1200
    return 34.2 + 1.6 * (phase if phase < 1 else 2 - phase)


def cycles(t: float) -> float:
    return 243.0 if t % 2400 < 1200 else 0.4


@pytest.mark.parametrize("said", [True, None])
def test_a_thermostat_that_rests_is_no_dead_lamp_and_one_that_does_not_come_on_again_is(
    said: bool | None,
) -> None:
    night = Night(plugged_site(thermostat=said))
    goes_on(night, 5 * 2400, floor=swings, west=cycles, east=lit())
    assert night.changes == [], "said so or found out"
    goes_on(night, 1200, floor=swings, west=cycles, east=lit())  # on
    goes_on(night, 1200, floor=swings, west=out, east=lit())  # off, as usual
    assert night.changes == []
    falls_from = night.t
    goes_on(night, 1200, floor=lambda t: 34.2 - (t - falls_from) / 600, west=out, east=lit())
    told = night.changes[0]
    assert (told.alarm, told.facts["source"]) == (AlarmName.HEAT_LOSS, "west lamp")
    assert told.facts["temp_c"] > 33.0, "well inside its band"


def test_how_much_of_the_time_a_thermostat_is_on_is_known() -> None:
    night = Night(plugged_site(thermostat=True))
    goes_on(night, 5 * 2400, floor=swings, west=cycles, east=lit())
    west, east = night.box().meters
    assert west.duty == pytest.approx(0.5, abs=0.06)
    assert (west.thermostat, east.thermostat) == (True, True)
    assert east.duty == pytest.approx(1.0)


def test_a_plug_that_is_silent_while_others_are_heard_is_itself_at_fault(night: Night) -> None:
    goes_on(night, 3600, west=None, east=lit())
    (told,) = night.changes
    assert told.alarm is AlarmName.METER_SILENT
    assert told.facts["meter"] == "west lamp"
    goes_on(night, 1200, west=lit(), east=lit())
    assert night.told(ChangeKind.CLEARED) == ["porch/meter-silent"]


def test_half_its_watts_is_turned_down_and_no_alarm(night: Night) -> None:
    goes_on(night, 600, west=lit(120.0), east=lit())
    west, east = night.box().meters
    assert (west.turned_down, east.turned_down) == (True, False)
    assert night.changes == []


def test_a_lamp_that_was_never_lit_is_not_missed() -> None:
    night = Night(plugged_site())
    goes_on(night, 3 * 3600, west=out, east=lit())
    assert night.changes == []


def test_without_an_estimate_a_dead_lamp_is_told_all_the_same() -> None:
    night = Night(plugged_site(), make_estimator=estimator.none)
    goes_on(night, 3 * 3600, west=lit(), east=lit())
    goes_on(night, 60, west=out, east=lit())
    assert night.told() == ["porch/heat-loss"]


def test_a_restart_goes_on_with_what_the_plugs_have_said(night: Night) -> None:
    goes_on(night, 20, west=out, east=lit())  # one word
    other = Engine(night.site, night.now())
    other.restore(night.engine.kept())
    night.engine = other
    goes_on(night, 30, west=out, east=lit())
    assert night.told() == ["porch/heat-loss"]


def cools(since: float) -> Draws:
    """A floor that falls by 9 K from then on, as a box does whose heat is gone."""
    return lambda t: 35.0 - 9.0 * (1 - exp(-(t - since) / 1500))


def test_a_cooling_box_with_every_plug_lit_is_not_blamed_on_a_lamp(night: Night) -> None:
    goes_on(night, 1800, floor=cools(night.t), west=lit(), east=lit())
    assert Cause.HEAT_SOURCE not in {c.cause for c in night.changes}
    assert Cause.COVER_OPEN in {c.cause for c in night.changes}


def test_a_plug_that_repeats_itself_for_an_hour_acquits_nobody() -> None:
    def stuck(_t: float) -> float:
        return 243.0

    night = Night(plugged_site())
    goes_on(night, 3 * 3600, west=stuck, east=stuck)
    bare = Night(a_site())
    goes_on(bare, 3 * 3600)
    for each in (night, bare):
        plugs = {"west": stuck, "east": stuck} if each is night else {}
        goes_on(each, 1800, floor=cools(each.t), **plugs)
    assert bare.changes
    assert [(c.alarm, c.cause, c.at) for c in night.changes] == [
        (c.alarm, c.cause, c.at) for c in bare.changes
    ]


def test_what_is_left_until_harm_is_reckoned_from_the_box_where_nothing_measures_the_outside() -> (
    None
):
    """A floor of 35 degC is not 35 K of rise: minutes to the chill limit are not two."""
    night = Night(plugged_site(thermostat=False))
    goes_on(night, 60, west=lit(), east=lit())
    goes_on(night, 60, west=out, east=lit())
    (told,) = night.changes
    assert told.facts["minutes_to_chill"] > 10.0


def test_a_wild_reading_while_a_thermostat_rests_makes_no_dead_lamp() -> None:
    night = Night(plugged_site(thermostat=True))
    goes_on(night, 5 * 2400 + 1200, floor=swings, west=cycles, east=lit())
    for wild in (26.0, 27.0):
        night.says(wild)
        night.meter_says(WEST, 0.4)
        night.t += 20
        goes_on(night, 240, floor=swings, west=cycles, east=lit())
    assert night.changes == []


def test_a_rest_longer_than_any_before_on_a_colder_floor_is_none() -> None:
    night = Night(plugged_site(thermostat=True))
    goes_on(night, 5 * 2400 + 1200, floor=swings, west=cycles, east=lit())
    assert night.changes == []
    stopped = night.t
    goes_on(night, 1200, floor=swings, west=out, east=lit())
    goes_on(night, 900, floor=33.8, west=out, east=lit())
    (told,) = night.changes
    assert (told.alarm, told.facts["source"]) == (AlarmName.HEAT_LOSS, "west lamp")
    assert told.at - night.start - stopped < 1.5 * 1200


def test_a_plug_stuck_at_nothing_on_a_floor_that_goes_up_and_down_as_before_is_no_dead_plate() -> (
    None
):
    def uneven(t: float) -> float:
        """Every other time it comes on a little sooner."""
        return swings(t) if t // 2400 % 2 else 35.8 - 0.6 * (35.8 - swings(t))

    night = Night(plugged_site(thermostat=True))
    goes_on(night, 6 * 2400 + 1200, floor=uneven, west=cycles, east=lit())
    goes_on(night, 3 * 2400, floor=uneven, west=out, east=lit())
    assert night.changes == []


def test_a_long_rest_on_a_warm_floor_stays_a_rest() -> None:
    """The sun does a thermostat's work."""
    night = Night(plugged_site(thermostat=True))
    goes_on(night, 5 * 2400 + 1200, floor=swings, west=cycles, east=lit())
    goes_on(night, 7200, floor=lambda t: 35.5 + t // 60 % 3 / 16, west=out, east=lit())
    assert night.changes == []


def test_a_plug_that_falls_silent_while_its_thermostat_rests_hides_no_cooling_box() -> None:
    plugged_night = Night(plugged_site(thermostat=True))
    bare = Night(
        replace(a_site(), brooders=(replace(plugged_site(thermostat=True).brooders[0], meters=()),))
    )
    for night, plugs in (
        (plugged_night, {"west": cycles, "east": lit()}),
        (bare, {}),
    ):
        goes_on(night, 5 * 2400 + 1260, floor=swings, **plugs)
        assert night.changes == []
        begins = night.t
        goes_on(night, 3600, floor=cools(begins))
    first, other = (
        next(c.at for c in night.changes if c.alarm is AlarmName.HEAT_LOSS)
        for night in (plugged_night, bare)
    )
    assert first - other <= 300.0


def test_a_rest_explains_a_falling_floor_until_a_plate_has_had_time_to_warm_it_again() -> None:
    plate = HeatSeen(HeatSource(name="plate", kind="plate", watts=80, thermostat=True))
    floor = FloorWarmth(34.5, 35.0, 37.8)
    for t in range(0, 4800, 60):
        plate.take(t, 80.0 if t // 1200 % 2 == 0 else 0.3, floor)
    assert plate.rest == (3600, 4740 + 300), "as long as its plug speaks"
    plate.take(4800, 80.0, floor)
    assert plate.rest == (3600, 4800 + 900)
