"""What the birds went through, as figures. Called by the record sheet and the loss review; no I/O.

How the figures are made, so that they can be checked with pencil and paper:

* A reading holds until the next one of the same probe, but never longer than `hold_s`. After that
  the probe is silent. Where every floor probe is silent there is a gap: its minutes are counted as
  gap and as nothing else, so silence never looks like comfort.
* With several floor probes the coldest counts for cold and the hottest for heat. Chicks lie
  together and the corner they lie in is the one that harms them; a mean of a warm and a cold corner
  describes a place where no chick is. The average figure alone is the mean of all floor probes.
* Readings that none bears out are left out (`Trace.borne_out`).
* Minutes below and above are as `brooding.band_side` has them, for the watch too.
* Degree-hours below are the area between the edge and the floor: three degrees below for two
  hours is six. They add up over any way of cutting a span in two (tests/property)."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.brooding.age_limits import band_side
from monitor.thermal.course import SPIKE_K
from monitor.thermal.track import CLOSE_S
from monitor.watch.band import SURE_READINGS

_WILD = SURE_READINGS - 1  # in a row: one more bears them out

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


class Trace(NamedTuple):
    """One probe's readings in time order: Unix seconds and degC."""

    times: Floats
    temps_c: Floats

    def between(self, start: float, stop: float) -> "Trace":
        """Readings with start <= time < stop; no copy."""
        first, last = np.searchsorted(self.times, (start, stop))
        return Trace(self.times[first:last], self.temps_c[first:last])

    def borne_out(self) -> "Trace":
        """Without wild readings, one or two in a row: what was before them and what is after them
        is near in time and agrees, and they are far from both. Of a lone one nobody can say so."""
        sound = np.ones(len(self.times), dtype=np.bool_)
        gap_s, leapt_k = np.diff(self.times), np.abs(np.diff(self.temps_c))
        far = leapt_k > SPIKE_K * np.maximum(1.0, gap_s / CLOSE_S)
        for count in range(1, _WILD + 1):
            away_s, back_s = gap_s[:-count], gap_s[count:]
            near = np.minimum(away_s, back_s) < CLOSE_S
            if count > 1:
                near &= gap_s[1:-1] < CLOSE_S
            agree = np.abs(self.temps_c[count + 1 :] - self.temps_c[: -count - 1]) <= SPIKE_K
            before = np.flatnonzero(near & agree & far[:-count] & far[count:])
            for nth in range(1, count + 1):
                sound[before + nth] = False
        return self if sound.all() else Trace(self.times[sound], self.temps_c[sound])


EMPTY = Trace(np.empty(0), np.empty(0))


class TargetLine(NamedTuple):
    """The floor's target and limits in treads of constant ones: tread i lasts from edges[i] to
    edges[i + 1]. NaN: no target. What they are at an age says `brooding.age_limits`."""

    edges: Floats  # one more than treads, Unix seconds; the rest degC
    target_c: Floats
    low_c: Floats  # low_c..high_c is right
    high_c: Floats
    chill_c: Floats
    overheat_c: Floats

    def at(self, time: float) -> float:
        """The target at a time; NaN outside the treads."""
        tread = int(np.searchsorted(self.edges, time, side="right")) - 1
        return float(self.target_c[tread]) if 0 <= tread < len(self.target_c) else float("nan")

    def between(self, start: float, stop: float) -> "TargetLine":
        """The treads that touch the span, cut to it."""
        first = max(int(np.searchsorted(self.edges, start, side="right")) - 1, 0)
        last = max(first, min(int(np.searchsorted(self.edges, stop, side="left")), self.treads))
        edges = self.edges[first : last + 1] if last > first else self.edges[:0]
        edges = np.clip(edges, start, stop)
        return TargetLine(edges, *(each[first:last] for each in self[1:]))

    @property
    def treads(self) -> int:
        return len(self.target_c)


