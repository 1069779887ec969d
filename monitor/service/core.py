"""From a message to changes, messages and a batch to keep. No thread, no socket, no file: the live
service, the replay, the rehearsal and the offline commands all run this one core.

Not for two threads at once. What happened since the last `take` waits in a commit; whoever takes it
makes it durable before it tells or acknowledges anything."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from math import inf

from monitor.brooding.entries import LEDGER_KINDS
from monitor.brooding.ledger import Ledger, fold
from monitor.events import (
    AlarmName,
    BadValue,
    CameLate,
    Change,
    Entry,
    EntryKind,
    Facts,
    Measured,
    Moment,
    Reading,
    State,
)
from monitor.journal.records import Commit, Entered, Input, WatcherFault
from monitor.journal.resolution import kept_at
from monitor.kept import freeze
from monitor.service.entry_rules import (
    in_order,
    lost_from,
    moved_into,
    numbered,
    placed_by_configuration,
    refuse_wrong,
    unknown_in,
    with_free_number,
)
from monitor.service.hearing import Hearing
from monitor.service.in_force import InForce
from monitor.site import Site
from monitor.tell.contact import Contact
from monitor.tell.message import Message
from monitor.tell.notification_plan import NotificationPlan
from monitor.tell.outbox import rows
from monitor.tell.policy import Policy
from monitor.watch.engine import Engine
from monitor.watch.readings import LATE_S
from monitor.watch.status import BrooderStatus, SiteStatus
from monitor.watch.watcher import down_s


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
        self.hearing = Hearing(site)
        self._now = start
        self.in_force = InForce.of(site, contacts, policy or Policy())
        self._plan = NotificationPlan(site, contacts, policy, look=lambda: self.status(self._now))
        self._next_entry_number = next_entry_number
        self.answers: list[Entry] = []  # acknowledgements, by which a link is known as used
        self._output = CoreOutput()
        self.snapshot_wanted = False  # what comes after cannot be rebuilt from what came before
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
        came = received if arrived is None else arrived
        if self._plan_due <= came.tick or self.engine.next_due <= came.tick:
            self.advance(came)  # what was due before it came is done before
        taken = self.hearing.hear(topic, payload, received, arrived=arrived, clock_sure=clock_sure)
        if taken is None:
            return False
        if self.hearing.came_late:  # the next start is to know as much of the clocks
            self._output.batch.inputs += self.hearing.came_late
            self.hearing.came_late = []
        for item in taken:
            # The watch's time never goes back, and what is late counts from when it came.
            late, before = came.tick - item.tick > LATE_S, self.engine.tick
            if late or item.tick < before:
                tick = max(kept_at(came.tick), before) if late else before
                item = item._replace(tick=tick)  # noqa: PLW2901 - it alone counts
            self._output.batch.inputs.append(item)
            self.take_in(item)
        return True

    def enter(self, entry: Entry, now: Moment) -> tuple[Entry, list[Change]]:
        """Keeps a ledger entry or carries out an act on an alarm; the entry with its number, and
        what changed. Raises Objection, with nothing kept."""
        entry = in_order(entry, self.ledger, now)
        refuse_wrong(entry, self.ledger, self.site)
        return self._keep(entry, now)

    def _keep(self, entry: Entry, now: Moment) -> tuple[Entry, list[Change]]:
        entry = numbered(entry, self.ledger, self._next_entry_number)
        self._output.batch.inputs.append(Entered(entry, now))
        return entry, self._entered(entry, now)

    def fault(self, name: AlarmName, active: bool, now: Moment, facts: Facts) -> None:
        """The watcher itself is not well, or is again."""
        fault = WatcherFault(name, active, now, facts)
        self._output.batch.inputs.append(fault)
        self.take_in(fault)

    def pass_over(self, since: Moment, now: Moment) -> None:
        """Nobody watched in between, and nobody needs to be told."""
        self._plan.nobody_watched(now.at - since.at, now.tick)
        self._changed(self.engine.pass_over(since, now), now)

    def clock_jumped(
        self, now: Moment, jump_s: float, *, sure: bool = True, on_for_s: float = inf
    ) -> None:
        """The wall clock was set; `now` is after it, and `sure` whether that can be right. Not an
        input of the journal; what comes after runs on another offset between the clocks."""
        self.snapshot_wanted = True
        step = self.engine.watcher.clock_step(now.tick, jump_s, on_for_s)
        self._plan.see_clock(now, step)
        changes = self.engine.clock_jumped(now, jump_s, sure=sure, on_for_s=on_for_s)
        self._changed(changes, now)

    def forecast_is(
        self, pairs: tuple[tuple[float, float], ...], got_at: float, now: Moment
    ) -> None:
        """The newest forecast of the outside. Not an input of the journal: the next one is never
        far."""
        self._changed(self.engine.forecast_is(pairs, got_at, now), now)

    def advance(self, now: Moment) -> None:
        """Do what is due by now, each thing at its time and in the words of then. Whoever looks,
        and however often, changes nothing."""
        tick = now.tick
        if tick < self._now.tick:
            return  # of a message that came before somebody looked
        while (due := self.next_due) <= tick:
            due = max(due, self._now.tick)
            then = now if due >= tick else now.at_tick(due)
            self._now = then
            before = self._plan_due
            self._changed(self.engine.advance(then), then)
            if self._plan_due <= due:
                self.engine.come_to(due)
                self._told(self._plan.advance(then))
                if self._plan_due == before:
                    break  # not to be done at its time: no reason to go round for ever
        self._now = now

    def take_in(self, item: Input) -> None:
        """One input of the journal, kept already: as it was given then."""
        match item:
            case Reading():
                if changes := self.engine.reading(item):
                    self._changed(changes, self.engine.now)
            case BadValue():
                self._changed(self.engine.bad_value(item), self.engine.now)
            case CameLate():
                self.hearing.clocks.see(item)
            case Measured():
                self._changed(self.engine.measured(item), self.engine.now)
            case Entered():
                self._entered(item.entry, item.now)
            case WatcherFault():
                if item.name is AlarmName.WAS_DOWN:
                    for_s = down_s(item.facts)
                    left = Moment(item.now.at - for_s, item.now.tick - for_s)
                    self.advance(left)  # a rebuild has not yet done what was done by then
                    self._plan.nobody_watched(for_s, item.now.tick)
                changes = self.engine.fault(item.name, item.active, item.now, item.facts)
                self._changed(changes, item.now)

    # -- out

    @property
    def next_due(self) -> float:
        """The tick of the next thing to do without any input; endless: nothing will."""
        return min(self._plan_due, self.engine.next_due)

    @property
    def ledger(self) -> Ledger:
        return self.engine.ledger

    @property
    def waiting(self) -> Commit:
        """What would be taken, to look at only."""
        return self._output.batch

    @property
    def to_tell(self) -> bool:
        """Is there something a person waits for: a change, an entry, a message?"""
        batch = self._output.batch
        return bool(batch.changes or self._output.messages)

    def status(self, now: Moment) -> SiteStatus:
        status, told = self.engine.status(now), self._plan.nights_told()
        if not told:
            return status
        return replace(status, brooders=tuple(_with_told(box, told) for box in status.brooders))

    def take(self, now: Moment) -> CoreOutput:
        """All that happened since the last time, for the journal and the tellers."""
        output = self._output
        output.batch.outbox += [row for message in output.messages for row in rows(message)]
        output.batch.changes.sort(key=lambda change: change.at)
        output.batch.advanced_to = now
        self._output = CoreOutput()
        return output

    # -- over a restart

    def snapshots(self) -> dict[str, State]:
        """The state after everything taken in so far."""
        hearing = self.hearing.clocks.kept()
        return {
            "engine": self.engine.kept(),
            "plan": self._plan.kept(),
            "hearing": hearing,
            "in-force": freeze(self.in_force),
        }

    def restore(self, snapshots: dict[str, State], shift_s: float) -> None:
        """As it was, every tick `shift_s` later."""
        if "engine" in snapshots:
            self.engine.restore(snapshots["engine"], shift_s)
            self._now = self.engine.now
        if "hearing" in snapshots:
            self.hearing.clocks.restore(snapshots["hearing"], shift_s)
        if "plan" in snapshots:
            self._plan.restore(snapshots["plan"], shift_s)
            self._plan_due = self._plan.next_due

    def reconcile(self, kept: list[Entry], now: Moment) -> None:
        """The journal was opened anew while the watch ran, and its ledger is `kept`: what only we
        know is to be kept there, what only it knows is learned."""
        self.snapshot_wanted = True
        ours = (*self.ledger.entries, *self.answers)
        inputs = self._output.batch.inputs
        waiting = [item.entry for item in inputs if isinstance(item, Entered)]
        inputs += [Entered(entry, now) for entry in unknown_in([*kept, *waiting], ours)]
        for entry in unknown_in(ours, kept):
            if entry.entry in LEDGER_KINDS:
                self._entered(entry, now)

    def learn(self, kept: Iterable[Entry], now: Moment, *, damaged: bool = False) -> int:
        """Which birds are where, as the second copy says: what the journal has lost is taken in,
        and kept in it with the next commit. Returns how many entries were lost.

        A `damaged` ledger may have lost the undo of a slip and kept the slip: birds that the copy
        knows are in the box, whatever else is written."""
        kept = list(kept)
        lost = lost_from(self.ledger, kept)
        for entry in lost:
            self._keep(with_free_number(entry, self.ledger, self._next_entry_number), now)
        copy = fold(kept)
        missing = [box for box in copy.open if box not in self.ledger.open] if damaged else []
        for box in missing:
            batch = copy.batches[copy.open[box]]
            note = "known from the second copy"
            self._keep(placed_by_configuration(batch, box, note, self.ledger, now), now)
        return len(lost) + len(missing)

    def reconfigured(
        self,
        site: Site,
        contacts: tuple[Contact, ...],
        policy: Policy,
        now: Moment,
        *,
        fit: bool = True,
    ) -> None:
        """Goes on with another configuration: what still fits is kept. Built aside and swapped
        last: whatever goes wrong in it, the watch goes on as it was. `fit` False: what follows
        from it says `fit_configuration` later."""
        engine = Engine(site, now)
        engine.restore(self.engine.kept())
        plan = NotificationPlan(site, contacts, policy, look=lambda: self.status(self._now))
        plan.restore(self._plan.kept(), 0.0)
        self.site, self.engine, self._plan = site, engine, plan
        self.in_force = InForce.of(site, contacts, policy)
        self.hearing.reconfigured(site)
        self._plan_due = plan.next_due
        self.snapshot_wanted = True  # what was heard before was judged by the other one
        if fit:
            self.fit_configuration(now)

    def fit_configuration(self, now: Moment) -> None:
        """After a reload and at each start. The birds of a box that was renamed go over into it, in
        the ledger for all to see; those that the configuration leaves unwatched are told of. Nobody
        else says of a contact that is gone that it need not be reached any more."""
        for box in self.site.brooders:
            for entry in moved_into(box, self.ledger, now):
                self._keep(entry, now)
        self._changed(self.engine.look_again(now), now)
        names = {contact.name for contact in self.in_force.contacts}
        for gone in self.engine.watcher.unreached:
            if gone not in names:
                facts = Facts(contact=gone, reason=f"{gone} is no longer among the contacts")
                self.fault(AlarmName.DELIVERY_FAULT, False, now, facts)

    # -- inside

    def _entered(self, entry: Entry, now: Moment) -> list[Change]:
        if entry.entry is EntryKind.ACKNOWLEDGE:
            self.answers.append(entry)
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
        if now.tick >= self._now.tick:  # else what came late has changed something, and is told now
            self._now = now
        if not changes:
            return
        self._output.batch.changes += changes
        self._told(self._plan.changes(changes, self._now))

    def _told(self, messages: list[Message]) -> None:
        self._output.messages += messages
        self._output.batch.changes += self._plan.take_escalated()
        self._plan_due = self._plan.next_due


def _with_told(box: BrooderStatus, told: dict[str, bool]) -> BrooderStatus:
    alarms = [replace(a, told=told.get(a.occurrence)) for a in box.alarms]
    return replace(box, alarms=tuple(alarms))
