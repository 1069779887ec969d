"""The outside of the coming hours: from a named low, a forecast, own cooling and yesterday."""

from dataclasses import replace
from math import cos, pi

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.engine_night import Night, a_brooder, a_probe, a_site

from monitor.events import EntryKind, Moment
from monitor.site import Place, Site
from monitor.thermal.outside_curve import OutsideHistory, from_forecast, from_low

H = 3600.0


def history(course, hours: float) -> tuple[OutsideHistory, Moment]:
    """Ten-minute readings of `course` (degC by hour) up to now."""
    past = OutsideHistory()
    tick = 0.0
    while tick <= hours * H:
        past.add(tick, course(tick / H))
        tick += 600.0
    return past, Moment(1e9 + hours * H, hours * H)


def test_a_named_low_is_reached_when_it_was_said_to_be():
    now = Moment(1e9, 0.0)
    curve = from_low(now, 12.0, -2.0, 1e9 + 10 * H)
    assert curve.at(1e9) == pytest.approx(12.0)
    assert curve.at(1e9 + 10 * H) == pytest.approx(-2.0)
    assert curve.at(1e9 + 5 * H) == pytest.approx(5.0)
    assert curve.source == "the low you gave"


@given(st.floats(-30, 40), st.floats(-30, 40), st.floats(0.6, 16))
def test_a_named_low_is_never_undercut(now_c, low_c, hours):
    curve = from_low(Moment(0.0, 0.0), now_c, low_c, hours * H)
    least = min(curve.at(k * 600.0) for k in range(100))
    assert least >= min(now_c, low_c) - 1e-6


def test_a_forecast_is_pulled_onto_what_the_probe_says_now():
    now = Moment(1e9, 0.0)
    forecast = [(1e9 + k * H, 10.0 - k) for k in range(13)]
    curve = from_forecast(now, forecast, age_s=2 * H, now_c=7.0)
    assert curve.at(1e9) == pytest.approx(7.0)
    # 3 K below the forecast now: 0.4 of it is believed to stay
    assert curve.at(1e9 + 12 * H) == pytest.approx(-2.0 - 3.0 * 0.48, abs=0.1)
    assert curve.source == "forecast, 2 h old"


def test_a_forecast_without_a_probe_is_taken_as_it_is():
    forecast = [(1e9 + k * H, 10.0 - k) for k in range(13)]
    curve = from_forecast(Moment(1e9, 0.0), forecast, age_s=60.0, now_c=None)
    assert curve.at(1e9 + 6.5 * H) == pytest.approx(3.5)
    assert curve.source == "forecast, under an hour old"


@pytest.mark.parametrize(
    "forecast",
    [[], [(1e9, 5.0)], [(1e9 - 9 * H, 5.0), (1e9 + 2 * H, 3.0)], [(1e9 + 9 * H, 1.0)] * 2],
)
def test_a_forecast_that_does_not_reach_into_the_night_is_none(forecast):
    assert from_forecast(Moment(1e9, 0.0), forecast, age_s=0.0, now_c=5.0) is None


def test_an_old_forecast_is_believed_less():
    forecast = [(1e9 + k * H, 10.0) for k in range(13)]
    fresh = from_forecast(Moment(1e9, 0.0), forecast, age_s=0.0, now_c=None)
    stale = from_forecast(Moment(1e9, 0.0), forecast, age_s=24 * H, now_c=None)
    assert stale.sd(1e9) > fresh.sd(1e9)


def test_a_steady_day_is_expected_again():
    """The same curve day after day: tonight as yesterday, to a degree."""

    def course(hour: float) -> float:
        return 8.0 - 4.0 * cos(2 * pi * (hour - 4.0) / 24.0)

    past, now = history(course, 24 * 1.75)
    curve = past.curve(now, now.at + 12 * H)
    errors = [curve.at(now.at + k * H) - course(42.0 + k) for k in range(1, 12)]
    assert max(abs(e) for e in errors) < 1.6
    assert "yesterday" in curve.source


def test_a_colder_evening_shifts_yesterday_down():
    def course(hour: float) -> float:
        front = 5.0 * min(1.0, max(0.0, (hour - 34.0) / 3.0))
        return 8.0 - 2.0 * cos(2 * pi * (hour - 4.0) / 24.0) - front

    past, now = history(course, 42.0)
    curve = past.curve(now, now.at + 12 * H)
    assert curve.at(now.at + 9 * H) < 8.0 - 2.0 - 5.0 + 2.0


def test_nothing_is_expected_of_an_outside_that_was_not_heard_lately():
    past, now = history(lambda hour: 8.0, 20.0)
    assert past.curve(Moment(now.at + 4 * H, now.tick + 4 * H), now.at + 12 * H) is None
    assert OutsideHistory().curve(now, now.at + H) is None


@given(st.floats(-1e6, 1e6), st.integers(1, 200))
def test_a_restart_with_any_shift_gives_the_same_curve(shift_s, tens):
    def course(hour: float) -> float:
        return 10.0 - 0.3 * (hour % 24.0)

    past, now = history(course, tens / 6.0)
    other = OutsideHistory()
    other.restore(past.state(), shift_s)
    one = past.curve(now, now.at + 10 * H)
    two = other.curve(Moment(now.at, now.tick + shift_s), now.at + 10 * H)
    assert [p[0] for p in one.points] == [p[0] for p in two.points]
    assert [p[1] for p in two.points] == pytest.approx([p[1] for p in one.points], abs=1e-6)


def porch_and_shed() -> Site:
    """The porch has its own outside probe, out of the wind; the shed goes by the site's."""
    porch = a_brooder("porch")
    own = a_probe("porch", "eaves", Place.OUTSIDE)
    porch = replace(porch, probes=(*porch.probes, own))
    return a_site(porch, a_brooder("shed"), outside=True)


def outsides(night: Night) -> dict[str, float | None]:
    return {b.name: b.outside_c for b in night.engine.status(night.now()).brooders}


def test_a_box_goes_by_its_own_outside_probe_and_the_others_by_the_sites():
    night = Night(porch_and_shed())
    for _ in range(20):
        night.says(6.0, "porch/eaves")
        night.says(-2.0, "site/shade")
        night.says(35.0, "porch/floor")
        night.says(35.0, "shed/floor")
        night.t += 30
    assert outsides(night) == {"porch": 6.0, "shed": -2.0}
    night.holds(-3.0, for_s=1800, every_s=30, probes=["site/shade"])  # the own one falls silent
    assert outsides(night) == {"porch": 6.0, "shed": -3.0}


def test_a_box_whose_own_outside_probe_is_not_in_use_goes_by_the_sites():
    night = Night(porch_and_shed())
    night.says(6.0, "porch/eaves")
    night.entry(EntryKind.OUT_OF_SERVICE, probe="porch/eaves")
    night.says(-2.0, "site/shade")
    night.says(7.0, "porch/eaves")
    assert outsides(night) == {"porch": -2.0, "shed": -2.0}
