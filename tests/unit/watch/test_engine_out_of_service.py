"""A probe out of service lies on a bench or in hot water: what it says is not the floor's.
Back in service, what is still wrong with it is told."""

from collections.abc import Callable
from math import exp
from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_site

from monitor.events import AlarmName, ChangeKind, EntryKind

FLOOR, FAR = "porch/floor", "porch/far floor"
HOUR = 3600.0
WELL = 35.0


class Box:
    """Two floor probes; the far one says what the test wants."""

    def __init__(self) -> None:
        self.night = Night(a_site(a_brooder(floors=2)))
        self._rng = Random(1)

    def goes_on(
        self, for_s: float, far: Callable[[float], float] | float, floor: float = WELL
    ) -> None:
        """`far` is a steady floor, or what exactly is said, by the seconds since it began."""
        night, begun = self.night, self.night.t
        for _ in night.until(begun + for_s):
            night.says(floor + self._rng.gauss(0, 0.1), FLOOR)
            if callable(far):
                night.says(far(night.t - begun), FAR)
            else:
                night.says(far + self._rng.gauss(0, 0.1), FAR)

    def raised(self, since: float = 0.0) -> list[AlarmName]:
        return [
            c.alarm
            for c in self.night.changes
            if c.change is ChangeKind.RAISED and c.at >= self.night.start + since
        ]


@pytest.fixture
def box() -> Box:
    box = Box()
    box.goes_on(3 * HOUR, WELL)
    return box


@pytest.mark.parametrize(
    "far",
    [lambda t: 60.0 + 0.06 * (t % 4), lambda t: 25.0 + 10.0 * exp(-t / 900.0)],
    ids=["in hot water", "on a cold bench"],
)
def test_what_a_probe_out_of_service_says_wakes_nobody(
    box: Box, far: Callable[[float], float]
) -> None:
    box.night.entry(EntryKind.OUT_OF_SERVICE, probe=FAR)
    box.goes_on(HOUR, far)
    assert box.raised() == []
    status = box.night.box()
    assert status.diagnosis is None


def test_taking_the_hot_probe_out_of_service_ends_its_overheat(box: Box) -> None:
    box.goes_on(600, lambda t: 35.0 + 11.0 * (1 - exp(-t / 120.0)))
    assert AlarmName.OVERHEAT in box.raised()
    box.night.entry(EntryKind.OUT_OF_SERVICE, probe=FAR)
    box.goes_on(300, 46.0)
    status = box.night.box()
    assert [a.alarm for a in status.alarms if a.active] == []


@pytest.mark.parametrize("what", [{"probe": FAR}, {"brooder": "porch"}], ids=["probe", "brooder"])
def test_a_probe_still_stuck_when_it_is_back_in_service_is_told_again(
    box: Box, what: dict[str, str]
) -> None:
    box.goes_on(HOUR, lambda _: 35.0, floor=34.8)
    assert box.raised() == [AlarmName.PROBE_FAULT]
    box.night.entry(EntryKind.OUT_OF_SERVICE, **what)
    box.goes_on(60, lambda _: 35.0, floor=34.8)
    back = box.night.t
    box.night.entry(EntryKind.IN_SERVICE, **what)
    box.goes_on(600, lambda _: 35.0, floor=34.8)
    assert box.raised(back) == [AlarmName.PROBE_FAULT]


def test_the_only_probe_still_stuck_when_it_is_back_in_service_wakes_somebody_again() -> None:
    rng = Random(1)
    night = Night()
    for _ in night.until(3 * HOUR):
        night.says(WELL + rng.gauss(0, 0.1))
    night.holds(WELL, for_s=2 * HOUR, every_s=30)
    night.entry(EntryKind.OUT_OF_SERVICE, probe=FLOOR)
    night.t += 60
    night.entry(EntryKind.IN_SERVICE, probe=FLOOR)
    before = len(night.told())
    night.holds(WELL, for_s=600, every_s=30)
    assert sorted(night.told()[before:]) == ["porch/no-readings", "porch/probe-fault"]


def test_a_new_probe_in_its_place_is_not_blamed_for_the_old_one(box: Box) -> None:
    box.goes_on(HOUR, lambda _: 35.0, floor=34.8)
    box.night.entry(EntryKind.OUT_OF_SERVICE, probe=FAR)
    box.goes_on(600, lambda _: 35.0, floor=34.8)
    back = box.night.t
    box.night.entry(EntryKind.IN_SERVICE, probe=FAR)
    box.goes_on(HOUR, 34.9, floor=34.8)
    assert box.raised(back) == []
