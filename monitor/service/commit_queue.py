"""What waits for the disk: work that is not yet kept, and the acknowledgements and messages that
follow once it is. Used by the watch thread alone.

Order of promises: a message is acknowledged when the journal has it on the disk (or, while the
disk refuses, when it is in memory: the watch must go on, and an unacknowledged window would stop
it; a disk that has not answered for half a minute counts as one that refuses, until it answers). A
person is told as soon as the record is on the disk, but never waits more than a second for a slow
disk."""

import gc
import logging
import time
from collections import deque
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass, field

from monitor.events import AlarmName, Change, Facts, Moment, Reading
from monitor.intake.inbox import AckToken, Inbox
from monitor.intake.link import BrokerLink
from monitor.intake.redelivered import RedeliveryMemory
from monitor.journal.pacing import CommitAllowance, Pacing
from monitor.service.annunciator import Annunciator
from monitor.service.clock import Clock
from monitor.service.core import Core, CoreOutput
from monitor.service.logs import quietly
from monitor.service.samples import Sampler
from monitor.service.status_board import StatusBoard
from monitor.service.watch_calls import WatchCalls
from monitor.service.writer import MOST_IN_MEMORY, Submission, Writer

log = logging.getLogger(__name__)

TELL_ANYWAY_S = 1.0  # a slow disk delays a message by no more than this
LOOK_AGAIN_S = 0.05  # at whether it has, while somebody waits to be told
DISK_PATIENCE_S = 30.0  # silent for longer: it counts as one that refuses
SNAPSHOT_EVERY_S = 900.0


@dataclass(slots=True)
class _Sent:
    """A submission whose messages wait to be told."""

    submission: Submission
    happened: CoreOutput
    told: bool = False
    from_memory: bool = False  # acknowledged though the disk did not answer


@dataclass(slots=True)
class _Pending:
    """Unkept work: when the oldest of it came, and what to acknowledge afterwards."""

    oldest: float | None = None
    tokens: list[AckToken] = field(default_factory=list)
    urgent: bool = False


