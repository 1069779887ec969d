"""The lowest of a stretch of a course: what a thermostat's rest is held against."""

import pytest

from monitor.thermal.course import Course


def lowest(minutes: list[float], every_s: float = 60.0) -> float | None:
    course = Course()
    for n, temp_c in enumerate([*minutes, 36.0]):  # the last one closes the minute before
        course.add(every_s * n, temp_c)
    return course.lowest(0.0, every_s * len(minutes))


@pytest.mark.parametrize("wild", [1, 2])
def test_wild_readings_are_no_rest(wild: int) -> None:
    """They showed that a lamp's probe had been as cold before, so that the lamp works: it was told
    half an hour late that it had died, and as the probe's fault."""
    assert lowest([36.0, 35.0, 34.0, *[22.0] * wild, 34.2, 36.0]) == 34.0


def test_a_rest_is_one_however_short_its_lowest_minute() -> None:
    assert lowest([36.0, 34.0, 32.0, 30.0, 32.0, 34.0]) == 30.0
    assert lowest([36.0, 36.0, 31.0, 31.0, 31.0, 36.0, 36.0]) == 31.0


def test_of_a_probe_that_is_heard_seldom_each_reading_counts() -> None:
    assert lowest([36.0, 36.0, 31.0, 36.0, 36.0], every_s=300.0) == 31.0


def test_what_it_has_come_down_to_just_now_counts() -> None:
    assert lowest([36.0, 36.0, 36.0, 31.0]) == 31.0
