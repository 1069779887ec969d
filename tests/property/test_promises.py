"""What holds for any readings, entries, restarts and reloads, whatever the estimate believes: held
against a plain high/low alarm with five minutes' delay, which is what a grower would use instead.

The estimate here lies as it likes: somebody works in the box for ever, every probe is doubted,
lamps are lost and found."""

import json
import random
from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import datetime
from math import exp

from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.engine_night import EVENING, ZONE, a_brooder, a_probe, a_site
from support.no_estimate import NoEstimate

from monitor.brooding.night_hours import NIGHT_FROM_H, NIGHT_TO_H
from monitor.events import (
    AlarmName,
    BadValue,
    Cause,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Moment,
    Priority,
    Reading,
)
from monitor.kept import NEVER
from monitor.site import Place, Probe
from monitor.thermal.diagnosis import Diagnosis, FaultKind, Finding, Warmth
from monitor.watch.engine import Engine
from monitor.watch.incidents import BACK_S, RENEWED, rank
from monitor.watch.life_cycle import AlarmState

LOW_C, CHILL_C, TARGET_C = 32.2, 29.4, 35.0
HIGH_C, HARM_C, PROBE_ERROR_K = 37.8, 40.6, 0.5
PLAIN_S, BY_DAY_S = 300.0, 600.0
COLD = (AlarmName.COLD, AlarmName.CHILL, AlarmName.HEAT_LOSS)
SEEDS = st.integers(0, 2**32)


class Liar(NoEstimate):
    """An estimate that may say anything at any time."""

    def __init__(self, rng: random.Random, probes: list[str]) -> None:
        self.rng = rng
        self.probes = probes
        self.kinds = list(FaultKind)
        self.quiet = False
        self.diagnosis = Diagnosis()

    def observe(self, tick: float, probe_key: str, temp_c: float) -> Diagnosis | None:
        rng = self.rng
        if self.quiet or rng.random() > 0.1:
            return None
        found = [p for p in self.probes if rng.random() < 0.3]
        self.diagnosis = Diagnosis(
            cause=rng.choice([None, Cause.HEAT_SOURCE, Cause.COVER_OPEN, Cause.SENSOR]),
            started=tick - 60.0,
            hold_until=rng.choice([None, tick + 1e6]),
            rests_until=rng.choice([NEVER, tick + 1e6]),
            findings=tuple(
                Finding(probe=p, kind=rng.choice(self.kinds), reason="it lies", since=tick)
                for p in found
            ),
            doubted=tuple(p for p in self.probes if rng.random() < 0.3),
            warmth=rng.choice(list(Warmth)),
        )
        return self.diagnosis


@dataclass
class Plain:
    """A high/low alarm of one floor probe, as far as cold goes."""

    limit_c: float
    since: float | None = None

    def hears(self, tick: float, temp_c: float) -> float:
        """For how long it has been below (s)."""
        if temp_c >= self.limit_c:
            self.since = None
        elif self.since is None:
            self.since = tick
        return 0.0 if self.since is None else tick - self.since


