"""A restart with another configuration, another clock, or a broken state."""

import json

import pytest
from support.birds import chicks_in
from support.engine_night import EVENING, Night, a_brooder, a_site

from monitor.events import ChangeKind, Moment, Reading
from monitor.thermal import estimator
from monitor.watch.engine import Engine


def again(night: Night, *names: str, floors: int = 1, shift_s: float = 0.0) -> Engine:
    site = a_site(*(a_brooder(n, floors=floors) for n in names))
    now = night.now()
    engine = Engine(site, Moment(now.at, now.tick + shift_s), make_estimator=estimator.none)
    engine.restore(json.loads(json.dumps(night.engine.kept())), shift_s)
    return engine


def test_an_alarm_that_was_raised_stays_raised_and_is_not_told_twice() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(31.0, for_s=600)
    engine = again(night, "porch")
    (cold,) = [a for a in engine.status(night.now()).all_alarms if a.active]
    assert cold.occurrence == night.changes[0].occurrence
    t = night.start + night.t
    told = []
    for k in range(60):
        told += engine.reading(Reading(t + 10 * k, t + 10 * k, "porch/floor", 31.0))
    assert told == []


def test_a_brooder_that_is_gone_is_dropped_and_a_new_one_begins_afresh() -> None:
    night = Night(a_site(a_brooder("porch"), a_brooder("shed")), make_estimator=estimator.none)
    night.holds(31.0, for_s=600, probes=("porch/floor", "shed/floor"))
    engine = again(night, "shed", "cellar")
    status = engine.status(night.now())
    assert [b.name for b in status.brooders] == ["shed", "cellar"]
    assert [a.brooder for a in status.all_alarms] == ["shed"]
    cellar = status.brooder("cellar")
    assert cellar is not None
    assert cellar.batch is None
    # birds moved into the new box are watched, and so is its silence
    t = night.start + night.t
    placed = chicks_in(t, brooder="cellar", number=9, count=20, kind="layer")
    engine.entry(placed, Moment(t, t))
    told = []
    for k in range(110):
        told += engine.reading(Reading(t + 10 * k, t + 10 * k, "shed/floor", 31.0))
    assert ("cellar", "no-readings") in {(c.brooder, c.alarm.value) for c in told}


def test_a_probe_more_or_less_leaves_the_others_as_they_were() -> None:
    night = Night(a_site(a_brooder(floors=2)), make_estimator=estimator.none)
    night.holds(31.0, for_s=600, probes=("porch/floor", "porch/far floor"))
    for floors in (1, 3):
        engine = again(night, "porch", floors=floors)
        box = engine.status(night.now()).brooder("porch")
        assert box is not None
        assert [p.temp_c for p in box.probes][:2] == [31.0, 31.0][:floors]
        assert [a.alarm.value for a in box.alarms if a.active] == ["cold"]


def test_a_clock_set_right_before_the_restart_keeps_every_delay() -> None:
    """The board's steady clock begins anew at a restart: ticks move, delays do not."""
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=600)
    night.holds(31.0, for_s=100)
    shift_s = -5000.0
    engine = again(night, "porch", shift_s=shift_s)
    due = night.start + 600 + 180
    assert engine.advance(Moment(due - 1, due - 1 + shift_s)) == []
    (cold,) = engine.advance(Moment(due, due + shift_s))
    assert (cold.change, cold.at) == (ChangeKind.RAISED, due)


def test_a_state_of_another_version_is_refused_and_nothing_of_it_is_taken_up() -> None:
    night = Night(make_estimator=estimator.none)
    engine = Engine(a_site(), Moment(EVENING, EVENING), make_estimator=estimator.none)
    before = engine.kept()
    with pytest.raises(ValueError, match="version"):
        engine.restore({**night.engine.kept(), "version": 99})
    assert engine.kept() == before


def test_a_night_of_23_hours_and_one_of_25_begin_at_six_by_the_clock() -> None:
    """Daylight saving begins 2026-03-08 and ends 2026-11-01 in this zone."""
    for day, hours in (("2026-03-07", 23), ("2026-10-31", 25)):
        start = Night.evening(day)
        night = Night(start=start, make_estimator=estimator.none, batch=False)
        night.placed(hatched=day)
        night.waits(0.0)
        night.holds(35.0, for_s=hours * 3600 - 60, every_s=300)
        box = night.box()
        assert box.night.since_at == start
        night.holds(35.0, for_s=600, every_s=60)
        box = night.box()
        assert box.night.since_at == start + hours * 3600
