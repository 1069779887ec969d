"""The state of the service from its journal, at start and for commands while no service runs.

The last snapshot, then every input kept after it, in order, through the same core. What came of
those inputs was kept in the same transactions, so it is not told again: the outbox knows what is
still to be sent. All that by the configuration of then; only after it the one of now is taken.

Where that does not hold (the record was brought in, or the snapshot is of another form), the last
days of the record are lived through again, as `brooder replay` would: nothing that comes of it is
told or kept, alarms stand as they would at its end, and what was over is over.

A record that cannot be handled (a damaged one, or one that showed a fault of ours) is left out with
a line in the log: a watch that will not start is worse than one that starts with a gap."""

import logging
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from heapq import merge
from operator import attrgetter
from typing import Any, TypeVar

from monitor.brooding.entries import LEDGER_KINDS
from monitor.events import BadValue, CameLate, Entry, EntryKind, Measured, Moment, Reading, State
from monitor.intake.held import HeldTimes
from monitor.intake.redelivered import RedeliveryMemory
from monitor.journal.bringing_in import NO_FLOOR
from monitor.journal.forms.kept_values import kept_values
from monitor.journal.reader import JournalReader
from monitor.journal.records import BROUGHT_IN, Entered, Input, OutboxRow, WatcherFault
from monitor.journal.resolution import PER_DEGREE
from monitor.kept import thaw
from monitor.service.core import Core
from monitor.service.in_force import InForce
from monitor.service.logs import facts
from monitor.site import Site

log = logging.getLogger(__name__)
T = TypeVar("T")

LASTING = LEDGER_KINDS | {EntryKind.OUT_OF_SERVICE, EntryKind.IN_SERVICE}
PACE_FROM_S = 900.0  # a probe's pace, and what it may repeat, is read from so much of its record
# Without a snapshot no more of the record than this is lived through again: longer than any batch
# is brooded. What is older, or says that it is, would only keep the watch from starting.
LIVED_AGAIN_S = 60 * 86400.0
REACHED_WITHIN_S = 7 * 86400.0
LEARNT_FROM_S = 3 * 86400.0
MOST_LEARNT_FROM = 100_000  # readings: a minute of the smallest board
AHEAD_S = 60.0  # nothing in the record is later than its end, but for what a clock's step made so


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebuilt:
    """What else the journal says for the start."""

    core: Core
    ended: Moment | None = None  # how far the last run had come; None: there was none
    unsent: list[OutboxRow] = field(default_factory=list)
    memory: RedeliveryMemory = field(default_factory=RedeliveryMemory)
    held: HeldTimes = field(default_factory=HeldTimes)
    reached: dict[str, float] = field(default_factory=dict)  # contact -> when, in the last days


def rebuild(make: Callable[[Moment], Core], reader: JournalReader, now: Moment) -> Rebuilt:
    """A core where the journal ends. `make` gives a fresh one that begins at a moment; `now` is
    the first moment of this run. Ticks kept by an earlier run are moved onto its scale: after a
    restart wall time is all there is, and where that is behind the records (a board without a
    battery clock), no time is taken to have passed. Raises StorageFault where nothing at all can
    be read."""
    ended = reader.advanced_to()
    entries = reader.entries()
    if ended is None:
        core = _brought_in(make, reader, entries, now)
    else:
        away_s = max(0.0, now.at - ended.at)
        shift_s = now.tick - away_s - ended.tick
        begin = Moment(ended.at, now.tick - away_s)
        core, mark, wanted = _restored(make, reader, entries, begin, shift_s)
        _feed(core, reader, mark, shift_s, until=begin.tick + AHEAD_S)
        _advance(core, begin)
        core.take(now)  # kept and told, or in the outbox, by the run that wrote it
        if wanted != core.in_force:
            core.reconfigured(wanted.site, wanted.contacts, wanted.policy, begin, fit=False)
    return Rebuilt(
        core=core,
        ended=ended,
        unsent=_or(reader.outbox_pending, []),
        memory=RedeliveryMemory(_or(reader.redelivery_marks, b"")),
        held=_or(lambda: _held(core, reader), HeldTimes()),
        reached=_or(lambda: reader.reached(now.at - REACHED_WITHIN_S), {}),
    )


