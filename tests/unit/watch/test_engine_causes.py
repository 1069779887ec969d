"""What the engine makes of the thermal side's word: one cause, one trouble. The estimator here says
what the test wants; the real one is tried on simulated nights elsewhere."""

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import pytest
from support.engine_night import EVENING, Night, a_brooder, a_site, with_probe
from support.no_estimate import NoEstimate

from monitor.brooding.heat_balance import BoxChange
from monitor.events import AlarmName, Cause, ChangeKind, EntryKind, Moment, Priority
from monitor.site import Brooder, Place
from monitor.tell.wording import for_change
from monitor.thermal.coming_night import LowAt
from monitor.thermal.diagnosis import (
    Diagnosis,
    FaultKind,
    Finding,
    Interval,
    Learned,
    Outlook,
    Ways,
)
from monitor.thermal.outside_curve import Skies, from_low

LOST = Diagnosis(
    cause=Cause.HEAT_SOURCE,
    started=0.0,
    source="west lamp",
    source_sure=True,
    source_watts=250.0,
    rate_k_per_h=-9.0,
)


class Told(NoEstimate):
    """Says what it was told to say."""

    def __init__(self) -> None:
        self.diagnosis = Diagnosis()
        self.news = False
        self.chance = 0.0
        self.seen = True
        self.ways: Ways = ()
        self.asked: list[tuple[Moment, float]] = []

    def say(self, diagnosis: Diagnosis) -> None:
        self.diagnosis = diagnosis
        self.news = True

    def observe(self, tick: float, probe_key: str, temp_c: float) -> Diagnosis | None:
        news, self.news = self.news, False
        return self.diagnosis if news else None

    def minutes_to(self, limit_c: float, tick: float) -> Interval | None:
        return Interval(40.0, 30.0, 55.0)

    def skies(self, now: Moment, until_at: float) -> Skies | None:
        curve = from_low(now, 8.0, -2.0, until_at)
        return (replace(curve, source="the test"),)

    def coming_night(
        self, start: Moment, outside: Skies, until_at: float, *, low_at: LowAt
    ) -> "ToldNight":
        self.asked.append((start, until_at))
        return ToldNight(self, outside[0].source, until_at)


class ToldNight(NamedTuple):
    """Holds only with another lamp or cover."""

    told: Told
    source: str
    until_at: float

    def chance(self, change: BoxChange) -> float:
        return self.told.chance if change.rise_gain == 1.0 else 0.0

    def outlook(self, change: BoxChange) -> Outlook:
        return Outlook(
            lowest_c=Interval(30.0, 29.0, 31.0),
            lowest_at=self.until_at - 7200.0,
            leaves_band_at=self.until_at - 10800.0,
            chance=self.chance(change),
            missing_watts=80.0,
            outside_low_c=-2.0,
            outside_from=self.source,
            seen=self.told.seen,
            ways=self.told.ways,
            learned=1.0,
        )


@pytest.fixture
def told() -> Told:
    return Told()


@pytest.fixture
def make(told: Told) -> Callable[[Brooder, bool], NoEstimate]:
    return lambda _brooder, _outside: told


@pytest.fixture
def night(make: Callable[[Brooder, bool], NoEstimate]) -> Night:
    return Night(make_estimator=make)


def test_a_lost_source_is_told_at_once_with_its_name_and_the_minutes_left(
    night: Night, told: Told
) -> None:
    night.holds(35.0, for_s=600)
    told.say(LOST)
    night.holds(34.0, for_s=10)
    (lost,) = night.changes
    assert (lost.alarm, lost.priority) == (AlarmName.HEAT_LOSS, Priority.URGENT)
    assert lost.cause is Cause.HEAT_SOURCE
    assert lost.facts["source"] == "west lamp"
    assert lost.facts["source_sure"]
    assert lost.facts["minutes_to_chill_low"] == 30.0
    assert lost.facts["rate_c_per_h"] == -9.0


