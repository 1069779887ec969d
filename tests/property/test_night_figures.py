"""A night's minutes out of the band, as the watch counts them while they pass and as the record
sheet counts them afterwards, are one figure."""

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from support.engine_night import EVENING, TARGET_C, Night, a_brooder, a_site
from support.target_lines import line_around

from monitor.review.exposure import Trace, exposure
from monitor.thermal import estimator

PROBES = ("porch/floor", "porch/far floor")
MINUTE_S = 60.0
# What a probe says for some minutes, on both sides of the band and on its edges; None: nothing.
LEVELS_C = st.sampled_from(
    [None, *(TARGET_C + d for d in (-4.0, -2.9, -2.8, -2.0, 0.0, 2.0, 2.8, 2.9, 4.0))]
)
# Three readings bear out a leap of any width.
SPELLS = st.lists(st.tuples(LEVELS_C, LEVELS_C, st.integers(3, 30)), min_size=1, max_size=15)


def _outages(spells: list[tuple[float | None, float | None, int]], number: int) -> int:
    """How often the probe goes quiet."""
    levels_c = [spell[number] for spell in spells]
    quiet = [after is None and before is not None for before, after in itertools.pairwise(levels_c)]
    return sum(quiet)


# Once for each probe: after an outage the watch waits longer for it, by its own gaps, and the sheet
# does not (`watch.gaps`).
ONE_OUTAGE = SPELLS.filter(lambda spells: max(_outages(spells, n) for n in (0, 1)) <= 1)


@settings(max_examples=40)
@given(ONE_OUTAGE, st.integers(-120, 180))
def test_the_watch_and_the_record_sheet_count_the_same_minutes(
    spells: list[tuple[float | None, float | None, int]], minutes_before_six: int
) -> None:
    night = Night(
        a_site(a_brooder(floors=2)),
        start=EVENING - minutes_before_six * MINUTE_S,
        make_estimator=estimator.none,
    )
    limits = night.site.brooders[0].limits
    times: list[list[float]] = [[], []]
    temps_c: list[list[float]] = [[], []]
    for *levels, minutes in spells:
        night.restarts(shift_s=-17.0)
        for _ in range(minutes):
            for number, temp_c in enumerate(levels):
                if temp_c is not None:
                    night.says(temp_c, PROBES[number])
                    times[number].append(night.start + night.t)
                    temps_c[number].append(temp_c)
            night.waits(MINUTE_S)
    stop = night.start + night.t
    begun = max(night.start, EVENING)
    if stop <= begun:
        return
    told = night.box()
    kept = exposure(
        [Trace(np.array(t), np.array(c)) for t, c in zip(times, temps_c, strict=True)],
        line_around([night.start, stop], [TARGET_C], band_c=limits.band_c, harm_c=limits.harm_c),
        start=begun,
        stop=stop,
        hold_s=limits.silent_s,
    )
    # The watch sees that a probe is silent at the next of its looks, here a minute apart.
    looks_s = MINUTE_S * sum(None in levels for *levels, _ in spells)
    assert abs(told.night.below_s - kept.below_s) <= looks_s
    assert abs(told.night.above_s - kept.above_s) <= looks_s
    assert abs(told.night.unseen_s - kept.gap_s) <= looks_s
    assert told.night.since_at == begun
    heard = zip(itertools.chain(*times), itertools.chain(*temps_c), strict=True)
    heard_c = [temp_c for at, temp_c in heard if at >= begun]
    if heard_c:
        assert (told.night.low_c, told.night.high_c) == (min(heard_c), max(heard_c))
