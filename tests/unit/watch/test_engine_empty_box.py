"""A box before its chicks: whether it is warm for them is seen, nothing of it is an alarm, and
nothing of it is held against the chicks that come."""

from math import exp
from random import Random

import pytest
from support.engine_night import TARGET_C, Night, a_site

from monitor.events import AlarmName, EntryKind
from monitor.watch.empty_box import WarmUp

H = 3600.0
OUTSIDE_C = 4.0


def an_empty_box() -> Night:
    return Night(a_site(outside=True), batch=False)


def goes_to(night: Night, goal_c: float, *, from_c: float, for_s: float) -> float:
    """The floor on its way to a goal, with a time constant of half an hour; where it ends."""
    begin, temp_c, dice = night.t, from_c, Random(1)
    for _ in night.until(begin + for_s):
        temp_c = goal_c + (from_c - goal_c) * exp((begin - night.t) / 1800.0)
        night.says(OUTSIDE_C, "site/shade")
        night.says(round(temp_c * 16 + dice.choice((-1, 0, 1))) / 16)
    return temp_c


def warm_up(night: Night) -> WarmUp:
    found = night.box().warm_up
    assert found is not None
    return found


def test_a_box_that_waits_for_chicks_is_held_against_what_they_will_need() -> None:
    night = an_empty_box()
    at_c = goes_to(night, TARGET_C, from_c=OUTSIDE_C, for_s=H)
    cold = warm_up(night)
    assert (cold.limits.target_c, cold.level_since) == (TARGET_C, None)
    goes_to(night, TARGET_C, from_c=at_c, for_s=3 * H)
    level = warm_up(night)
    assert level.level_since is not None
    assert night.start + H <= level.level_since <= night.start + 1.75 * H
    assert level.outlook is not None
    assert night.changes == []


def test_a_box_whose_batch_is_over_waits_for_nobody_until_birds_are_expected() -> None:
    night = an_empty_box()
    night.placed()
    goes_to(night, TARGET_C, from_c=TARGET_C, for_s=600.0)
    night.entry(EntryKind.END)
    goes_to(night, TARGET_C, from_c=TARGET_C, for_s=H)
    assert (warm_up(night).level_since, warm_up(night).outlook) == (None, None)
    night.entry(EntryKind.EXPECTED, brooder="porch", count=60, kind="layer", note="2026-02-10")
    goes_to(night, TARGET_C, from_c=TARGET_C, for_s=H)
    assert warm_up(night).level_since is not None
    expected = night.box().expected
    assert expected is not None
    assert (expected.count, expected.day.isoformat()) == (60, "2026-02-10")


def trials(night: Night) -> float:
    """Four hours at the target, then a lamp is switched off, and on again."""
    goes_to(night, TARGET_C, from_c=OUTSIDE_C, for_s=2 * H)
    at_c = goes_to(night, TARGET_C, from_c=TARGET_C, for_s=2 * H)
    at_c = goes_to(night, 20.0, from_c=at_c, for_s=1500.0)
    return goes_to(night, TARGET_C + 1.0, from_c=at_c, for_s=2400.0)


def test_what_was_tried_on_an_empty_box_is_not_held_against_its_chicks() -> None:
    night = an_empty_box()
    at_c = trials(night)
    assert night.changes == []
    night.placed()
    at_c = goes_to(night, TARGET_C + 1.0, from_c=at_c, for_s=H)
    box = night.box()
    assert box.diagnosis is None
    assert box.learned is not None
    assert box.learned.rise_k == pytest.approx(TARGET_C + 1.0 - OUTSIDE_C, abs=1.0)
    goes_to(night, TARGET_C + 1.0, from_c=at_c, for_s=5 * H)
    assert night.changes == []
    assert night.box().warm_up is None


def test_a_lamp_that_dies_beside_the_chicks_is_told_all_the_same_after_such_trials() -> None:
    night = an_empty_box()
    at_c = trials(night)
    night.placed()
    at_c = goes_to(night, TARGET_C, from_c=at_c, for_s=2 * H)
    goes_to(night, 20.0, from_c=at_c, for_s=2400.0)
    assert AlarmName.HEAT_LOSS in [change.alarm for change in night.changes]


def test_a_restart_forgets_nothing_of_a_box_that_is_warmed() -> None:
    night = an_empty_box()
    goes_to(night, TARGET_C, from_c=TARGET_C, for_s=2 * H)
    before = warm_up(night)
    night.restarts(1000.0)
    assert warm_up(night) == before


def test_tonight_is_answered_of_an_empty_box_without_the_warmth_of_birds() -> None:
    night = an_empty_box()
    goes_to(night, TARGET_C, from_c=TARGET_C, for_s=3 * H)
    mild = night.engine.tonight("porch", night.now(), low_c=2.0).outlook
    bitter = night.engine.tonight("porch", night.now(), low_c=-15.0).outlook
    assert mild is not None
    assert bitter is not None
    assert mild.chance < 0.3
    assert bitter.chance > 0.7