def no_target(start: float, stop: float) -> TargetLine:
    """No birds in the box: one tread without a target."""
    return TargetLine(np.array([start, stop]), *(np.array([np.nan]) for _ in range(5)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """A time without a break on one side of the band."""

    start: float
    lasted_s: float


class Runs(NamedTuple):
    """The spells of a span that matter when spans are joined."""

    first: Spell | None = None  # began before or with the span
    longest: Spell | None = None
    last: Spell | None = None  # goes on when the span ends


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """One span's figures. Temperatures None: nothing was read. Kelvin-seconds inside; the sheet
    shows degree-hours."""

    span_s: float
    gap_s: float  # no floor probe was heard
    some_silent_s: float  # at least one floor probe was heard, and at least one was not
    judged_s: float  # read, and there was a target to compare with
    below_s: float
    above_s: float
    below_ks: float  # area below the band's lower edge
    above_ks: float
    chill_s: float  # below the chill limit
    chill_ks: float
    overheat_s: float
    low_c: float | None
    low_at: float | None
    high_c: float | None
    high_at: float | None
    average_c: float | None
    below_runs: Runs
    above_runs: Runs

    @property
    def longest_below(self) -> Spell | None:
        return self.below_runs.longest


class _Segments(NamedTuple):
    """The span cut wherever anything changes; between two cuts all is constant."""

    starts: Floats
    lasted_s: Floats
    coldest_c: Floats  # NaN: gap
    hottest_c: Floats
    mean_c: Floats
    heard: npt.NDArray[np.int64]  # how many floor probes hold
    tread: npt.NDArray[np.int64]  # of the target that holds; -1: none


def exposure(
    traces: Sequence[Trace], target: TargetLine, *, start: float, stop: float, hold_s: float
) -> Exposure:
    """The figures of start <= time < stop. Traces may reach beyond the span; readings up to
    `hold_s` before it are needed to know how it began."""
    cut = target.between(start, stop)
    parts = _segments(traces, cut, start, stop, hold_s)
    lasted = parts.lasted_s
    target_c, low, high, chill_c, overheat_c = (
        _held(levels, parts.tread)
        for levels in (cut.target_c, cut.low_c, cut.high_c, cut.chill_c, cut.overheat_c)
    )
    read = parts.heard > 0
    below, above = band_side(parts.coldest_c, parts.hottest_c, low, high)
    # A comparison with NaN is False, which is what a gap or a missing target must give.
    chilled = parts.coldest_c < chill_c
    read_s = float(lasted[read].sum())
    lowest = _lowest(parts.coldest_c, lasted)
    highest = _lowest(-parts.hottest_c, lasted)
    return Exposure(
        span_s=stop - start,
        gap_s=float(lasted[~read].sum()),
        some_silent_s=float(lasted[read & (parts.heard < len(traces))].sum()),
        judged_s=float(lasted[read & ~np.isnan(target_c)].sum()),
        below_s=float(lasted[below].sum()),
        above_s=float(lasted[above].sum()),
        below_ks=_area(low - parts.coldest_c, lasted, below),
        above_ks=_area(parts.hottest_c - high, lasted, above),
        chill_s=float(lasted[chilled].sum()),
        chill_ks=_area(chill_c - parts.coldest_c, lasted, chilled),
        overheat_s=float(lasted[parts.hottest_c > overheat_c].sum()),
        low_c=None if lowest is None else float(parts.coldest_c[lowest]),
        low_at=None if lowest is None else float(parts.starts[lowest]),
        high_c=None if highest is None else float(parts.hottest_c[highest]),
        high_at=None if highest is None else float(parts.starts[highest]),
        average_c=_area(parts.mean_c, lasted, read) / read_s if read_s > 0 else None,
        below_runs=_runs(below, parts, start, stop),
        above_runs=_runs(above, parts, start, stop),
    )


def _segments(
    traces: Sequence[Trace], target: TargetLine, start: float, stop: float, hold_s: float
) -> _Segments:
    """Merge all probes' readings and the target's treads by one stable sort, then carry each
    probe's value forward by counting: for eight probes this is ten times faster than a search per
    probe, and the record sheet of a month is made of it."""
    near = [trace.between(start - hold_s, stop) for trace in traces]
    cuts = [trace.times for trace in near]
    ends = [_silences(trace.times, hold_s) for trace in near]
    times = np.concatenate([*cuts, *ends, target.edges, np.array([start, stop])])
    order = np.argsort(times, kind="stable")
    edges = times[order]
    owner = np.repeat(np.arange(len(cuts)), [len(cut) for cut in cuts]) if cuts else np.empty(0)
    owners = np.full(len(times), -1)
    owners[: len(owner)] = owner
    owners = owners[order]
    inside = (edges >= start) & (edges <= stop)
    first = int(np.argmax(inside))
    last = len(inside) - int(np.argmax(inside[::-1]))
    edges = edges[first:last]
    starts, lasted = edges[:-1], np.diff(edges)

    coldest, hottest = np.full(len(starts), np.nan), np.full(len(starts), np.nan)
    total, heard = np.zeros(len(starts)), np.zeros(len(starts), dtype=np.int64)
    for number, trace in enumerate(near):
        if not len(trace.times):
            continue
        held = np.cumsum(owners == number)[first : last - 1] - 1
        value = trace.temps_c[held]
        stands = (held >= 0) & (starts - trace.times[held] < hold_s)
        value = np.where(stands, value, np.nan)
        np.fmin(coldest, value, out=coldest)
        np.fmax(hottest, value, out=hottest)
        total += np.where(stands, value, 0.0)
        heard += stands
    mean = np.divide(total, heard, out=np.full(len(starts), np.nan), where=heard > 0)
    return _Segments(starts, lasted, coldest, hottest, mean, heard, _treads(target, starts))


def _silences(times: Floats, hold_s: float) -> Floats:
    """When a probe fell silent: `hold_s` after a reading that no other followed in time."""
    if not len(times):
        return times
    silent = np.diff(times, append=np.inf) > hold_s
    return times[silent] + hold_s


def _treads(target: TargetLine, starts: Floats) -> npt.NDArray[np.int64]:
    if not target.treads:
        return np.full(len(starts), -1)
    tread = np.searchsorted(target.edges, starts, side="right") - 1
    return np.where((tread >= 0) & (tread < target.treads), tread, -1)


def _held(levels: Floats, tread: npt.NDArray[np.int64]) -> Floats:
    """The level of each segment's tread."""
    return np.append(levels, np.nan)[tread]


def _area(depth: Floats, lasted: Floats, where: Bools) -> float:
    # Not np.dot: it wakes a thread on every core for each of a hundred short sums.
    return float((depth[where] * lasted[where]).sum())


def _lowest(values: Floats, lasted: Floats) -> int | None:
    """Index of the first lowest value that lasted at all; None: nothing was read."""
    real = np.flatnonzero(~np.isnan(values) & (lasted > 0))
    return int(real[np.argmin(values[real])]) if len(real) else None


def _runs(wrong: Bools, parts: _Segments, start: float, stop: float) -> Runs:
    """Cuts of no length (two probes heard at once) neither make nor break a spell."""
    real = parts.lasted_s > 0
    wrong, starts, lasted = wrong[real], parts.starts[real], parts.lasted_s[real]
    if not wrong.any():
        return Runs()
    flips = np.flatnonzero(np.diff(wrong.astype(np.int8), prepend=0, append=0))
    begins, ends = starts[flips[::2]], (starts + lasted)[flips[1::2] - 1]
    worst = int(np.argmax(ends - begins))
    spells = [
        Spell(start=float(begins[at]), lasted_s=float(ends[at] - begins[at]))
        for at in (0, worst, -1)
    ]
    return Runs(
        spells[0] if spells[0].start <= start else None,
        spells[1],
        spells[2] if ends[-1] >= stop else None,
    )
