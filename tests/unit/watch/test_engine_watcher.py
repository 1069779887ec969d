"""The watcher's own troubles: away, clock, contacts; and what the status says."""

from datetime import datetime

import pytest
from support.engine_night import ZONE, Night, a_site
from support.no_estimate import NoEstimate

from monitor.events import (
    AlarmName,
    ChangeKind,
    Entry,
    EntryKind,
    Facts,
    Moment,
    Reading,
)
from monitor.site import Place
from monitor.thermal import estimator
from monitor.watch.engine import Engine
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import BrooderStatus


@pytest.fixture
def night() -> Night:
    return Night(make_estimator=estimator.none)


def test_was_down_says_how_long_and_what_was_before_and_after(night: Night) -> None:
    night.holds(35.0, for_s=600)
    night.t += 7200
    gap = Facts(down_from=night.start + 600, down_to=night.start + night.t)
    night.changes += night.engine.fault(AlarmName.WAS_DOWN, True, night.now(), gap)
    night.holds(27.5, for_s=40)
    night.waits(130)
    told = [c for c in night.changes if c.alarm is AlarmName.WAS_DOWN]
    assert [c.change for c in told] == [ChangeKind.RAISED, ChangeKind.CLEARED]
    facts = told[0].facts
    assert (facts["before_c"], facts["after_c"]) == (35.0, 27.5)
    assert facts["down_to"] - facts["down_from"] == 7200
    assert "porch/no-readings" not in night.told()  # nobody was there to hear
    assert "porch/chill" in night.told()


def test_after_a_gap_a_probe_that_stays_silent_is_told(night: Night) -> None:
    night.holds(35.0, for_s=600)
    night.t += 7200
    night.engine.fault(AlarmName.WAS_DOWN, True, night.now(), Facts())
    night.waits(899)
    assert "porch/no-readings" not in night.told()
    night.waits(2)
    assert "porch/no-readings" in night.told()


def test_how_long_a_board_was_off_is_known_from_where_its_records_ended(night: Night) -> None:
    """Its own time at the start may be behind them, so the step itself says too much."""
    night.holds(35.0, for_s=600)
    tick = night.now().tick
    woke = Moment(tick - 1800.0, tick)  # as saved half an hour before the power failed
    night.engine.clock_jumped(woke, -1800.0, sure=False)
    night.engine.fault(AlarmName.WAS_DOWN, True, woke, Facts())
    night.engine.clock_jumped(Moment(tick + 7260.0, tick + 60.0), 9000.0, on_for_s=60.0)
    changes = night.engine.advance(Moment(tick + 7320.0, tick + 120.0))
    [told] = [c for c in changes if c.change is ChangeKind.RAISED]
    assert told.alarm is AlarmName.WAS_DOWN
    assert (told.facts["down_from"], told.facts["down_to"]) == (tick, tick + 7200.0)


def test_how_long_nobody_watched_is_said_once_what_happens_can_be_kept(night: Night) -> None:
    """On a card that kept nothing each start told a longer gap, in which it had watched."""
    night.holds(35.0, for_s=600)
    gap = Facts(down_from=night.start + 600, down_to=night.start + 7800)
    night.t = 7800
    night.changes += night.engine.fault(AlarmName.WAS_DOWN, True, night.now(), gap)
    night.changes += night.engine.fault(AlarmName.STORAGE_FAULT, True, night.now(), Facts())
    night.holds(35.0, for_s=600)
    assert "site/was-down" not in night.told()
    night.changes += night.engine.fault(AlarmName.STORAGE_FAULT, False, night.now(), Facts())
    night.holds(35.0, for_s=130)
    assert "site/was-down" in night.told()


def test_each_contact_has_its_own_delivery_fault(night: Night) -> None:
    for contact in ("my phone", "the neighbour"):
        facts = Facts(contact=contact)
        night.changes += night.engine.fault(AlarmName.DELIVERY_FAULT, True, night.now(), facts)
    night.waits(10)
    facts = Facts(contact="my phone")
    night.changes += night.engine.fault(AlarmName.DELIVERY_FAULT, False, night.now(), facts)
    assert [(c.change.value, c.facts["contact"]) for c in night.changes] == [
        ("raised", "my phone"),
        ("raised", "the neighbour"),
        ("cleared", "my phone"),
    ]
    assert len({c.occurrence for c in night.changes}) == 2
    left = [a for a in night.engine.status(night.now()).alarms if a.active]
    assert [a.contact for a in left] == ["the neighbour"]


def jump(night: Night, jump_s: float, tick: float | None = None) -> Moment:
    """The wall clock is set; the moment after it."""
    tick = night.start + night.t if tick is None else tick
    after = Moment(tick + jump_s, tick)
    night.changes += night.engine.clock_jumped(after, jump_s)
    return after


