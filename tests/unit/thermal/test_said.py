"""What the watch says is worked out once until something comes in: whoever adds an input cannot
forget that it may change what is said."""

import inspect
from collections.abc import Callable

import pytest
from test_thermal_watch import box

from monitor.brooding.heat_balance import prior
from monitor.thermal import answers
from monitor.thermal.diagnosis import HeatKnown
from monitor.thermal.thermal_watch import ThermalWatch

# Asked, or of the night to come: they change nothing of what the floor is doing.
ASKED = {"minutes_to", "skies", "coming_night", "observe_outside", "prior_is", "kept", "restore"}
COMES_IN: dict[str, Callable[[ThermalWatch], object]] = {
    "observe": lambda it: it.observe(900.0, "porch/floor", 32.0),
    "heat_is": lambda it: it.heat_is(900.0, HeatKnown({}, frozenset(), True)),
    "leave_out": lambda it: it.leave_out("porch/floor"),
    "target_is": lambda it: it.target_is(30.0),
    "grower_acted": lambda it: it.grower_acted(900.0),
    "heat_changed": lambda it: it.heat_changed(900.0, 900.0),
    "hour_is": lambda it: it.hour_is(900.0, 13.0),
    "resume": lambda it: it.resume(),
}


def test_the_scatter_of_a_probe_is_no_fall() -> None:
    """A floor among chicks, each minute: the line through the last five falls 6.6 K an hour."""
    watch = ThermalWatch(brooder := box("floor"), prior(brooder), False)
    watch.target_is(35.0)
    for n, temp_c in enumerate((32.3, 32.5, 32.2, 32.4, 31.9, 32.1)):
        watch.observe(60.0 * n, "porch/floor", temp_c)
    assert watch.diagnosis.rate_k_per_h == 0.0
    for n, temp_c in enumerate((31.9, 31.6, 31.4, 31.1, 30.9, 30.6)):
        watch.observe(360.0 + 60.0 * n, "porch/floor", temp_c)
    # The line falls by 15.0; twice its standard error is 1.55, by squares 1 in 100 of it.
    assert watch.diagnosis.rate_k_per_h == pytest.approx(-14.84, abs=0.01)


def test_a_minute_of_readings_after_a_gap_makes_no_pace() -> None:
    """A floor that had come to rest: the mean of the last word before nine minutes without any and
    the first one after, then half a kelvin within a minute, was thirteen an hour."""
    watch = ThermalWatch(brooder := box("floor"), prior(brooder), False)
    watch.target_is(32.0)
    for n in range(40):
        watch.observe(15.0 * n, "porch/floor", 31.8 - 0.005 * n)
    for n, temp_c in enumerate((31.31, 31.31, 31.31, 31.25, 31.25)):
        watch.observe(1125.0 + 15.0 * n, "porch/floor", temp_c)
        assert -3.5 < watch._floor.rate_k_per_h < -1.0


def test_whatever_comes_in_what_is_said_is_worked_out_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    methods = inspect.getmembers(ThermalWatch, inspect.isfunction)
    public = {name for name, _ in methods if not name.startswith("_")} - ASKED
    assert public == COMES_IN.keys(), "does it come in, or is it asked?"
    count = 0
    work_out = answers.diagnosis

    def counted(*args: object, **more: object) -> object:
        nonlocal count
        count += 1
        return work_out(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(answers, "diagnosis", counted)
    for name, comes_in in COMES_IN.items():
        watch = ThermalWatch(brooder := box("floor"), prior(brooder), False)
        watch.target_is(32.0)
        for step in range(30):
            watch.observe(30.0 * step, "porch/floor", 32.0)
        _ = watch.diagnosis
        before = count
        comes_in(watch)
        _ = watch.diagnosis
        assert count > before, name
