"""The watch thread: takes what the broker delivers, judges it, has it kept, then acknowledges and
tells. Everything that changes the core runs here, one thing after another.

Order of promises: a message is acknowledged when the journal has it on the disk (or, while the
disk refuses, when it is in memory: the watch must go on, and an unacknowledged window would stop
it; a disk that has not answered for half a minute counts as one that refuses). A person is told as
soon as the record is on the disk, but never waits more than a second for a slow disk."""

import gc
import logging
import queue
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any, Protocol, TypeVar

from monitor.intake.held import HeldTimes
from monitor.intake.inbox import AckToken, Delivery, Inbox
from monitor.intake.link import BrokerLink
from monitor.intake.redelivered import RedeliveryMemory
from monitor.journal.allowance import CommitAllowance
from monitor.journal.pacing import Pacing
from monitor.journal.records import Outcome
from monitor.service.clock import Clock
from monitor.service.core import Core, Happened
from monitor.service.logs import facts
from monitor.service.readiness import Readiness
from monitor.service.samples import Sampler
from monitor.service.writer import MOST_IN_MEMORY, Submission, Writer
from monitor.tell.message import Message
from monitor.watch.events import AlarmName, Change, Entry, Facts, Moment
from monitor.watch.status import SiteStatus

log = logging.getLogger(__name__)
T = TypeVar("T")

TELL_ANYWAY_S = 1.0  # a slow disk delays a message by no more than this
LONGEST_SLEEP_S = 1.0
DISK_PATIENCE_S = 30.0  # silent for longer: it counts as one that refuses
MOST_AT_ONCE = 500  # deliveries between two looks at the clock
SNAPSHOT_EVERY_S = 900.0
STATUS_EVERY_S = 0.5
LONG_DRAW_S = 0.01
STATUS_SHARE = 0.02  # of a core; the picture of thousands of brooders is drawn less often
HOUSEKEEPING_EVERY_S = 10.0
FAILED_ROUND_S = 0.5
MOST_FAILED_ROUNDS = 20  # then the engine is beyond hope: end, and let the manager start us anew


class Told(Protocol):
    """Whoever takes the word to people: handed each message once, in the watch thread; returns at
    once."""

    def tell(self, messages: list[Message]) -> None:
        """New messages, kept or not."""
        ...

    def changed(self, changes: list[Change], status: SiteStatus) -> None:
        """What happened, for the status topics and the log."""
        ...


@dataclass(slots=True)
class _Sent:
    """A submission whose messages wait to be told."""

    submission: Submission
    happened: Happened
    told: bool = False
    from_memory: bool = False  # acknowledged though the disk did not answer


@dataclass(slots=True)
class _Pending:
    """Unkept work: when the oldest of it came, and what to acknowledge afterwards."""

    oldest: float | None = None
    tokens: list[AckToken] = field(default_factory=list)
    urgent: bool = False


