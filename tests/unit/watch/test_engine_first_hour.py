"""What is told in the first hour of a box, when little is known of it."""

from random import Random

import pytest
from support.engine_night import Night


@pytest.mark.parametrize("off_k_per_h", [5.0, 7.0])
def test_the_first_off_phase_of_a_thermostat_is_no_lost_heat(off_k_per_h: float) -> None:
    night = Night()
    rng, temp_c = Random(1), 35.5
    for step in range(84):  # on for twenty minutes, then off for as long
        temp_c -= 0.0 if step < 40 else off_k_per_h / 120
        night.says(temp_c + rng.gauss(0, 0.05))
        night.t += 30.0
    assert night.told() == []


def test_a_lamp_that_dies_in_the_first_hour_is_told_once_the_floor_leaves_its_band() -> None:
    night = Night()
    rng, temp_c = Random(1), 35.5
    for step in range(100):
        temp_c -= 0.0 if step < 40 else 0.1
        night.says(temp_c + rng.gauss(0, 0.05))
        night.t += 30.0
    assert {"porch/heat-loss", "porch/cold"} & set(night.told())
