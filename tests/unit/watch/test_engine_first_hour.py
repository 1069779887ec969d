"""What is told in the first hour of a box, when little is known of it."""

from dataclasses import replace
from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_probe, a_site

from monitor.site import Place


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


def test_the_first_off_phase_beneath_a_source_is_no_dead_lamp() -> None:
    """Its probe falls by eight degrees and comes back; that it does so again and again is not yet
    known."""
    box, under = a_brooder(), ("under west lamp", "under east lamp")
    probes = (a_probe("porch", name, Place.UNDER_HEAT) for name in under)
    night = Night(a_site(replace(box, probes=(*box.probes, *probes))))
    rng, west_c, floor_c = Random(1), 42.0, 35.5
    for step in range(120):  # on for twenty minutes, off for ten, on again
        lit = not 40 <= step < 60
        west_c += ((42.0 if lit else 32.0) - west_c) / 8
        floor_c += ((35.5 if lit else 33.0) - floor_c) / 25
        for temp_c, name in ((floor_c, "floor"), (west_c, under[0]), (41.0, under[1])):
            night.says(temp_c + rng.gauss(0, 0.05), f"porch/{name}")
        night.t += 30.0
    assert night.told() == []
