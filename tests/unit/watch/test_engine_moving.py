"""When a grower is told that the birds may move out: never into nights that are too cold for them,
whether a forecast, a probe outside or nobody says how cold they are."""

import json

import pytest
from support.engine_night import Night, a_site

from monitor.events import AlarmName, Change, ChangeKind, Moment
from monitor.tell.present_facts import box_morning
from monitor.tell.wording import for_change
from monitor.tell.wording.advice_words import moving_line
from monitor.tell.wording.words import Voice
from monitor.thermal import estimator
from monitor.thermal.estimator import MakeEstimator
from monitor.watch.engine import Engine

DAY_S = 86400.0
TARGET_C = 26.7  # of day 21


def flock(
    *, outside: bool, from_day: str = "2026-02-28", make: MakeEstimator = estimator.none
) -> Night:
    """Thirty meat birds hatched on 8 February: three weeks old, feathered, on 1 March."""
    night = Night(
        a_site(outside=outside),
        start=Night.evening(from_day),
        batch=False,
        make_estimator=make,
    )
    return night


def through(night: Night, outside_c: float | None, for_s: float) -> None:
    """The floor is right, and it is about so cold outside: air is never quite still, and a probe
    that says so is stuck. The birds come after the first minutes."""
    end = night.t + for_s
    came = night.t + 600.0 if night.t == 0.0 else None
    for _ in night.until(end, 300.0):
        night.says(TARGET_C)
        if outside_c is not None:
            night.says(outside_c + (0.0 if night.t % 1500.0 else 0.2), "site/shade")
        if night.t == came:
            night.placed(hatched="2026-02-08", count=30)


def moving(night: Night, kind: ChangeKind = ChangeKind.RAISED) -> list[Change]:
    return [c for c in night.changes if c.alarm is AlarmName.READY_TO_MOVE and c.change is kind]


def read(night: Night) -> str:
    """The line of the morning message."""
    return for_change(moving(night)[-1], night.site).short


@pytest.mark.parametrize("make", [estimator.thermal, estimator.none])
def test_nobody_moves_out_into_a_freezing_night_where_no_forecast_is_read(
    make: MakeEstimator,
) -> None:
    night = flock(outside=True, from_day="2026-03-01", make=make)
    through(night, -10.0, 1.5 * DAY_S)
    assert moving(night) == []


def test_a_warm_noon_does_not_make_a_mild_night() -> None:
    night = flock(outside=True, from_day="2026-03-01")
    through(night, -2.0, DAY_S / 2)
    through(night, 16.0, DAY_S / 2)
    assert moving(night) == []


def test_before_a_night_was_seen_a_mild_evening_sends_the_grower_to_a_forecast() -> None:
    night = flock(outside=True, from_day="2026-03-01")
    through(night, 12.0, 3600)
    assert read(night) == (
        "porch: old enough to move out. 21 days old. They can stand nights down to 50.0 °F. How "
        "cold the nights ahead are is not known here: look at a forecast first. Choose a dry, "
        "mild day, and watch the first night."
    )


@pytest.mark.parametrize("from_day", ["2026-02-27", "2026-03-01"])
def test_a_mild_night_that_was_seen_is_named_in_the_first_line(from_day: str) -> None:
    night = flock(outside=True, from_day=from_day)
    through(night, 12.0, 1.3 * DAY_S)
    assert read(night).replace("22 days", "21 days") == (
        "porch: ready to move out. 21 days old. They can stand nights down to 50.0 °F; the coldest "
        "expected is 53.6 °F (by last night). Choose a dry, mild day, and watch the first night."
    )


def test_a_box_that_hears_nothing_of_the_outside_sends_the_grower_to_a_forecast() -> None:
    night = flock(outside=False, from_day="2026-03-01")
    through(night, None, DAY_S / 2)
    assert "look at a forecast first" in read(night)


def test_a_cold_night_calls_it_off() -> None:
    night = flock(outside=True)
    through(night, 12.0, 1.5 * DAY_S)
    through(night, 3.0, 1800.0)
    over = moving(night, ChangeKind.CLEARED)[-1]
    assert "The coming nights are too cold for it." in for_change(over, night.site).body


