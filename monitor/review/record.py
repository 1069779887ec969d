"""One box's record over a span: readings, targets, alarms, ledger. Read once from the journal,
then asked by the sheet, the loss review, the pictures and the report.

Which span: a batch from the first chick placed until the last one left or, while it runs, until
now; or the part of it between two given times. A journal whose last word is older than a day, or
still to come, is a recorded one (a replayed or rehearsed night): "now" is then where it ends."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import tzinfo
from functools import cached_property

import numpy as np

from monitor.brooding.batch import Batch
from monitor.brooding.ledger import Ledger, fold
from monitor.brooding.schedules import schedule_for
from monitor.events import AlarmName, Change, Entry, EntryKind
from monitor.journal.reader import JournalReader
from monitor.journal.records import BadCount
from monitor.review.alarm_log import Occurrence, occurrences
from monitor.review.days import Cut, days
from monitor.review.exposure import Exposure, TargetLine, Trace, exposure, no_target
from monitor.review.figure_text import dated
from monitor.review.joining import joined
from monitor.review.target_line import target_line
from monitor.site import Brooder, Place, Probe, Site
from monitor.thermal.track import CLOSE_S

DAY_S = 86400.0
ENDED_S = DAY_S  # silence for a day: a recorded journal, not a running one
_LOOK_BACK_S = 7 * DAY_S  # an alarm raised this long before the span may still be active in it
_ENTRY_S = 0.001  # the journal's times are whole milliseconds: the entry that ends a batch is in it


class NotFound(Exception):
    """What was asked for is not in the journal; one line that says what would be right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is to be reviewed. Times None: the whole batch."""

    brooder: str | None = None
    batch: int | None = None  # 1 is the box's first
    start: float | None = None
    stop: float | None = None


@dataclass(frozen=True, kw_only=True)
class Record:
    """Everything known of one box in start <= time < stop."""

    site: Site
    brooder: Brooder
    batch: Batch | None
    ordinal: int | None  # which of the box's batches
    start: float
    stop: float
    ended: bool  # nothing more will come: birds gone, or a recorded journal
    ledger: Ledger
    entries: tuple[Entry, ...]  # this box's and the site's, undone ones left out
    alarms: tuple[Occurrence, ...]
    changes: tuple[Change, ...]  # that made them, also some from before the span
    probes: tuple[Probe, ...]  # the box's and those outside, also ones no longer configured
    kept: JournalReader
    _figures: dict[tuple[float, float], Exposure] = field(
        default_factory=dict, init=False, repr=False
    )

    @property
    def hold_s(self) -> float:
        """A reading holds as long as the probe is not called silent."""
        return self.brooder.limits.silent_s

    @cached_property
    def traces(self) -> dict[str, Trace]:
        """The floor probes' readings that the figures rest on: without those while a probe was
        out of service, or known to mislead where there is another floor probe."""
        return self.floor_readings(self.start, self.stop)

    def floor_readings(self, start: float, stop: float) -> dict[str, Trace]:
        """As `traces`, for a part of the record."""
        found = self.readings_of((p.key for p in self.floor_probes), start, stop)
        if len(found) == 1:  # the only witness, doubtful or not, is better heard than nothing
            return found
        return {key: _without(trace, self.doubted(key)) for key, trace in found.items()}

    def bad_values(self) -> list[BadCount]:
        """What these probes said that no floor can be, by probe and reason, the most often said
        first. None of it is in any figure."""
        found: dict[tuple[str, str], BadCount] = {}
        keys = {probe.key for probe in self.probes}
        for bad in self.kept.bad_values(self.start, self.stop):
            if bad.probe not in keys:
                continue
            earlier = found.get((bad.probe, bad.reason), replace(bad, count=0))
            found[bad.probe, bad.reason] = replace(
                earlier, count=earlier.count + bad.count, last_at=bad.last_at
            )
        return sorted(found.values(), key=lambda bad: -bad.count)

    def doubted(self, key: str) -> list[tuple[float, float]]:
        """When a probe was known to mislead (stuck, fallen out, under the lamp): probe-fault. One
        that was put aside misled until it was taken up again: nobody heard it come right before,
        and if it still was wrong then, it was told anew."""
        return [
            (
                alarm.facts.get("since", alarm.raised),
                next((t for t in (alarm.cleared, alarm.taken_up) if t is not None), float("inf")),
            )
            for alarm in self._faults
            if alarm.probe == key
        ]

    @cached_property
    def _faults(self) -> list[Occurrence]:
        """Probe-faults, also one put aside before the record begins."""
        return [o for o in occurrences(self.changes) if o.alarm is AlarmName.PROBE_FAULT]

    @property
    def floor_probes(self) -> list[Probe]:
        return [p for p in self.probes if p.place is Place.FLOOR]

    def readings_of(
        self, keys: Iterable[str], start: float | None = None, stop: float | None = None
    ) -> dict[str, Trace]:
        """Readings of some probes over the record or a part of it, out-of-service times left out.
        A little earlier too: the reading that held when the span began. Wild ones are left out:
        no figure and no picture shows them."""
        begins = self.start if start is None else start
        ends = self.stop if stop is None else stop
        # A reading whose time is not sure would lay one hour's cold over another's.
        first = begins - self.hold_s
        found = self.kept.readings_of(list(keys), first - CLOSE_S, ends + CLOSE_S, only_sure=True)
        box_of = {probe.key: probe.brooder for probe in self.probes}
        return {
            key: _without(
                Trace(*pair).borne_out().between(first, ends),
                _outages(self.entries, key, box_of.get(key)),
            )
            for key, pair in found.items()
        }

    @cached_property
    def target(self) -> TargetLine:
        """The floor's target; none before the chicks came and after they left."""
        return self.target_between(self.start, self.stop)

    def target_between(self, start: float, stop: float) -> TargetLine:
        """As `target`, for a span that may reach beyond the record."""
        if self.batch is None:
            return no_target(start, stop)
        begins = max(start, self.batch.started_at)
        ends = stop if self.batch.ended_at is None else min(stop, self.batch.ended_at)
        if ends <= begins:
            return no_target(start, stop)
        return target_line(
            schedule_for(self.brooder, self.batch.kind),
            hatched=self.batch.hatched,
            steps=self.brooder.steps,
            limits=self.brooder.limits,
            zone=self.site.timezone,
            start=begins,
            stop=ends,
        )

    def exposure(self, start: float, stop: float) -> Exposure:
        """The floor's figures over a part of the record. Long spans are joined from their days:
        that is quicker on a small board's memory, and the days are wanted anyway."""
        found = self._figures.get((start, stop))
        if found is None:
            if stop - start > 2 * DAY_S:
                parts = days(start, stop, self.site.timezone, Cut.NOON)
                found = joined([self.exposure(part.start, part.stop) for part in parts])
            else:
                traces = [trace.between(start - self.hold_s, stop) for trace in self._traces]
                found = exposure(traces, self.target, start=start, stop=stop, hold_s=self.hold_s)
            self._figures[start, stop] = found
        return found

    @cached_property
    def _traces(self) -> list[Trace]:
        return list(self.traces.values())


