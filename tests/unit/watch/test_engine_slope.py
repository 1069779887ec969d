"""The straight line through a few samples."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.thermal.slope import slope_per_h, sure_per_h
from monitor.watch.probe_trend import ProbeTrend


@given(
    st.floats(-30, 30),
    st.floats(-40, 60),
    st.lists(st.integers(0, 1800), min_size=2, max_size=16, unique=True),
)
def test_samples_on_a_line_give_its_slope_whatever_the_clock_shows(per_h, start_c, seconds):
    samples = [(1.77e9 + s, start_c + per_h * s / 3600) for s in sorted(seconds)]
    assert slope_per_h(samples) == pytest.approx(per_h, abs=1e-6)


def test_noise_about_a_line_is_averaged_by_least_squares():
    # By hand: t = 0..3 h, c = 0, 2, 1, 3; means 1.5 and 1.5; 4 / 5.
    assert slope_per_h([(3600.0 * t, c) for t, c in enumerate((0, 2, 1, 3))]) == pytest.approx(0.8)


@pytest.mark.parametrize("samples", [[], [(5.0, 1.0)], [(5.0, 1.0), (5.0, 2.0)]])
def test_without_two_times_there_is_no_slope(samples):
    assert slope_per_h(samples) == 0.0


# By hand: of 0, 2, 1, 3 the line leaves -0.3, 0.9, -0.9, 0.3: a standard error of
# sqrt(1.8 / 2 / 5) = 0.42, twice that is more than 0.8. Of 0, 1.2, 1.8, 3 it leaves -0.06, 0.18,
# -0.18, 0.06, and sqrt(0.072 / 2 / 5) = 0.0849: of 0.96 there is left 0.96 - (0.1697 ** 2) / 0.96.
@pytest.mark.parametrize(
    ("values", "sure"),
    [((0, 2, 1, 3), 0.0), ((0, 1.2, 1.8, 3), 0.930), ((0, -1.2, -1.8, -3), -0.930), ((0, 2), 0.0)],
)
def test_of_a_slope_that_is_sure_which_the_scatter_about_it_does_not_make(values, sure):
    samples = [(3600.0 * t, c) for t, c in enumerate(values)]
    assert sure_per_h(samples, slope_per_h(samples)) == pytest.approx(sure, abs=0.001)


@pytest.mark.parametrize(
    ("course_c", "per_h"),
    [
        (lambda minute: 35.0 if minute < 2 else 4.0, 0.0),  # it was carried out of the box
        (lambda minute: 35.0 - 0.1 * minute, -6.0),
        (lambda minute: 35.0 - 0.1 * min(minute, 16 - minute), 0.0),  # it rises again
    ],
)
def test_a_probe_falls_only_as_far_as_its_latest_minutes_go_on_with_it(course_c, per_h):
    trend = ProbeTrend()
    for minute in range(16):
        trend.add(60.0 * minute, course_c(minute), now_c=None)
    assert trend.c_per_h(960.0) == pytest.approx(per_h, abs=0.01)


@pytest.mark.parametrize(("apart_s", "is_sure"), [(3600.0, True), (2.0, False)])
def test_readings_close_together_stray_alike_and_show_less(apart_s: float, is_sure: bool):
    samples = [(apart_s * t, c) for t, c in enumerate((0, 1.2, 1.8, 3))]
    assert bool(sure_per_h(samples, slope_per_h(samples))) is is_sure
