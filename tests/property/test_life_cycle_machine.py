"""No sequence of readings, answers, restarts and ticks loses an active alarm, repeats one outside
its schedule, or leaves one shelved for ever. The machine seeks the exception.

What is said (the changes) is folded into a record of its own, and compared with the status and
with a plain model of the floor."""

import json
import os
from collections import Counter

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from support.engine_night import EVENING, a_brooder, a_site

from monitor.events import (
    AlarmName,
    BadValue,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Facts,
    Moment,
    Reading,
)
from monitor.thermal import estimator
from monitor.watch.alarm_table import TABLE
from monitor.watch.engine import Engine
from monitor.watch.life_cycle import AlarmState

EXAMPLES = 400 if os.environ.get("BROODER_LONG") == "1" else 80
SITE = a_site(a_brooder("porch", floors=2), a_brooder("shed"))
PROBES = st.sampled_from([p.key for p in SITE.all_probes])
BOXES = st.sampled_from(["porch", "shed", None])
NAMES = st.sampled_from(["cold", "chill", "hot", "overheat", "no-readings", "probe-fault", None])
LOW_C, DEAD_BAND_C, DELAY_S, SILENT_S = 32.2, 0.5, 180.0, 900.0


class Watch(RuleBasedStateMachine):
    """An engine, what it said, and a plain model of one floor."""

    def __init__(self) -> None:
        super().__init__()
        self.tick = EVENING
        self.engine = self.fresh()
        self.number = 0
        self.open: dict[str, Change] = {}  # told and not over, by occurrence
        self.answered: set[str] = set()
        self.raised: Counter[str] = Counter()
        self.shelved: dict[tuple[str | None, str, str | None], float] = {}  # until when
        # the plain model of the shed's only probe
        self.below_since: float | None = None
        self.below: list[float] = []  # when it said so, in a row
        self.heard = EVENING
        self.bad = False
        self.proven = False  # below for the whole delay while it was heard: stays until it is warm

    @staticmethod
    def fresh() -> Engine:
        return Engine(SITE, Moment(EVENING, EVENING), make_estimator=estimator.none)

    def now(self) -> Moment:
        return Moment(self.tick, self.tick)

    def write(self, what: EntryKind, **fields: object) -> None:
        self.number += 1
        entry = Entry(at=self.tick, entry=what, number=self.number, **fields)  # type: ignore[arg-type]
        self.said(self.engine.entry(entry, self.now()))

    def said(self, changes: list[Change]) -> None:
        for change in changes:
            key = change.occurrence
            place = (change.brooder, change.alarm.value, change.probe)
            match change.change:
                case ChangeKind.RAISED:
                    assert key not in self.open
                    self.raised[key] += 1
                    self.open[key] = change
                case ChangeKind.CLEARED:
                    assert key in self.open, "over, but never begun"
                    del self.open[key]
                case ChangeKind.ACKNOWLEDGED:
                    self.answered.add(key)
                case ChangeKind.SHELVED:
                    self.open.pop(key, None)
                    self.shelved[place] = change.facts["until"]
                case ChangeKind.UNSHELVED:
                    self.shelved.pop(place, None)

    # -- what happens

    @initialize()
    def birds_are_placed(self) -> None:
        for brooder in ("porch", "shed"):
            self.write(
                EntryKind.PLACED, brooder=brooder, count=50, hatched="2026-02-08", kind="broiler"
            )

    @rule(
        probe=PROBES,
        temp_c=st.sampled_from([22.0, 28.0, 31.0, 32.4, 33.0, 35.0, 39.0, 43.0, 52.0]),
        gap_s=st.sampled_from([1.0, 20.0, 60.0, 200.0]),
    )
    def a_probe_speaks(self, probe: str, temp_c: float, gap_s: float) -> None:
        self.tick += gap_s
        self.prove()
        if probe == "shed/floor":
            limit_c = LOW_C + (DEAD_BAND_C if self.below_since is not None else 0.0)
            self.below_since = (self.below_since or self.tick) if temp_c < limit_c else None
            self.below = [*self.below, self.tick] if self.below_since is not None else []
            self.proven = self.proven and self.below_since is not None
            self.heard = self.tick
            self.bad = False
        self.said(self.engine.reading(Reading(self.tick, self.tick, probe, temp_c)))

    @rule(temp_c=st.sampled_from([31.0, 31.9, 32.5, 34.9, 35.0]), times=st.integers(2, 20))
    def the_shed_is_heard_for_a_while(self, temp_c: float, times: int) -> None:
        for _ in range(times):
            self.a_probe_speaks("shed/floor", temp_c, 15.0)

    def prove(self) -> None:
        seldom = len(self.below) >= 2 and self.below[-1] - self.below[0] >= 300.0
        if (
            self.below_since is not None
            and (len(self.below) >= 3 or seldom)  # one reading raises nothing
            and not self.bad
            and self.tick - self.below_since >= DELAY_S
            and self.below_since + DELAY_S < self.heard + SILENT_S
        ):
            self.proven = True

    @rule(probe=PROBES)
    def a_probe_speaks_nonsense(self, probe: str) -> None:
        self.tick += 5.0
        self.bad = self.bad or probe == "shed/floor"
        self.said(self.engine.bad_value(BadValue(self.tick, self.tick, probe, "is -127", -127.0)))

    @rule(probe=PROBES, temp_c=st.floats(20, 50), late_s=st.floats(1, 3000))
    def an_old_reading_arrives(self, probe: str, temp_c: float, late_s: float) -> None:
        """Older than everything heard from that probe: it may not change anything."""
        last = min(p.at or 0.0 for b in self.engine.status(self.now()).brooders for p in b.probes)
        when = min(last, self.tick) - late_s
        assert self.engine.reading(Reading(when, when, probe, temp_c)) == [] or last == 0.0

    @rule(wait_s=st.sampled_from([10.0, 100.0, 500.0, 1000.0, 4000.0, 30000.0]))
    def time_passes(self, wait_s: float) -> None:
        self.tick += wait_s
        self.said(self.engine.advance(self.now()))

    @rule(brooder=BOXES, name=NAMES)
    def somebody_answers(self, brooder: str | None, name: str | None) -> None:
        self.write(EntryKind.ACKNOWLEDGE, brooder=brooder, alarm=name, by="my phone")

    @rule(
        brooder=st.sampled_from(["shed", "porch", None]),
        name=st.sampled_from(["cold", "chill", "no-readings"]),
        minutes=st.sampled_from([None, 0.1, 30.0, 1e6]),
    )
    def somebody_shelves(self, brooder: str | None, name: str, minutes: float | None) -> None:
        self.write(EntryKind.SHELVE, brooder=brooder, alarm=name, minutes=minutes, note="mending")

    @rule(brooder=BOXES, name=NAMES)
    def somebody_unshelves(self, brooder: str | None, name: str | None) -> None:
        self.write(EntryKind.UNSHELVE, brooder=brooder, alarm=name)

    @rule(out=st.booleans(), probe=st.sampled_from(["porch/far floor", None]))
    def porch_goes_out_of_or_into_service(self, out: bool, probe: str | None) -> None:
        what = EntryKind.OUT_OF_SERVICE if out else EntryKind.IN_SERVICE
        self.write(what, brooder="porch", probe=probe)

    @rule(name=st.sampled_from([AlarmName.BROKER_LOST, AlarmName.DELIVERY_FAULT]), on=st.booleans())
    def the_watcher_has_trouble(self, name: AlarmName, on: bool) -> None:
        facts = Facts(contact="my phone") if name is AlarmName.DELIVERY_FAULT else Facts()
        self.said(self.engine.fault(name, on, self.now(), facts))

    @rule()
    def the_service_is_killed_and_starts_again(self) -> None:
        kept = json.loads(json.dumps(self.engine.kept(), allow_nan=False))
        self.engine = self.fresh()
        self.engine.restore(kept, 0.0)

    # -- what must hold

    @invariant()
    def what_was_said_is_what_stands(self) -> None:
        status = self.engine.status(self.now())
        assert {a.occurrence for a in status.all_alarms if a.active} == set(self.open)
        for alarm in status.all_alarms:
            if alarm.active:
                assert alarm.acknowledged == (alarm.occurrence in self.answered)

    @invariant()
    def nothing_is_told_twice(self) -> None:
        assert all(count == 1 for count in self.raised.values())

    @invariant()
    def what_is_shelved_comes_back(self) -> None:
        for (_, name, _), until in self.shelved.items():
            assert until <= self.tick + TABLE[AlarmName(name)].shelve_max_s
        self.said(self.engine.advance(self.now()))
        status = self.engine.status(self.now())
        for alarm in status.all_alarms:
            if alarm.state is AlarmState.SHELVED:
                assert alarm.shelved_until is not None
                assert alarm.shelved_until > self.tick
                assert self.engine.next_due is not None
                assert self.engine.next_due <= alarm.shelved_until

    @invariant()
    def a_cold_floor_is_never_passed_over(self) -> None:
        """By the plain model: the shed has been below its band for the delay, and was heard then;
        falling silent or faulty afterwards is no cure."""
        self.said(self.engine.advance(self.now()))
        self.prove()
        if not self.proven:
            return
        standing = {
            a.alarm: a.state
            for a in self.engine.status(self.now()).all_alarms
            if a.brooder == "shed"
        }
        assert standing.get(AlarmName.COLD) in (
            AlarmState.UNACKNOWLEDGED,
            AlarmState.ACKNOWLEDGED,
            AlarmState.SHELVED,
        )


TestWatch = Watch.TestCase
TestWatch.settings = settings(max_examples=EXAMPLES, stateful_step_count=50, deadline=None)