class Watcher:
    """See the module. Other threads use `call`, `note_outcome` and the published `status`."""

    def __init__(
        self,
        core: Core,
        *,
        clock: Clock,
        inbox: Inbox,
        writer: Writer,
        told: Told,
        memory: RedeliveryMemory,
        held: HeldTimes,
        pacing: Pacing,
        allowance: CommitAllowance,
        readiness: Readiness,
        commands: Callable[["Watcher", Delivery, Moment], bool] = lambda _w, _d, _m: False,
        clock_sure: bool = True,
        on_end: Callable[[], None] = lambda: None,
    ) -> None:
        self.core = core
        self.clock = clock
        self.clock_sure = clock_sure
        self.link: BrokerLink | None = None
        self.status: SiteStatus = core.status(clock.now())
        self.failed: BaseException | None = None
        self._inbox = inbox
        self._writer = writer
        self._told = told
        self._memory = memory
        self._held = held
        self._pacing = pacing
        self._allowance = allowance
        self._readiness = readiness
        self._commands = commands
        self._on_end = on_end
        self._calls: queue.SimpleQueue[tuple[Callable[[Moment], Any], Future[Any]]] = (
            queue.SimpleQueue()
        )
        self._outcomes: queue.SimpleQueue[Outcome] = queue.SimpleQueue()
        self._settled: queue.SimpleQueue[Submission] = queue.SimpleQueue()
        self._sent: deque[_Sent] = deque()
        self._pending = _Pending()
        self._sampler = Sampler()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watch", daemon=True)
        self._status_changed = threading.Condition()
        # With the first commit: what an earlier run kept stands on another scale of ticks.
        self._snapshot_tick = float("-inf")
        self._status_due = 0.0
        self._sample_soon = False
        self._draw_s = 0.0
        self._changes: list[Change] = []  # not yet published
        self._drawn: tuple[Moment, SiteStatus] | None = None
        self._housekeeping_due = time.monotonic() + HOUSEKEEPING_EVERY_S
        self._failed_rounds = 0
        self._status_failing = False
        self._disk_hangs = False
        self._last_round = time.monotonic()
        writer.on_other_journal = self._other_journal

    # -- from other threads

    def start(self) -> None:
        """Begins to watch."""
        self._thread.start()

    def stop(self, within_s: float) -> bool:
        """Takes what has arrived, hands everything to the writer. False: not done in time."""
        self._stop.set()
        self._inbox.wake()
        self._thread.join(within_s)
        return not self._thread.is_alive()

    @property
    def started(self) -> bool:
        """Does the thread exist?"""
        return self._thread.ident is not None

    def alive(self) -> bool:
        """Has the watch thread made a whole round within the last ten seconds?"""
        return time.monotonic() - self._last_round < 10 * LONGEST_SLEEP_S

    def set_window(self, window: int) -> None:
        """How many deliveries the broker sends ahead of acknowledgements."""
        self._pacing.window = window

    def acknowledge_settled(self) -> None:
        """After watch and writer have ended: what the last commits kept is acknowledged."""
        while not self._settled.empty():
            submission = self._settled.get()
            if self.link is not None and submission.kept:
                self.link.acknowledge(submission.tokens)

    def call(self, work: Callable[[Moment], T]) -> Future[T]:
        """Runs `work` in the watch thread; it may use the core freely."""
        done: Future[T] = Future()
        self._calls.put((work, done))
        self._inbox.wake()
        return done

    def note_outcome(self, outcome: Outcome) -> None:
        """How a delivery went, to be kept at once: a message that was sent and is not known as
        sent would be sent again after a crash."""
        self._outcomes.put(outcome)
        self._inbox.wake()

    def note_settled(self, submission: Submission) -> None:
        """The writer is done with a batch. Called in its thread."""
        self._settled.put(submission)
        self._inbox.wake()

    def wait_for_news(self, than: SiteStatus, wait_s: float) -> bool:
        """True as soon as the published status is another than `than`."""
        with self._status_changed:
            return self._status_changed.wait_for(lambda: self.status is not than, wait_s)

    # -- the watch thread

    def _run(self) -> None:
        try:
            # Retained topics may still say what was so before a crash.
            self._quietly("The state could not be published.", self._say_status)
            while not self._stop.is_set():
                self._round(self._sleep_s())
            self._round(0.0, last=True)
        except BaseException as error:
            self.failed = error
            log.exception("The watch has failed; the service ends so that it can be started anew.")
        finally:
            self._on_end()

    def _sleep_s(self) -> float:
        now = self.clock.now()
        dues = [LONGEST_SLEEP_S]
        if self.core.next_due is not None:
            dues.append((self.core.next_due - now.tick) / self.clock.speed)
        if self._pending.oldest is not None:
            age_s = (now.tick - self._pending.oldest) / self.clock.speed
            dues.append(self._pacing.wait_s(pending=len(self._pending.tokens), oldest_age_s=age_s))
            dues.append(self._allowance.wait_s(now.tick, age_s))
        if any(not sent.told for sent in self._sent):
            dues.append(0.05)
        return max(0.0, min(dues))

    def _round(self, sleep_s: float, *, last: bool = False) -> None:
        deliveries = self._inbox.take(MOST_AT_ONCE, sleep_s)
        self._see_jump()
        for delivery in deliveries:
            self._take_in(delivery)
        self._do_calls()
        now = self.clock.now()
        try:
            self.core.advance(now)
            self._failed_rounds = 0
        except Exception:
            self._failed_rounds += 1
            log.exception("The engine failed at a timer.")
            if self._failed_rounds >= MOST_FAILED_ROUNDS:
                raise
            self._stop.wait(FAILED_ROUND_S)  # what is due stays due: no race through the rounds
        self._commit_if_due(now, last=last)
        self._tell_what_settled(last=last)
        self._publish_changes(now)
        self._publish_status(now)
        if time.monotonic() >= self._housekeeping_due:
            self._housekeeping_due = time.monotonic() + HOUSEKEEPING_EVERY_S
            self._quietly("Housekeeping failed.", self._keep_house)
        if self._failed_rounds == 0:
            self._last_round = time.monotonic()
            self._readiness.say("WATCHDOG=1")

    def _see_jump(self) -> None:
        jump_s = self.clock.jump_s()
        if jump_s:
            after = self.clock.now()
            log.warning("The clock was set.", extra=facts(by_s=round(jump_s, 1)))
            self.clock_sure = True
            self.core.clock_jumped(after, jump_s)
            # What comes after runs on another offset between the clocks; a snapshot between them
            # keeps a rebuild exact.
            self._pending.urgent = True
            self._snapshot_tick = after.tick - SNAPSHOT_EVERY_S

    def _take_in(self, delivery: Delivery) -> None:
        token = delivery.token
        if token is not None:
            self._pending.tokens.append(token)
            self._note_pending(delivery.received)
            self._pacing.arrived(delivery.received.tick)
        try:
            if self._memory.already_journaled(delivery):
                return
            if self._commands(self, delivery, delivery.received):
                return
            if delivery.retain and not self._stamped(delivery.topic):
                # A retained word has no time: it may be from last week. The next one is not far.
                return
            self.core.hear(
                delivery.topic,
                delivery.payload,
                self._held.moment_of(delivery),
                arrived=delivery.received,
                clock_sure=self.clock_sure and (not delivery.held or self._stamped(delivery.topic)),
            )
            self._note_pending(delivery.received)
        except Exception:
            # One message that we cannot handle must not stop the watch, nor come back for ever.
            log.exception("A message could not be handled.", extra=facts(topic=delivery.topic))
            self.core.refuse(
                delivery.topic,
                "could not be handled: a fault of the monitor, see its log",
                delivery.payload,
                delivery.received.at,
            )

    def _stamped(self, topic: str) -> bool:
        return any(probe.time_pointer is not None for probe in self.core.router.route(topic))

    def _note_pending(self, received: Moment) -> None:
        if self._pending.oldest is None:
            self._pending.oldest = received.tick

    def _do_calls(self) -> None:
        while not self._calls.empty():
            work, done = self._calls.get()
            if not done.set_running_or_notify_cancel():
                continue
            before = len(self.core.waiting.inputs)
            try:
                done.set_result(work(self.clock.now()))
            except Exception as error:
                done.set_exception(error)
            if len(self.core.waiting.inputs) > before:  # more than a question
                self._pending.urgent = True
                self._status_due = 0.0
                self._sample_soon = True  # a ledger entry may have given a box its target

    def _commit_if_due(self, now: Moment, *, last: bool) -> None:
        while not self._outcomes.empty():
            outcome = self._outcomes.get()
            self.core.waiting.outcomes.append(outcome)
            self._pending.urgent |= outcome.state == "sent"
        waiting = self.core.waiting
        pending = self._pending
        if waiting and pending.oldest is None:
            pending.oldest = now.tick
        if pending.oldest is None and not self.core.to_tell:
            return
        age_s = (now.tick - (pending.oldest or now.tick)) / self.clock.speed
        waiting_tokens = len(pending.tokens)
        urgent = last or pending.urgent or self.core.to_tell
        due = self._pacing.due(
            pending=waiting_tokens,
            oldest_age_s=age_s,
            urgent=urgent,
            more_waiting=len(self._inbox) > 0,
        )
        prompt = self._writer.behind == 0 and self._allowance.prompt(now.tick, age_s)
        if not due and not prompt:
            return
        if now.tick - self._snapshot_tick >= SNAPSHOT_EVERY_S or last:
            self._snapshot_tick = now.tick
            self._sample_soon = True
            self._quietly("The state could not be kept.", self._snapshot)
        if self._sample_soon:
            self._sample_soon = False
            # With the snapshot or an entry, so that they cost the card no transaction of their own.
            self._quietly(
                "Targets could not be kept.",
                lambda: self.core.waiting.samples.extend(self._sampler.new(self._draw(now))),
            )
        happened = self.core.take(now)
        happened.batch.redelivery_marks = self._memory.since_last()
        submission = Submission(
            happened.batch, pending.tokens, by_age=due and not urgent and age_s > 0
        )
        self._pending = _Pending()
        self._allowance.spent(now.tick)
        self._sent.append(_Sent(submission, happened))
        self._writer.submit(submission)
        if happened.batch.changes:
            self._status_due = 0.0
            self._changes += happened.batch.changes

    def _publish_changes(self, now: Moment) -> None:
        """The alarms' state for MQTT and log. Where the picture takes its time, people first."""
        if not self._changes:
            return
        if self._draw_s > LONG_DRAW_S and any(not sent.told for sent in self._sent):
            return
        changes, self._changes = self._changes, []
        self._quietly(
            "Changes could not be published.",
            lambda: self._told.changed(changes, self._draw(now)),
        )

    def _tell_what_settled(self, *, last: bool) -> None:
        while not self._settled.empty():
            submission = self._settled.get()
            if self.link is not None and submission.tokens:
                self.link.acknowledge(submission.tokens)
            self._pacing.committed(
                self.clock.now().tick,
                acknowledged=len(submission.tokens),
                by_age=submission.by_age,
            )
        now = time.monotonic()
        for sent in self._sent:
            settled = sent.submission.settled.is_set()
            waits_s = now - sent.submission.submitted
            if not sent.told and (settled or waits_s >= TELL_ANYWAY_S or last):
                sent.told = True
                self._tell(sent.happened.messages)
            if waits_s >= DISK_PATIENCE_S and not (settled or last or sent.from_memory):
                self._acknowledge_from_memory(sent)
        while self._sent and self._sent[0].told and self._sent[0].submission.settled.is_set():
            self._sent.popleft()

    def _snapshot(self) -> None:
        # A hundred thousand small records at once, none of them garbage: looking for some among
        # everything there is takes four times as long as making them.
        gc.disable()
        try:
            self.core.waiting.snapshots = self.core.snapshots()
        finally:
            gc.enable()

    def _tell(self, messages: list[Message]) -> None:
        self._quietly("Messages could not be told.", lambda: self._told.tell(messages))

    def _acknowledge_from_memory(self, sent: _Sent) -> None:
        """The disk does not answer at all: without acknowledgements the broker would soon send
        nothing more, and the watch be deaf as well."""
        if sum(len(each.happened.batch.inputs) for each in self._sent) > MOST_IN_MEMORY:
            return
        sent.from_memory = True
        # Emptied: acknowledged again when it settles, a number might be another message's by then.
        tokens, sent.submission.tokens = sent.submission.tokens, []
        if self.link is not None and tokens:
            self.link.acknowledge(tokens)
        if not self._disk_hangs:
            self._disk_hangs = True
            log.error("The disk has not answered for %d s.", DISK_PATIENCE_S)
            why = f"the disk has not answered for {DISK_PATIENCE_S:.0f} seconds"
            self.fault(AlarmName.STORAGE_FAULT, True, Facts(reason=why, detail="hangs"))

    def _publish_status(self, now: Moment) -> None:
        if time.monotonic() < self._status_due:
            return
        if self._draw_s > LONG_DRAW_S and any(not sent.told for sent in self._sent):
            return
        try:
            status = self._draw(now)
        except Exception:
            # The alarms do not need it; the page says by itself that it is old.
            if not self._status_failing:
                log.exception("The picture of how things stand could not be made.")
            self._status_failing = True
            self._status_due = time.monotonic() + STATUS_EVERY_S
            return
        self._status_failing = False
        self._status_due = time.monotonic() + max(STATUS_EVERY_S, self._draw_s / STATUS_SHARE)
        with self._status_changed:
            self.status = status
            self._status_changed.notify_all()

    def _draw(self, now: Moment) -> SiteStatus:
        """How things stand at the end of this round; `now` is the round's own."""
        if self._drawn is None or self._drawn[0] is not now:
            begun = time.thread_time()
            self._drawn = (now, self.core.status(now))
            self._draw_s = time.thread_time() - begun
        return self._drawn[1]

    def _say_status(self) -> None:
        self._told.changed([], self.core.status(self.clock.now()))

    def _keep_house(self) -> None:
        link = self.link
        if link is not None:
            link.keep_going()
        if self._disk_hangs and all(sent.submission.settled.is_set() for sent in self._sent):
            self._disk_hangs = False
        # An alarm of an earlier run about what is well in this one has nobody else to end it.
        active = {
            alarm.alarm for alarm in self.core.status(self.clock.now()).alarms if alarm.active
        }
        if AlarmName.BROKER_LOST in active and link is not None and link.state.connected:
            self.fault(AlarmName.BROKER_LOST, False, Facts())
        disk_is_well = self._writer.last_kept_at is not None and not self._writer.failing
        if AlarmName.STORAGE_FAULT in active and disk_is_well and not self._disk_hangs:
            self.fault(AlarmName.STORAGE_FAULT, False, Facts())

    def _other_journal(self, kept: list[Entry]) -> None:
        def reconcile(now: Moment) -> None:
            self.core.reconcile(kept, now)
            self._snapshot_tick = now.tick - SNAPSHOT_EVERY_S
            self._pending.urgent = True
            self._note_pending(now)

        self.call(reconcile)

    def _quietly(self, what_failed: str, work: Callable[[], None]) -> None:
        """What is not the watch itself must not end it."""
        try:
            work()
        except Exception:
            log.exception(what_failed)

    # -- for the service's own faults, from any thread

    def fault(self, name: AlarmName, active: bool, about: Facts) -> None:
        """The watcher itself is not well, or is again."""

        def tell_core(now: Moment) -> None:
            self._quietly(
                "A fault of the watcher could not be told.",
                lambda: self.core.fault(name, active, now, about),
            )

        self.call(tell_core)