def test_cold_and_chill_after_it_are_the_same_trouble_and_told_already(
    night: Night, told: Told
) -> None:
    """Who is asked about the dead lamp hears with the next repeat how cold it is by now; the page
    shows the chill."""
    night.holds(35.0, for_s=600)
    told.say(LOST)
    night.holds(34.0, for_s=60)
    night.holds(31.0, for_s=600)
    night.holds(28.0, for_s=600)
    lost, cold, chill = [c for c in night.changes if c.change is ChangeKind.RAISED]
    assert [c.alarm for c in (lost, cold, chill)] == [
        AlarmName.HEAT_LOSS,
        AlarmName.COLD,
        AlarmName.CHILL,
    ]
    assert {c.facts["incident"] for c in (lost, cold, chill)} == {lost.occurrence}
    assert [c.facts.get("folded", False) for c in (lost, cold, chill)] == [False, True, True]
    assert {c.cause for c in (cold, chill)} == {Cause.HEAT_SOURCE}
    box = night.box()
    assert AlarmName.CHILL in [a.alarm for a in box.alarms if not a.folded]
    assert chill.facts["source"] == "west lamp"


def test_a_cause_that_was_named_beside_the_other_is_not_told_anew(night: Night, told: Told) -> None:
    """One floor probe cannot tell a lamp from the cover: both were to be looked at."""
    night.holds(35.0, for_s=600)
    told.say(LOST)
    night.holds(34.0, for_s=60)
    told.say(replace(LOST, cause=Cause.COVER_OPEN, source=None))
    night.holds(34.0, for_s=60)
    assert [(c.change, c.facts.get("either")) for c in night.changes] == [(ChangeKind.RAISED, True)]


def beside_another(
    make: Callable[[Brooder, bool], NoEstimate], name: str, place: Place
) -> tuple[Night, tuple[str, str]]:
    """A box with a probe beside the one on its floor, ten minutes well; and both probes."""
    box = with_probe(a_brooder(), name, place)
    night, both = Night(a_site(box), make_estimator=make), ("porch/floor", f"porch/{name}")
    night.holds(35.0, for_s=600, probes=both)
    return night, both


