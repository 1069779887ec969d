"""The watch itself: readings, entries and time go in, changes of alarms come out. No I/O.

Called by the service, the replay, the rehearsal and the tests. Discrete-event: what is due fires
at its due time, in a fixed order, so the changes depend only on the events and their times and
not on how often `advance` is called; a restart from `kept()` goes on exactly where it was.

    engine = Engine(site, Moment(at, tick))
    for reading in readings:
        changes = engine.reading(reading)
    changes = engine.advance(now)

What a reading does is in `readings`, what an entry does in `entry_effects`, what is looked at every
quarter of an hour in `quarter_hours`."""

from math import inf
from typing import Literal

from monitor.brooding.lamp_safety import spare_w
from monitor.brooding.ledger import Ledger
from monitor.events import (
    AlarmName,
    BadValue,
    Change,
    Entry,
    Facts,
    Measured,
    Moment,
    Reading,
)
from monitor.kept import Kept, part
from monitor.site import Brooder, Place, Site
from monitor.thermal import estimator
from monitor.thermal.by_size import NightAsked
from monitor.thermal.estimate import Estimate, Forecast, Wish
from monitor.thermal.estimator import MakeEstimator
from monitor.thermal.outside_probe import OutsideProbe
from monitor.watch.alarm_register import DELAY, SHELF, AlarmRegister
from monitor.watch.box_probes import BoxProbes
from monitor.watch.brooder_watch import BrooderWatch
from monitor.watch.entry_effects import EntryEffects
from monitor.watch.ledger_watch import LedgerWatch
from monitor.watch.mains import Mains
from monitor.watch.out_of_service import OutOfService
from monitor.watch.probe_faults import ProbeFaults
from monitor.watch.probe_watch import ProbeWatch
from monitor.watch.quarter_hours import REVIEW, QuarterHours
from monitor.watch.readings import Readings
from monitor.watch.silence import SILENT, Silence
from monitor.watch.site_status import site_status
from monitor.watch.status import SiteStatus
from monitor.watch.taken_out import TakenOut
from monitor.watch.timers import Slot, Timers
from monitor.watch.unwatched import Unwatched
from monitor.watch.watcher import JUST_ON_S, SETTLE, Watcher

VERSION: Literal[4] = 4


