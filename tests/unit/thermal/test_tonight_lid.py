"""The night foretold while somebody has the lid open."""

from math import exp
from random import Random

import pytest
from support.engine_night import EVENING, Night, a_brooder, a_site

H = 3600.0
OPEN_AT, SHUT_AT = 6.2 * H, 6.3 * H  # 17:12 to 17:18
HELD_C = 35.6


def floor_c(at: float) -> float:
    """Held; with the lid open it falls as the air does, and is back in some minutes."""
    if at < OPEN_AT:
        return HELD_C
    open_s = min(at, SHUT_AT) - OPEN_AT
    fallen_k = 4.0 * (1.0 - exp(-open_s / 150.0))
    return HELD_C - fallen_k * exp(-max(0.0, at - SHUT_AT) / 200.0)


@pytest.mark.parametrize("outside", [False, True])
def test_a_lid_that_is_open_while_the_night_is_foretold_makes_it_no_colder(outside: bool) -> None:
    """Some minutes after it was opened a fall of three degrees went on all night."""
    night, rng = Night(a_site(a_brooder(), outside=outside), start=EVENING - 7 * H), Random(1)

    def chance_at(until: float) -> float:
        for _ in night.until(until):
            night.says(floor_c(night.t) + rng.gauss(0.0, 0.05))
            if outside:
                night.says(12.0, "site/shade")
        found = night.engine.tonight("porch", night.now()).outlook
        assert found is not None
        return found.chance

    before = chance_at(OPEN_AT)
    assert floor_c(OPEN_AT + 200.0) < HELD_C - 2.8
    assert chance_at(OPEN_AT + 200.0) == pytest.approx(before, abs=0.05)
    chance_at(OPEN_AT + H)
    assert "porch/cold-night" not in night.told()
