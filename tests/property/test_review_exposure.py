"""Laws of the exposure figures and of thinning."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.target_lines import line_around

from monitor.review.exposure import Exposure, Spell, TargetLine, Trace, exposure
from monitor.review.joining import joined
from monitor.review.thinning import pieces, thinned

HOLD_S = 900.0
ADDS_UP = ("span_s", "gap_s", "some_silent_s", "judged_s", "below_s", "above_s", "below_ks",
           "above_ks", "chill_s", "chill_ks", "overheat_s")  # fmt: skip

times = st.lists(st.integers(-2000, 12000), min_size=0, max_size=40, unique=True).map(sorted)


@st.composite
def traces(draw: st.DrawFn) -> Trace:
    at = draw(times)
    temps = draw(st.lists(st.integers(150, 450), min_size=len(at), max_size=len(at)))
    return Trace(np.array(at, float), np.array(temps, float) / 10)


@st.composite
def targets(draw: st.DrawFn) -> TargetLine:
    cuts = sorted({0, 10000, *draw(st.lists(st.integers(1, 9999), max_size=4))})
    levels = draw(st.lists(st.sampled_from([33.0, 30.0, np.nan]), min_size=len(cuts) - 1,
                           max_size=len(cuts) - 1))  # fmt: skip
    return line_around(cuts, levels, band_c=2.8, harm_c=5.6)


def figures(probes: list[Trace], target: TargetLine, start: float, stop: float) -> Exposure:
    return exposure(probes, target, start=start, stop=stop, hold_s=HOLD_S)


@settings(max_examples=150, deadline=None)
@given(st.lists(traces(), max_size=3), targets(), st.integers(1, 9999))
def test_a_span_cut_in_two_adds_up(probes, target, cut):
    whole = figures(probes, target, 0, 10000)
    left, right = figures(probes, target, 0, cut), figures(probes, target, cut, 10000)
    for name in ADDS_UP:
        total = getattr(left, name) + getattr(right, name)
        assert getattr(whole, name) == pytest.approx(total, abs=1e-6), name
    lows = [part.low_c for part in (left, right) if part.low_c is not None]
    assert whole.low_c == (min(lows) if lows else None)
    highs = [part.high_c for part in (left, right) if part.high_c is not None]
    assert whole.high_c == (max(highs) if highs else None)


def near(spell: Spell | None, other: Spell | None) -> bool:
    """Two spells of the same length may both be the longest."""
    if spell is None or other is None:
        return spell is other
    return spell.lasted_s == pytest.approx(other.lasted_s)


@settings(max_examples=150, deadline=None)
@given(st.lists(traces(), max_size=3), targets(), st.sets(st.integers(1, 9999), max_size=4))
def test_days_joined_tell_the_same_as_the_whole(probes, target, cuts):
    whole = figures(probes, target, 0, 10000)
    got = joined([figures(probes, target, a, b) for a, b in pairwise(sorted({0, 10000, *cuts}))])
    for name in ADDS_UP:
        assert getattr(got, name) == pytest.approx(getattr(whole, name), abs=1e-6), name
    for name in ("low_c", "low_at", "high_c", "high_at"):
        assert getattr(got, name) == getattr(whole, name), name
    assert got.average_c == (None if whole.average_c is None else pytest.approx(whole.average_c))
    for mine, theirs in ((got.below_runs, whole.below_runs), (got.above_runs, whole.above_runs)):
        assert all(near(a, b) for a, b in zip(mine, theirs, strict=True))


@settings(max_examples=150, deadline=None)
@given(st.lists(traces(), max_size=3), targets())
def test_every_second_is_gap_or_read_and_no_figure_outgrows_its_span(probes, target):
    got = figures(probes, target, 0, 10000)
    assert got.below_s + got.above_s <= got.judged_s + 1e-6
    assert got.judged_s + got.gap_s <= got.span_s + 1e-6
    runs = ((got.below_runs, got.below_s), (got.above_runs, got.above_s))
    for spell, total in ((spells.longest, total) for spells, total in runs):
        assert (spell is None) == (total == 0)
        if spell is not None:
            assert 0 < spell.lasted_s <= total + 1e-6


def slowly(probes: list[Trace], target: TargetLine, at: float) -> tuple[float, float]:
    """Coldest and hottest held reading at one instant, the long way."""
    held = [float(t.temps_c[t.times <= at][-1]) for t in probes
            if (t.times <= at).any() and at - t.times[t.times <= at][-1] < HOLD_S]  # fmt: skip
    return (min(held), max(held)) if held else (np.nan, np.nan)


@settings(max_examples=60, deadline=None)
@given(st.lists(traces(), min_size=1, max_size=3), targets())
def test_the_figures_equal_a_second_by_second_count(probes, target):
    """All times are whole seconds here, so each second is of one piece."""
    below = above = gap = area = 0.0
    for second in range(0, 400):
        coldest, hottest = slowly(probes, target, second)
        low, high = target.at(second) - 2.8, target.at(second) + 2.8
        gap += bool(np.isnan(coldest))
        below += bool(coldest < low)
        above += bool(hottest > high and not coldest < low)
        area += max(low - coldest, 0.0) if coldest < low else 0.0
    got = figures(probes, target, 0, 400)
    assert (got.gap_s, got.below_s, got.above_s) == (gap, below, above)
    assert got.below_ks == pytest.approx(area)


@st.composite
def long_traces(draw: st.DrawFn) -> Trace:
    """Enough readings that a few columns must leave some out."""
    seed = draw(st.integers(0, 2**31))
    rng = np.random.default_rng(seed)
    at = np.sort(rng.choice(10000, size=draw(st.integers(20, 300)), replace=False))
    return Trace(at.astype(float), rng.integers(150, 170, len(at)) / 10)


@settings(max_examples=150, deadline=None)
@given(traces() | long_traces(), st.integers(1, 12))
def test_thinning_keeps_each_column_s_first_lowest_highest_and_last(trace, columns):
    thin = thinned(trace, start=0, stop=10000, columns=columns)
    kept = list(zip(thin.times.tolist(), thin.temps_c.tolist(), strict=True))
    whole = trace.between(0, 10000)
    every = list(zip(whole.times.tolist(), whole.temps_c.tolist(), strict=True))
    assert set(kept) <= set(every)
    assert all(a < b for a, b in pairwise(thin.times))
    assert len(kept) <= 4 * columns
    for column in range(columns):
        inside = [(t, c) for t, c in every if int(t * (columns / 10000)) == column]
        thinner = [(t, c) for t, c in kept if int(t * (columns / 10000)) == column]
        if not inside:
            assert not thinner
            continue
        assert (thinner[0], thinner[-1]) == (inside[0], inside[-1])
        assert min(c for _, c in thinner) == min(c for _, c in inside)
        assert max(c for _, c in thinner) == max(c for _, c in inside)


@given(traces())
def test_pieces_join_to_the_whole_and_break_at_every_silence(trace):
    parts = pieces(trace, hold_s=HOLD_S)
    joined = [t for part in parts for t in part.times]
    assert joined == trace.times.tolist()
    assert all((np.diff(part.times) <= HOLD_S).all() for part in parts)
    assert all(b.times[0] - a.times[-1] > HOLD_S for a, b in pairwise(parts))