@dataclass(eq=False, repr=False)
class CommitQueue:
    """Says when to commit, hands over, and does what follows."""

    core: Core
    _: KW_ONLY
    clock: Clock
    writer: Writer
    told: Annunciator
    memory: RedeliveryMemory
    pacing: Pacing
    allowance: CommitAllowance
    inbox: Inbox
    calls: WatchCalls
    board: StatusBoard
    link: Callable[[], BrokerLink | None]

    def __post_init__(self) -> None:
        self._sent: deque[_Sent] = deque()
        self._pending = _Pending()
        self._sampler = Sampler()
        self._sample_soon = False
        # With the first commit: what an earlier run kept stands on another scale of ticks.
        self._snapshot_tick = float("-inf")
        self._disk_hangs = False
        self._refused = 0  # readings acknowledged though the disk refused them, and not kept since

    # -- after the end

    def acknowledge_settled(self) -> None:
        """After watch and writer have ended: what the last commits kept is acknowledged."""
        while not self.calls.settled.empty():
            submission = self.calls.settled.get()
            if submission.kept:
                self._acknowledge(submission.tokens)

    @property
    def only_in_memory(self) -> int:
        """Readings that are acknowledged and, as far as is known here, on no disk."""
        hanging = sum(
            sent.submission.readings
            for sent in self._sent
            if sent.from_memory and not sent.submission.settled.is_set()
        )
        return self._refused + hanging

    # -- what makes a commit due

    def arrived(self, token: AckToken, received: Moment) -> None:
        """A message that is to be acknowledged."""
        self._pending.tokens.append(token)
        self.something_is_new(received)
        self.pacing.arrived(received.tick)

    def something_is_new(self, now: Moment) -> None:
        """There is work to keep since `now`, if not longer."""
        if self._pending.oldest is None:
            self._pending.oldest = now.tick

    def keep_at_once(self) -> None:
        """A person did something: it is kept now, with the numbers derived from it."""
        self._pending.urgent = True
        self._sample_soon = True  # a ledger entry may have given a box its target

    # -- each round

    @property
    def untold(self) -> bool:
        """Does a message wait for the disk?"""
        return any(not sent.told for sent in self._sent)

    def disk_hangs(self) -> bool:
        """Looks again: has the disk not answered for long?"""
        if self._disk_hangs and all(sent.submission.settled.is_set() for sent in self._sent):
            self._disk_hangs = False
        return self._disk_hangs

    def wait_s(self, now: Moment) -> float:
        """Real seconds until there may be something to do here."""
        dues = [float("inf")]
        if self._pending.oldest is not None:
            age_s = (now.tick - self._pending.oldest) / self.clock.speed
            dues.append(self.pacing.wait_s(pending=len(self._pending.tokens), oldest_age_s=age_s))
            dues.append(self.allowance.wait_s(now.tick, age_s))
        if self.untold:
            dues.append(LOOK_AGAIN_S)
        return min(dues)

    def commit_if_due(self, now: Moment, *, last: bool) -> list[Change]:
        """Hands what waits to the writer, if it is time; the changes among it."""
        self._take_outcomes()
        waiting, pending = self.core.waiting, self._pending
        if self.core.snapshot_wanted:
            self.core.snapshot_wanted = False
            self._snapshot_tick = float("-inf")
            pending.urgent = True
            self.something_is_new(now)
        if waiting:
            self.something_is_new(now)
        if pending.oldest is None and not self.core.to_tell and not last:
            return []
        age_s = (now.tick - (pending.oldest or now.tick)) / self.clock.speed
        urgent = last or pending.urgent or self.core.to_tell
        due = self.pacing.due(
            pending=len(pending.tokens),
            oldest_age_s=age_s,
            urgent=urgent,
            more_waiting=len(self.inbox) > 0,
        )
        prompt = self.writer.behind == 0 and self.allowance.prompt(now.tick, age_s)
        if not due and not prompt:
            return []
        self._add_state(now, last=last)
        happened = self.core.take(now)
        happened.batch.redelivery_marks = self.memory.since_last()
        submission = Submission(
            happened.batch,
            pending.tokens,
            by_age=due and not urgent and age_s > 0,
            ledger=self.core.ledger,
        )
        submission.readings = sum(isinstance(i, Reading) for i in happened.batch.inputs)
        self._pending = _Pending()
        self.allowance.spent(now.tick)
        self._sent.append(_Sent(submission, happened))
        self.writer.submit(submission)
        return happened.batch.changes

    def tell_what_settled(self, *, last: bool) -> None:
        """Acknowledges what is on the disk, and tells what is, or has waited long enough."""
        while not self.calls.settled.empty():
            submission = self.calls.settled.get()
            self._acknowledge(submission.tokens)
            # One that is kept says that all before it are.
            self._refused = 0 if submission.kept else self._refused + submission.readings
            self.pacing.committed(
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
                self._tell(sent.happened)
            patience_s = TELL_ANYWAY_S if self._disk_hangs else DISK_PATIENCE_S
            if waits_s >= patience_s and not (settled or last or sent.from_memory):
                self._acknowledge_from_memory(sent)
        while self._sent and self._sent[0].told and self._sent[0].submission.settled.is_set():
            self._sent.popleft()

    # -- inside

    def _acknowledge(self, tokens: list[AckToken]) -> None:
        link = self.link()
        if link is not None and tokens:
            link.acknowledge(tokens)

    def _take_outcomes(self) -> None:
        while not self.calls.outcomes.empty():
            outcome = self.calls.outcomes.get()
            self.core.waiting.outcomes.append(outcome)
            # A message that was sent and is not known as sent would be sent again after a crash.
            self._pending.urgent |= outcome.state == "sent"

    def _add_state(self, now: Moment, *, last: bool) -> None:
        """What is kept now and then, with a commit that is due anyway."""
        if now.tick - self._snapshot_tick >= SNAPSHOT_EVERY_S or last:
            self._snapshot_tick = now.tick
            self._sample_soon = True
            quietly("The state could not be kept.", self._snapshot)
        if self._sample_soon:
            self._sample_soon = False
            # With the snapshot or an entry, so that they cost the card no transaction of their own.
            quietly("Targets could not be kept.", lambda: self._sample(now))

    def _snapshot(self) -> None:
        # A hundred thousand small records at once, none of them garbage: looking for some among
        # everything there is takes four times as long as making them.
        gc.disable()
        try:
            self.core.waiting.snapshots = self.core.snapshots()
        finally:
            gc.enable()

    def _sample(self, now: Moment) -> None:
        self.core.waiting.samples.extend(self._sampler.new(self.board.draw(now)))

    def _tell(self, happened: CoreOutput) -> None:
        quietly("Messages could not be told.", lambda: self.told.tell(happened.messages))

    def _acknowledge_from_memory(self, sent: _Sent) -> None:
        """The disk does not answer at all: without acknowledgements the broker would soon send
        nothing more, and the watch would hear nothing."""
        if sum(len(each.happened.batch.inputs) for each in self._sent) > MOST_IN_MEMORY:
            return
        sent.from_memory = True
        # Emptied: acknowledged again when it settles, a number might be another message's by then.
        tokens, sent.submission.tokens = sent.submission.tokens, []
        self._acknowledge(tokens)
        if not self._disk_hangs:
            self._disk_hangs = True
            log.error("The disk has not answered for %d s.", DISK_PATIENCE_S)
            why = f"the disk has not answered for {DISK_PATIENCE_S:.0f} seconds"
            self.calls.fault(AlarmName.STORAGE_FAULT, True, Facts(reason=why))
