"""Real weather as the outside probe, through the whole engine.

Two open data sets carried by the package vega_datasets 0.9 (BSD licence): `seattle-weather`, daily
highs and lows of 2012 to 2015 (NOAA National Climatic Data Center), and `seattle-temps`, the hourly
normals of 2010 from the same place, in degF. The box round them is the simulated one."""

from dataclasses import dataclass
from itertools import pairwise
from math import cos, pi
from random import Random
from statistics import NormalDist, mean
from typing import Any, NamedTuple

import pytest
from support.boxmodel import DAY_S, Run, Weather, run
from support.scenarios import Night, fitted_box
from support.watched import DAY_0, Watched, watch

from monitor.events import Moment
from monitor.thermal.outside_curve import Skies
from monitor.thermal.outside_heard import OutsideHeard
from monitor.units import Unit, to_celsius

HOUR = 3600.0
COLDEST_H, WARMEST_H = 6.0, 15.0


@dataclass
class Recorded(Weather):
    """Weather from a list of (second, degC), along half cosines between them."""

    points: tuple[tuple[float, float], ...] = ()

    def base_c(self, clock_s: float) -> float:
        for (t0, c0), (t1, c1) in self._around(clock_s):
            return c0 + (c1 - c0) * (1.0 - cos(pi * (clock_s - t0) / (t1 - t0))) / 2.0
        return self.points[-1][1]

    def _around(self, clock_s: float) -> list[tuple[tuple[float, float], tuple[float, float]]]:
        pairs = pairwise(self.points)
        return [(a, b) for a, b in pairs if a[0] <= clock_s < b[0]][:1]


def _data() -> Any:
    """Loaded where it is asked for: pandas comes with it, and each worker would load it."""
    from vega_datasets import local_data  # noqa: PLC0415

    return local_data


def real_days() -> tuple[tuple[float, float], ...]:
    """Lows at six, highs at three in the afternoon, for three weeks."""
    table = _data().seattle_weather()
    begin = table.index[table["date"] == "2013-11-20"][0]
    points = []
    for day, row in enumerate(table.iloc[begin : begin + 21].itertuples()):
        points.append((day * DAY_S + COLDEST_H * HOUR, float(row.temp_min)))
        points.append((day * DAY_S + WARMEST_H * HOUR, float(row.temp_max)))
    return tuple(points)


def watched_days(points: tuple[tuple[float, float], ...], days: int, margin_k: float) -> Watched:
    """A box whose floor would be right, `margin_k` over, at the mean of these days."""
    rng = Random("real weather")
    mean_c = sum(c for _, c in points) / len(points)
    weather = Recorded(mean_c=mean_c, swing_c=0.0, wander_c=0.2, points=((-DAY_S, mean_c),))
    plan = fitted_box("full", weather, floor_c=30.2 + margin_k, rng=rng)
    weather.points = points
    box = plan.box
    box.settle(12 * HOUR)
    for probe in box.probes:
        probe.temp_c = box.felt_c(probe)
    stretch: Run = run(
        box, from_s=12 * HOUR, to_s=days * DAY_S - 12 * HOUR, every_s=30.0, acts=[], rng=rng
    )
    night = Night(
        kind="real",
        seed=0,
        brooder=plan.brooder(30.2),
        head_count=box.birds,
        age_days=8.0,
        target_c=30.2,
        run=stretch,
        event_at=None,
        from_s=12 * HOUR,
        watch_from=12 * HOUR,
        layout="full",
    )
    return watch(night)


@pytest.fixture(scope="module")
def december() -> Watched:
    """Three weeks from 20 November 2013: mild days first, then a cold spell."""
    return watched_days(real_days(), 21, margin_k=1.5)


def test_three_real_weeks_bring_no_false_loss_and_no_probe_fault(december):
    assert december.raised("heat-loss", "probe-fault", "no-readings") == []


def test_the_engine_measured_that_weather(december):
    """The data went in: what the outside probe said spans what the table says."""
    said = [c for _, key, c in december.night.run.samples if key.endswith("outside")]
    lows = [c for _, c in real_days()]
    assert min(said) == pytest.approx(min(lows), abs=1.5)
    assert max(said) == pytest.approx(max(lows), abs=1.5)


def test_cold_nights_are_told_before_the_floor_leaves_the_band(december):
    """Of the nights in which the floor leaves the band, most are told two hours ahead."""
    night = december.night
    ahead = []
    for day in range(1, 20):
        dusk = day * DAY_S + 17 * HOUR
        lows = [(t, low) for t, low, _ in night.run.extremes if dusk <= t < dusk + 14 * HOUR]
        below = next((t for t, low in lows if low < night.low_c), None)
        if below is None or lows[0][1] < night.low_c:
            continue  # held, or was too cold before dusk
        ahead.append(_warning_stood(december, below - 2 * HOUR))
    assert len(ahead) >= 3, "the cold spell gave too few cold nights to judge by"
    assert sum(ahead) >= 0.8 * len(ahead), ahead


