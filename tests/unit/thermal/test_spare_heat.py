"""Too much heat put right is no loss of heat; a lamp that dies in too much heat is one."""

import math
import random

import pytest
from support.engine_night import Night, a_brooder, a_site

from monitor.events import AlarmName, Change, ChangeKind

TIME_CONSTANT_S = 25 * 60.0
FLOORS = ("porch/floor", "porch/far floor")
FIRST_DAY_S = 25 * 3600.0


class Porch:
    """Two floor probes, one outside, a reading every half a minute, sensors that round to 1/16."""

    def __init__(self, seed: int = 1) -> None:
        self.night = Night(a_site(a_brooder(floors=2), outside=True))
        self.dice = random.Random(seed)
        self.extra_k = 0.0

    def lives(self, for_s: float, *, heading_k: float = 0.0) -> None:
        """The floor goes to `heading_k` from where it should be, as a box does."""
        night = self.night
        end = night.t + for_s
        for _ in night.until(end):
            self.extra_k += (heading_k - self.extra_k) * (1 - math.exp(-30 / TIME_CONSTANT_S))
            outside_k = 4 * math.sin((night.t / 3600 - 9) / 24 * 2 * math.pi)
            floor_c = 34.8 + 0.17 * outside_k + self.extra_k
            for probe, less_k in zip(FLOORS, (0.0, 0.4), strict=True):
                night.says(self._read(floor_c - less_k, 0.08), probe)
            night.says(self._read(3 + outside_k, 0.1), "site/shade")

    def _read(self, temp_c: float, noise_k: float) -> float:
        return round((temp_c + self.dice.gauss(0, noise_k)) * 16) / 16

    def losses(self) -> list[Change]:
        return [c for c in self.night.changes if c.alarm is AlarmName.HEAT_LOSS]


@pytest.mark.parametrize(
    ("too_hot_k", "minutes"), [(9, 60), (7, 90), (7, 30), (5, 60), (4, 120), (3, 120), (2, 240)]
)
def test_a_lamp_raised_back_after_too_much_heat_is_no_loss_that_lasts(
    too_hot_k: float, minutes: int
) -> None:
    porch = Porch()
    porch.lives(FIRST_DAY_S)
    porch.lives(minutes * 60, heading_k=too_hot_k)
    put_right = porch.night.start + porch.night.t
    porch.lives(12 * 3600)
    changes = porch.losses()
    # From a fall alone it is long open where it ends; then it is seen that it has.
    assert [c.change for c in changes] in ([], [ChangeKind.RAISED, ChangeKind.CLEARED])
    for raised in changes[:1]:
        assert raised.at - put_right > 1800, "not while the floor is above its target"
        assert changes[1].at - raised.at < 3600


@pytest.mark.parametrize("too_hot_k", [9, 5])
def test_a_lamp_that_dies_in_too_much_heat_is_told_as_soon_as_in_the_right_heat(
    too_hot_k: float,
) -> None:
    """Counted from when the floor passes its target, which is when it begins to matter."""
    waited = []
    for extra_k in (0.0, too_hot_k):
        porch = Porch()
        porch.lives(FIRST_DAY_S)
        porch.lives(3600, heading_k=extra_k)
        died = porch.night.start + porch.night.t
        porch.lives(2 * 3600, heading_k=-12)
        first = min(
            c.at
            for c in porch.night.changes
            if c.alarm in (AlarmName.HEAT_LOSS, AlarmName.CHILL) and c.at > died
        )
        assert [c.change for c in porch.losses()] == [ChangeKind.RAISED]
        waited.append(first - died)
    at_once, too_hot = waited
    assert too_hot <= at_once + 600
