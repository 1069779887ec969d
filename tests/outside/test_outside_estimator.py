"""The estimator against closed solutions, other people's code and published tables."""

from math import exp, log
from random import Random
from typing import Any

import numpy as np
import pytest
import scipy

from monitor.thermal.day_course import fallen, open_air
from monitor.thermal.kalman import FloorFilter
from monitor.thermal.time_constant import TimeConstants

TAU_S = 3600.0


def _filter(**changes: float) -> FloorFilter:
    figures = {
        "tick": 0.0,
        "temp_c": 33.0,
        "rise_k": 26.0,
        "p_tt": 0.01,
        "p_rr": 4.0,
        "reading_var": 0.01,
        "temp_walk": 1e-4,
        "rise_walk": 1e-4,
    }
    return FloorFilter(**{**figures, **changes})


# Newton's law of cooling, the solution of dT/dt = -(T - T_end) / tau (any physics text):
# T(t) = T_end + (T_0 - T_end) exp(-t / tau).


@pytest.mark.parametrize("pace_s", [10.0, 30.0, 400.0])
def test_the_foretold_floor_is_newtons_cooling_whatever_the_pace(pace_s):
    filt = _filter()
    for k in range(1, 61):
        filt.predict(k * pace_s, 5.0, TAU_S)
        filt.rise_k = 15.0
        if k == 1:
            filt.temp_c = 5.0 + 15.0 + 13.0 * exp(-pace_s / TAU_S)
    closed = 20.0 + 13.0 * exp(-60 * pace_s / TAU_S)
    assert filt.temp_c == pytest.approx(closed, abs=1e-9)


def test_one_step_over_a_gap_is_the_same_as_many_small_ones():
    whole, parts = _filter(), _filter()
    whole.predict(600.0, 5.0, TAU_S)
    for k in range(1, 601):
        parts.predict(float(k), 5.0, TAU_S)
    assert whole.temp_c == pytest.approx(parts.temp_c, abs=1e-9)
    # the walk of the floor is let decay only between steps: alike to a tenth over ten minutes
    assert whole.p_tt == pytest.approx(parts.p_tt, rel=0.1)
    assert whole.p_rr == pytest.approx(parts.p_rr, rel=1e-9)


def _readings(count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = Random(seed)
    temp, rise = 33.0, 26.0
    outside = [6.0 + 2.0 * np.sin(k / 200.0) for k in range(count)]
    keep = exp(-30.0 / TAU_S)
    read = []
    for k in range(count):
        rise += rng.gauss(0.0, 0.04)
        temp = keep * temp + (1 - keep) * (outside[k] + rise) + rng.gauss(0.0, 0.05)
        read.append(temp + rng.gauss(0.0, 0.1))
    return np.array(read), np.array(outside)


def _as_statsmodels_has_it(read: np.ndarray, outside: np.ndarray) -> Any:
    """The same box in its words: state (floor, rise), outside as a state intercept."""
    # Here, as it takes two seconds to load and every worker reads this file.
    from statsmodels.tsa.statespace.mlemodel import MLEModel  # noqa: PLC0415

    keep = exp(-30.0 / TAU_S)
    box = MLEModel(read, k_states=2, k_posdef=2)
    box["design"] = np.array([[1.0, 0.0]])
    box["obs_cov"] = np.array([[0.01]])
    box["transition"] = np.array([[keep, 1.0 - keep], [0.0, 1.0]])
    box["selection"] = np.eye(2)
    box["state_cov"] = np.diag([1e-4 * 30.0, 1e-4 * 30.0])
    intercept = np.zeros((2, len(read)))
    # the intercept of step t leads to the state of step t + 1
    intercept[0, :-1] = (1.0 - keep) * outside[1:]
    box["state_intercept"] = intercept
    box.initialize_known(np.array([33.0, 26.0]), np.diag([0.01, 4.0]))
    return box


def test_the_filter_gives_what_statsmodels_gives_on_the_same_readings():
    read, outside = _readings(500, seed=7)
    theirs = _as_statsmodels_has_it(read, outside).smooth([])
    ours = _filter()
    temps, rises, spreads, likelihood = [], [], [], 0.0
    for k in range(len(read)):
        if k:
            ours.predict(30.0 * k, outside[k], TAU_S)
        residual, spread = ours.correct(read[k])
        likelihood += -0.5 * (log(2 * np.pi * spread) + residual**2 / spread)
        temps.append(ours.temp_c)
        rises.append(ours.rise_k)
        spreads.append(ours.rise_sd_k**2)
    assert np.allclose(temps, theirs.filtered_state[0], atol=1e-6)
    assert np.allclose(rises, theirs.filtered_state[1], atol=1e-6)
    assert np.allclose(spreads, theirs.filtered_state_cov[1, 1], atol=1e-6)
    assert likelihood == pytest.approx(theirs.llf, abs=1e-4)


def test_the_time_constant_learned_is_the_one_scipy_fits_to_the_same_cooling():
    rng = Random(3)
    true_tau_s = 4200.0
    times = np.arange(0.0, 8 * 3600.0, 900.0)
    floor = 18.0 + 14.0 * np.exp(-times / true_tau_s)
    read = floor + np.array([rng.gauss(0.0, 0.1) for _ in times])
    (_, _, fitted_tau_s), _ = scipy.optimize.curve_fit(
        lambda t, end, size, tau: end + size * np.exp(-t / tau),
        times,
        read,
        p0=(20.0, 10.0, 3000.0),
    )
    bank = TimeConstants(
        tick=0.0,
        temp_c=float(read[0]),
        tau_s=2600.0,
        tau_spread=1.8,
        rise_k=12.0,
        rise_sd_k=0.3,
        outside_known=True,
    )
    for at, temp in zip(times[1:], read[1:], strict=True):
        bank.add(float(at), float(temp), 6.0)
    assert fitted_tau_s == pytest.approx(true_tau_s, rel=0.05)
    # the bank knows five constants, a factor of 1.6 apart, and mixes them
    assert bank.tau_s == pytest.approx(fitted_tau_s, rel=0.15)
    assert bank.rise_k == pytest.approx(12.0, abs=0.4)


def test_an_evening_falls_as_parton_and_logan_have_it():
    """W. J. Parton and J. A. Logan 1981, from memory: an exponential that falls by 2.2 of its own
    constants from sunset to sunrise. Half of the night by hand: (1 - e^-1.1) / (1 - e^-2.2)."""
    assert fallen(0.5) == pytest.approx(0.7503, abs=1e-4)
    assert open_air(0.0) == pytest.approx(open_air(18.0) * (1.0 - 0.7503), abs=1e-4)
    assert open_air(6.0) == pytest.approx(0.0, abs=1e-9)
    warmest = max(range(24 * 60), key=lambda minute: open_air(minute / 60.0)) / 60.0
    assert warmest == pytest.approx(12.0 + 1.86, abs=0.02)  # so long after the sun's highest