def _restored(
    make: Callable[[Moment], Core],
    reader: JournalReader,
    entries: list[Entry],
    begin: Moment,
    shift_s: float,
) -> tuple[Core, int, InForce]:
    """A core with the last snapshots, by the configuration of then; the log number from which
    inputs are still to be fed; and the configuration that is wanted."""
    try:
        snapshots: dict[str, State] = {}
        marks = []
        for name in ("engine", "plan", "hearing"):
            snapshot = reader.snapshot(name)
            if snapshot is not None:
                snapshots[name] = snapshot.state
                marks.append(snapshot.mark)
        mark = min(marks, default=0)
        if mark >= (reader.cursor(BROUGHT_IN) or 0):
            core = make(begin if snapshots else _first(reader, begin, shift_s))
            core.answers = _answers(entries)
            wanted, then = core.in_force, _or(lambda: _in_force(reader), None)
            if then is not None and then != wanted:
                now = core.engine.now
                core.reconfigured(then.site, then.contacts, then.policy, now, fit=False)
            core.restore(snapshots, shift_s)
            _learn_older_entries(core, reader, entries, mark, begin)
            return core, mark, wanted
    except ValueError as error:
        log.warning(
            "The last state has another form; the watch begins from the record.",
            extra=facts(why=" ".join(str(error).split())[:200]),
        )
    except Exception:
        log.exception("The last state cannot be used; the watch begins from the record.")
    core = _relearnt(make, reader, entries, begin)
    return core, reader.newest_commit(), core.in_force


def _in_force(reader: JournalReader) -> InForce | None:
    """The configuration of the last snapshots."""
    snapshot = reader.snapshot("in-force")
    return None if snapshot is None else thaw(InForce, snapshot.state, 0.0)


def _brought_in(
    make: Callable[[Moment], Core], reader: JournalReader, entries: list[Entry], now: Moment
) -> Core:
    """No service has run on this journal. What nobody watched since its end is passed over without
    a word: whoever brought it in knows."""
    span = reader.span()
    if span is None:
        return _of_ledger(make, entries, now)
    end = now.at_wall(min(span[1], now.at))
    core = _relearnt(make, reader, entries, end)
    core.pass_over(end, now)
    core.take(now)
    return core


def _relearnt(
    make: Callable[[Moment], Core], reader: JournalReader, entries: list[Entry], end: Moment
) -> Core:
    """A core that has lived through the last days before `end`, the moment to which it is taken.
    Before the first reading there was no watch: nothing was silent then."""
    first_at, _ = reader.span() or (end.at, end.at)
    oldest_at = max(end.at - LEARNT_FROM_S, reader.nth_newest_at(MOST_LEARNT_FROM))
    from_at = min(max(oldest_at, first_at), end.at)
    log.info(
        "The watch learns its boxes from the record.",
        extra=facts(of_hours=round((end.at - from_at) / 3600)),
    )
    start = end.at_wall(from_at)
    ordered = sorted(entries, key=attrgetter("at", "number"))
    core = _of_ledger(make, [entry for entry in ordered if entry.at < from_at], start)
    core.answers = _answers(entries)
    acts = (
        Entered(entry, end.at_wall(min(entry.at, end.at)))
        for entry in ordered
        if entry.at >= from_at
    )
    measured = _measured(reader, core.site, from_at, end)
    for item in merge(measured, acts, key=lambda item: _moment_of(item).at):
        core.advance(_moment_of(item))
        _one(core, item)
    core.advance(end)
    core.take(end)
    core.snapshot_wanted = True
    return core


def _measured(reader: JournalReader, site: Site, from_at: float, end: Moment) -> Iterator[Input]:
    """What probes and meters said up to the end, but for what was said before the board knew the
    time."""
    probes = {probe.key for probe in site.all_probes}
    meters = {meter.key for meter in site.all_meters}
    for said in kept_values(reader, probes | meters, from_at, end.at + 0.001):
        at, tick = end.at_wall(said.at_ms / 1000)
        value = said.value / PER_DEGREE
        if said.bad:
            yield BadValue(at, tick, said.key, NO_FLOOR, value)
        elif said.key in meters:
            yield Measured(at, tick, said.key, value)
        elif said.sure:
            yield Reading(at, tick, said.key, value)


