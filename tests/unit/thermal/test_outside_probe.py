"""monitor.thermal.outside_probe: which readings of an outside probe are the outside's."""

import pytest

from monitor.thermal.diagnosis import FaultKind
from monitor.thermal.outside_probe import OutsideProbe

HOUR_S = 3600.0
PERIODS = pytest.mark.parametrize("every_s", [10.0, 60.0, 300.0])


def heard(every_s: float, hours: float, course_c, wild: dict[int, float] | None = None):
    """The probe after `hours` of a course (hour -> degC), the n-th reading replaced by a wild one,
    and all that was ever found."""
    probe = OutsideProbe("brooder/porch/outside")
    found = set()
    for n in range(int(hours * HOUR_S / every_s)):
        tick = n * every_s
        # a tenth to and fro: no probe stands still for hours
        temp_c = (wild or {}).get(n, course_c(tick / HOUR_S) + 0.1 * (n % 2))
        probe.believes(1000.0 + tick, temp_c)
        if probe.finding is not None:
            found.add(probe.finding.kind)
    return probe, found


@PERIODS
@pytest.mark.parametrize("first", [0, 40])
@pytest.mark.parametrize("wild_c", [-7.2, -127.0, 32.0, 85.0])
def test_two_wild_readings_are_neither_sun_nor_what_it_rose_from(every_s, first, wild_c):
    wild = {first: wild_c, first + 1: wild_c}
    _, found = heard(every_s, 6.0, lambda hour: 10.7, wild)
    assert FaultKind.WARMED not in found


@PERIODS
def test_the_sun_on_it_is_found_and_over_when_it_is_back(every_s):
    def sunny(hour: float) -> float:
        return 10.0 + 15.0 * (2.0 < hour < 4.0)

    during, _ = heard(every_s, 3.5, sunny)
    assert during.finding is not None
    assert during.finding.kind is FaultKind.WARMED
    after, _ = heard(every_s, 6.0, sunny)
    assert after.finding is None
