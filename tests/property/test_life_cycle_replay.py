"""The law of a restart: cut anywhere, go on from the last state, and the changes are the same.

`random` chooses the cuts from a fixed seed, so a failure repeats; hypothesis chooses the events."""

import json
import os
import random
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.birds import chicks_in
from support.engine_night import EVENING, a_brooder, a_site

from monitor.events import (
    AlarmName,
    BadValue,
    Change,
    Entry,
    EntryKind,
    Facts,
    Moment,
    Reading,
)
from monitor.site import Site
from monitor.watch.engine import Engine

LONG = os.environ.get("BROODER_LONG") == "1"
SITE = a_site(a_brooder("porch", floors=2), a_brooder("shed"), outside=True)
PROBES = [p.key for p in SITE.all_probes]


@dataclass(frozen=True)
class Advance:
    """Time alone."""

    tick: float


@dataclass(frozen=True)
class Fault:
    """The watcher itself."""

    tick: float
    name: AlarmName
    active: bool


@dataclass(frozen=True)
class Written:
    """An entry, written now."""

    tick: float
    entry: Entry


Event = Reading | BadValue | Advance | Fault | Written


def feed(engine: Engine, event: Event) -> list[Change]:
    match event:
        case Reading():
            return engine.reading(event)
        case BadValue():
            return engine.bad_value(event)
        case Advance():
            return engine.advance(Moment(event.tick, event.tick))
        case Fault():
            now = Moment(event.tick, event.tick)
            return engine.fault(event.name, event.active, now, Facts(contact="my phone"))
        case Written():
            return engine.entry(event.entry, Moment(event.tick, event.tick))


def fresh(site: Site = SITE) -> Engine:
    return Engine(site, Moment(EVENING, EVENING))


def through_json(engine: Engine) -> Any:
    return json.loads(json.dumps(engine.kept(), allow_nan=False))


def run(events: Iterable[Event], engine: Engine) -> list[Change]:
    return [change for event in events for change in feed(engine, event)]


# -- events made by a seeded generator: a stormy day and night, every kind of event


def stormy(seed: int, count: int) -> list[Event]:
    rng = random.Random(seed)
    tick = EVENING
    temps = {"porch/floor": 35.0, "porch/far floor": 34.5, "shed/floor": 35.2, "site/shade": 8.0}
    silent: set[str] = set()
    events: list[Event] = []
    number = 0

    def write(what: EntryKind, **fields: Any) -> None:
        nonlocal number
        number += 1
        entry = Entry(at=round(tick, 3), entry=what, number=number, **fields)
        events.append(Written(round(tick, 3), entry))

    for brooder in ("porch", "shed"):
        write(EntryKind.PLACED, brooder=brooder, count=60, hatched="2026-02-08", kind="broiler")
    while len(events) < count:
        tick += rng.choice([1.0, 7.0, 13.5, 30.0, 30.0, 60.0])
        at = round(tick, 3)
        dice = rng.random()
        if dice < 0.9:
            probe = rng.choice(PROBES)
            pull = 8.0 if probe == "site/shade" else 34.0
            step = rng.gauss(0.0, 0.8) - 0.02 * (temps[probe] - pull)
            if rng.random() < 0.004:
                step += rng.choice([-6.0, 6.0, -9.0, 12.0])
            temps[probe] = round(temps[probe] + step, 4)
            if probe not in silent:
                events.append(Reading(at, at, probe, temps[probe]))
        elif dice < 0.92:
            events.append(BadValue(at, at, rng.choice(PROBES), "is 85 °C", 85.0))
        elif dice < 0.94:
            tick += rng.choice([0.0, 400.0, 1000.0, 4000.0])
            events.append(Advance(round(tick, 3)))
        elif dice < 0.955:
            silent = set(rng.sample(PROBES, rng.randint(0, 4))) if rng.random() < 0.5 else set()
        elif dice < 0.97:
            name = rng.choice([AlarmName.BROKER_LOST, AlarmName.DELIVERY_FAULT])
            events.append(Fault(at, name, rng.random() < 0.5))
        else:
            alarm = rng.choice(["cold", "chill", "hot", "overheat", "no-readings", None])
            brooder = rng.choice(["porch", "shed", None])
            kind = rng.choice(
                [
                    EntryKind.ACKNOWLEDGE,
                    EntryKind.ACKNOWLEDGE,
                    EntryKind.SHELVE,
                    EntryKind.UNSHELVE,
                    EntryKind.LOSS,
                    EntryKind.OUT_OF_SERVICE,
                    EntryKind.IN_SERVICE,
                ]
            )
            if kind is EntryKind.LOSS:
                write(kind, brooder=brooder or "porch", count=1)
            elif kind in (EntryKind.OUT_OF_SERVICE, EntryKind.IN_SERVICE):
                write(kind, brooder="porch", probe=rng.choice(["porch/far floor", None]))
            else:
                write(kind, brooder=brooder, alarm=alarm, minutes=rng.choice([None, 5.0, 90.0]))
    return events


