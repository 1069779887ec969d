"""A lamp slips over one of two floor probes: told with what that probe says, until it is heard cool
again."""

from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_site

from monitor.events import AlarmName, Change, ChangeKind

FLOOR, FAR = "porch/floor", "porch/far floor"


class Box:
    """Two floor probes, heard in turn, each every `every_s`."""

    def __init__(self, every_s: float) -> None:
        self.night = Night(a_site(a_brooder(floors=2)))
        self._half_s = every_s / 2
        self._rng = Random(1)

    def goes_on(self, for_s: float, *, from_c: float = 35.0, floor_c: float = 35.0) -> None:
        """The floor probe heads from one temperature to another, most of the way at each word."""
        night = self.night
        end = night.t + for_s
        while night.t < end:
            from_c += (floor_c - from_c) * 0.6
            night.says(from_c + self._rng.gauss(0, 0.1), FLOOR)
            night.t += self._half_s
            night.says(35.2 + self._rng.gauss(0, 0.1), FAR)
            night.t += self._half_s

    def overheat(self) -> list[Change]:
        return [c for c in self.night.changes if c.alarm is AlarmName.OVERHEAT]


@pytest.mark.parametrize("every_s", [30, 300])
def test_overheat_lasts_while_the_probe_under_the_lamp_says_so(every_s: float) -> None:
    box = Box(every_s)
    box.goes_on(3 * 3600)
    box.goes_on(3 * 3600, floor_c=46.0)
    (told,) = box.overheat()
    assert told.change is ChangeKind.RAISED


@pytest.mark.parametrize("every_s", [30, 300])
def test_overheat_names_the_hot_probe_and_what_it_says(every_s: float) -> None:
    box = Box(every_s)
    box.goes_on(3 * 3600)
    box.goes_on(3600, floor_c=46.0)
    told = box.overheat()[0]
    assert told.probe == FLOOR
    assert told.facts["temp_c"] > 40


@pytest.mark.parametrize("every_s", [30, 300])
def test_overheat_is_over_soon_after_the_lamp_is_hung_up_again(every_s: float) -> None:
    box = Box(every_s)
    box.goes_on(3 * 3600)
    box.goes_on(3600, floor_c=46.0)
    mended = box.night.start + box.night.t
    box.goes_on(3600, from_c=46.0)
    assert [c.change for c in box.overheat()] == [ChangeKind.RAISED, ChangeKind.CLEARED]
    over = box.overheat()[-1]
    assert over.at - mended <= 4 * every_s + 180
    assert over.facts["extreme_c"] > 45


def test_a_hot_probe_that_falls_silent_no_longer_counts_beside_a_good_one() -> None:
    box = Box(30)
    box.goes_on(3 * 3600)
    box.goes_on(1800, floor_c=46.0)
    night = box.night
    night.holds(35.2, for_s=1800, every_s=30, probes=(FAR,))
    assert [c.change for c in box.overheat()] == [ChangeKind.RAISED, ChangeKind.CLEARED]
    assert box.overheat()[-1].at - night.start - (night.t - 1800) >= 900


def test_an_overheat_that_comes_to_mean_fire_is_told_anew_once() -> None:
    """`Raise a lamp` was told; what is asked for now is to cut the power."""
    box = Box(30)
    box.goes_on(3 * 3600)
    box.goes_on(600, floor_c=44.0)
    box.goes_on(1200, from_c=44.0, floor_c=60.0)
    told = [c for c in box.overheat() if c.change is ChangeKind.RAISED]
    assert [c.facts["temp_c"] > 50.0 for c in told] == [False, True]
    assert not told[-1].facts.get("folded")