def test_with_a_probe_elsewhere_in_the_box_the_cause_is_told_and_the_better_one_after_it(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    night, both = beside_another(make, "cool", Place.COOL_END)
    told.say(LOST)
    night.holds(34.0, for_s=60, probes=both)
    told.say(replace(LOST, cause=Cause.COVER_OPEN, source=None))
    night.holds(34.0, for_s=60, probes=both)
    assert [c.change for c in night.changes] == [ChangeKind.RAISED, ChangeKind.EXPLAINED]
    assert not [c for c in night.changes if "either" in c.facts]


def test_where_the_fall_may_be_either_both_are_told_and_stay_so_once_it_has_ended(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    """A probe lies at the cool end, but what fell does not say which it was."""
    night, both = beside_another(make, "cool", Place.COOL_END)
    told.say(replace(LOST, cause=Cause.COVER_OPEN, source=None, cause_sure=False))
    night.holds(34.0, for_s=60, probes=both)
    told.say(Diagnosis())
    night.holds(29.0, for_s=600, probes=both)
    told.say(LOST)
    night.holds(29.0, for_s=60, probes=both)
    assert [(c.alarm, c.facts.get("either")) for c in night.changes] == [
        (AlarmName.HEAT_LOSS, True),
        (AlarmName.CHILL, True),
        (AlarmName.COLD, True),
    ]


def test_beside_a_source_that_no_probe_lies_beneath_an_open_cover_is_not_told_alone(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    """Of two lamps one had a probe: the other one burnt out, and only the cover was named."""
    night, both = beside_another(make, "under west lamp", Place.UNDER_HEAT)
    told.say(replace(LOST, cause=Cause.COVER_OPEN, source=None))
    night.holds(34.0, for_s=60, probes=both)
    assert [(c.change, c.facts.get("either")) for c in night.changes] == [(ChangeKind.RAISED, True)]


def test_a_cover_that_was_told_is_no_lost_heat_once_the_floor_rises_again(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    """Below its band before, it went up past where the fall had begun, and "heat has stopped" was
    told of it."""
    box = with_probe(a_brooder(), "cool", Place.COOL_END)
    night = Night(a_site(box), make_estimator=make)
    both = ("porch/floor", "porch/cool")
    night.holds(32.4, for_s=600, probes=both)
    told.say(replace(LOST, cause=Cause.COVER_OPEN, source=None))
    night.holds(31.0, for_s=120, probes=both)
    told.say(Diagnosis())
    night.holds(31.9, for_s=3600, probes=both)
    assert {c.alarm for c in night.changes} == {AlarmName.HEAT_LOSS, AlarmName.COLD}
    assert {c.change for c in night.changes} == {ChangeKind.RAISED}
    assert {c.cause for c in night.changes} == {Cause.COVER_OPEN}


def test_a_lost_source_is_not_over_while_the_floor_is_below_its_band(
    night: Night, told: Told
) -> None:
    night.holds(35.0, for_s=600)
    told.say(LOST)
    night.holds(31.0, for_s=600)
    told.say(Diagnosis())
    night.holds(31.0, for_s=600)
    assert night.told(ChangeKind.CLEARED) == []
    night.holds(35.0, for_s=120)
    assert sorted(night.told(ChangeKind.CLEARED)) == ["porch/cold", "porch/heat-loss"]


def test_answering_the_lost_source_answers_the_cold_that_follows(night: Night, told: Told) -> None:
    night.holds(35.0, for_s=600)
    told.say(LOST)
    night.holds(34.0, for_s=60)
    night.entry(EntryKind.ACKNOWLEDGE, brooder="porch", alarm="heat-loss", by="my phone")
    night.holds(31.0, for_s=600)
    assert night.told(ChangeKind.ACKNOWLEDGED) == ["porch/heat-loss", "porch/cold"]
    night.holds(28.0, for_s=60)  # but chill is worse, and asks again
    box = night.box()
    assert {a.alarm.value: a.acknowledged for a in box.alarms} == {
        "heat-loss": True,
        "cold": True,
        "chill": False,
    }


def test_without_birds_a_lost_source_is_nobodys_trouble(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    night = Night(batch=False, make_estimator=make)
    night.holds(35.0, for_s=60)
    told.say(LOST)
    night.holds(34.0, for_s=60)
    assert night.changes == []


def test_a_rising_floor_under_a_slipped_lamp_is_an_overheat_at_once(
    night: Night, told: Told
) -> None:
    night.holds(35.0, for_s=600)
    told.say(Diagnosis(cause=Cause.OVERHEAT, started=night.start + 590, rate_k_per_h=60.0))
    night.holds(38.0, for_s=10)
    assert night.told() == ["porch/overheat"]
    assert night.changes[0].at == night.start + 600


@pytest.mark.parametrize(
    ("hours_later", "most_s"), [(-6, 900), (0, 300), (2, 300), (8, 300), (13, 300)]
)
def test_a_grower_at_work_holds_cold_back_by_night_no_longer_than_a_plain_alarm(
    make: Callable[[Brooder, bool], NoEstimate], told: Told, hours_later: int, most_s: float
) -> None:
    night = Night(start=EVENING + hours_later * 3600, make_estimator=make)
    night.holds(35.0, for_s=600)
    told.say(Diagnosis(hold_until=night.start + night.t + 36000.0))
    night.holds(31.0, for_s=1200)
    (cold,) = night.changes
    assert cold.at == night.start + 600 + most_s


def test_what_is_over_before_the_hold_ends_was_no_alarm(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    night = Night(start=EVENING - 6 * 3600, make_estimator=make)
    night.holds(35.0, for_s=600)
    told.say(Diagnosis(hold_until=night.start + night.t + 600.0))
    night.holds(31.0, for_s=500)
    night.holds(35.0, for_s=600)
    assert night.changes == []


@pytest.mark.parametrize("temp_c", [29.0, 25.0])
def test_chill_is_never_held(night: Night, told: Told, temp_c: float) -> None:
    night.holds(35.0, for_s=600)
    told.say(Diagnosis(hold_until=night.start + night.t + 36000.0))
    night.holds(temp_c, for_s=60)
    assert night.told() == ["porch/chill"]
    assert night.changes[0].at == night.start + 630


def test_a_fall_that_will_soon_be_harm_is_held_no_longer(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    night = Night(start=EVENING - 6 * 3600, make_estimator=make)
    night.holds(35.0, for_s=600)
    told.say(Diagnosis(hold_until=night.start + night.t + 36000.0))
    for _ in night.until(3000, 10):
        night.says(35.0 - (night.t - 600) / 500)  # cold after 24 min, chill after 47
    cold = next(c for c in night.changes if c.alarm is AlarmName.COLD)
    left_s = (cold.facts["temp_c"] - cold.facts["chill_c"]) * 500
    assert 590 <= left_s <= 620


def test_fire_is_never_held_back(night: Night, told: Told) -> None:
    night.holds(35.0, for_s=600)
    told.say(Diagnosis(hold_until=night.start + night.t + 36000.0))
    night.holds(52.0, for_s=60)
    assert "porch/overheat" in night.told()


def test_a_probe_that_is_doubted_is_told_as_that_beside_the_cold_that_it_says(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    night = Night(a_site(a_brooder(floors=2)), make_estimator=make)
    both = ("porch/floor", "porch/far floor")
    night.holds(35.0, for_s=600, probes=both)
    stuck = Finding(
        probe="porch/far floor",
        kind=FaultKind.STUCK,
        reason="has said 31.0 for two hours while the others moved",
        since=night.start,
    )
    told.say(Diagnosis(cause=Cause.SENSOR, findings=(stuck,), rate_k_per_h=2.3))
    for _ in night.until(1800, 10):
        night.says(35.0, both[0])
        night.says(31.0, both[1])
    fault, cold = night.changes
    assert (fault.alarm, fault.probe) == (AlarmName.PROBE_FAULT, both[1])
    assert fault.facts["reason"] == stuck.reason
    assert (cold.alarm, cold.probe, cold.cause) == (AlarmName.COLD, both[1], Cause.SENSOR)
    assert stuck.reason in cold.facts["doubt"]
    assert cold.facts["rate_c_per_h"] <= 0.0, "the estimate's is that of the other one"
    assert night.box().trend_c_per_h <= 0.0


def test_a_finding_never_leaves_the_only_floor_probe_unwatched(night: Night, told: Told) -> None:
    night.holds(35.0, for_s=600)
    doubt = Finding(probe="porch/floor", kind=FaultKind.DRIFT, reason="drifts", since=night.start)
    told.say(Diagnosis(cause=Cause.SENSOR, findings=(doubt,)))
    night.holds(28.0, for_s=600)
    assert night.told() == ["porch/probe-fault", "porch/chill", "porch/cold"]


def test_a_cold_night_is_told_in_the_evening_and_over_in_the_morning(
    night: Night, told: Told
) -> None:
    told.chance = 0.7
    night.holds(35.0, for_s=15 * 3600, every_s=60)
    kinds = [(c.alarm, c.change, c.at - night.start) for c in night.changes]
    assert kinds == [
        # A box heard for less than an hour, found at the first look, holds nobody knows what.
        (AlarmName.COLD_NIGHT, ChangeKind.RAISED, 900.0 + 3600.0),
        (AlarmName.COLD_NIGHT, ChangeKind.CLEARED, 14 * 3600.0),
    ]
    facts = night.changes[0].facts
    assert (facts["lowest_c"], facts["lowest_low_c"], facts["lowest_high_c"]) == (30.0, 29.0, 31.0)
    assert facts["missing_watts"] == 80.0
    assert facts["outside_from"] == "the test"


def test_before_evening_a_cold_night_must_be_likelier_to_be_told(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    """The lamps are yet to be hung for the night."""
    night = Night(start=EVENING - 3 * 3600, make_estimator=make)
    told.chance = 0.6
    night.holds(35.0, for_s=3.9 * 3600, every_s=60)
    assert night.told() == []
    night.holds(35.0, for_s=1800, every_s=60)
    assert night.told() == ["porch/cold-night"]


def test_no_heat_is_taken_from_a_box_while_a_cold_night_stands(night: Night, told: Told) -> None:
    """Not even in the hours in which it is not likely any more but not called off yet."""
    told.chance = 0.7
    night.holds(35.0, for_s=5400, every_s=60)
    told.chance = 0.1
    night.holds(35.0, for_s=1200, every_s=60)
    night.holds(39.5, for_s=1500, every_s=60)
    hot = next(c for c in night.changes if c.alarm is AlarmName.HOT)
    assert "porch/cold-night" not in night.told(ChangeKind.CLEARED)
    text = for_change(hot, night.site)
    assert "a cold night is ahead" in text.body
    assert "aise a lamp" not in text.body


def test_a_cold_night_that_turns_milder_is_called_off_with_a_margin(
    night: Night, told: Told
) -> None:
    told.chance = 0.6
    night.holds(35.0, for_s=5400, every_s=60)
    assert night.told() == ["porch/cold-night"]
    told.chance = 0.3  # below the warning, above the all-clear
    night.holds(35.0, for_s=3600, every_s=60)
    assert night.told(ChangeKind.CLEARED) == []
    told.chance = 0.1  # a single look says little
    night.holds(35.0, for_s=5400, every_s=60)
    assert night.told(ChangeKind.CLEARED) == []
    night.holds(35.0, for_s=3600, every_s=60)
    assert night.told(ChangeKind.CLEARED) == ["porch/cold-night"]


@pytest.mark.parametrize(("seen", "told_of"), [(False, []), (True, ["porch/cold-night"])])
def test_a_floor_that_was_not_yet_seen_to_go_with_the_outside_must_be_likelier_to_leave_its_band(
    night: Night, told: Told, seen: bool, told_of: list[str]
) -> None:
    """It may be one that a thermostat holds, or that was cooled by a cover off for the feeding."""
    told.chance, told.seen = 0.55, seen
    night.holds(35.0, for_s=5400, every_s=60)
    assert night.told() == told_of


A_FRONT_OR_NONE = ((0.6, ()), (0.4, ()))


@pytest.mark.parametrize(
    ("ways", "told_of"), [(((1.0, ()),), []), (A_FRONT_OR_NONE, ["porch/cold-night"])]
)
def test_a_front_that_no_forecast_shows_is_told_sooner(
    night: Night, told: Told, ways: Ways, told_of: list[str]
) -> None:
    """Whoever waits until it is likelier than not has an hour less to do something."""
    told.chance, told.ways = 0.47, ways
    night.holds(35.0, for_s=5400, every_s=60)
    assert night.told() == told_of


def test_by_day_nobody_is_warned_of_the_night(make: Callable[[Brooder, bool], NoEstimate]) -> None:
    told = Told()
    told.chance = 1.0
    night = Night(make_estimator=lambda _b, _o: told)
    night.t = 15 * 3600.0  # nine in the morning
    night.holds(35.0, for_s=5.5 * 3600, every_s=60)
    before = len(told.asked)
    night.holds(35.0, for_s=3600, every_s=60)
    assert before == len([1 for now, _ in told.asked if now.at < night.start + 14 * 3600])
    assert night.told()[-1] == "porch/cold-night"


def test_tonight_answers_what_if_and_changes_nothing(night: Night, told: Told) -> None:
    told.chance = 0.7
    night.holds(35.0, for_s=600)
    before = night.engine.kept()
    as_it_is = night.engine.tonight("porch", night.now()).outlook
    with_lamp = night.engine.tonight("porch", night.now(), extra_watts=250.0).outlook
    given_low = night.engine.tonight("porch", night.now(), low_c=-5.0).outlook
    assert as_it_is is not None
    assert with_lamp is not None
    assert given_low is not None
    assert (as_it_is.chance, with_lamp.chance) == (0.7, 0.0)
    assert given_low.outside_from == "the low you gave"
    assert night.engine.kept() == before


def test_a_reading_in_doubt_begins_nothing(night: Night, told: Told) -> None:
    night.holds(35.0, for_s=600)
    told.say(Diagnosis(doubted=("porch/floor",)))
    night.holds(15.0, for_s=30, every_s=30)
    told.say(Diagnosis())
    night.holds(35.0, for_s=300)
    assert night.changes == []


def test_doubt_does_not_call_off_what_is_active(night: Night, told: Told) -> None:
    night.holds(31.0, for_s=600)
    told.say(Diagnosis(doubted=("porch/floor",)))
    night.holds(36.0, for_s=110)
    assert night.told(ChangeKind.CLEARED) == []


def test_no_doubt_lasts_for_ever(night: Night, told: Told) -> None:
    night.holds(35.0, for_s=600)
    told.say(Diagnosis(doubted=("porch/floor",)))
    night.holds(20.0, for_s=300, every_s=30)
    assert "porch/chill" in night.told()


@pytest.mark.parametrize("temp_c", [15.0, 56.0])
def test_one_reading_raises_nothing_though_no_other_follows(night: Night, temp_c: float) -> None:
    night.holds(35.0, for_s=600)
    night.says(temp_c)
    night.waits(1200)
    assert night.told() == ["porch/no-readings"]


def test_a_single_hot_reading_that_is_not_borne_out_is_no_fire(night: Night, told: Told) -> None:
    night.holds(35.0, for_s=600)
    told.say(Diagnosis(doubted=("porch/floor",)))
    night.says(56.0)
    night.t += 60
    told.say(Diagnosis())
    night.holds(35.0, for_s=300)
    assert night.changes == []


def test_while_lost_heat_stands_a_floor_that_cools_on_alone_is_not_called_the_probe(
    night: Night, told: Told
) -> None:
    """What is beside it has come to rest in the cold by then."""
    night.holds(35.0, for_s=600)
    told.say(Diagnosis(cause=Cause.HEAT_SOURCE, source="west lamp"))
    night.holds(31.0, for_s=600)
    told.say(Diagnosis(cause=Cause.SENSOR))
    night.holds(28.0, for_s=1800)
    causes = {c.cause for c in night.changes if c.alarm in (AlarmName.CHILL, AlarmName.COLD)}
    assert causes == {Cause.HEAT_SOURCE}


def test_a_chill_that_comes_back_by_a_probe_at_fault_is_no_news(night: Night, told: Told) -> None:
    """The fault of a probe has an alarm of its own."""
    night.holds(35.0, for_s=600)
    night.holds(28.0, for_s=60)
    night.holds(35.0, for_s=900)
    told.say(Diagnosis(cause=Cause.SENSOR))
    night.holds(28.0, for_s=60)
    first, again = [
        c for c in night.changes if c.alarm is AlarmName.CHILL and c.change is ChangeKind.RAISED
    ]
    assert (first.cause, again.cause) == (Cause.UNKNOWN, Cause.SENSOR)
    assert again.facts["folded"]


def found_alone(night: Night, probe: str) -> Diagnosis:
    """That probe cools as no floor can."""
    finding = Finding(probe=probe, kind=FaultKind.FELL_ALONE, reason="cooled", since=night.start)
    return Diagnosis(cause=Cause.SENSOR, findings=(finding,))


def test_a_probe_that_is_told_as_what_is_behind_the_cold_is_not_told_once_more(
    night: Night, told: Told
) -> None:
    """And it is told at once, not with the next look."""
    night.holds(35.0, for_s=600)
    night.holds(28.0, for_s=60)
    (chill,) = night.changes
    told.say(found_alone(night, "porch/floor"))
    night.holds(28.0, for_s=10)
    explained, fault = night.changes[1:]
    assert (explained.change, explained.occurrence) == (ChangeKind.EXPLAINED, chill.occurrence)
    assert (explained.cause, explained.facts.get("folded")) == (Cause.SENSOR, None)
    assert (fault.alarm, fault.at) == (AlarmName.PROBE_FAULT, explained.at)
    assert fault.facts["folded"]
    box = night.box()
    assert {AlarmName.CHILL, AlarmName.PROBE_FAULT} <= {a.alarm for a in box.alarms if not a.folded}
    night.holds(28.0, for_s=3600)
    assert [c for c in night.changes[3:] if not c.facts.get("folded")] == []


def test_the_fault_of_another_probe_than_the_cold_one_is_told_for_itself(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    night = Night(a_site(a_brooder(floors=2)), make_estimator=make)
    night.holds(35.0, for_s=600, probes=("porch/floor", "porch/far floor"))
    night.holds(28.0, for_s=60)
    told.say(found_alone(night, "porch/far floor"))
    night.holds(28.0, for_s=10)
    fault = night.changes[-1]
    assert (fault.alarm, fault.facts.get("folded")) == (AlarmName.PROBE_FAULT, None)


def test_a_probe_whose_cold_is_over_is_told_when_it_is_at_fault_later(
    night: Night, told: Told
) -> None:
    told.say(found_alone(night, "porch/floor"))
    night.holds(28.0, for_s=600)
    told.say(Diagnosis())
    night.holds(35.0, for_s=7200)
    told.say(found_alone(night, "porch/floor"))
    night.holds(35.0, for_s=10)
    fault = night.changes[-1]
    assert (fault.alarm, fault.facts.get("folded")) == (AlarmName.PROBE_FAULT, None)


@pytest.mark.parametrize(
    ("foretold", "beneath_c", "cause"),
    [
        (True, 40.0, Cause.COLD_NIGHT),
        (False, 40.0, Cause.UNKNOWN),
        (True, 27.0, Cause.UNKNOWN),
    ],
)
def test_weather_is_named_only_where_it_was_foretold_before_and_it_is_warm_beneath_each_source(
    make: Callable[[Brooder, bool], NoEstimate],
    told: Told,
    foretold: bool,
    beneath_c: float,
    cause: Cause,
) -> None:
    """A floor whose lamp has died makes the night look cold."""
    box = with_probe(a_brooder(), "under west lamp", Place.UNDER_HEAT)
    night = Night(a_site(box, outside=True), make_estimator=make)
    told.learned = Learned(
        floor_c=31.0,
        rise_k=28.0,
        rise_sd_k=0.5,
        time_constant_s=3600.0,
        share=1.0,
    )
    for floor_c, chance, until_s in (
        (35.0, 0.9 if foretold else 0.0, 7200.0),
        (31.0, 0.9 if foretold else 0.0, 7800.0),
        (31.0, 0.9, 14400.0),
    ):
        told.chance = chance
        for _ in night.until(until_s):
            night.says(floor_c, "porch/floor")
            night.says(beneath_c, "porch/under west lamp")
            night.says(3.0, "site/shade")
    assert "porch/cold-night" in night.told()
    assert {c.cause for c in night.changes if c.alarm is AlarmName.COLD} == {cause}


def test_a_floor_whose_cold_the_weather_did_not_explain_is_not_put_down_to_it_later(
    make: Callable[[Brooder, bool], NoEstimate], told: Told
) -> None:
    """Hours after a lamp had died: "the heat seems to be on, but it cannot keep up"."""
    night = Night(a_site(outside=True), make_estimator=make)
    told.chance = 0.9  # foretold before
    for floor_c, held_k, until_s in (
        (35.0, 32.0, 7200.0),
        (31.0, 32.0, 9000.0),
        (31.0, 28.0, 16e3),
    ):
        told.learned = Learned(
            floor_c=floor_c, rise_k=held_k, rise_sd_k=0.5, time_constant_s=3600.0, share=1.0
        )
        for _ in night.until(until_s):
            night.says(floor_c, "porch/floor")
            night.says(3.0, "site/shade")
    assert "porch/cold-night" in night.told()
    assert {c.cause for c in night.changes if c.alarm is AlarmName.COLD} == {Cause.UNKNOWN}