@pytest.mark.parametrize("seed", range(5 if LONG else 2))
def test_cuts_of_a_stormy_day_change_nothing(seed: int) -> None:
    events = stormy(seed, 4000)
    whole = fresh()
    expected: list[list[Change]] = []
    rng = random.Random(seed + 1000)
    cuts = set(rng.sample(range(1, len(events)), 200 if LONG else 50))
    kept: dict[int, Any] = {}
    for index, event in enumerate(events):
        if index in cuts:
            kept[index] = through_json(whole)
        expected.append(feed(whole, event))
    assert sum(map(len, expected)) > 50  # it was stormy indeed
    for number, cut in enumerate(sorted(cuts)):
        again = fresh()
        again.restore(kept[cut], 0.0)
        # Most of what is forgotten shows at once; every fourth time, what shows within an hour too.
        until = min(len(events), cut + (30 if number % 4 else 150))
        for index in range(cut, until):
            assert feed(again, events[index]) == expected[index], f"event {index} after {cut}"


def test_the_state_after_a_restart_is_the_state_without_one() -> None:
    events = stormy(99, 1500)
    whole = fresh()
    often = fresh()
    for index, event in enumerate(events):
        feed(whole, event)
        feed(often, event)
        if index % 50 == 0:
            kept = through_json(often)
            often = fresh()
            often.restore(kept, 0.0)
    assert through_json(often) == through_json(whole)


def test_advancing_often_or_never_gives_the_same_changes() -> None:
    events = stormy(7, 3000)
    rarely = run(events, fresh())
    engine = fresh()
    often: list[Change] = []
    before = EVENING
    for event in events:
        tick = event.tick
        for part in (0.25, 0.5, 0.75):
            now = before + (tick - before) * part
            if now > before:
                often += engine.advance(Moment(now, now))
        often += feed(engine, event)
        before = max(before, tick)
    assert often == rarely


def test_ticks_may_be_rebased_at_a_restart() -> None:
    """Another tick domain, the same wall time: the same changes."""
    events = [e for e in stormy(3, 1500) if isinstance(e, Reading | BadValue)]
    cut = 700
    whole = fresh()
    run(events[:cut], whole)
    kept = through_json(whole)
    shift_s = 12345.0
    moved = fresh()
    moved.restore(kept, shift_s)
    later = [e._replace(tick=e.tick + shift_s) for e in events[cut:]]
    assert [(c.occurrence, c.change) for c in run(later, moved)] == [
        (c.occurrence, c.change) for c in run(events[cut:], whole)
    ]


READINGS = st.tuples(
    st.floats(1.0, 900.0),
    st.sampled_from(PROBES),
    st.sampled_from([20.0, 28.0, 31.0, 32.4, 35.0, 38.5, 41.0, 52.0]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(READINGS, min_size=5, max_size=60), st.data())
def test_any_cut_of_any_readings_changes_nothing(
    steps: list[tuple[float, str, float]], data: st.DataObject
) -> None:
    tick = EVENING
    events: list[Event] = [
        Written(
            EVENING,
            chicks_in(EVENING, number=k + 1, brooder=name, count=50),
        )
        for k, name in enumerate(("porch", "shed"))
    ]
    for gap_s, probe, temp_c in steps:
        tick = round(tick + gap_s, 3)
        events.append(Reading(tick, tick, probe, temp_c))
    cut = data.draw(st.integers(0, len(events)))
    whole, first = fresh(), fresh()
    expected = run(events, whole)
    got = run(events[:cut], first)
    second = fresh()
    second.restore(through_json(first), 0.0)
    got += run(events[cut:], second)
    assert got == expected