def _without(trace: Trace, spans: list[tuple[float, float]]) -> Trace:
    """The readings outside of all spans."""
    keep = np.ones(len(trace.times), dtype=bool)
    for start, stop in spans:
        keep &= (trace.times < start) | (trace.times >= stop)
    return trace if keep.all() else Trace(trace.times[keep], trace.temps_c[keep])


def open_record(kept: JournalReader, site: Site, asked: Asked, *, now: float | None) -> Record:
    """The record asked for; `now` None: of a journal in which nothing more will come. Raises
    NotFound."""
    every = list(kept.entries())
    ledger = fold(every)
    span = kept.span()
    if span is None and not every:
        raise NotFound("the journal is empty: no reading and no ledger entry yet")
    brooder = _brooder(site, ledger, asked.brooder)
    known = [entry.at for entry in every] + ([] if span is None else list(span))
    last = max(known)
    recorded = now is None or now - last > ENDED_S or last > now
    until = last + 1.0 if now is None or recorded else now
    batch, ordinal = _batch(ledger, brooder.name, asked)
    if batch is None and (asked.start is None or asked.stop is None):
        raise NotFound(_without_birds(ledger, brooder.name, site.timezone))
    start, stop = _span(brooder.name, batch, asked, (min(known), until))
    mine = tuple(
        entry
        for entry in every
        if entry.brooder in (brooder.name, None)
        and entry.number not in ledger.undone
        and entry.entry is not EntryKind.UNDO
    )
    changes = [
        change
        for change in kept.changes(start - _LOOK_BACK_S, stop)
        if change.brooder in (brooder.name, None)
    ]
    return Record(
        site=site,
        brooder=brooder,
        batch=batch,
        ordinal=ordinal,
        start=start,
        stop=stop,
        ended=recorded or (batch is not None and batch.ended_at is not None),
        ledger=ledger,
        entries=mine,
        alarms=tuple(o for o in occurrences(changes) if o.overlaps(start, stop)),
        changes=tuple(changes),
        probes=_probes(kept, site, brooder),
        kept=kept,
    )


