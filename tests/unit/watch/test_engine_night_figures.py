"""The night's figures: what was not seen is never counted as good."""

import json

import pytest
from support.engine_night import Night

from monitor.events import AlarmName, ChangeKind, EntryKind, Facts, Moment
from monitor.thermal import estimator
from monitor.watch.engine import Engine

HOUR_S = 3600.0


@pytest.fixture
def night() -> Night:
    return Night(make_estimator=estimator.none)


def away(night: Night, for_s: float) -> None:
    """The service ends, and is started anew from what it kept."""
    left = night.now()
    kept = json.loads(json.dumps(night.engine.kept()))
    night.t += for_s
    night.engine = Engine(night.site, night.now(), make_estimator=estimator.none)
    night.engine.restore(kept)
    gap = Facts(down_from=left.at, down_to=night.now().at)
    night.engine.fault(AlarmName.WAS_DOWN, True, night.now(), gap)


@pytest.mark.parametrize("for_s", [540.0, 9 * HOUR_S])
def test_time_in_which_nobody_watched_is_unseen_until_the_floor_is_heard_again(
    night: Night, for_s: float
) -> None:
    night.holds(35.0, for_s=600)
    away(night, for_s)
    at_once = night.box()
    assert at_once.in_band is None, "what was read before it is not how it is"
    assert at_once.night.unseen_s == pytest.approx(for_s)
    night.waits(30)
    night.holds(35.0, for_s=600)
    later = night.box()
    assert later.in_band is True
    assert later.in_band_since == pytest.approx(night.start + 600 + for_s + 30)
    assert later.night.unseen_s == pytest.approx(for_s + 30)


def test_a_cold_floor_before_the_gap_is_not_cold_through_the_gap(night: Night) -> None:
    night.holds(31.0, for_s=600)
    away(night, HOUR_S)
    night.holds(35.0, for_s=600)
    figures = night.box().night
    assert figures.below_s == pytest.approx(600)
    assert figures.unseen_s == pytest.approx(HOUR_S)


@pytest.mark.parametrize("low_c", [31.0, 25.0])
@pytest.mark.parametrize("then_c", [(35.0,), (32.5, 35.0), (32.5, 39.0)])
def test_a_floor_was_too_cold_for_as_long_in_its_end_as_in_the_nights_figures(
    night: Night, low_c: float, then_c: tuple[float, ...]
) -> None:
    """The dead band (32.2 to 32.7) and the wait for the end are the alarm's, not the floor's."""
    night.holds(35.0, for_s=600)
    night.holds(low_c, for_s=900)
    for temp_c in then_c:
        night.holds(temp_c, for_s=600)
    cold = next(c for c in night.changes if c.change is ChangeKind.CLEARED and "cold" in c.alarm)
    assert cold.facts["lasted_s"] == night.box().night.below_s == 900
    assert cold.ended_at == night.start + 1500


def test_a_gap_over_six_in_the_evening_counts_for_the_new_night_from_six_on(night: Night) -> None:
    night.holds(35.0, for_s=23 * HOUR_S, every_s=60)
    away(night, 2 * HOUR_S)
    night.holds(35.0, for_s=600)
    figures = night.box().night
    assert figures.since_at == night.start + 24 * HOUR_S
    assert figures.unseen_s == pytest.approx(HOUR_S)


def test_chicks_placed_in_the_evening_have_a_night_from_then_on() -> None:
    night = Night(make_estimator=estimator.none, batch=False)
    night.holds(15.5, for_s=85 * 60)
    night.placed()
    night.holds(35.0, for_s=600)
    figures = night.box().night
    assert figures.since_at == night.start + 85 * 60
    assert figures.unseen_s == 0
    assert figures.low_c == 35.0, "how cold the box was before them is none of theirs"


def test_a_watch_that_begins_at_two_knows_nothing_of_the_hours_before() -> None:
    """A record brought in, or a journal lost: the chicks were there, and nobody watched."""
    night = Night(make_estimator=estimator.none, batch=False, start=Night.evening("2026-02-09"))
    begin = night.start + 8 * HOUR_S
    night.engine = Engine(night.site, Moment(begin, begin), make_estimator=estimator.none)
    night.placed()  # yesterday at six
    night.t = 8 * HOUR_S
    night.holds(35.0, for_s=600)
    figures = night.box().night
    assert figures.since_at == night.start
    assert figures.unseen_s == pytest.approx(8 * HOUR_S)


def test_a_box_out_of_use_has_no_unseen_time(night: Night) -> None:
    night.holds(35.0, for_s=600)
    night.entry(EntryKind.OUT_OF_SERVICE, brooder="porch")
    night.holds(35.0, for_s=HOUR_S)
    night.entry(EntryKind.LOSS, brooder="porch", count=1)
    night.entry(EntryKind.IN_SERVICE, brooder="porch")
    night.holds(35.0, for_s=600)
    assert night.box().night.unseen_s == 0


@pytest.mark.parametrize("readings", [1, 2])
@pytest.mark.parametrize("by_k", [-9.0, 12.0])
def test_wild_readings_are_not_the_nights_figure_nor_one_an_alarms(
    by_k: float, readings: int
) -> None:
    """The morning after a night in which nothing was wrong began with it, or with two of them. What
    the third goes on with was so."""
    night = Night()
    floor_c = 35.0 + (4.0 if by_k > 0.0 else -4.0)  # out of its band, and told
    wild = [floor_c + by_k] * readings
    for said_c in (*[35.0] * 20, *[floor_c] * 40, *wild, *[floor_c] * 20, *[35.0] * 60):
        night.says(said_c + 0.06 * (night.t % 60.0 > 0.0))
        night.t += 30.0
    figures = night.box().night
    assert (figures.low_c, figures.high_c) == pytest.approx(
        (min(35.0, floor_c), max(35.0, floor_c)), abs=0.1
    )
    ends = [c for c in night.changes if c.change is ChangeKind.CLEARED]
    assert ends
    if readings == 1:
        said = [c.facts["extreme_c"] for c in ends]
        assert said == pytest.approx([floor_c] * len(ends), abs=0.1)
    for said_c in (35.0 + by_k, 35.1 + by_k, 35.2 + by_k, 35.0):
        night.says(said_c)
        night.t += 30.0
    figures = night.box().night
    assert min(abs(c - 35.1 - by_k) for c in (figures.low_c, figures.high_c) if c) < 0.2


@pytest.mark.parametrize(("readings", "out_s"), [(1, 0.0), (2, 0.0), (4, 120.0)])
@pytest.mark.parametrize("by_k", [-9.0, 12.0])
def test_a_wild_reading_or_two_are_no_minute_out_of_the_band(
    by_k: float, readings: int, out_s: float
) -> None:
    night = Night()
    for said_c in (*[35.0] * 20, *[35.0 + by_k] * readings, *[35.0] * 20):
        night.says(said_c + 0.06 * (night.t % 60.0 > 0.0))
        night.t += 30.0
    figures = night.box().night
    assert figures.below_s + figures.above_s == out_s


def test_one_wild_reading_after_minutes_of_nothing_is_no_figure_either() -> None:
    """ "Lowest 17.5 °C at 01:41; too cold for 9 min", of a night in which nothing was wrong."""
    night = Night()
    for said_c in (*[35.0] * 20, None, 17.5, *[35.0] * 20):
        if said_c is None:
            night.t += 420.0
            continue
        night.says(said_c)
        night.t += 60.0
    figures = night.box().night
    assert (figures.low_c, figures.high_c, figures.below_s) == (35.0, 35.0, 0.0)
