"""The physical limit of detection, for the benchmark: Lorden's bound beside what the watch reaches.

G. Lorden, "Procedures for reacting to a change in distribution", Ann. Math. Statist. 42 (1971)
1897-1908: a test whose false starts are `gamma` readings apart on average cannot have a smaller
worst mean delay than ln(gamma) / I readings (as gamma grows), I being the information of one
reading: for normal residuals of unit variance whose mean shifts by m, I = m^2 / 2."""

from dataclasses import dataclass
from math import exp, log

from support.scenarios import Night
from support.watched import DAY_0, placed, readings

from monitor.brooding.heat_balance import prior
from monitor.thermal.model import LIMIT, SLACK
from monitor.thermal.thermal_watch import ThermalWatch

_FIRST_S = 300.0


def false_start_readings() -> float:
    """Mean readings between false starts of the one-sided test as set in the watch, for independent
    normal residuals: D. Siegmund, Sequential Analysis, 1985, (2.57), as in Montgomery 9.1.4."""
    b = LIMIT + 1.166
    return (exp(2.0 * SLACK * b) - 2.0 * SLACK * b - 1.0) / (2.0 * SLACK * SLACK)


@dataclass(frozen=True)
class Limit:
    """One failure: delays in seconds from the failure."""

    shift: float  # of the standardised residual, mean over the first five minutes
    bound_s: float
    test_s: float | None  # until the change test speaks
    verdict_s: float | None  # until the cause is told


def limit_of(night: Night) -> Limit | None:
    """The bound for this night's own noise and step, and what was reached."""
    outside = {p.key for p in night.brooder.probes if p.place.value == "outside"}
    start = prior(night.brooder, placed(night).count or 0, night.age_days, "broiler")
    watch = ThermalWatch(night.brooder, start, bool(outside))
    watch.hour_is(DAY_0, 0.0)
    watch.target_is(night.target_c)
    scores: list[float] = []
    at = DAY_0 + (night.event_at or 0.0)
    test_s = verdict_s = None
    for reading in readings(night):
        if reading.probe in outside:
            watch.observe_outside(reading.tick, reading.temp_c)
            continue
        test = None if watch._model is None else watch._model.test
        before = 0.0 if test is None else test.low
        stepped = watch._stepped
        diagnosis = watch.observe(reading.tick, reading.probe, reading.temp_c)
        if reading.tick < at:
            continue
        moved = test is not None and watch._stepped != stepped
        if test is not None and moved and reading.tick < at + _FIRST_S and test.low > 0.0:
            scores.append(test.low - before + SLACK)
        if test_s is None and watch._fall.open:
            test_s = reading.tick - at
        if diagnosis is not None and diagnosis.cause is not None:
            verdict_s = reading.tick - at
            break
    if not scores:
        return None
    shift = sum(scores) / len(scores)
    if shift <= 0.0:
        return None
    pace_s = 30.0
    bound_s = log(false_start_readings()) / (shift * shift / 2.0) * pace_s
    return Limit(shift, bound_s, test_s, verdict_s)
