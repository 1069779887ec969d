"""The watch thread: takes what the broker delivers, judges it, has it kept, then acknowledges and
tells. Everything that changes the core runs here, one thing after another.

What is kept when, and what waits for it, is `commit_queue`; how things stand for others is
`status_board`; what others want of the core comes in by `watch_calls`."""

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass

from monitor.events import AlarmName, Facts, Moment
from monitor.intake.held import HeldTimes
from monitor.intake.inbox import Inbox, MqttMessage
from monitor.intake.link import BrokerLink
from monitor.intake.payload import too_long
from monitor.intake.redelivered import RedeliveryMemory
from monitor.service.clock import Clock
from monitor.service.commit_queue import CommitQueue
from monitor.service.core import Core
from monitor.service.logs import facts, quietly
from monitor.service.readiness import Readiness
from monitor.service.status_board import StatusBoard
from monitor.service.watch_calls import WatchCalls
from monitor.service.writer import Writer
from monitor.site import Meter

log = logging.getLogger(__name__)

LONGEST_SLEEP_S = 1.0
MOST_AT_ONCE = 500  # deliveries between two looks at the clock
HOUSEKEEPING_EVERY_S = 10.0
UNDISTURBED_S = 1800.0  # so long without another of our name: it is gone
FAILED_ROUND_S = 0.5
MOST_FAILED_ROUNDS = 20  # then the engine is beyond hope: end, and let the manager start us anew


@dataclass(eq=False, repr=False)
class WatchThread:
    """See the module. Other threads use `watch_calls` and the board's status."""

    core: Core
    _: KW_ONLY
    clock: Clock
    inbox: Inbox
    calls: WatchCalls
    commits: CommitQueue
    board: StatusBoard
    writer: Writer
    link: Callable[[], BrokerLink | None]
    memory: RedeliveryMemory
    held: HeldTimes
    readiness: Readiness
    commands: Callable[[Core, MqttMessage, Moment], bool] = lambda _core, _delivery, _now: False
    clock_sure: bool = True
    on_end: Callable[[], None] = lambda: None

    def __post_init__(self) -> None:
        self.failed: BaseException | None = None
        self.heard_at: float | None = None  # of the last message, whatever it said
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watch", daemon=True)
        self._housekeeping_due = time.monotonic() + HOUSEKEEPING_EVERY_S
        self._failed_rounds = 0
        self._last_round = time.monotonic()

    # -- from other threads

    def start(self) -> None:
        self._thread.start()

    def stop(self, within_s: float) -> bool:
        """Takes what has arrived, hands everything to the writer. False: not done in time."""
        self._stop.set()
        self.inbox.wake()
        self._thread.join(within_s)
        return not self._thread.is_alive()

    @property
    def started(self) -> bool:
        """Does the thread exist?"""
        return self._thread.ident is not None

    def alive(self) -> bool:
        """Has the watch thread made a whole round within the last ten seconds, and is all that it
        needs alive?"""
        own = time.monotonic() - self._last_round < 10 * LONGEST_SLEEP_S
        return own and self.readiness.all_live()

    # -- the watch thread

    def _run(self) -> None:
        try:
            self.board.say_anew()
            while not self._stop.is_set():
                self._round(self._sleep_s())
            self._round(0.0, last=True)
        except BaseException as error:
            self.failed = error
            log.exception("The watch has failed; the service ends so that it can be started anew.")
        finally:
            self.on_end()

    def _sleep_s(self) -> float:
        now = self.clock.now()
        due_s = (self.core.next_due - now.tick) / self.clock.speed
        return max(0.0, min(LONGEST_SLEEP_S, self.commits.wait_s(now), due_s))

    def _round(self, sleep_s: float, *, last: bool = False) -> None:
        deliveries = self.inbox.take(MOST_AT_ONCE, sleep_s)
        self._see_jump()
        for delivery in deliveries:
            self._take_in(delivery)
        self._do_calls()
        now = self.clock.now()
        self._advance(now)
        self.board.happened(self.commits.commit_if_due(now, last=last))
        self.commits.tell_what_settled(last=last)
        self.board.publish(now, somebody_waits=self.commits.untold)
        if time.monotonic() >= self._housekeeping_due:
            self._housekeeping_due = time.monotonic() + HOUSEKEEPING_EVERY_S
            quietly("Housekeeping failed.", self._keep_house)
        if self._failed_rounds == 0:
            self._last_round = time.monotonic()
            if self.readiness.all_live():
                self.readiness.say("WATCHDOG=1")

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
        jump_s = self.clock.jump_s()
        if jump_s:
            after = self.clock.now()
            log.warning("The clock was set.", extra=facts(by_s=round(jump_s, 1)))
            self.clock_sure = True
            self.core.clock_jumped(after, jump_s, on_for_s=self.clock.running_s())

    def _take_in(self, delivery: MqttMessage) -> None:
        self.heard_at = delivery.received.at
        if delivery.token is not None:
            self.commits.arrived(delivery.token, delivery.received)
        try:
            if delivery.too_large:
                reason = too_long(delivery.too_large)
                self.core.hearing.refuse(delivery.topic, reason, b"", delivery.received.at)
                return
            if self.memory.already_journaled(delivery):
                return
            if self.commands(self.core, delivery, delivery.received):
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
                self.held.moment_of(delivery),
                arrived=delivery.received,
                clock_sure=self.clock_sure and (not delivery.held or self._stamped(delivery.topic)),
            )
            self.commits.something_is_new(delivery.received)
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
        while not self.calls.calls.empty():
            work, done = self.calls.calls.get()
            if not done.set_running_or_notify_cancel():
                continue
            before = len(self.core.waiting.inputs)
            try:
                done.set_result(work(self.clock.now()))
            except Exception as error:
                done.set_exception(error)
            if len(self.core.waiting.inputs) > before:  # more than a question
                self.commits.keep_at_once()
                self.board.renew_soon()

    def _keep_house(self) -> None:
        link = self.link()
        if link is not None:
            link.keep_going()
        hangs = self.commits.disk_hangs()
        # An alarm of an earlier run about what is well in this one has nobody else to end it.
        active = {
            alarm.alarm for alarm in self.core.status(self.clock.now()).alarms if alarm.active
        }
        connected_s = -1.0  # not at all
        if link is not None and link.state.connected:
            connected_s = self.clock.now().tick - link.state.since.tick
        disk_is_well = self.writer.last_kept_at is not None and not self.writer.failing
        for name, is_over in (
            (AlarmName.BROKER_LOST, connected_s >= 0.0),
            (AlarmName.NAME_TAKEN, connected_s >= UNDISTURBED_S),
            (AlarmName.STORAGE_FAULT, disk_is_well and not hangs),
        ):
            if is_over and name in active:
                self.calls.fault(name, False, Facts())