class Box:
    """A box, its liar, and all that was said of it."""

    def __init__(
        self, seed: int, probes: tuple[Probe, ...] | None = None, *, thinks: bool = False
    ) -> None:
        self.thinks = thinks  # by the estimate as it is
        self.rng = rng = random.Random(seed)
        box = a_brooder(floors=rng.choice([1, 2]))
        if probes is None:
            probes = (*box.probes, a_probe("porch", "under west lamp", Place.UNDER_HEAT))
        self.site = a_site(replace(box, probes=probes))
        self.floor = [p.key for p in probes if p.place is Place.FLOOR]
        self.liar = Liar(rng, [p.key for p in probes])
        self.tick = EVENING + rng.choice([0, 5, 11, 16, 20]) * 3600.0
        self.every_s = rng.choice([10.0, 30.0, 60.0, 300.0])
        self.changes: list[Change] = []
        self.number = 0
        self.engine = self.made()
        given_ = {"count": 100, "hatched": "2026-02-08", "kind": "broiler", "brooder": "porch"}
        self.writes(EntryKind.PLACED, **given_)

    def made(self) -> Engine:
        if self.thinks:
            return Engine(self.site, self.now)
        return Engine(self.site, self.now, make_estimator=lambda _box, _outside: self.liar)

    @property
    def now(self) -> Moment:
        return Moment(self.tick, self.tick)

    @property
    def by_night(self) -> bool:
        hour = datetime.fromtimestamp(self.tick, ZONE).hour
        return hour >= NIGHT_FROM_H or hour < NIGHT_TO_H

    def writes(self, what: EntryKind, **fields: object) -> None:
        self.number += 1
        entry = Entry(at=self.tick, entry=what, number=self.number, **fields)  # type: ignore[arg-type]
        self.changes += self.engine.entry(entry, self.now)

    def says(self, probe: str, temp_c: float) -> None:
        self.changes += self.engine.reading(Reading(self.tick, self.tick, probe, temp_c))

    def restarts(self) -> None:
        """Killed and started again, or its configuration read anew."""
        kept = json.loads(json.dumps(self.engine.kept(), allow_nan=False))
        self.engine = self.made()
        self.engine.restore(kept, 0.0)

    def somebody_meddles(self) -> None:
        rng = self.rng
        dice = rng.random()
        if dice < 0.02:
            self.restarts()
        elif dice < 0.04:
            self.writes(EntryKind.ACKNOWLEDGE, brooder="porch", by="my phone")
        elif dice < 0.05:
            name = rng.choice(["heat-loss", "hot", "probe-fault", "cold-night"])
            self.writes(EntryKind.SHELVE, brooder="porch", alarm=name, minutes=60.0, note="x")
        elif dice < 0.06:
            self.writes(EntryKind.NOTE, brooder="porch", note="fed")
        elif dice < 0.08:
            bad = BadValue(self.tick, self.tick, rng.choice(self.floor), "is -127", -127.0)
            self.changes += self.engine.bad_value(bad)

    def active(self) -> set[AlarmName]:
        said = self.engine.status(self.now).brooders[0].alarms
        return {a.alarm for a in said if a.active or a.state is AlarmState.SHELVED}


def course(rng: random.Random) -> list[float]:
    """A floor's temperatures: it stays, it falls slowly or quickly, it jumps, it comes back."""
    temps, temp_c = [], TARGET_C
    while len(temps) < 150:
        aim_c = rng.choice([35.0, 35.5, 32.4, 31.9, 31.0, 29.0, 26.0, 18.0, 36.0])
        pace = rng.choice([0.02, 0.1, 0.5, 20.0])
        for _ in range(rng.randint(1, 40)):
            temp_c += max(-pace, min(pace, aim_c - temp_c))
            temps.append(round(temp_c + rng.gauss(0, 0.05), 2))
    return temps


def rises_straight(part: float, by_k: float) -> float:
    return by_k * part


def rises_to_rest(part: float, by_k: float) -> float:
    return 1.3 * by_k * (1.0 - exp(-1.466 * part))


@given(SEEDS)
@settings(max_examples=60, deadline=None)
def test_no_first_word_is_later_than_the_plain_alarms(seed: int) -> None:
    """By night; by day at most ten minutes. And chill is never held."""
    box = Box(seed)
    rng = box.rng
    plain = {key: Plain(LOW_C) for key in box.floor}
    harm = {key: Plain(CHILL_C) for key in box.floor}
    below = dict.fromkeys(box.floor, 0)
    for temps in zip(*(course(rng) for _ in box.floor), strict=False):
        box.tick += box.every_s * rng.uniform(0.9, 1.1)
        for key, temp_c in zip(box.floor, temps, strict=True):
            box.says(key, temp_c)
            cold_s, harm_s = plain[key].hears(box.tick, temp_c), harm[key].hears(box.tick, temp_c)
            below[key] = below[key] + 1 if temp_c < CHILL_C else 0
            if cold_s >= PLAIN_S + (0.0 if box.by_night else BY_DAY_S):
                assert box.active() & set(COLD), f"{key} {temp_c} for {cold_s:.0f} s"
            if (harm_s >= 30.0 and below[key] >= 3) or (harm_s >= 300.0 and below[key] >= 2):
                assert AlarmName.CHILL in box.active(), "no finding silences a cold floor"
        box.somebody_meddles()