def from_ledger(make: Callable[[Moment], Core], reader: JournalReader, now: Moment) -> Rebuilt:
    """A core that knows which birds are where, and nothing else. Raises StorageFault."""
    core = _of_ledger(make, reader.entries(), now)
    core.take(now)
    return Rebuilt(core=core)


def _answers(entries: list[Entry]) -> list[Entry]:
    return [entry for entry in entries if entry.entry is EntryKind.ACKNOWLEDGE]


def _of_ledger(make: Callable[[Moment], Core], entries: list[Entry], now: Moment) -> Core:
    """A core that knows what its entries say for good; an alarm that was put aside last week is not
    put aside now."""
    core = make(now)
    core.answers = _answers(entries)
    for entry in entries:
        if entry.entry in LASTING:
            _one(core, Entered(entry, now))
    return core


def _learn_older_entries(
    core: Core, reader: JournalReader, entries: list[Entry], mark: int, begin: Moment
) -> None:
    """The ledger outlives everything: where there was no snapshot, or one of an older version that
    the engine left aside, its entries are told anew."""
    known = {entry.number for entry in core.ledger.entries}
    known |= {i.entry.number for i in reader.inputs_since(mark) if isinstance(i, Entered)}
    for entry in entries:
        if entry.entry in LEDGER_KINDS and entry.number not in known:
            _one(core, Entered(entry, begin))


def _first(reader: JournalReader, begin: Moment, shift_s: float) -> Moment:
    """Where the record begins: without a snapshot everything in it is lived through again, but for
    what is very old."""
    for item in reader.inputs_since(0):
        first = _moment_of(shifted(item, shift_s))
        return Moment(
            max(min(first.at, begin.at), begin.at - LIVED_AGAIN_S),
            max(min(first.tick, begin.tick), begin.tick - LIVED_AGAIN_S),
        )
    return begin


def _feed(core: Core, reader: JournalReader, mark: int, shift_s: float, *, until: float) -> None:
    """A record that claims to be later than the record's end is damaged: it would take the watch to
    a time in which every true reading is late."""
    try:
        for item in reader.inputs_since(mark):
            moved = shifted(item, shift_s)
            tick = _moment_of(moved).tick
            if tick > until:
                log.warning("A record of the future is left out.", extra=_shown(item))
                continue
            if not isinstance(moved, WatcherFault):  # before a gap nothing of the gap is due
                _advance(core, core.engine.now.at_tick(tick))
            _one(core, moved)
    except Exception:
        log.exception("Some records could not be read; the watch goes on without them.")


def _advance(core: Core, now: Moment) -> None:
    """What was done by then, as things stood."""
    try:
        core.advance(now)
    except Exception:
        log.exception("What was due before the end of the last run could not be done.")


def _one(core: Core, item: Input) -> None:
    try:
        core.take_in(item)
    except Exception:
        log.exception("A record was left out.", extra=_shown(item))


def _shown(item: Input) -> dict[str, Any]:
    return facts(record=str(item)[:200])


def _or(read: Callable[[], T], instead: T) -> T:
    try:
        return read()
    except Exception as error:
        log.warning("A part of the journal cannot be read.", extra=facts(why=error))
        return instead


def _moment_of(item: Input) -> Moment:
    match item:
        case Reading() | Measured() | BadValue() | CameLate():
            return Moment(item.at, item.tick)
        case Entered() | WatcherFault():
            return item.now


def shifted(item: Input, shift_s: float) -> Input:
    """The same input on a tick scale `shift_s` later."""
    match item:
        case Reading() | Measured() | BadValue() | CameLate():
            return item._replace(tick=item.tick + shift_s)
        case Entered() | WatcherFault():
            return item._replace(now=Moment(item.now.at, item.now.tick + shift_s))


def _held(core: Core, reader: JournalReader) -> HeldTimes:
    held = HeldTimes()
    latest = reader.latest()
    for probe in core.site.all_probes:
        last = latest.get(probe.key)
        if last is None:
            continue
        times, temps = reader.readings_plain(probe.key, last.at - PACE_FROM_S, last.at + 1.0)
        core.hearing.stamped.recall(probe.key, zip(times, temps, strict=True))
        between = (times[-1] - times[0]) / (len(times) - 1) if len(times) > 1 else None
        held.recall(probe.topic, last.at, between)
    return held
