"""The watch itself: readings, entries and time go in, changes of alarms come out. No I/O.

Called by the service, the replay, the rehearsal and the tests. Discrete-event: what is due fires
at its due time, in a fixed order, so the changes depend only on the events and their times and
not on how often `advance` is called; a restart from `state()` goes on exactly where it was.

    engine = Engine(site, Moment(at, tick))
    for reading in readings:
        changes = engine.reading(reading)
    changes = engine.advance(now)"""

from collections.abc import Iterable
from typing import Literal

from monitor.brooding.batch import LEDGER_KINDS, Ledger, fold
from monitor.brooding.circuit import spare_w
from monitor.events import (
    AlarmName,
    BadValue,
    Change,
    Entry,
    EntryKind,
    Facts,
    Measured,
    Moment,
    Reading,
)
from monitor.kept import Kept, Tick, part
from monitor.site import Brooder, Limits, Place, Site
from monitor.thermal import estimator
from monitor.thermal.by_size import NightAsked
from monitor.thermal.estimate import Estimate, Forecast, Wish
from monitor.thermal.estimator import MakeEstimator
from monitor.watch.advisor import Advisor
from monitor.watch.alarm import Alarm
from monitor.watch.alarm_register import DELAY, SHELF, AlarmRegister
from monitor.watch.box_probes import BoxProbes
from monitor.watch.brooder_watch import BrooderWatch
from monitor.watch.mains import Mains
from monitor.watch.out_of_service import OutOfService
from monitor.watch.probe_faults import ProbeFaults
from monitor.watch.probe_watch import ProbeWatch
from monitor.watch.silence import SILENT, Silence
from monitor.watch.site_status import site_status
from monitor.watch.status import SiteStatus
from monitor.watch.timers import NEVER, Slot, Timers
from monitor.watch.unwatched import Unwatched
from monitor.watch.watcher import SETTLE, Watcher

VERSION: Literal[2] = 2
SHELVED_DEFAULT_MIN = 60.0
REVIEW = "review"
REVIEW_S = 900.0  # divides every local midnight, so a step comes on time