@given(SEEDS)
@settings(max_examples=40, deadline=None)
def test_a_floor_above_its_band_is_told_like_by_a_plain_alarm_and_within_the_hour_to_the_phone(
    seed: int,
) -> None:
    """Advice at first, perhaps; a warning after an hour that is above by more than a probe errs."""
    box = Box(seed)
    rng = box.rng
    box.liar.probes = []  # a probe with a finding says nothing of warmth
    (above, far_above) = (dict.fromkeys(box.floor, 0.0), dict.fromkeys(box.floor, 0.0))
    look = box.tick
    for _ in range(12):
        aim_c, seconds = rng.choice([35.0, 37.9, 38.5, 39.5, 40.2]), rng.choice([240.0, 5400.0])
        ends = box.tick + seconds
        while box.tick < ends:
            box.tick += box.every_s * rng.uniform(0.9, 1.1)
            for key in box.floor:
                box.says(key, aim_c)
                for since, limit_c in ((above, HIGH_C), (far_above, HIGH_C + PROBE_ERROR_K)):
                    since[key] = (since[key] or box.tick) if aim_c > limit_c else 0.0
            if box.tick < look:
                continue
            look = box.tick + 60.0
            if any(at and box.tick - at >= PLAIN_S + BY_DAY_S for at in above.values()):
                assert AlarmName.HOT in box.active()
            if any(at and box.tick - at >= 3600.0 + 1200.0 for at in far_above.values()):
                said = box.engine.status(box.now).brooders[0].alarms
                assert [a.priority for a in said if a.alarm is AlarmName.HOT] == [Priority.WARNING]
            if rng.random() < 0.02:
                box.restarts()


@given(SEEDS)
@example(13)
@example(33)
@settings(max_examples=25, deadline=None)
def test_a_floor_that_climbs_to_harm_is_told_to_the_phone_ten_minutes_after_a_plain_alarm_at_most(
    seed: int,
) -> None:
    """By the estimate as it is, at any hour, if it takes less than three hours;
    or at the next reading."""
    box = Box(seed, thinks=True)
    rng = box.rng
    box.every_s = rng.choice([30.0, 60.0, 120.0])
    rises = rng.choice([rises_straight, rises_to_rest])
    was_c, for_s = rng.uniform(35.0, 37.0), rng.uniform(0.25, 2.75) * 3600.0
    plain = {key: Plain(-HIGH_C) for key in box.floor}
    began, temp_c = box.tick + 2.0 * 3600.0, was_c
    while temp_c < HARM_C:
        box.tick += box.every_s * rng.uniform(0.9, 1.1)
        for key in box.floor:
            temp_c = was_c + rises(max(0.0, box.tick - began) / for_s, HARM_C + 0.2 - was_c)
            read_c = round(temp_c + rng.gauss(0, 0.04), 2)
            box.says(key, read_c)
            if plain[key].hears(box.tick, -read_c) >= PLAIN_S + 600.0 + 1.1 * box.every_s:
                said = box.engine.status(box.now).brooders[0].alarms
                loud = [a for a in said if a.active and a.priority is not Priority.ADVICE]
                assert {a.alarm for a in loud} & {AlarmName.HOT, AlarmName.OVERHEAT}


@given(SEEDS)
@settings(max_examples=40, deadline=None)
def test_one_reading_raises_nothing(seed: int) -> None:
    """Whatever it says, at whatever pace the probe speaks. Garbage of some share is another
    thing."""
    box = Box(seed)
    rng = box.rng
    box.liar.quiet = True
    last = box.tick
    for _ in range(300):
        box.tick += box.every_s
        for key in box.floor:
            odd = key == box.floor[0] and box.tick - last > 900.0 and rng.random() < 0.3
            last = box.tick if odd else last
            if odd and rng.random() < 0.3:
                bad = BadValue(box.tick, box.tick, key, "is 85, its value at power-up", 85.0)
                box.changes += box.engine.bad_value(bad)
            else:
                box.says(key, rng.choice([5.0, 20.0, 48.0, 60.0]) if odd else TARGET_C)
        box.says("porch/under west lamp", 45.0)
    told = [(c.alarm, c.change) for c in box.changes if c.priority is not Priority.ADVICE]
    assert told == []