def box_of(night: Night, now: Moment) -> BrooderStatus:
    box = night.engine.status(now).brooder("porch")
    assert box is not None
    return box


def asked(night: Night, now: Moment) -> bool:
    """Does the alarm of the jump still stand?"""
    return any(
        a.active and a.alarm is AlarmName.CLOCK_FAULT for a in night.engine.status(now).alarms
    )


def test_a_clock_that_jumps_is_told_and_no_target_follows_before_somebody_says_it_is_right(
    night: Night,
) -> None:
    night.holds(31.0, for_s=100)
    week_s = 7 * 86400.0
    before = box_of(night, night.now()).target_c
    after = jump(night, week_s)
    [told] = [c for c in night.changes if c.alarm is AlarmName.CLOCK_FAULT]
    assert told.change is ChangeKind.RAISED
    assert told.facts["jump_s"] == week_s
    assert "7 days (porch)" in told.facts["detail"], "birds entered by a wrong clock show at once"
    later = Moment(after.at + 7200, after.tick + 7200)
    night.changes += night.engine.advance(later)
    assert box_of(night, later).target_c == before
    assert asked(night, later), "and it waits for the answer"
    again = Engine(night.site, later)
    again.restore(night.engine.kept())
    yes = Entry(
        at=later.at, entry=EntryKind.ACKNOWLEDGE, number=9, alarm="clock-fault", by="my phone"
    )
    for engine in (night.engine, again):
        engine.entry(yes, later)
        box = engine.status(later).brooder("porch")
        assert box is not None
        assert box.target_c == pytest.approx(32.22, abs=0.01)
        assert int(box.batch.age_days) == 7 if box.batch else False


def test_a_clock_that_is_set_back_right_asks_no_more(night: Night) -> None:
    before = box_of(night, night.now()).target_c
    after = jump(night, 7 * 86400.0)
    tick = after.tick + 600
    right = Moment(night.start + night.t + 600, tick)
    night.changes += night.engine.clock_jumped(right, -7 * 86400.0 + 30)
    assert not asked(night, right)
    assert box_of(night, right).target_c == before
    assert night.engine.status(right).clock_sure


@pytest.mark.parametrize("hours", [1, -3])
def test_a_step_of_some_hours_is_told_and_asks_nobody(night: Night, hours: float) -> None:
    after = jump(night, hours * 3600.0)
    assert asked(night, after)
    later = Moment(after.at + 700, after.tick + 700)
    night.changes += night.engine.advance(later)
    assert not asked(night, later)
    assert night.engine.status(later).clock_sure


def test_a_step_of_seconds_is_no_news(night: Night) -> None:
    after = jump(night, 40.0)
    assert not asked(night, after)


def test_a_clock_that_jumps_moves_no_delay(night: Night) -> None:
    night.holds(33.0, for_s=100)
    jump_s = 7 * 86400.0  # the board woke up a week in the past
    tick = night.start + night.t
    jump(night, jump_s)
    # a reading stamped with the new time is not taken for a late one, nor for a later one
    changes = []
    for late_s in (10, 20, 30):
        new = Reading(tick + jump_s + late_s, tick + late_s, "porch/floor", 31.0)
        changes += night.engine.reading(new)
    changes += night.engine.advance(Moment(tick + jump_s + 191, tick + 191))
    (cold,) = [c for c in changes if c.alarm is AlarmName.COLD]
    assert cold.at == tick + jump_s + 190
    assert cold.facts["since"] == tick + jump_s + 10


def test_a_board_that_wakes_up_in_the_year_2000_goes_on_watching() -> None:
    """Its quarters of an hour come and go, at whatever thousandth of a second it woke up."""

    class Counts(NoEstimate):
        looks = 0

        def hour_is(self, tick: float, hour: float) -> None:
            self.looks += 1
            if self.looks > 100:
                pytest.fail("the same quarter of an hour comes again and again")

    for ms in range(0, 1000, 37):
        counts = Counts()
        woke = Moment(946_688_146.0 + ms / 1000, 1_770_601_905.413)
        engine = Engine(a_site(), woke, make_estimator=lambda _b, _o, it=counts: it)
        engine.advance(Moment(woke.at + 7200, woke.tick + 7200))
        assert counts.looks == 1 + 8