@part
class Engine(Kept):
    """Watches one site."""

    version: Literal[4]  # a state of another form is refused
    _timers: Timers
    _ledger: LedgerWatch
    _probes: dict[str, ProbeWatch]
    _outside: dict[str, OutsideProbe]
    _boxes: dict[str, BrooderWatch]
    _watcher: Watcher  # opens alarms of its own
    _register: AlarmRegister
    _mains: Mains
    _quarters: QuarterHours
    _unwatched: Unwatched

    def __init__(
        self, site: Site, start: Moment, *, make_estimator: MakeEstimator = estimator.thermal
    ) -> None:
        self.site = site
        self.version = VERSION
        self._timers = timers = Timers(start.tick)
        self._register = register = AlarmRegister(timers, start.at - start.tick)
        self._taken_out = TakenOut(register)
        self._ledger = ledger = LedgerWatch()
        self._probes = {p.key: ProbeWatch(p, start.tick) for p in site.all_probes}
        self._outside = {key: OutsideProbe(key) for key, p in self._probes.items() if p.outside}
        self._site_probes = [self._probes[p.key] for p in site.probes]
        self._mains = Mains(site, register)
        limits = {b.name: b.limits for b in site.brooders}
        closed = ledger.season_closed
        self._faults = faults = ProbeFaults(self._probes.values(), limits, register, closed)
        self._boxes = {b.name: self._box(b, make_estimator) for b in site.brooders}
        boxes = list(self._boxes.values())
        self._box_of_meter = {meter.key: box for box in boxes for meter in box.brooder.meters}
        self._silence = silence = Silence(boxes, self._site_probes, register, timers)
        self.watcher = self._watcher = Watcher(register, timers, boxes, closed)
        self._unwatched = Unwatched(boxes, register)
        self._quarters = QuarterHours(
            boxes, site.timezone, register=register, timers=timers, ledger=ledger
        )
        self._readings = Readings(
            self._probes,
            self._outside,
            self._boxes,
            timers=timers,
            register=register,
            silence=silence,
            faults=faults,
        )
        self._effects = EntryEffects(
            ledger,
            self._boxes,
            self._site_probes,
            register=register,
            out_of_service=OutOfService(self._boxes, self._probes, register, silence, faults),
            quarters=self._quarters,
            silence=silence,
            faults=faults,
            watcher=self._watcher,
            unwatched=self._unwatched,
        )
        for probe in self._probes.values():
            silence.wait(probe)
        for box in boxes:
            self._quarters.start(box, start.tick)

    def _box(self, brooder: Brooder, make: MakeEstimator) -> BrooderWatch:
        outside = bool(self.site.probes) or any(p.place is Place.OUTSIDE for p in brooder.probes)
        zone = self.site.timezone
        volts, amps = self.site.mains_volts, self.site.circuit_amps
        spare = spare_w(brooder.watts, volts=volts, amps=amps)
        return BrooderWatch(
            brooder,
            zone=zone,
            probes=BoxProbes([self._probes[p.key] for p in brooder.probes], self._faults),
            register=self._register,
            estimate=Estimate(brooder, make(brooder, outside), zone, spare_w=spare),
        )

    # -- events

    def reading(self, reading: Reading) -> list[Change]:
        """Takes one reading; the changes of alarms that came of it."""
        if reading.tick >= self._timers.next_due:
            self._run_until(reading.tick)
        self._readings.take(reading)
        return self._changes() if self._register.out else []

    def bad_value(self, bad: BadValue) -> list[Change]:
        """A probe said what no floor can be."""
        if bad.tick >= self._timers.next_due:
            self._run_until(bad.tick)
        self._readings.spoil(bad)
        return self._changes()

    def measured(self, said: Measured) -> list[Change]:
        """A word of what measures something else than temperature."""
        self._run_until(said.tick)
        box = self._box_of_meter.get(said.meter)
        if box is not None:
            box.take_measured(said, self.tick, mains_off=self._mains.off)
        else:
            was_off = self._mains.off
            self._mains.take(said, self.tick)
            if self._mains.off != was_off:
                for each in self._boxes.values():
                    each.mains_switched(self.tick, off=self._mains.off)
        return self._changes()

    def entry(self, entry: Entry, now: Moment) -> list[Change]:
        """What a grower wrote, or did to an alarm."""
        self._run_until(now.tick)
        self._effects.take(entry, self.tick)
        self._unwatched.judge(self.ledger, self.tick)
        return self._changes()

    def look_again(self, now: Moment) -> list[Change]:
        """The configuration may be another one than before: are there birds that it leaves
        unwatched, or alarms of what it no longer has?"""
        self._run_until(now.tick)
        renamed = {b.renamed_from: b.name for b in self.site.brooders if b.renamed_from is not None}
        self._taken_out.end(self.tick, renamed)
        self._mains.look_again(self.tick)
        self._unwatched.judge(self.ledger, self.tick)
        return self._changes()

    def advance(self, now: Moment) -> list[Change]:
        """Time has passed; fire what is due. That somebody looks is no event: what a late reading
        does must not hang on it."""
        for slot, due in self._timers.until(now.tick):
            self._fire(slot, due)
        return self._changes()

    def come_to(self, tick: float) -> None:
        """Somebody was told then, of how things stood: a word that came later changes none of it,
        whatever its stamp."""
        self._timers.tick = max(self._timers.tick, tick)

    def fault(
        self, name: AlarmName, active: bool, now: Moment, facts: Facts | None = None
    ) -> list[Change]:
        """Something about the watcher itself: broker, storage, delivery (facts: contact), clock,
        that it was not running (facts: down_from, down_to; none: nobody knows for how long), or
        that it no longer knows which birds are in the boxes that are empty as far as it knows
        (unwatched)."""
        facts = Facts() if facts is None else facts
        if name is AlarmName.WAS_DOWN:
            down_from = facts.get("down_from")
            left = self.tick if down_from is None else down_from - self._register.offset_s
            self._watcher.was_down(left, max(self.tick, now.tick), facts)
            self._skip_to(now.tick, left)
        else:
            self._run_until(now.tick)
            if name is AlarmName.UNWATCHED:
                self._unwatched.birds_unknown()
                self._unwatched.judge(self.ledger, self.tick)
                return self._changes()
            if name is AlarmName.STORAGE_FAULT and self._unwatched.unknown:
                facts = Facts(**facts, birds_unknown=True)
            self._watcher.see(name, active, self.tick, facts)
            if name is AlarmName.CLOCK_FAULT:
                self._doubt_clock(active or self._watcher.asks_about_jump)
                for box in self._boxes.values():
                    box.refresh(self.tick)
        return self._changes()

    def pass_over(self, since: Moment, now: Moment) -> list[Change]:
        """Nobody watched in between: as `fault` has it with WAS_DOWN, but nothing is to be told."""
        self._skip_to(now.tick, since.at - self._register.offset_s)
        return self._changes()

    def clock_jumped(
        self, now: Moment, jump_s: float, *, sure: bool = True, on_for_s: float = inf
    ) -> list[Change]:
        """The wall clock was set: `now` shows the new time. Delays run on undisturbed, and whatever
        doubt there was of the clock is over. Ages are taken from the new time, unless that is half
        a day or more from a time that nobody doubted: then somebody is asked first.

        `sure` False: it shows a time that cannot be right (a board without a battery clock, just
        woken). Then ages stay, and the service says so with `fault`. `on_for_s`: so long the board
        has been on. One that has just started did so at the time at which it, or its records, had
        ended."""
        self._run_until(now.tick)
        just_on = on_for_s < JUST_ON_S
        self._register.jump(self._watcher.clock_step(now.tick, jump_s, on_for_s))
        for probe in self._probes.values():
            probe.shift_wall(jump_s)
        doubt = not sure
        if doubt:
            self._watcher.doubt(jump_s)
        else:
            boxes = self._boxes.values()
            asked = self._watcher.asks_about_jump
            doubted = not asked and any(not box.needs.clock_sure for box in boxes)
            birds = any(box.needs.batch is not None for box in boxes)
            doubt = self._watcher.jumped(
                self.tick, jump_s, doubted=doubted, birds=birds, just_on=just_on
            )
            if just_on and not doubted and jump_s > 0.0:
                # By its clock no time had passed, so that nobody saw at the start that it was off.
                for box in boxes:
                    box.unwatched(self.tick, self.tick)
        self._doubt_clock(doubt)
        for box in self._boxes.values():
            self._quarters.start(box, self.tick)
        return self._changes()

    def _doubt_clock(self, doubt: bool) -> None:
        for box in self._boxes.values():
            box.needs.clock_sure = not doubt

    def forecast_is(
        self, pairs: tuple[tuple[float, float], ...], got_at: float, now: Moment
    ) -> list[Change]:
        """The newest forecast of the outside: (Unix s, degC) in time order."""
        self._run_until(now.tick)
        self._quarters.forecast = forecast = Forecast(tuple(pairs), got_at)
        for box in self._boxes.values():
            box.look_ahead(self.tick, forecast)
        return self._changes()

    def tonight(
        self,
        brooder: str,
        now: Moment,
        *,
        low_c: float | None = None,
        cover: str | None = None,
        extra_watts: float = 0.0,
    ) -> NightAsked:
        """The coming night of a box, as it is or with another outside low, cover or lamp. An empty
        box is held against what chicks of a day will need. Changes nothing."""
        wish = Wish(outside_low_c=low_c, cover=cover, extra_watts=extra_watts)
        return self._boxes[brooder].ask_tonight(now, self._quarters.forecast, wish)

    @property
    def ledger(self) -> Ledger:
        """What is known of the birds."""
        return self._ledger.ledger

    @property
    def tick(self) -> float:
        """How far the watch has come: to its last event, or to what was due after it."""
        return self._timers.tick

    @property
    def now(self) -> Moment:
        """How far time has come, on both clocks."""
        return Moment(self._register.wall_at(self.tick), self.tick)

    @property
    def next_due(self) -> float:
        """Tick at which something will happen without any event; endless: nothing will."""
        return self._timers.next_due

    # -- inside

    def _run_until(self, tick: float) -> None:
        """Fires what is due until an event."""
        for slot, due in self._timers.until(tick):
            self._fire(slot, due)
        self._timers.tick = max(self._timers.tick, tick)

    def _skip_to(self, tick: float, left: float) -> None:
        """Nobody watched from `left` until now. What was pending comes when it was
        due, but the boxes are looked at once, at the end: the quarters of an hour of decades (a
        clock that was wrong) would keep the watch from starting, and no reading is in them."""
        self._silence.forgive(tick)
        for box in self._boxes.values():
            box.unwatched(min(max(left, self.tick), tick), tick)
            slot = Slot(0, REVIEW, box.name)
            if (self._timers.due(slot) or tick) < tick:
                self._timers.set(slot, tick)
        self._run_until(tick)

    def _fire(self, slot: Slot, due: float) -> None:
        if slot.kind in (DELAY, SHELF):
            self._register.fire(slot.kind, slot.key, due)
            probe = self._faults.probe_of(slot.key)
            box = None if probe is None else self._boxes.get(probe.probe.brooder or "")
            if box is not None:
                box.temperature.evaluate(due)  # a probe more or less is believed now
        elif slot.kind == SILENT:
            probe = self._probes.get(slot.key)
            if probe is not None:
                self._silence.due(probe, due)
        elif slot.kind == REVIEW:
            box = self._boxes.get(slot.key)
            if box is not None:
                self._quarters.review(box, due)
        elif slot.kind == SETTLE:
            self._watcher.settle(slot.key, due)

    def _changes(self) -> list[Change]:
        out = self._register.out
        self._register.out = []
        return out

    # -- status and restart

    def status(self, now: Moment) -> SiteStatus:
        """How things stand. Does not move the engine."""
        return site_status(
            boxes=list(self._boxes.values()),
            site_probes=self._site_probes,
            mains=self._mains,
            alarms=self._register.standing(),
            tick=max(now.tick, self.tick),
            at=now.at,
        )

    def _take_over(self, before: "Engine") -> None:
        self._ledger._take_over(before._ledger)
        for box in self._boxes.values():
            box.needs.take(self.ledger.running(box.name))
        self._effects.await_birds(self._boxes.values())
        super()._take_over(before)
        self._taken_out.note(before._register.alarms)
        self._silence.resume()

        def known(slot: Slot) -> bool:
            _, kind, key = slot
            if kind in (DELAY, SHELF):
                return key in self._register.alarms
            return kind == SETTLE or key in (self._probes if kind == SILENT else self._boxes)

        self._timers.drop(slot for slot in self._timers.slots if not known(slot))
        for key in self._probes.keys() - before._probes.keys():
            self._silence.wait(self._probes[key])
        for name in self._boxes.keys() - before._boxes.keys():
            self._quarters.start(self._boxes[name], self.tick)
