"""The night foretold while heat is missed, and once it is back."""

from collections.abc import Callable
from math import exp
from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_site

from monitor.events import EntryKind
from monitor.thermal.diagnosis import Outlook

H = 3600.0
OUT_AT, BACK_AT = 4.0 * H, 5.5 * H
HELD_C, WITHOUT_C, TAU_S = 34.5, 24.0, 1.2 * H


def floor_c(at: float) -> float:
    """Held, without one lamp, and with it again."""
    if at < OUT_AT:
        return HELD_C
    without_c = HELD_C + (WITHOUT_C - HELD_C) * (1.0 - exp(-(min(at, BACK_AT) - OUT_AT) / TAU_S))
    if at < BACK_AT:
        return without_c
    return HELD_C + (without_c - HELD_C) * exp(-(at - BACK_AT) / (0.3 * H))


def watched(
    night: Night, rng: Random, until: float, floor: Callable[[float], float] = floor_c
) -> Outlook:
    for _ in night.until(until):
        night.says(floor(night.t) + rng.gauss(0.0, 0.03))
        night.says(8.0 - night.t / (4.0 * H), "site/shade")
    found = night.engine.tonight("porch", night.now()).outlook
    assert found is not None
    return found


def test_heat_that_is_back_is_reckoned_with_for_the_night_at_once() -> None:
    night, rng = Night(a_site(a_brooder(), outside=True)), Random(1)
    before = watched(night, rng, OUT_AT)
    at_once = watched(night, rng, OUT_AT + 0.25 * H)  # and no box as most: its heat is missed
    assert not at_once.below_now
    assert at_once.lowest_c.mid < WITHOUT_C + 2.0
    missed = watched(night, rng, OUT_AT + 1.0 * H)
    assert "porch/heat-loss" in night.told()
    back = watched(night, rng, BACK_AT + 0.75 * H)
    assert missed.lowest_c.mid < before.lowest_c.mid - 4.0
    assert back.lowest_c.mid > before.lowest_c.mid - 0.7
    assert back.chance < before.chance


def test_while_a_floor_comes_back_the_night_is_foretold_from_no_lower_than_it_is() -> None:
    """For an hour the page foretold the night without that heat, beside "some of it is back"."""

    def slowly(at: float) -> float:
        if at < BACK_AT:
            return floor_c(at)
        return HELD_C + (floor_c(BACK_AT) - HELD_C) * exp(-(at - BACK_AT) / H)

    night, rng = Night(a_site(a_brooder(), outside=True)), Random(1)
    watched(night, rng, OUT_AT)
    missed = watched(night, rng, BACK_AT, slowly)
    for minutes in (30.0, 45.0, 60.0):
        rising = watched(night, rng, BACK_AT + 60.0 * minutes, slowly)
        assert rising.lowest_c.mid > slowly(night.t) - 2.0 > missed.lowest_c.mid
        assert rising.lowest_c.low < rising.lowest_c.mid - 1.5, "how much is back nobody knows yet"


@pytest.mark.parametrize("minutes", [10.0, 20.0])
def test_a_floor_whose_heat_was_hung_anew_is_foretold_from_where_it_is(minutes: float) -> None:
    night, rng, hung_at = Night(a_site(a_brooder(), outside=True)), Random(1), 3.0 * H

    def floor_c(at: float) -> float:
        return 34.5 - 4.5 * exp(-max(0.0, at - hung_at) / (0.5 * H))

    before = watched(night, rng, hung_at, floor_c)
    night.entry(EntryKind.HEAT_CHANGED, brooder="porch")
    after = watched(night, rng, hung_at + 60.0 * minutes, floor_c)
    gained_k = floor_c(night.t) - floor_c(hung_at)
    assert after.lowest_c.mid - before.lowest_c.mid > gained_k - 0.5
    assert after.lowest_c.low < after.lowest_c.mid - 1.0, "where it settles nobody knows yet"
