"""What an entry does: birds that came, died or went, heat that was changed, an alarm answered or
put aside, a probe taken out of service. Held by watch.engine."""

from collections.abc import Iterable, Mapping

from monitor.brooding.entries import BY_CONFIGURATION, LEDGER_KINDS
from monitor.events import Entry, EntryKind
from monitor.watch.alarm import Alarm
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.brooder_watch import BrooderWatch
from monitor.watch.ledger_watch import LedgerWatch
from monitor.watch.out_of_service import OutOfService
from monitor.watch.probe_faults import ProbeFaults
from monitor.watch.probe_watch import ProbeWatch
from monitor.watch.quarter_hours import QuarterHours
from monitor.watch.silence import Silence
from monitor.watch.unwatched import Unwatched
from monitor.watch.watcher import Watcher

SHELVED_DEFAULT_MIN = 60.0


class EntryEffects:
    """What the entries of one site do to its watch."""

    def __init__(
        self,
        ledger: LedgerWatch,
        boxes: Mapping[str, BrooderWatch],
        site_probes: Iterable[ProbeWatch],
        *,
        register: AlarmRegister,
        out_of_service: OutOfService,
        quarters: QuarterHours,
        silence: Silence,
        faults: ProbeFaults,
        watcher: Watcher,
        unwatched: Unwatched,
    ) -> None:
        self._ledger, self._boxes, self._site_probes = ledger, boxes, site_probes
        self._register, self._out_of_service, self._quarters = register, out_of_service, quarters
        self._silence, self._faults = silence, faults
        self._watcher, self._unwatched = watcher, unwatched

    def take(self, entry: Entry, tick: float) -> None:
        """What a grower wrote, or did to an alarm."""
        kind, register = entry.entry, self._register
        if kind in LEDGER_KINDS:
            self._write(entry, tick)
        elif kind is EntryKind.ACKNOWLEDGE:
            answered = register.standing(entry.brooder, entry.alarm)
            register.acknowledge(answered, tick, entry.by)
            self._comes(answered, tick)
            if self._watcher.jump_is_right(tick):
                for box in self._boxes.values():
                    box.needs.clock_sure = True
                    box.refresh(tick)
        elif kind is EntryKind.SHELVE:
            minutes = SHELVED_DEFAULT_MIN if entry.minutes is None else entry.minutes
            for alarm in register.within(entry.brooder):
                if alarm.rule.alarm.value == entry.alarm:
                    for_s = minutes * 60.0
                    register.shelve(alarm, tick, for_s=for_s, note=entry.note, by=entry.by)
        elif kind is EntryKind.UNSHELVE:
            for alarm in register.standing(entry.brooder, entry.alarm):
                register.unshelve(alarm, tick, by=entry.by)
        elif kind is EntryKind.OUT_OF_SERVICE:
            self._out_of_service.take_out(entry, tick)
        else:
            self._out_of_service.put_back(entry, tick)

    def _comes(self, answered: Iterable[Alarm], tick: float) -> None:
        """Whoever answers for a floor or a silence goes to the box, and lifts its cover."""
        places = {alarm.brooder for alarm in answered if alarm.rule.family is not None}
        for box in self._boxes.values():
            if None in places or box.name in places:
                box.estimate.acted(tick)

    def _write(self, entry: Entry, tick: float) -> None:
        self._ledger.write(entry)
        # An undo may name no box: it is the one of the entry that it takes back.
        named = None if entry.entry is EntryKind.UNDO else entry.brooder
        boxes = [box for box in self._boxes.values() if named in (None, box.name)]
        self._unwatched.said(entry)
        # Birds of a box that was renamed are in another one with the entry that follows.
        if not (entry.entry is EntryKind.MOVED and entry.by == BY_CONFIGURATION):
            self._watcher.season_changed(tick)
        self.await_birds(boxes)
        for box in boxes:
            batch = self._ledger.ledger.running(box.name)
            if batch != box.needs.batch:
                box.begin_batch(batch, tick)
                self._silence.judge(tick, box)  # nobody listens to an empty one
                for probe in (*box.probes, *self._site_probes):
                    self._faults.see(probe, tick)
                self._quarters.advise(box, tick)
        for box in boxes:
            if entry.brooder in (None, box.name):
                box.estimate.acted(tick)
        changed = self._ledger.heat_changed(entry)
        if changed is not None:
            self._change_heat(*changed, tick)

    def _change_heat(self, brooder: str | None, at: float | None, tick: float) -> None:
        """Counted from when it was done, which an entry may say of an hour ago."""
        since = None if at is None else tick - max(0.0, self._register.wall_at(tick) - at)
        for box in self._boxes.values():
            if brooder in (None, box.name):
                box.estimate.heat_changed(tick, since)

    def await_birds(self, boxes: Iterable[BrooderWatch]) -> None:
        """Which of these boxes are empty, and for whom do they warm up?"""
        ledger = self._ledger.ledger
        expected = ledger.all_expected()
        had = {batch.brooder for batch in ledger.batches}
        for box in boxes:
            box.empty.take(expected.get(box.name), had=box.name in had)