@part
class Engine(Kept):
    """Watches one site."""

    version: Literal[2]  # a state of another form is refused
    _tick: Tick
    _entries: list[Entry]
    _forecast: Forecast | None = None
    _probes: dict[str, ProbeWatch]
    _boxes: dict[str, BrooderWatch]
    _watcher: Watcher  # opens alarms of its own
    _register: AlarmRegister
    _mains: Mains
    _advisors: dict[str, Advisor]
    _timers: Timers
    _unwatched: Unwatched

    def __init__(
        self, site: Site, start: Moment, *, make_estimator: MakeEstimator = estimator.thermal
    ) -> None:
        self.site = site
        self.version = VERSION
        self._tick = start.tick
        self._timers = Timers()
        self._register = AlarmRegister(self._timers, start.at - start.tick)
        self._entries = []
        self.ledger = Ledger()
        self._probes = {p.key: ProbeWatch(p, start.tick) for p in site.all_probes}
        self._site_probes = [self._probes[p.key] for p in site.probes]
        self._mains = Mains(site, self._register)
        limits = {b.name: b.limits for b in site.brooders}
        self._faults = ProbeFaults(
            self._probes.values(), limits, self._register, self._season_closed
        )
        self._boxes = {b.name: self._box(b, make_estimator) for b in site.brooders}
        boxes = list(self._boxes.values())
        self._box_of = {p.key: box for box in boxes for p in box.probes}  # by probe
        self._box_of_meter = {meter.key: box for box in boxes for meter in box.brooder.meters}
        self._silence = Silence(boxes, self._site_probes, self._register, self._timers)
        self._in_use = OutOfService(
            self._boxes, self._probes, self._register, self._silence, self._faults
        )
        self._watcher = Watcher(self._register, self._timers, boxes, self._season_closed)
        self._unwatched = Unwatched(boxes, self._register)
        self._advisors = {b.name: Advisor(b, site.timezone, self._register) for b in site.brooders}
        for probe in self._probes.values():
            self._silence.wait(probe)
        for box in boxes:
            self._start(box)

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

    def _start(self, box: BrooderWatch) -> None:
        self._set_review(box)
        at = self._register.wall_at(self._tick)
        box.night.begin(at, self._tick, self.site.timezone)
        box.estimate.hour(self._tick, at)
        box.refresh(self._tick)

    def _season_closed(self, brooder: str | None = None) -> bool:
        """There have been birds (in that box; None: in any), and there are none now."""
        if brooder is None:
            return bool(self.ledger.batches) and not self.ledger.open
        return brooder not in self.ledger.open and bool(self.ledger.of(brooder))

    # -- events

    def reading(self, reading: Reading) -> list[Change]:
        """One temperature. The hot path: all is well in nearly every call."""
        at, tick, key, temp_c, sure = reading
        if tick >= self._timers.next_due:
            self._run_until(tick)
        probe = self._probes.get(key)
        if probe is not None:
            if (
                probe.calm_low_c <= temp_c <= probe.calm_high_c
                and self._tick <= tick
                and at >= probe.at
                and (tick < probe.calm_until or self._stays_calm(probe, tick, temp_c))
            ):
                self._tick = tick
                probe.at, probe.tick, probe.temp_c, probe.heard = at, tick, temp_c, tick
                self._estimate(probe, self._box_of.get(key), tick, temp_c)
            else:
                self._judge(probe, at, tick, temp_c, sure)
        return self._changes() if self._register.out else []

    def _stays_calm(self, probe: ProbeWatch, tick: float, temp_c: float) -> bool:
        box = self._box_of.get(probe.key)
        if box is not None and (box.unseen or box.temperature.close_watch()):
            return False
        return probe.stays_calm(tick, temp_c)

    def _estimate(
        self, probe: ProbeWatch, box: BrooderWatch | None, tick: float, temp_c: float
    ) -> None:
        if probe.out_of_service:
            return
        if box is None:
            for each in self._boxes.values():
                if not each.probes.has_own_outside:
                    each.estimate.observe_outside(tick, temp_c)
        elif probe.outside:
            box.estimate.observe_outside(tick, temp_c)
        elif box.estimate.observe(tick, probe.key, temp_c):
            # Blindness first: the stuck probe that makes a box blind is told with it.
            if box.probes.see_stuck(box.estimate.diagnosis):
                self._silence.judge(tick, box)
            box.diagnosed(tick)

    def _judge(self, probe: ProbeWatch, at: float, tick: float, temp_c: float, sure: bool) -> None:
        """The long way: something may change."""
        now = max(tick, self._tick)
        if now - tick > self._limits(probe).silent_s:
            # From a probe's own store, hours old: for the journal, not for the alarms.
            probe.came_late(now, tick)
            return
        if tick < probe.tick or (sure and at < probe.at):
            return  # late: an older reading than the last one disturbs nothing
        self._tick = now
        box = self._box_of.get(probe.key)
        back = probe.bad or probe.silent or not probe.known
        probe.take(at, now, temp_c)
        if probe.bad:
            probe.bad, probe.bad_reason = False, None
            self._faults.see(probe, now)
        if probe.silent:
            self._silence.heard(probe, now)
        probe.stir()
        calm = True
        # The estimate first: it may doubt this very reading.
        self._estimate(probe, box, now, temp_c)
        if box is not None and not probe.outside:
            beyond = probe.beyond()
            if back or beyond != probe.was_beyond or probe.doubted or box.unseen:
                box.temperature.evaluate(now)
            calm = not beyond
            if box.temperature.close_watch():
                calm = False
                box.temperature.look_again(now)
        if calm:
            probe.settle()

    def _limits(self, probe: ProbeWatch) -> Limits:
        box = self._box_of.get(probe.key)
        return Limits() if box is None else box.brooder.limits

    def bad_value(self, bad: BadValue) -> list[Change]:
        """A probe said what no floor can be."""
        if bad.tick >= self._timers.next_due:
            self._run_until(bad.tick)
        probe = self._probes.get(bad.probe)
        if probe is not None and bad.tick >= probe.tick and not probe.out_of_service:
            self._tick = now = max(self._tick, bad.tick)
            box = self._box_of.get(probe.key)
            often = probe.spoil(now, bad.reason)
            self._faults.see(probe, now, at_once=often)
            if probe.silent:
                self._silence.judge(now, box)
            if box is not None:
                box.temperature.evaluate(now)
        return self._changes()

    def measured(self, said: Measured) -> list[Change]:
        """A word of what measures something else than temperature."""
        self._run_until(said.tick)
        box = self._box_of_meter.get(said.meter)
        if box is not None:
            box.take_measured(said, self._tick, mains_off=self._mains.off)
        else:
            was_off = self._mains.off
            self._mains.take(said, self._tick)
            if self._mains.off != was_off:
                for each in self._boxes.values():
                    each.mains_switched(self._tick, off=self._mains.off)
        return self._changes()

    def entry(self, entry: Entry, now: Moment) -> list[Change]:
        """What a grower wrote, or did to an alarm."""
        self._run_until(now.tick)
        tick = self._tick
        kind = entry.entry
        if kind in LEDGER_KINDS:
            self._write(entry, tick)
        elif kind is EntryKind.ACKNOWLEDGE:
            self._register.acknowledge(entry.brooder, entry.alarm, tick, entry.by)
            if self._watcher.jump_is_right(tick):
                self._doubt_clock(False)
                for box in self._boxes.values():
                    box.refresh(tick)
        elif kind is EntryKind.SHELVE:
            minutes = SHELVED_DEFAULT_MIN if entry.minutes is None else entry.minutes
            for alarm in self._named(entry):
                self._register.shelve(
                    alarm, tick, for_s=minutes * 60.0, note=entry.note, by=entry.by
                )
        elif kind is EntryKind.UNSHELVE:
            self._register.unshelve(entry.brooder, entry.alarm, tick, entry.by)
        elif kind is EntryKind.OUT_OF_SERVICE:
            self._in_use.take_out(entry, tick)
        else:
            self._in_use.put_back(entry, tick)
        self._unwatched.judge(self.ledger, tick)
        return self._changes()

    def look_again(self, now: Moment) -> list[Change]:
        """The configuration may be another one than before: are there birds that it leaves
        unwatched?"""
        self._run_until(now.tick)
        self._unwatched.judge(self.ledger, self._tick)
        return self._changes()

    def advance(self, now: Moment) -> list[Change]:
        """Time has passed; fire what is due."""
        self._run_until(now.tick)
        return self._changes()

    def fault(
        self, name: AlarmName, active: bool, now: Moment, facts: Facts | None = None
    ) -> list[Change]:
        """Something about the watcher itself: broker, storage, delivery (facts: contact), clock,
        that it was not running (facts: down_from, down_to), or that it no longer knows which birds
        are in the boxes that are empty as far as it knows (unwatched)."""
        facts = Facts() if facts is None else facts
        if name is AlarmName.WAS_DOWN:
            self._watcher.was_down(max(self._tick, now.tick), facts)
            self._skip_to(now.tick, facts.get("down_from"))
        else:
            self._run_until(now.tick)
            if name is AlarmName.UNWATCHED:
                self._unwatched.birds_unknown()
                self._unwatched.judge(self.ledger, self._tick)
                return self._changes()
            if name is AlarmName.STORAGE_FAULT and self._unwatched.unknown:
                facts = Facts(**facts, birds_unknown=True)
            self._watcher.see(name, active, self._tick, facts)
            if name is AlarmName.CLOCK_FAULT:
                self._doubt_clock(active)
                for box in self._boxes.values():
                    box.refresh(self._tick)
        return self._changes()

    def clock_jumped(self, now: Moment, jump_s: float, *, sure: bool = True) -> list[Change]:
        """The wall clock was set: `now` shows the new time. Delays run on undisturbed, and whatever
        doubt there was of the clock is over. Ages are taken from the new time, unless that is half
        a day or more from a time that nobody doubted: then somebody is asked first.

        `sure` False: it shows a time that cannot be right (a board without a battery clock, just
        woken). Then ages stay, and the service says so with `fault`."""
        self._run_until(now.tick)
        self._register.jump(jump_s)
        for probe in self._probes.values():
            probe.shift_wall(jump_s)
        doubt = not sure
        if sure:
            boxes = self._boxes.values()
            asked = self._watcher.asks_about_jump
            doubted = not asked and any(not box.needs.clock_sure for box in boxes)
            birds = any(box.needs.batch is not None for box in boxes)
            doubt = self._watcher.jumped(self._tick, jump_s, doubted=doubted, birds=birds)
        self._doubt_clock(doubt)
        for box in self._boxes.values():
            self._start(box)
        return self._changes()

    def _doubt_clock(self, doubt: bool) -> None:
        for box in self._boxes.values():
            box.needs.clock_sure = not doubt

    def forecast_is(
        self, pairs: tuple[tuple[float, float], ...], got_at: float, now: Moment
    ) -> list[Change]:
        """The newest forecast of the outside: (Unix s, degC) in time order."""
        self._run_until(now.tick)
        self._forecast = Forecast(tuple(pairs), got_at)
        for box in self._boxes.values():
            box.look_ahead(self._tick, self._forecast)
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
        box = self._boxes[brooder]
        wish = Wish(outside_low_c=low_c, cover=cover, extra_watts=extra_watts)
        target_c, low_c = box.needs.target_c, box.needs.low_c
        if box.needs.batch is None and box.empty.limits is not None:
            target_c, low_c = box.empty.limits.target_c, box.empty.limits.low_c
        if target_c is None or low_c is None:
            return NightAsked(None, None, None, None)
        estimate, forecast = box.estimate, self._forecast
        return NightAsked(
            target_c,
            low_c,
            estimate.tonight(now, low_at=box.needs.low_at, forecast=forecast, wish=wish),
            estimate.by_size(now, target_c=target_c, low_c=low_c, forecast=forecast, wish=wish),
        )

    @property
    def next_due(self) -> float | None:
        """Tick at which something will happen without any event; None: nothing will."""
        due = self._timers.next_due
        return None if due == NEVER else due

    @property
    def offset_s(self) -> float:
        """Wall minus steady time, as the engine takes it."""
        return self._register.offset_s

    # -- inside

    def _run_until(self, tick: float) -> None:
        timers = self._timers
        while timers.next_due <= tick:
            due, slot = timers.pop()
            self._tick = max(self._tick, due)
            self._fire(slot, due)
        self._tick = max(self._tick, tick)

    def _skip_to(self, tick: float, down_from: float | None) -> None:
        """Nobody watched from `down_from` (Unix s) until now. What was pending comes when it was
        due, but the boxes are looked at once, at the end: the quarters of an hour of decades (a
        clock that was wrong) would keep the watch from starting, and no reading is in them."""
        self._silence.forgive(tick)
        left = self._tick if down_from is None else down_from - self._register.offset_s
        for box in self._boxes.values():
            box.unwatched(min(max(left, self._tick), tick), tick)
            slot = Slot(0, REVIEW, box.name)
            if (self._timers.due(slot) or tick) < tick:
                self._timers.set(slot, tick)
        self._run_until(tick)

    def _fire(self, slot: Slot, due: float) -> None:
        if slot.kind in (DELAY, SHELF):
            self._register.fire(slot.kind, slot.key, due)
            probe = self._faults.probe_of(slot.key)
            box = None if probe is None else self._box_of.get(probe.key)
            if box is not None:
                box.temperature.evaluate(due)  # a probe more or less is believed now
        elif slot.kind == SILENT:
            probe = self._probes.get(slot.key)
            if probe is not None:
                self._silence.due(probe, due)
        elif slot.kind == REVIEW:
            box = self._boxes.get(slot.key)
            if box is not None:
                self._review(box, due)
        elif slot.kind == SETTLE:
            self._watcher.settle(slot.key, due)

    def _set_review(self, box: BrooderWatch) -> None:
        """The next quarter of an hour on the wall clock."""
        quarter = self._register.wall_at(self._tick) // REVIEW_S
        due = (quarter + 1) * REVIEW_S - self._register.offset_s
        self._timers.set(Slot(0, REVIEW, box.name), due)

    def _review(self, box: BrooderWatch, tick: float) -> None:
        """Limits for the age, the night's start, the outlook, advice."""
        at = self._register.wall_at(tick)
        self._set_review(box)
        if box.night.begin(at, tick, self.site.timezone):
            for probe in box.probes:
                probe.begin_night()
        box.estimate.hour(tick, at)
        box.refresh(tick)
        box.review_meters(tick)
        box.look_ahead(tick, self._forecast)
        self._advise(box, tick)

    def _advise(self, box: BrooderWatch, tick: float) -> None:
        nights = box.estimate.nights(
            Moment(tick + self._register.offset_s, tick), self._forecast, box.tonight.outlook
        )
        box.moving = self._advisors[box.name].see(box.needs.batch, tick, nights, self.ledger)

    def _changes(self) -> list[Change]:
        out = self._register.out
        self._register.out = []
        return out

    def _write(self, entry: Entry, tick: float) -> None:
        self._entries.append(entry)
        self.ledger = self.ledger.with_entry(entry)
        # An undo may name no box: it is the one of the entry that it takes back.
        named = None if entry.entry is EntryKind.UNDO else entry.brooder
        boxes = [box for box in self._boxes.values() if named in (None, box.name)]
        self._unwatched.said(entry)
        self._watcher.season_changed(tick)
        self._await_birds(boxes)
        for box in boxes:
            batch = self.ledger.running(box.name)
            if batch != box.needs.batch:
                box.begin_batch(batch, tick)
                self._silence.batch_changed(box, tick)
                for probe in (*box.probes, *self._site_probes):
                    self._faults.see(probe, tick)
                self._advise(box, tick)
        for box in boxes:
            if entry.brooder in (None, box.name):
                box.estimate.acted(tick)
        self._heat_changed(entry, tick)

    def _await_birds(self, boxes: Iterable[BrooderWatch]) -> None:
        expected = self.ledger.all_expected()
        had = {batch.brooder for batch in self.ledger.batches}
        for box in boxes:
            box.empty.take(expected.get(box.name), had=box.name in had)

    def _heat_changed(self, entry: Entry, tick: float) -> None:
        """Counted from when it was done, which an entry may say of an hour ago."""
        undone = None if entry.undoes is None else self.ledger.entry(entry.undoes)
        said = entry if undone is None else undone
        if said.entry is not EntryKind.HEAT_CHANGED:
            return
        ago_s = max(0.0, self._register.wall_at(tick) - said.at)
        since = None if entry.entry is EntryKind.UNDO else tick - ago_s
        for box in self._boxes.values():
            if said.brooder in (None, box.name):
                box.estimate.heat_changed(tick, since)

    def _named(self, entry: Entry) -> list[Alarm]:
        return [
            alarm
            for alarm in self._register.within(entry.brooder)
            if alarm.rule.alarm.value == entry.alarm
        ]

    # -- picture and restart

    def status(self, now: Moment) -> SiteStatus:
        """How things stand. Does not move the engine."""
        return site_status(
            site=self.site,
            boxes=list(self._boxes.values()),
            site_probes=self._site_probes,
            mains=self._mains,
            alarms=self._register.standing(),
            tick=max(now.tick, self._tick),
            at=now.at,
        )

    def _take_over(self, before: "Engine") -> None:
        self.ledger = fold(before._entries)
        for box in self._boxes.values():
            box.needs.take(self.ledger.running(box.name))
        self._await_birds(self._boxes.values())
        super()._take_over(before)
        self._silence.resume()
        self._timers.drop(slot for slot in self._timers.slots if not self._known(slot))
        for key in self._probes.keys() - before._probes.keys():
            self._silence.wait(self._probes[key])
        for name in self._boxes.keys() - before._boxes.keys():
            self._start(self._boxes[name])

    def _known(self, slot: Slot) -> bool:
        _, kind, key = slot
        if kind in (DELAY, SHELF):
            return key in self._register.alarms
        if kind == SILENT:
            return key in self._probes
        return kind == SETTLE or key in self._boxes