def test_while_the_clock_is_in_doubt_the_last_target_stays(night: Night) -> None:
    night.holds(35.0, for_s=60)
    night.engine.fault(AlarmName.CLOCK_FAULT, True, night.now(), Facts())
    week = 8 * 86400.0
    night.t += week
    night.engine.fault(AlarmName.WAS_DOWN, True, night.now(), Facts())
    night.holds(35.0, for_s=1200)
    box = night.box()
    assert box.target_c == pytest.approx(35.0)
    night.engine.fault(AlarmName.CLOCK_FAULT, False, night.now(), Facts())
    box = night.box()
    assert box.target_c == pytest.approx(32.22, abs=0.01)


def four_weeks_old() -> Night:
    """The night of the 28th day: 24 degC is right now, and 35 was at placing."""
    night = Night(make_estimator=estimator.none)
    night.waits(28 * 86400.0)
    night.holds(24.0, for_s=60)
    return night


def seen(night: Night, now: Moment) -> BrooderStatus:
    box = night.engine.status(now).brooder("porch")
    assert box is not None
    assert box.batch is not None
    return box


@pytest.mark.parametrize("days_behind", [3, 700], ids=["a few days", "before they were placed"])
def test_birds_of_four_weeks_keep_their_target_when_the_board_wakes_up_in_the_past(
    days_behind: int,
) -> None:
    night = four_weeks_old()
    now = night.now()
    was = seen(night, now)
    back_s = days_behind * 86400.0
    woke = Moment(now.at - back_s, now.tick)
    night.engine.clock_jumped(woke, -back_s, sure=False)
    night.engine.fault(AlarmName.CLOCK_FAULT, True, woke, Facts(reason="it was not set yet"))
    night.engine.advance(Moment(woke.at + 3600, woke.tick + 3600))
    box = seen(night, woke)
    assert (box.target_c, box.overheat_c) == (was.target_c, was.overheat_c)
    assert box.target_c is not None
    assert box.target_c < 25
    assert box.batch.age_days == pytest.approx(was.batch.age_days, abs=0.05)
    assert box.next_step is None  # when it comes cannot be told without a clock


def test_a_time_before_the_birds_were_placed_tells_no_age_whoever_believes_it() -> None:
    night = four_weeks_old()
    now = night.now()
    was = seen(night, now)
    woke = Moment(now.at - 700 * 86400.0, now.tick)
    night.engine.clock_jumped(woke, woke.at - now.at)
    assert seen(night, woke).target_c == was.target_c


def test_a_loss_written_while_the_clock_is_in_doubt_makes_the_birds_no_younger() -> None:
    night = four_weeks_old()
    now = night.now()
    was = seen(night, now)
    woke = Moment(now.at - 3 * 86400.0, now.tick)
    night.engine.clock_jumped(woke, woke.at - now.at, sure=False)
    loss = Entry(at=woke.at, entry=EntryKind.LOSS, brooder="porch", number=2, count=1)
    night.engine.entry(loss, woke)
    box = seen(night, woke)
    assert (box.batch.head_count, box.target_c) == (99, was.target_c)


def test_once_the_clock_is_set_the_birds_age_goes_on_and_the_doubt_is_over() -> None:
    night = four_weeks_old()
    now = night.now()
    woke = Moment(now.at - 86400.0, now.tick)
    changes = night.engine.clock_jumped(woke, -86400.0, sure=False)
    changes += night.engine.fault(AlarmName.CLOCK_FAULT, True, woke, Facts(reason="not set yet"))
    right = Moment(now.at + 7 * 86400.0, now.tick + 10)  # it had been switched off for a week
    changes += night.engine.clock_jumped(right, 8 * 86400.0)
    doubts = [c for c in changes if c.alarm is AlarmName.CLOCK_FAULT]
    doubts = [c for c in doubts if "jump_s" not in c.facts]  # the step itself is told too
    assert [c.change for c in doubts] == [ChangeKind.RAISED, ChangeKind.CLEARED]
    box = seen(night, right)
    assert int(box.batch.age_days) == 35
    assert box.target_c == pytest.approx(21.11, abs=0.01)
    assert night.engine.status(right).clock_sure


def test_a_doubt_that_the_clock_itself_has_ended_is_not_told_anew_with_the_next_entry() -> None:
    night = four_weeks_old()
    now = night.now()
    woke = Moment(now.at - 86400.0, now.tick)
    night.engine.clock_jumped(woke, -86400.0, sure=False)
    night.engine.fault(AlarmName.CLOCK_FAULT, True, woke, Facts(reason="not set yet"))
    night.engine.clock_jumped(now, 86400.0)
    changes = night.entry(EntryKind.LOSS, brooder="porch", count=1)
    assert AlarmName.CLOCK_FAULT not in {change.alarm for change in changes}