def _brooder(site: Site, ledger: Ledger, name: str | None) -> Brooder:
    names = [brooder.name for brooder in site.brooders]
    if name is not None:
        if name not in names:
            raise NotFound(f'--brooder is "{name}"; the configuration has {", ".join(names)}')
        return site.brooder(name)
    with_birds = [n for n in names if ledger.of(n)]
    candidates = with_birds or names
    if len(candidates) > 1:
        raise NotFound(f"--brooder is missing; write one of {', '.join(candidates)}")
    return site.brooder(candidates[0])


def _probes(kept: JournalReader, site: Site, brooder: Brooder) -> tuple[Probe, ...]:
    """Those configured now, and those the journal knew of this box: a batch of last spring was
    watched by last spring's probes."""
    outside = [probe for probe in site.probes if probe.place is Place.OUTSIDE]
    found = {probe.key: probe for probe in [*brooder.probes, *outside]}
    for known in kept.known().values():
        if known.place is None:
            continue  # brought in, and never configured here
        place = Place(known.place)
        here = known.brooder == brooder.name or (known.brooder is None and place is Place.OUTSIDE)
        if here and known.key not in found:
            found[known.key] = Probe(
                key=known.key,
                brooder=known.brooder,
                name=known.key.rpartition("/")[2],
                topic=known.topic,
                place=place,
            )
    return tuple(found.values())


def _batch(ledger: Ledger, brooder: str, asked: Asked) -> tuple[Batch | None, int | None]:
    batches = ledger.of(brooder)
    if asked.batch is not None:
        if not 1 <= asked.batch <= len(batches):
            have = f"{brooder} has had {len(batches)}" if batches else f"{brooder} has had none"
            raise NotFound(f"--batch is {asked.batch}; {have}, counted from 1")
        return batches[asked.batch - 1], asked.batch
    for ordinal in range(len(batches), 0, -1):
        batch = batches[ordinal - 1]
        early = asked.stop is not None and batch.started_at >= asked.stop
        late = (
            asked.start is not None
            and batch.ended_at is not None
            and batch.ended_at <= asked.start
        )  # fmt: skip
        if not early and not late:
            return batch, ordinal
    return None, None


def _without_birds(ledger: Ledger, name: str, zone: tzinfo) -> str:
    """Whoever asks of the wrong days is told the right ones."""
    if not (had := ledger.of(name)):
        return (
            f"the ledger has no batch for {name} then; enter `brooder flock placed`, "
            "or give --from and --to"
        )
    newest = had[-1]
    ended, since = newest.ended_at, dated(newest.started_at, zone)
    until = "until now" if ended is None else f"to {dated(ended, zone)}"
    return (
        f"{name} had no birds then, its newest batch from {since} {until}; "
        "give --from and --to for the empty box"
    )


def _span(
    name: str, batch: Batch | None, asked: Asked, known: tuple[float, float]
) -> tuple[float, float]:
    """What was asked for, cut to what can be known: a century of empty rows tells nothing."""
    start, stop = asked.start, asked.stop
    if batch is not None:
        start = batch.started_at if start is None else start
        if stop is None and batch.ended_at is not None:
            stop = batch.ended_at + _ENTRY_S
    start = known[0] if start is None else max(start, known[0])
    stop = known[1] if stop is None else min(stop, known[1])
    if stop <= start:
        raise NotFound(f"nothing of {name} is recorded in that span")
    return start, stop


def _outages(entries: Sequence[Entry], key: str, brooder: str | None) -> list[tuple[float, float]]:
    """When a probe was out of service, by itself or with its box. Two things, as in the watch: a
    box that is used again does not bring back a probe that was taken out by itself."""
    acts = sorted(entries, key=lambda entry: (entry.at, entry.number))
    by_itself = [act for act in acts if act.probe == key]
    with_box = [act for act in acts if act.probe is None and act.brooder == brooder]
    return [*_spans_out(by_itself), *(_spans_out(with_box) if brooder is not None else ())]


def _spans_out(acts: Sequence[Entry]) -> list[tuple[float, float]]:
    """From each out-of-service to the next in-service."""
    found: list[tuple[float, float]] = []
    since: float | None = None
    for act in acts:
        if act.entry is EntryKind.OUT_OF_SERVICE and since is None:
            since = act.at
        elif act.entry is EntryKind.IN_SERVICE and since is not None:
            found.append((since, act.at))
            since = None
    return [*found, (since, float("inf"))] if since is not None else found
