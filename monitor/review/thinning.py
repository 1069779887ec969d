"""Fewer points for a picture, with every extreme kept. Called by the chart; never by the figures.

Per column of the picture the first, lowest, highest and last reading stay: M4 of U. Jugel,
Z. Jerzak, G. Hackenbroich and V. Markl, "M4: A Visualization-Oriented Time Series Data
Aggregation", PVLDB 7(10), 2014, pp. 797-808, which draws the same pixels as the whole series.
Taking every n-th reading would lose the one minute at 18 degC that the picture is about."""

import numpy as np

from monitor.review.exposure import Trace


def thinned(trace: Trace, *, start: float, stop: float, columns: int) -> Trace:
    """At most four readings per column of start..stop, in time order."""
    trace = trace.between(start, stop)
    if len(trace.times) <= 4 * columns:
        return trace
    column = ((trace.times - start) * (columns / (stop - start))).astype(np.int64)
    begins = np.flatnonzero(np.diff(column, prepend=-1))
    ends = np.append(begins[1:], len(column)) - 1
    by_height = np.lexsort((trace.temps_c, column))  # within each column
    keep = np.unique(np.concatenate([begins, by_height[begins], by_height[ends], ends]))
    return Trace(trace.times[keep], trace.temps_c[keep])


def pieces(trace: Trace, *, hold_s: float) -> list[Trace]:
    """The trace cut where the probe was silent for longer than `hold_s`, so that a line drawn
    through each piece leaves the gap open. Cut before thinning: thinning widens the steps."""
    if not len(trace.times):
        return []
    cuts = np.flatnonzero(np.diff(trace.times) > hold_s) + 1
    times, temps = np.split(trace.times, cuts), np.split(trace.temps_c, cuts)
    return [Trace(t, c) for t, c in zip(times, temps, strict=True)]