@given(SEEDS)
@settings(max_examples=40, deadline=None)
def test_no_heat_is_missing_where_the_floor_has_been_at_its_target_for_ten_minutes(
    seed: int,
) -> None:
    box = Box(seed)
    # these say nothing of how warm it is: the box is told as unheard instead
    for kind in (FaultKind.STUCK, FaultKind.TORN, FaultKind.OTHER_UNIT):
        box.liar.kinds.remove(kind)
    warm_since: float | None = None
    for temp_c in course(box.rng):
        box.tick += box.every_s
        for key in box.floor:
            box.says(key, temp_c)
        warm_since = (warm_since or box.tick) if temp_c >= TARGET_C else None
        lost = [c for c in box.changes if c.alarm is AlarmName.HEAT_LOSS]
        raised = [c.at for c in lost if c.change is ChangeKind.RAISED]
        if warm_since is not None and raised:
            # within a reading and the alarm's off-delay of a minute
            ends = max(warm_since, raised[-1]) + 600.0 + box.every_s + 60.0
            if box.tick >= ends:
                assert AlarmName.HEAT_LOSS not in box.active()
        if box.rng.random() < 0.02:
            box.restarts()


@given(SEEDS)
@settings(max_examples=60, deadline=None)
def test_the_same_thing_is_told_once(seed: int) -> None:
    """Ended and back within half an hour, it is the same incident, and told only if it is worse,
    also while something less bad of it goes on; an answer, putting it aside, or what matters
    more than it did begins anew."""
    box = Box(seed)
    for temps in zip(*(course(box.rng) for _ in box.floor), strict=False):
        box.tick += box.every_s
        for key, temp_c in zip(box.floor, temps, strict=True):
            box.says(key, temp_c)
        if box.rng.random() < 0.02:
            box.restarts()
    worst: dict[str, int] = {}
    causes: defaultdict[str, set[Cause]] = defaultdict(set)
    active: defaultdict[str, dict[str, int]] = defaultdict(dict)
    # since when all that is active is less bad than what was told, and the worst since then
    eased: dict[str, tuple[float, int]] = {}
    ended: dict[tuple[AlarmName, str | None], tuple[float, str]] = {}
    for change in box.changes:
        place, incident = (change.alarm, change.probe), change.facts["incident"]
        if change.change is ChangeKind.CLEARED:
            ended[place] = change.at, incident
            active[incident].pop(change.occurrence, None)
            still = max(active[incident].values(), default=-1)
            if change.facts.get("reason") == RENEWED:
                worst[incident] = min(still, worst.get(incident, -1))
                eased.pop(incident, None)
            elif still < worst.get(incident, -1):
                eased.setdefault(incident, (change.at, still))
        if change.change is not ChangeKind.RAISED:
            continue
        at, before = ended.get(place, (float("-inf"), ""))
        if change.at - at < BACK_S:
            assert incident == before
        since, still = eased.get(incident, (float("inf"), -1))
        if change.at - since > BACK_S:
            worst[incident] = still
        urgent = change.priority is Priority.URGENT and change.cause not in causes[incident]
        if urgent and all(one < 200 for one in active[incident].values()):
            worst.pop(incident, None)  # another cause asks for another act
        if not change.facts.get("folded"):
            causes[incident].add(change.cause)
        active[incident][change.occurrence] = rank(change)
        if rank(change) >= worst.get(incident, -1):
            eased.pop(incident, None)
        elif incident in eased:
            eased[incident] = since, max(still, rank(change))
        if not change.facts.get("folded") and change.alarm is not AlarmName.PROBE_FAULT:
            assert rank(change) > worst.get(incident, -1)
        worst[incident] = max(rank(change), worst.get(incident, -1))
