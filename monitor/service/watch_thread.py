"""The watch thread: takes what the broker delivers, judges it, has it kept, then acknowledges and
tells. Everything that changes the core runs here, one thing after another.

What is kept when, and what waits for it, is `commits`; how things stand for others is
`status_board`."""

import logging
import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, TypeVar

from monitor.events import AlarmName, Entry, Facts, Moment
from monitor.intake.held import HeldTimes
from monitor.intake.inbox import AckToken, Inbox, MqttMessage
from monitor.intake.link import BrokerLink
from monitor.intake.redelivered import RedeliveryMemory
from monitor.journal.allowance import CommitAllowance
from monitor.journal.pacing import Pacing
from monitor.journal.records import Outcome
from monitor.service.annunciator import Annunciator
from monitor.service.clock import Clock
from monitor.service.commit_queue import CommitCallbacks, CommitQueue
from monitor.service.core import Core
from monitor.service.logs import facts
from monitor.service.quietly import quietly
from monitor.service.readiness import Readiness
from monitor.service.status_board import StatusBoard
from monitor.service.writer import Submission, Writer
from monitor.site import Meter
from monitor.watch.status import SiteStatus

log = logging.getLogger(__name__)
T = TypeVar("T")

LONGEST_SLEEP_S = 1.0
MOST_AT_ONCE = 500  # deliveries between two looks at the clock
HOUSEKEEPING_EVERY_S = 10.0
UNDISTURBED_S = 1800.0  # so long without another of our name: it is gone
FAILED_ROUND_S = 0.5
MOST_FAILED_ROUNDS = 20  # then the engine is beyond hope: end, and let the manager start us anew