def test_hardened_off_first_and_ready_later_are_told_both() -> None:
    night = flock(outside=False, from_day="2026-02-26")
    through(night, None, 4 * DAY_S)
    assert [c.facts["reason"] for c in moving(night)] == ["harden off", "ready"]


def test_the_cold_of_last_night_is_not_forgotten_by_a_restart() -> None:
    night = flock(outside=True, from_day="2026-02-27")
    through(night, -4.0, DAY_S / 2)
    through(night, 14.0, DAY_S / 4)
    kept = json.loads(json.dumps(night.engine.kept()))
    now = Moment(night.now().at, 500.0)  # the board was off for a moment: another steady clock
    night.engine = Engine(night.site, now, make_estimator=estimator.none)
    night.engine.restore(kept, shift_s=500.0 - night.now().tick)
    raised: list[Change] = []
    # until midnight the cold counts; three weeks old at midnight to the 1st
    for hour in range(1, 16):
        raised += night.engine.advance(Moment(now.at + hour * 3600, 500.0 + hour * 3600))
    ready = [c for c in raised if c.alarm is AlarmName.READY_TO_MOVE]
    assert [c.facts.get("reason") for c in ready if c.change is ChangeKind.RAISED] == []


def foretold(night: Night, *lows_c: float) -> None:
    """A forecast of so many nights, from this evening on; the days are 10 K warmer."""
    pairs = tuple(
        (night.start + hour * 3600.0, lows_c[hour // 24] + (0.0 if hour % 24 < 14 else 10.0))
        for hour in range(24 * len(lows_c))
    )
    night.engine.forecast_is(pairs, night.now().at, night.now())


def answer(night: Night) -> str | None:
    """What `brooder tonight` says of moving out."""
    box = night.box()
    assert box.moving is not None
    assert box.batch is not None
    return moving_line(box.moving, box.batch.hatched, Voice(night.site))


def in_the_morning(night: Night) -> str | None:
    return box_morning("porch", (), night.box(), Voice(night.site), night.now().at).moving


@pytest.mark.parametrize(
    ("lows_c", "nights"),
    [
        ((3.9, 3.9, 12.0), "nights of 39.0 °F until Tuesday 3 March"),
        ((12.0, 3.9, 12.0), "nights of 39.0 °F until Tuesday 3 March"),
        ((3.9, 4.5, 5.0), "nights of 39.0 °F at least until Wednesday 4 March"),
    ],
)
def test_nights_too_cold_are_answered_with_a_day(lows_c: tuple[float, ...], nights: str) -> None:
    night = flock(outside=False, from_day="2026-03-01")
    foretold(night, *lows_c)
    through(night, None, 3600.0)
    said = (
        f"Not out yet: {nights}, and they can stand nights down to 50.0 °F. Let them out by day in "
        "mild, dry weather."
    )
    assert answer(night) == in_the_morning(night) == said


def test_not_feathered_yet_is_answered_with_the_day_they_will_be() -> None:
    night = flock(outside=False, from_day="2026-02-26")
    foretold(night, 3.9, 3.9, 3.9)
    through(night, None, 3600.0)
    assert answer(night) == (
        "Not out yet: feathered on Sunday 1 March, and then they can stand nights down to 50.0 °F. "
        "Harden them off from now: out by day in mild, dry weather, back to the heat at night. "
        "Ahead: nights of 39.0 °F at least until Sunday 1 March."
    )
    assert in_the_morning(night) is None, "the advice says it on its day"


def test_mild_nights_ahead_are_answered_with_the_coldest_and_the_morning_adds_nothing() -> None:
    night = flock(outside=False, from_day="2026-03-01")
    foretold(night, 12.0, 13.0, 12.0)
    through(night, None, 3600.0)
    assert answer(night) == (
        "Ready to move out on a dry, mild day. They can stand nights down to 50.0 °F; the coldest "
        "expected is 53.6 °F."
    )
    assert in_the_morning(night) is None


def test_young_birds_are_not_asked_about() -> None:
    night = flock(outside=False, from_day="2026-02-16")
    through(night, None, 3600.0)
    assert answer(night) is None
