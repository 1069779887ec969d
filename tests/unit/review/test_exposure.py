"""The figures of exposure.py against sums done by hand."""

import numpy as np
import pytest
from support.target_lines import line_around

from monitor.review.exposure import EMPTY, Exposure, Trace, exposure, no_target

HOLD_S = 900.0
TARGET = line_around([0, 7200], [33.0], band_c=3.0, harm_c=6.0)


def in_band_s(got: Exposure) -> float:
    return got.judged_s - got.below_s - got.above_s


def trace(*pairs: tuple[float, float]) -> Trace:
    return Trace(np.array([t for t, _ in pairs], float), np.array([c for _, c in pairs], float))


def figures(*traces: Trace, start: float = 0.0, stop: float = 3600.0) -> Exposure:
    return exposure(traces, TARGET, start=start, stop=stop, hold_s=HOLD_S)


def test_three_degrees_below_for_ten_minutes_is_half_a_degree_hour():
    steady = [(t, 33.0) for t in range(0, 3600, 600)]
    steady[2] = (1200, 27.0)  # band 30..36: three below, for 600 s
    got = figures(trace(*steady))
    assert got.below_s == 600
    assert got.below_ks / 3600 == pytest.approx(0.5)
    assert (got.low_c, got.low_at) == (27.0, 1200)
    assert got.longest_below is not None
    assert (got.longest_below.start, got.longest_below.lasted_s) == (1200, 600)


def test_a_floor_on_the_edge_of_the_band_is_in_the_band():
    got = figures(trace(*[(t, 30.0) for t in range(0, 3600, 600)]))
    assert (got.below_s, in_band_s(got)) == (0, 3600)


def test_a_reading_holds_no_longer_than_agreed_and_the_rest_is_gap():
    got = figures(trace((0, 33.0)))
    assert (got.gap_s, got.judged_s, in_band_s(got)) == (2700, 900, 900)


def test_silence_is_neither_in_band_nor_below():
    got = figures(EMPTY)
    assert (got.gap_s, in_band_s(got), got.below_s, got.average_c) == (3600, 0, 0, None)


def test_a_reading_from_before_the_span_tells_how_it_began():
    got = figures(trace((-300, 20.0), (300, 33.0)), stop=600)
    assert (got.gap_s, got.below_s, got.low_c, got.low_at) == (0, 300, 20.0, 0)


def test_the_coldest_floor_counts_for_cold_and_the_hottest_for_heat():
    west = trace(*[(t, 26.0) for t in range(0, 3600, 600)])
    east = trace(*[(t, 38.0) for t in range(1800, 3600, 600)])
    got = figures(west, east)
    assert got.below_s == 3600  # while both corners are wrong the cold one is told
    assert got.above_s == 0
    assert (got.low_c, got.high_c) == (26.0, 38.0)
    assert got.average_c == pytest.approx((26 * 1800 + 32 * 1800) / 3600)
    assert got.some_silent_s == 1800


def test_a_gap_ends_a_spell():
    got = figures(trace((0, 20.0), (1800, 20.0), (2700, 20.0)))
    assert got.below_s == 2700
    assert got.gap_s == 900
    assert got.longest_below is not None
    assert (got.longest_below.start, got.longest_below.lasted_s) == (1800, 1800)


def test_a_step_of_the_target_counts_from_its_minute():
    steps = line_around([0, 1800, 3600], [33.0, 28.0], band_c=3.0, harm_c=6.0)
    cool = trace(*[(t, 27.0) for t in range(0, 3600, 600)])
    got = exposure([cool], steps, start=0, stop=3600, hold_s=HOLD_S)
    assert (got.below_s, in_band_s(got)) == (1800, 1800)


def test_without_a_target_nothing_is_judged_but_all_is_read():
    none = no_target(0.0, 3600.0)
    got = exposure(
        [trace(*[(t, 10.0) for t in range(0, 3600, 600)])], none, start=0, stop=3600, hold_s=HOLD_S
    )
    assert (got.judged_s, got.below_s, got.gap_s, got.average_c) == (0, 0, 0, 10.0)


def test_chill_counts_only_what_lies_below_the_chill_limit():
    got = figures(trace((0, 25.0), (600, 28.0), (1200, 33.0)), stop=1800)
    assert (got.below_s, got.chill_s) == (1200, 600)
    assert got.chill_ks == pytest.approx(2.0 * 600)


def test_hot_and_dangerously_hot_are_strict_too():
    got = figures(trace((0, 36.0), (600, 36.5), (1200, 39.0), (1800, 39.5)), stop=2400)
    assert (got.above_s, got.overheat_s) == (1800, 600)


def test_one_wild_reading_is_in_no_figure():
    steady = [(t, 33.0 + 0.0005 * t) for t in range(0, 3600, 60)]
    wild = list(steady)
    wild[10], wild[20] = (600, 21.0), (1200, 48.0)
    wild[30:32] = (1800, 21.0), (1860, 21.5)
    del wild[34:41]  # and one after seven minutes of nothing
    wild[34] = (2460, 17.5)
    got = figures(trace(*wild).borne_out())
    assert (got.low_c, got.low_at) == (33.0, 0)
    assert (got.high_c, got.high_at) == (pytest.approx(34.77), 3540)
    assert (got.below_s, got.above_s, got.gap_s) == (0, 0, 0)


@pytest.mark.parametrize(
    "said",
    [
        ((0, 33.0), (60, 21.0), (120, 22.0), (180, 22.0), (240, 33.0)),  # three of them
        ((0, 33.0), (60, 21.0), (360, 21.0), (420, 33.0)),  # two, five minutes apart
        ((0, 33.0), (600, 21.0), (1200, 33.0)),  # far apart
        ((0, 33.0), (60, 21.0)),  # nobody knows yet
        ((0, 33.0), (60, 27.0), (120, 21.0)),  # on its way
        ((0, 21.0),),
        (),
    ],
)
def test_what_another_reading_bears_out_is_not_wild(said):
    assert trace(*said).borne_out().temps_c.tolist() == [temp_c for _, temp_c in said]
