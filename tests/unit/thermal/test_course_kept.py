"""The course of a temperature goes on after a restart, whatever it has seen by then."""

import json

from monitor.kept import freeze, thaw
from monitor.thermal.course import Course


def test_an_hour_of_few_readings_is_kept_though_nothing_tells_its_steepest_fall() -> None:
    course = Course(slow=True)
    for tick in range(0, 7200, 400):
        course.add(tick, 35.0)
    usual = course.quick
    assert usual is not None
    state = json.loads(json.dumps(freeze(course), allow_nan=False))
    assert thaw(Course, state, 0.0).quick == usual
