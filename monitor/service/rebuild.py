"""The state of the service from its journal, at start and for commands while no service runs.

The last snapshot, then every input kept after it, in order, through the same core. What came of
those inputs was kept in the same transactions, so it is not told again: the outbox knows what is
still to be sent."""

from dataclasses import dataclass

from monitor.intake.held import HeldTimes
from monitor.intake.redelivered import RedeliveryMemory
from monitor.journal.reader import JournalReader
from monitor.journal.records import Entered, Fault, Input, OutboxRow
from monitor.service.core import Core
from monitor.watch.events import BadValue, Moment, Reading

PACE_FROM_S = 900.0  # a probe's usual interval is read from this much of its latest record


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebuilt:
    """What else the journal says for the start."""

    ended: Moment | None  # how far the last run had come; None: there was none
    unsent: list[OutboxRow]
    memory: RedeliveryMemory
    held: HeldTimes


def rebuild(core: Core, reader: JournalReader, now: Moment) -> Rebuilt:
    """Brings a fresh core to where the journal ends. `now` is the first moment of this run; ticks
    kept by an earlier run are moved onto its scale: after a restart wall time is all there is."""
    ended = reader.advanced_to()
    core.know_entries(reader.entries())
    if ended is not None:
        shift_s = ended.at - ended.tick + (now.tick - now.at)
        snapshots = {}
        marks = []
        for name in ("engine", "plan"):
            snapshot = reader.snapshot(name)
            if snapshot is not None:
                snapshots[name] = snapshot.state
                marks.append(snapshot.mark)
        core.restore(snapshots, shift_s)
        for item in reader.inputs_since(min(marks, default=0)):
            core.take_in(shifted(item, shift_s))
        core.advance(Moment(ended.at, ended.tick + shift_s))
        core.take(now)  # kept and told, or in the outbox, by the run that wrote it
    return Rebuilt(
        ended=ended,
        unsent=reader.outbox_pending(),
        memory=RedeliveryMemory(reader.redelivery_marks()),
        held=_held(core, reader),
    )


def shifted(item: Input, shift_s: float) -> Input:
    """The same input on a tick scale `shift_s` later."""
    match item:
        case Reading() | BadValue():
            return item._replace(tick=item.tick + shift_s)
        case Entered() | Fault():
            return item._replace(now=Moment(item.now.at, item.now.tick + shift_s))


def _held(core: Core, reader: JournalReader) -> HeldTimes:
    held = HeldTimes()
    latest = reader.latest()
    for probe in core.site.all_probes:
        last = latest.get(probe.key)
        if last is None:
            continue
        times, _ = reader.readings_plain(probe.key, last.at - PACE_FROM_S, last.at + 1.0)
        between = (times[-1] - times[0]) / (len(times) - 1) if len(times) > 1 else None
        held.recall(probe.topic, last.at, between)
    return held