def test_a_step_is_advised_on_its_own_day_so_that_the_morning_message_says_it(night: Night) -> None:
    eve = datetime(2026, 2, 14, 16, 30, tzinfo=ZONE).timestamp() - night.start
    night.t = eve
    night.holds(35.0, for_s=34 * 3600, every_s=300)
    steps = [c for c in night.changes if c.alarm is AlarmName.STEP_DOWN]
    assert [(c.change.value, str(datetime.fromtimestamp(c.at, ZONE))[:13]) for c in steps] == [
        ("raised", "2026-02-15 00"),
        ("cleared", "2026-02-16 00"),
    ]
    assert steps[0].facts["next_target_c"] == pytest.approx(32.22, abs=0.01)


def test_many_losses_are_told_once_a_day(night: Night) -> None:
    for _ in range(6):
        night.entry(EntryKind.LOSS, brooder="porch", count=2)
        night.holds(35.0, for_s=600, every_s=60)
    told = [c for c in night.changes if c.alarm is AlarmName.LOSSES_HIGH]
    assert [c.change for c in told] == [ChangeKind.RAISED]


def test_an_advice_that_stands_shows_the_figures_of_now() -> None:
    night = Night(make_estimator=estimator.none, batch=False)
    night.placed(hatched="2026-01-25")
    night.waits(900)
    night.entry(EntryKind.MOVED, brooder="porch", count=25)
    night.waits(900)
    (crowded,) = [a for a in night.engine.status(night.now()).all_alarms if a.alarm == "crowded"]
    assert crowded.facts["head_count"] == 75
    assert crowded.facts["area_per_bird_m2"] == pytest.approx(1.5 * 1.5 / 75)
    assert [c.change for c in night.changes if c.alarm == "crowded"] == [ChangeKind.RAISED]


def test_the_status_shows_the_floor_against_its_target(night: Night) -> None:
    night.holds(35.0, for_s=600)
    night.holds(31.5, for_s=600)
    box = night.box()
    assert box.temp_c == 31.5
    assert box.in_band is False
    assert box.in_band_since is None
    assert box.batch is not None
    assert box.batch.head_count == 100
    assert box.next_step is not None
    assert box.next_step.to_c == pytest.approx(32.22, abs=0.01)
    assert (box.night.low_c, box.night.high_c) == (31.5, 35.0)
    assert box.night.below_s == 600
    (cold,) = box.alarms
    assert cold.state is AlarmState.UNACKNOWLEDGED
    assert [p.place for p in box.probes] == [Place.FLOOR]


def test_the_status_shows_from_where_a_probe_has_come_down_lately(night: Night) -> None:
    night.holds(42.0, for_s=1800)
    night.holds(36.0, for_s=300)
    box = night.box()
    assert (box.probes[0].temp_c, box.probes[0].lately_high_c) == (36.0, 42.0)
    night.holds(36.0, for_s=1200)
    box = night.box()
    assert box.probes[0].lately_high_c == 36.0


def test_the_nights_minutes_are_strict_and_know_no_dead_band() -> None:
    """As monitor.review.exposure counts them: a floor back in the band is in the band, though its
    alarm waits for the dead band."""
    night = Night(make_estimator=estimator.none)

    night.holds(35.0, for_s=600)
    low_c = night.box().low_c
    assert low_c is not None
    night.holds(low_c - 1.0, for_s=900)
    night.holds(low_c + 0.05, for_s=1200)
    assert night.box().night.below_s == 900
    night.holds(low_c - 0.05, for_s=300)
    assert night.box().night.below_s == 1200


def test_the_nights_figures_begin_anew_at_six_in_the_evening() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(31.0, for_s=3600, every_s=60)
    night.holds(35.0, for_s=23 * 3600 - 600, every_s=60)
    box = night.box()
    assert box.night.below_s == pytest.approx(3600)
    night.holds(35.0, for_s=1200, every_s=60)
    box = night.box()
    assert (box.night.below_s, box.night.low_c) == (0.0, 35.0)
    assert box.night.since_at == night.start + 86400


def test_asking_for_the_status_changes_nothing(night: Night) -> None:
    night.holds(31.0, for_s=600)
    before = night.engine.kept()
    night.engine.status(night.now(night.t + 100))
    assert night.engine.kept() == before


def test_an_estimator_that_breaks_is_put_aside_and_the_band_is_still_watched() -> None:
    class Broken(NoEstimate):
        def observe(self, tick: float, probe_key: str, temp_c: float) -> None:
            raise ZeroDivisionError("no heat")

    night = Night(make_estimator=lambda _brooder, _outside: Broken())
    night.holds(31.0, for_s=600)
    assert night.told() == ["porch/cold"]
    box = night.box()
    assert box.estimate_fault == "ZeroDivisionError: no heat"