class WatchThread:
    """See the module. Other threads use `call`, the two `note_...` and the published `status`."""

    def __init__(
        self,
        core: Core,
        *,
        clock: Clock,
        inbox: Inbox,
        writer: Writer,
        told: Annunciator,
        memory: RedeliveryMemory,
        held: HeldTimes,
        pacing: Pacing,
        allowance: CommitAllowance,
        readiness: Readiness,
        commands: Callable[[Core, MqttMessage, Moment], bool] = lambda _core, _delivery, _now: (
            False
        ),
        clock_sure: bool = True,
        on_end: Callable[[], None] = lambda: None,
    ) -> None:
        self.core = core
        self.failed: BaseException | None = None
        self._clock = clock
        self._clock_sure = clock_sure
        self._link: BrokerLink | None = None
        self._inbox = inbox
        self._writer = writer
        self._memory = memory
        self._held = held
        self._pacing = pacing
        self._readiness = readiness
        self._commands = commands
        self._on_end = on_end
        self._board = StatusBoard(core, clock, told)
        self._commits = CommitQueue(
            core,
            clock=clock,
            writer=writer,
            told=told,
            memory=memory,
            pacing=pacing,
            allowance=allowance,
            calls=CommitCallbacks(
                acknowledge=self._acknowledge,
                more_waiting=lambda: len(inbox) > 0,
                status=self._board.draw,
                fault=self.fault,
            ),
        )
        self._calls: queue.SimpleQueue[tuple[Callable[[Moment], Any], Future[Any]]] = (
            queue.SimpleQueue()
        )
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watch", daemon=True)
        self._housekeeping_due = time.monotonic() + HOUSEKEEPING_EVERY_S
        self._failed_rounds = 0
        self._last_round = time.monotonic()
        writer.on_other_journal = self._other_journal

    # -- from other threads

    def attach(self, link: BrokerLink) -> None:
        """Where acknowledgements go."""
        self._link = link
        self.set_window(link.window)
        self._pacing.hold_s = link.hold_s

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
        """Has the watch thread made a whole round within the last ten seconds, and does live what
        it needs?"""
        own = time.monotonic() - self._last_round < 10 * LONGEST_SLEEP_S
        return own and self._readiness.all_live()

    def set_window(self, window: int) -> None:
        """How many deliveries the broker sends ahead of acknowledgements."""
        self._pacing.window = window

    @property
    def only_in_memory(self) -> int:
        """Readings that were acknowledged and are on no disk. After `stop`."""
        return self._commits.only_in_memory

    def acknowledge_settled(self) -> None:
        """After watch and writer have ended: what the last commits kept is acknowledged."""
        self._commits.acknowledge_settled()

    def call(self, work: Callable[[Moment], T]) -> Future[T]:
        """Runs `work` in the watch thread; it may use the core freely. Whoever calls reads the
        outcome: a fault of the work is in it, and nowhere else. `post` is for whoever does not."""
        done: Future[T] = Future()
        self._calls.put((work, done))
        self._inbox.wake()
        return done

    def post(self, what_failed: str, work: Callable[[Moment], None]) -> None:
        """As `call`, for whoever cannot wait: a fault of the work is told to the log."""
        self.call(lambda now: quietly(what_failed, lambda: work(now)))  # Outcome: never a fault

    def note_outcome(self, outcome: Outcome) -> None:
        """How a delivery went, to be kept at once."""
        self._commits.note_outcome(outcome)
        self._inbox.wake()

    def note_settled(self, submission: Submission) -> None:
        """The writer is done with a batch. Called in its thread."""
        self._commits.note_settled(submission)
        self._inbox.wake()

    @property
    def status(self) -> SiteStatus:
        """The newest status of everything, immutable."""
        return self._board.status

    def wait_for_news(self, than: SiteStatus, wait_s: float) -> bool:
        """True as soon as the published status is another than `than`."""
        return self._board.wait_for_news(than, wait_s)

    def fault(self, name: AlarmName, active: bool, about: Facts) -> None:
        """The watcher itself is not well, or is again."""
        self.post(
            "A fault of the watcher could not be told.",
            lambda now: self.core.fault(name, active, now, about),
        )

    # -- the watch thread

    def _run(self) -> None:
        try:
            self._board.say_anew()
            while not self._stop.is_set():
                self._round(self._sleep_s())
            self._round(0.0, last=True)
        except BaseException as error:
            self.failed = error
            log.exception("The watch has failed; the service ends so that it can be started anew.")
        finally:
            self._on_end()

    def _sleep_s(self) -> float:
        now = self._clock.now()
        dues = [LONGEST_SLEEP_S, self._commits.wait_s(now)]
        if self.core.next_due is not None:
            dues.append((self.core.next_due - now.tick) / self._clock.speed)
        return max(0.0, min(dues))

    def _round(self, sleep_s: float, *, last: bool = False) -> None:
        deliveries = self._inbox.take(MOST_AT_ONCE, sleep_s)
        self._see_jump()
        for delivery in deliveries:
            self._take_in(delivery)
        self._do_calls()
        now = self._clock.now()
        self._advance(now)
        self._board.happened(self._commits.commit_if_due(now, last=last))
        self._commits.tell_what_settled(last=last)
        self._board.publish(now, somebody_waits=self._commits.untold)
        if time.monotonic() >= self._housekeeping_due:
            self._housekeeping_due = time.monotonic() + HOUSEKEEPING_EVERY_S
            quietly("Housekeeping failed.", self._keep_house)
        if self._failed_rounds == 0:
            self._last_round = time.monotonic()
            if self._readiness.all_live():
                self._readiness.say("WATCHDOG=1")

    def _advance(self, now: Moment) -> None:
        try:
            self.core.advance(now)
            self._failed_rounds = 0
        except Exception:
            self._failed_rounds += 1
            log.exception("The engine failed at a timer.")
            if self._failed_rounds >= MOST_FAILED_ROUNDS:
                raise
            self._stop.wait(FAILED_ROUND_S)  # what is due stays due: no race through the rounds

    def _see_jump(self) -> None:
        jump_s = self._clock.jump_s()
        if jump_s:
            after = self._clock.now()
            log.warning("The clock was set.", extra=facts(by_s=round(jump_s, 1)))
            self._clock_sure = True
            self.core.clock_jumped(after, jump_s)
            # What comes after runs on another offset between the clocks; a snapshot between them
            # keeps a rebuild exact.
            self._commits.snapshot_at_once(after)

    def _take_in(self, delivery: MqttMessage) -> None:
        if delivery.token is not None:
            self._commits.arrived(delivery.token, delivery.received)
        try:
            if self._memory.already_journaled(delivery):
                return
            if self._commands(self.core, delivery, delivery.received):
                return
            if delivery.retain and not (
                self._stamped(delivery.topic) or self._switch(delivery.topic)
            ):
                # A retained word has no time: it may be from last week. The next one is not far,
                # but of a switch, which speaks when it is moved.
                return
            self.core.hear(
                delivery.topic,
                delivery.payload,
                self._held.moment_of(delivery),
                arrived=delivery.received,
                clock_sure=self._clock_sure
                and (not delivery.held or self._stamped(delivery.topic)),
            )
            self._commits.something_is_new(delivery.received)
        except Exception:
            # One message that we cannot handle must not stop the watch, nor come back for ever.
            log.exception("A message could not be handled.", extra=facts(topic=delivery.topic))
            self.core.hearing.refuse(
                delivery.topic,
                "could not be handled: a fault of the monitor, see its log",
                delivery.payload,
                delivery.received.at,
            )

    def _stamped(self, topic: str) -> bool:
        return any(one.time_pointer is not None for one in self.core.hearing.router.route(topic))

    def _switch(self, topic: str) -> bool:
        route = self.core.hearing.router.route(topic)
        return any(isinstance(one, Meter) and one.quantity.is_state for one in route)

    def _do_calls(self) -> None:
        while not self._calls.empty():
            work, done = self._calls.get()
            if not done.set_running_or_notify_cancel():
                continue
            before = len(self.core.waiting.inputs)
            try:
                done.set_result(work(self._clock.now()))
            except Exception as error:
                done.set_exception(error)
            if len(self.core.waiting.inputs) > before:  # more than a question
                self._commits.keep_at_once()
                self._board.renew_soon()

    def _acknowledge(self, tokens: list[AckToken]) -> None:
        if self._link is not None and tokens:
            self._link.acknowledge(tokens)

    def _keep_house(self) -> None:
        link = self._link
        if link is not None:
            link.keep_going()
        hangs = self._commits.disk_hangs()
        # An alarm of an earlier run about what is well in this one has nobody else to end it.
        active = {
            alarm.alarm for alarm in self.core.status(self._clock.now()).alarms if alarm.active
        }
        if AlarmName.BROKER_LOST in active and link is not None and link.state.connected:
            self.fault(AlarmName.BROKER_LOST, False, Facts())
        undisturbed_s = self._clock.now().tick - link.state.since.tick if link is not None else 0.0
        if (
            AlarmName.NAME_TAKEN in active
            and link is not None
            and link.state.connected
            and undisturbed_s >= UNDISTURBED_S
        ):
            self.fault(AlarmName.NAME_TAKEN, False, Facts())
        disk_is_well = self._writer.last_kept_at is not None and not self._writer.failing
        if AlarmName.STORAGE_FAULT in active and disk_is_well and not hangs:
            self.fault(AlarmName.STORAGE_FAULT, False, Facts())

    def _other_journal(self, kept: list[Entry]) -> None:
        def reconcile(now: Moment) -> None:
            self.core.reconcile(kept, now)
            self._commits.snapshot_at_once(now)
            self._commits.something_is_new(now)

        self.post("The ledger of the new journal was not compared.", reconcile)
