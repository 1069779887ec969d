"""What looks like lost heat for some minutes and is none: nobody is called to the box."""

from dataclasses import replace
from math import exp
from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_probe, a_site

from monitor.events import AlarmName
from monitor.site import Place

LAMPS = ("under west lamp", "under east lamp")


def a_night(*under: str, every_s: float) -> tuple[Night, list[str]]:
    """Probes on the floor and beneath lamps, two quiet hours old at eight in the evening."""
    box = a_brooder()
    probes = (*box.probes, *(a_probe("porch", name, Place.UNDER_HEAT) for name in under))
    night = Night(a_site(replace(box, probes=probes)))
    lives(night, 2 * 3600, every_s, under)
    return night, night.told()


def lives(night: Night, for_s: float, every_s: float, under=(), *, course=lambda _: 35.0, odd=None):
    """The floor goes its course (degC by seconds); `odd` is what the first lamp's probe says."""
    rng, began = Random(int(night.t)), night.t
    while night.t < began + for_s:
        night.says(course(night.t - began) + rng.gauss(0, 0.05))
        for name in under:
            temp_c = odd if odd is not None and name == under[0] else 42.0
            night.says(temp_c + rng.gauss(0, 0.05), f"porch/{name}")
        night.t += every_s


@pytest.mark.parametrize("wild", [1, 2])
def test_a_lamps_probe_that_is_wild_for_a_reading_or_two_is_no_dead_lamp(wild):
    night, before = a_night(*LAMPS, every_s=60.0)
    lives(night, 60.0 * wild, 60.0, LAMPS, odd=26.0)
    lives(night, 600.0, 60.0, LAMPS)
    assert night.told() == before == []


def test_a_lamp_whose_probe_collapses_is_told_within_three_minutes():
    night, _ = a_night(*LAMPS, every_s=60.0)
    lives(night, 180.0, 60.0, LAMPS, odd=26.0)
    assert [c.alarm for c in night.changes] == [AlarmName.HEAT_LOSS]


def test_a_cover_lifted_for_feeding_while_the_floor_came_down_before_is_no_lost_heat():
    """It is off for five minutes: what went before, a lamp raised or an off-phase, is not of it."""
    night, _ = a_night(every_s=30.0)

    def course(seconds: float) -> float:
        lifted_s = min(max(0.0, seconds - 720.0), 300.0)
        shut_s = max(0.0, seconds - 1020.0)
        drifted_k = min(seconds, 720.0) / 720.0 * 0.9
        return 35.0 - drifted_k - 2.6 * (1 - exp(-lifted_s / 200.0)) * exp(-shut_s / 200.0)

    lives(night, 2400.0, 30.0, course=course)
    assert "porch/heat-loss" not in night.told()
