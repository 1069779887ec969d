"""Real weather as the outside probe, through the whole engine.

Two open data sets carried by the package vega_datasets 0.9 (BSD licence): `seattle-weather`, daily
highs and lows of 2012 to 2015 (NOAA National Climatic Data Center), and `seattle-temps`, the hourly
normals of 2010 from the same place, in degF. The box round them is the simulated one."""

from dataclasses import dataclass
from itertools import pairwise
from math import cos, pi
from random import Random

import pytest
from support.boxmodel import DAY_S, Run, Weather, run
from support.scenarios import Night, fitted_box
from support.watched import DAY_0, Watched, watch
from vega_datasets import local_data

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


def real_days(first: str, days: int) -> tuple[tuple[float, float], ...]:
    """Lows at six, highs at three in the afternoon, from that date on."""
    table = local_data.seattle_weather()
    begin = table.index[table["date"] == first][0]
    points = []
    for day, row in enumerate(table.iloc[begin : begin + days].itertuples()):
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
    return watched_days(real_days("2013-11-20", 21), 21, margin_k=1.5)


def test_three_real_weeks_bring_no_false_loss_and_no_probe_fault(december):
    assert december.raised("heat-loss", "probe-fault", "no-readings") == []


def test_the_engine_measured_that_weather(december):
    """The data went in: what the outside probe said spans what the table says."""
    said = [c for _, key, c in december.night.run.samples if key.endswith("outside")]
    lows = [c for _, c in real_days("2013-11-20", 21)]
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
    table = local_data.seattle_temps()
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
