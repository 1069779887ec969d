"""From a message to changes, messages and a batch to keep. No thread, no socket, no file: the live
service, the replay, the rehearsal and the offline commands all run this one core.

Not for two threads at once. What happened since the last `take` waits in a Batch; whoever takes it
makes it durable before it tells or acknowledges anything."""

from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

from monitor.brooding.batch import LEDGER_KINDS, Batch, Ledger, fold
from monitor.brooding.objection import Objection, objection
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
    State,
    new_id,
)
from monitor.intake.payload import Outcome, Rejected, read, read_all
from monitor.intake.refused import RefusedRecord, excerpt
from monitor.intake.repeated import StampedMemory
from monitor.intake.router import Router
from monitor.intake.worth_keeping import WorthKeeping
from monitor.journal.records import (
    Commit,
    Entered,
    Input,
    RefusedCount,
    WatcherFault,
    kept_at,
    kept_temp_c,
)
from monitor.site import Brooder, Place, Site
from monitor.tell.contact import Contact
from monitor.tell.message import Message
from monitor.tell.outbox import rows
from monitor.tell.plan import Plan
from monitor.tell.policy import Policy
from monitor.watch.engine import Engine
from monitor.watch.status import SiteStatus

SAYS_NOW_S = 60.0  # an entry of this minute is of now
SHORT_PAYLOAD = 32  # bytes; a bare number, read the fast way
_SPOILED_EVERY_S = 20.0  # so much of what cannot be read is told to the watch, and kept


@dataclass(slots=True)
class CoreOutput:
    """What came of the inputs since the last `take`."""

    batch: Commit = field(default_factory=Commit)
    messages: list[Message] = field(default_factory=list)