def test_nights_that_hold_are_seldom_called_cold(december):
    night = december.night
    held = wrong = 0
    for day in range(1, 20):
        dusk = day * DAY_S + 17 * HOUR
        lows = [low for t, low, _ in night.run.extremes if dusk <= t < dusk + 14 * HOUR]
        if min(lows) >= night.low_c:
            held += 1
            wrong += bool(december.raised("cold-night", after=dusk, until=dusk + 14 * HOUR))
    assert held >= 8
    assert wrong <= 0.15 * held


def _warning_stood(seen: Watched, at: float) -> bool:
    """Was a cold-night warning, or the cold itself, standing at that scenario second?"""
    standing = False
    for change in seen.changes:
        if change.at - DAY_0 > at:
            break
        if change.alarm.value == "cold-night":
            if change.change.value == "raised":
                standing = True
            elif change.change.value == "cleared":
                standing = False
    return standing


def test_hourly_normals_of_a_mild_month_are_a_quiet_time():
    """Ten days of May: nothing is called a cold night, a loss or a probe's fault."""
    table = _data().seattle_temps()
    begin = table.index[table["date"] == "2010-05-03"][0]
    hours = table.iloc[begin : begin + 24 * 10]
    points = tuple(
        (hour * HOUR, to_celsius(float(row.temp), Unit.FAHRENHEIT))
        for hour, row in enumerate(hours.itertuples())
    )
    seen = watched_days(points, 10, margin_k=2.2)
    lowest = min(low for _, low, _ in seen.night.run.extremes)
    assert seen.raised("heat-loss", "probe-fault") == []
    if lowest > seen.night.low_c + 0.5:
        assert seen.raised("cold-night", "cold") == []


class Said(NamedTuple):
    """Of one evening hour, K: the lowest air that came, against what was foretold for it."""

    off_k: float
    as_last_k: float  # off "as last night fell"
    colder: float  # how much of what was held possible is colder than what came, 0..1


def said_of_evenings(first: int, days: int, shrunk: float) -> list[Said]:
    """At 18, 20 and 22 h of each evening but the first two, on days that go as half cosines."""
    rng, heard, found = Random(first), OutsideHeard(), []
    rows = _data().seattle_weather().iloc[first : first + days + 1].itertuples()
    points = [
        (day * DAY_S + hour * HOUR, float(temp_c) * shrunk)
        for day, row in enumerate(rows)
        for hour, temp_c in ((COLDEST_H, row.temp_min), (WARMEST_H, row.temp_max))
    ]
    air = Recorded(mean_c=0.0, swing_c=0.0, wander_c=0.0, points=tuple(points))
    begins_s = 7 * HOUR
    course = {
        at: air.base_c(at) + rng.gauss(0.0, 0.1)
        for at in (begins_s + 600.0 * k for k in range(int((days * DAY_S - begins_s) / 600.0)))
    }
    for at, temp_c in course.items():
        heard.observe(at, temp_c, 0.0)
        hour = at % DAY_S / HOUR
        until = at - at % DAY_S + DAY_S + 6.5 * HOUR
        if hour not in (18.0, 20.0, 22.0) or at < 2 * DAY_S or until not in course:
            continue
        ahead = [c for when, c in course.items() if at <= when <= until]
        before = [c for when, c in course.items() if at <= when + DAY_S <= until]
        skies = heard.skies(Moment(at, at), until, 0.0)
        assert skies is not None
        found.append(_said(skies, min(ahead), temp_c + min(before) - course[at - DAY_S]))
    return found


def _said(skies: Skies, low_c: float, as_last_c: float) -> Said:
    lows = [(sky.weight, min(sky.points, key=lambda point: point.temp_c)) for sky in skies]

    def colder(temp_c: float) -> float:
        return sum(w * NormalDist(low.temp_c, low.sd_k).cdf(temp_c) for w, low in lows)

    warm, cold = low_c + 20.0, low_c - 20.0
    for _ in range(30):
        half = 0.5 * (warm + cold)
        warm, cold = (half, cold) if colder(half) > 0.5 else (warm, half)
    return Said(abs(cold - low_c), abs(as_last_c - low_c), colder(low_c))


def test_on_measured_days_evenings_are_foretold_nearer_than_as_last_night_fell_and_not_too_sure():
    """Four seasons, evenings as late as half a cosine: the hardest of them."""
    said = [one for first in (60, 400, 640, 1000) for one in said_of_evenings(first, 30, 0.75)]
    assert len(said) > 300
    assert mean(one.off_k for one in said) < 0.9 * mean(one.as_last_k for one in said)
    assert 0.65 < mean(0.1 < one.colder < 0.9 for one in said) < 0.92