class Core:
    """Engine and plan over one site, and what they made that is not yet durable."""

    def __init__(
        self,
        site: Site,
        start: Moment,
        *,
        contacts: tuple[Contact, ...] = (),
        policy: Policy | None = None,
        next_entry_number: Callable[[], int],
    ) -> None:
        self.site = site
        self.engine = Engine(site, start)
        self.router = Router(site.all_sensors)
        self._measure_of = {m.key: m.quantity for m in site.all_meters}
        self._worth_keeping = WorthKeeping()
        self.refused = RefusedRecord()
        self.stamped = StampedMemory()
        self._now = start
        self._plan = Plan(site, contacts, policy, look=lambda: self.status(self._now))
        self._next_entry_number = next_entry_number
        self._answers: list[Entry] = []  # acknowledgements, by which a link is known as used
        self._refused: OrderedDict[tuple[str, str], RefusedCount] = OrderedDict()
        self._spoiled: dict[str, float] = {}  # tick of the latest word that was no number, by probe
        self._happened = CoreOutput()
        # The morning message comes also where nothing ever happens.
        self._plan.advance(start)
        self._plan_due = self._plan.next_due  # asked at every message, and seldom another

    # -- in

    def hear(
        self,
        topic: str,
        payload: bytes,
        received: Moment,
        *,
        arrived: Moment | None = None,
        clock_sure: bool = True,
    ) -> bool:
        """One message. False: nothing of ours claims the topic. `received` is when it was sent, as
        far as known; `arrived`, if that was later: the broker had held it."""
        sensors = self.router.route(topic)
        for probe in sensors:
            if len(payload) < SHORT_PAYLOAD:
                self._heard(read(payload, probe, received, arrived), topic, payload, clock_sure)
            else:
                for outcome in read_all(payload, probe, received, arrived=arrived):
                    if not self._is_repeated(outcome, received):
                        self._heard(outcome, topic, payload, clock_sure)
        return bool(sensors)

    def refuse(self, topic: str, reason: str, payload: bytes, at: float) -> None:
        """A message that could not be read: counted and kept in the small record."""
        kind = self.refused.add(topic, reason, payload, at)
        key = (kind.topic, kind.reason)
        old = self._refused.get(key)
        self._refused[key] = RefusedCount(
            topic=kind.topic,
            reason=kind.reason,
            count=1 if old is None else old.count + 1,
            first_at=at if old is None else old.first_at,
            last_at=at,
            excerpt=excerpt(payload),
        )
        while len(self._refused) > 200:
            self._refused.popitem(last=False)

    def enter(self, entry: Entry, now: Moment) -> tuple[Entry, list[Change]]:
        """Keeps a ledger entry or carries out an act on an alarm; the entry with its number, and
        what changed. Raises Objection, with nothing kept."""
        entry = self._in_order(entry, now)
        self.refuse_wrong(entry)
        return self._keep(entry, now)

    def _keep(self, entry: Entry, now: Moment) -> tuple[Entry, list[Change]]:
        number = entry.number or self._next_entry_number()  # a recorded entry keeps its own
        undone = None if entry.undoes is None else self.ledger.entry(entry.undoes)
        numbered = replace(
            entry,
            number=number,
            at=kept_at(entry.at),
            id=entry.id or new_id(number),
            undoes_id=entry.undoes_id or (undone.id if undone is not None else None),
        )
        self._happened.batch.inputs.append(Entered(numbered, now))
        return numbered, self._entered(numbered, now)

    def _in_order(self, entry: Entry, now: Moment) -> Entry:
        """What is written now comes after all that was written before, also where the clock was set
        back since: else birds placed now would have left with those before them."""
        if entry.entry not in LEDGER_KINDS or abs(entry.at - now.at) > SAYS_NOW_S:
            return entry
        last = max((e.at for e in self.ledger.entries if e.brooder == entry.brooder), default=0.0)
        return replace(entry, at=max(entry.at, last))

    def refuse_wrong(self, entry: Entry) -> None:
        """Raises Objection where `enter` would."""
        names = [b.name for b in self.site.brooders]
        if entry.entry in LEDGER_KINDS:
            # Birds in a box that is no longer configured can still be moved out of it.
            known = dict.fromkeys([*names, *self.ledger.open])
            words = objection(self.ledger, entry, zone=self.site.timezone, brooders=known)
            if words is not None:
                raise Objection(words)
        elif entry.brooder is not None and entry.brooder not in names:
            raise Objection(
                f"No brooder is called {entry.brooder!r}; it must be one of {', '.join(names)}."
            )

    def fault(self, name: AlarmName, active: bool, now: Moment, facts: Facts) -> None:
        """The watcher itself is not well, or is again."""
        self._happened.batch.inputs.append(WatcherFault(name, active, now, facts))
        self._changed(self.engine.fault(name, active, now, facts), now)

    def clock_jumped(self, now: Moment, jump_s: float, *, sure: bool = True) -> None:
        """The wall clock was set; `now` is after it, and `sure` whether that can be right. Not an
        input of the journal: a snapshot must follow at once."""
        self._changed(self.engine.clock_jumped(now, jump_s, sure=sure), now)

    def forecast_is(
        self, pairs: tuple[tuple[float, float], ...], got_at: float, now: Moment
    ) -> None:
        """The newest forecast of the outside. Not an input of the journal: the next one is never
        far."""
        self._changed(self.engine.forecast_is(pairs, got_at, now), now)

    def advance(self, now: Moment) -> None:
        """Nothing came: do what is due by now."""
        due = self.engine.next_due
        if due is not None and due <= now.tick:
            self._changed(self.engine.advance(now), now)
        due = self._plan_due
        if due is not None and due <= now.tick:
            self._now = now
            self._told(self._plan.advance(now))
        self._now = now

    def take_in(self, item: Input) -> None:
        """One input of the journal, kept already: as it was given then."""
        match item:
            case Reading():
                self._changed(self.engine.reading(item), Moment(item.at, item.tick))
            case BadValue():
                self._changed(self.engine.bad_value(item), Moment(item.at, item.tick))
            case Measured():
                self._changed(self.engine.measured(item), Moment(item.at, item.tick))
            case Entered():
                self._entered(item.entry, item.now)
            case WatcherFault():
                changes = self.engine.fault(item.name, item.active, item.now, item.facts)
                self._changed(changes, item.now)

    # -- out

    @property
    def next_due(self) -> float | None:
        """The tick of the next thing to do without any input."""
        dues = [d for d in (self.engine.next_due, self._plan_due) if d is not None]
        return min(dues, default=None)

    @property
    def ledger(self) -> Ledger:
        """The flock ledger as it stands."""
        return self.engine.ledger

    @property
    def answers(self) -> list[Entry]:
        """Every acknowledgement kept."""
        return self._answers

    @property
    def waiting(self) -> Commit:
        """What would be taken, to look at only."""
        return self._happened.batch

    @property
    def to_tell(self) -> bool:
        """Is there something a person waits for: a change, an entry, a message?"""
        batch = self._happened.batch
        return bool(batch.changes or self._happened.messages)

    def status(self, now: Moment) -> SiteStatus:
        """How things stand."""
        return self.engine.status(now)

    def take(self, now: Moment) -> CoreOutput:
        """All that happened since the last time, for the journal and the tellers."""
        happened = self._happened
        happened.batch.outbox += [row for message in happened.messages for row in rows(message)]
        happened.batch.changes.sort(key=lambda change: change.at)
        happened.batch.refused += self._refused.values()
        happened.batch.advanced_to = now
        self._refused.clear()
        self._happened = CoreOutput()
        return happened

    # -- over a restart

    def snapshots(self) -> dict[str, State]:
        """The state after everything taken in so far."""
        return {"engine": self.engine.kept(), "plan": self._plan.kept()}

    def restore(self, snapshots: dict[str, State], shift_s: float) -> None:
        """As it was, every tick `shift_s` later."""
        if "engine" in snapshots:
            self.engine.restore(snapshots["engine"], shift_s)
        if "plan" in snapshots:
            self._plan.restore(snapshots["plan"], shift_s)
            self._plan_due = self._plan.next_due

    def know_entries(self, entries: Iterable[Entry]) -> None:
        """The ledger kept so far. The engine knows what its snapshot knew; `take_in` tells it the
        rest."""
        self._answers = [e for e in entries if e.entry is EntryKind.ACKNOWLEDGE]

    def reconcile(self, kept: list[Entry], now: Moment) -> None:
        """The journal was opened anew while the watch ran, and its ledger is `kept`: what only we
        know is to be kept there, what only it knows is learned. A snapshot must follow at once."""
        there = {_identity(entry) for entry in kept}
        ours = (*self.ledger.entries, *self._answers)
        known = {_identity(entry) for entry in ours}
        inputs = self._happened.batch.inputs
        waiting = {_identity(item.entry) for item in inputs if isinstance(item, Entered)}
        for entry in ours:
            if _identity(entry) not in there | waiting:
                inputs.append(Entered(entry, now))
        for entry in kept:
            if _identity(entry) not in known and entry.entry in LEDGER_KINDS:
                self._entered(entry, now)

    def learn(self, kept: Iterable[Entry], now: Moment, *, damaged: bool = False) -> int:
        """Which birds are where, as the second copy says: what the journal has lost is taken in,
        and kept in it with the next commit; how many entries that are. One whose number another
        entry has got meanwhile gets a new one: nothing in the copy names a number.

        Of a `damaged` ledger the undo of a slip may be lost and not the slip: birds that the copy
        knows are in the box, whatever else is written."""
        kept = list(kept)
        ids = {entry.id for entry in self.ledger.entries}
        there = {_what(entry) for entry in self.ledger.entries}
        lost = sorted((e for e in kept if _what(e) not in there), key=lambda e: (e.at, e.number))
        for entry in lost:
            taken = {known.number for known in self.ledger.entries}
            if entry.number in taken:
                entry = replace(entry, number=self._next_entry_number())  # noqa: PLW2901
            if entry.id in ids:  # the journal has it, but damaged
                entry = replace(entry, id=new_id(entry.number))  # noqa: PLW2901
            self._happened.batch.inputs.append(Entered(entry, now))
            self._entered(entry, now)
        forgotten = fold(kept).open.items() if damaged else ()
        for box, index in forgotten:
            if box not in self.ledger.open:
                self._give(fold(kept).batches[index], box, "known from the second copy", now)
                lost.append(self.ledger.entries[-1])
        return len(lost)

    def _give(self, batch: Batch, box: str, note: str, now: Moment) -> None:
        """The birds of a batch are in that box from now on."""
        # The clock may have been set back since.
        written = (e.at for e in self.ledger.entries if e.brooder == box)
        at = max(now.at, batch.tallies[-1].at, *written)
        placed = Entry(
            at=at,
            entry=EntryKind.PLACED,
            brooder=box,
            count=batch.head_count(),
            hatched=batch.hatched.isoformat(),
            kind=batch.kind,
            note=note,
            by="configuration",
        )
        self._keep(placed, now)

    def reconfigured(
        self, site: Site, contacts: tuple[Contact, ...], policy: Policy, now: Moment
    ) -> None:
        """Goes on with another configuration: what still fits is kept. Built aside and swapped
        last: whatever goes wrong in it, the watch goes on as it was."""
        engine = Engine(site, now)
        engine.restore(self.engine.kept())
        plan = Plan(site, contacts, policy, look=lambda: self.status(self._now))
        plan.restore(self._plan.kept(), 0.0)
        router = Router(site.all_sensors)
        self.site, self.engine, self.router, self._plan = site, engine, router, plan
        self._plan_due = plan.next_due
        self._measure_of = {m.key: m.quantity for m in site.all_meters}
        self.fit_configuration(now)

    def lost_by(self, site: Site) -> list[str]:
        """The birds that nobody would watch over with that configuration, in sentences."""
        boxes = {box.name: box for box in site.brooders}
        before = {box.name: box for box in self.site.brooders}
        renamed = {box.renamed_from for box in site.brooders}
        lost = []
        for name in sorted(self.ledger.open):
            batch, box = self.ledger.running(name), boxes.get(name)
            heads = 0 if batch is None else batch.head_count()
            if box is None and name not in renamed:
                lost.append(
                    f"{heads} birds are in {name}, which this configuration does not have; if the "
                    f'box only has another name now, write renamed_from = "{name}" under it; if '
                    "they are gone, say so first: "
                    f'brooder flock moved --brooder "{name}"'
                )
            elif box is not None and _on_floor(before.get(name)) and not _on_floor(box):
                lost.append(
                    f"{heads} birds are in {name}, and this configuration takes its last floor "
                    "probe away: cold would not be watched for there"
                )
        return lost

    def fit_configuration(self, now: Moment) -> None:
        """After a reload and at each start. The birds of a box that was renamed go over into it, in
        the ledger for all to see; those that the configuration leaves unwatched are told of."""
        for box in self.site.brooders:
            old = box.renamed_from
            batch = None if old is None else self.ledger.running(old)
            if old is None or batch is None or self.ledger.running(box.name) is not None:
                continue
            moved = Entry(
                at=max(now.at, batch.tallies[-1].at),
                entry=EntryKind.MOVED,
                brooder=old,
                count=batch.head_count(),
                note=f"the box is called {box.name} now",
                by="configuration",
            )
            self._keep(moved, now)
            self._give(batch, box.name, f"the box was called {old} before", now)
        self._changed(self.engine.look_again(now), now)

    # -- inside

    def _is_repeated(self, outcome: Outcome, received: Moment) -> bool:
        # What has no stamp got the time of its message, and is always new.
        if not isinstance(outcome, Reading) or outcome.at == received.at:
            return False
        return self.stamped.is_repeated(outcome.probe, outcome.at, outcome.temp_c)

    def _heard(self, outcome: Outcome, topic: str, payload: bytes, clock_sure: bool) -> None:
        if isinstance(outcome, Reading):
            # As the journal keeps it, so that a rebuilt state is the same to the last digit.
            at, tick, probe, temp_c, sure = outcome
            kept, kept_c = kept_at(at), kept_temp_c(temp_c)
            reading = outcome
            if kept != at or tick != at or kept_c != temp_c or not clock_sure:
                kept_tick = kept if tick == at else kept_at(tick)
                reading = Reading(kept, kept_tick, probe, kept_c, sure and clock_sure)
            self._happened.batch.inputs.append(reading)
            changes = self.engine.reading(reading)
            if changes:
                self._changed(changes, Moment(reading.at, reading.tick))
        elif isinstance(outcome, BadValue):
            self._heard_bad(outcome)
        elif isinstance(outcome, Measured):
            if self._worth_keeping.is_it(outcome, self._measure_of[outcome.meter]):
                said = Measured(
                    kept_at(outcome.at),
                    kept_at(outcome.tick),
                    outcome.meter,
                    kept_temp_c(outcome.value),
                    outcome.clock_sure and clock_sure,
                )
                self._happened.batch.inputs.append(said)
                self._changed(self.engine.measured(said), Moment(said.at, said.tick))
        else:
            self.refuse(topic, outcome.reason, payload, outcome.at)
            if outcome.probe not in self._measure_of and not outcome.elsewhere:
                self._spoil(outcome)

    def _spoil(self, said: Rejected) -> None:
        """A probe sends what is no number. However much of it comes, some of it says enough."""
        last = self._spoiled.get(said.probe)
        if last is not None and 0.0 <= said.tick - last < _SPOILED_EVERY_S:
            return
        self._spoiled[said.probe] = said.tick
        it = "" if said.reason.startswith(("value at", "SenML")) else "it "
        reason = f"what it sends cannot be read: {it}{said.reason}"
        self._heard_bad(BadValue(said.at, said.tick, said.probe, reason, None))

    def _heard_bad(self, said: BadValue) -> None:
        bad = said._replace(at=kept_at(said.at), tick=kept_at(said.tick))
        self._happened.batch.inputs.append(bad)
        self._changed(self.engine.bad_value(bad), Moment(bad.at, bad.tick))

    def _entered(self, entry: Entry, now: Moment) -> list[Change]:
        if entry.entry is EntryKind.ACKNOWLEDGE:
            self._answers.append(entry)
        before = self.ledger
        changes = self.engine.entry(entry, now)
        self._changed(changes, now)
        if self.ledger is not before:
            renamed = {box.renamed_from for box in self.site.brooders}
            emptied = sorted(before.open.keys() - self.ledger.open.keys() - renamed)
            if entry.entry is EntryKind.END and emptied:
                self._told([self._plan.batch_ended(emptied, entry, self.ledger)])
                emptied = []
            for box in emptied:
                self._told([self._plan.watch_ended(box, entry)])
        return changes

    def _changed(self, changes: list[Change], now: Moment) -> None:
        if not changes:
            return
        self._now = now
        self._happened.batch.changes += changes
        self._told(self._plan.changes(changes, now))

    def _told(self, messages: list[Message]) -> None:
        self._happened.messages += messages
        self._happened.batch.changes += self._plan.take_escalated()
        self._plan_due = self._plan.next_due


def _on_floor(box: Brooder | None) -> bool:
    return box is not None and any(probe.place is Place.FLOOR for probe in box.probes)


def _what(entry: Entry) -> tuple[object, ...]:
    """What an entry says, whatever its number: a journal brought in from elsewhere numbers anew."""
    return (
        round(entry.at),
        entry.entry,
        entry.brooder,
        entry.count,
        entry.hatched,
        entry.kind,
    )


def _identity(entry: Entry) -> str | int:
    return entry.id or entry.number
