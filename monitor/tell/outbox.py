"""What waits to be sent, to whom, and what goes next. Pure decisions; owned by `delivery`, written
through to the journal's outbox table as the Outcomes say.

Each contact is a lane of its own: its back-off, its order, its cap. Times are ticks, except those
in journal records, which are wall time."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from monitor.events import Moment, Priority
from monitor.journal.records import OutboxRow, Outcome
from monitor.tell.message import Message, MessageKind, from_row
from monitor.tell.wording.life import late

# Back-off doubles from 5 s to 5 min: a server that restarts is met again within seconds, one that
# is away for the night costs a dozen tries an hour. Common practice.
FIRST_BACK_OFF_S, LONGEST_BACK_OFF_S = 5.0, 300.0
# Old news is noise: after this long undelivered a message is given up. An urgent one is repeated
# by the planner anyway as long as it is true.
GIVE_UP_S = {
    Priority.URGENT: 24 * 3600.0,
    Priority.WARNING: 24 * 3600.0,
    Priority.ADVICE: 6 * 3600.0,
}
# What waited for so long says so: its "now" is a while ago. Common practice.
LATE_S = 900.0
# After a time in which a contact was not reached only what is urgent goes at once: much of the rest
# is over by then, which is known in a moment.
CALM_S = 60.0
# A contact that answers late may have got the message: each time it is waited for longer, up to so
# many times the usual, so that it does not get the same one all night. Common practice.
MOST_PATIENT = 3
TROUBLE_AFTER = 3  # failures in a row before a contact counts as not reached

_HASTE = {Priority.URGENT: 0, Priority.WARNING: 1, Priority.ADVICE: 2}
_SAYS_WHAT = (MessageKind.RAISED, MessageKind.PASSED_ON)  # and what to do
_ORDER = {kind: place for place, kind in enumerate(MessageKind)}


@dataclass(slots=True)
class _Waiting:
    message: Message
    since: float  # tick
    tries: int = 0


@dataclass(slots=True)
class _Lane:
    waiting: dict[str, _Waiting] = field(default_factory=dict)  # by key, oldest first
    sending: str | None = None
    failures: int = 0
    last_try: float | None = None
    not_before: float = float("-inf")
    patience: int = 1  # times the usual time it is waited for
    calm_until: float = float("-inf")  # nothing goes before but what is urgent
    reached: deque[str] = field(default_factory=lambda: deque(maxlen=100))  # threads it knows of


def rows(message: Message) -> list[OutboxRow]:
    """The message as the journal's outbox keeps it: a row for each contact."""
    return [
        OutboxRow(
            key=message.key,
            contact=contact,
            at=message.at,
            priority=message.priority.value,
            message=message.as_row(),
        )
        for contact in message.contacts
    ]


class Outbox:
    """Lanes by contact. Every method that decides something says it as Outcomes to be kept."""

    def __init__(self, contacts: Iterable[str], *, most_pending: int = 50) -> None:
        self._lanes = {name: _Lane() for name in contacts}
        self._most = most_pending

    def restore(self, pending: Iterable[OutboxRow], now: Moment) -> list[Outcome]:
        """What the journal says is unsent. Tried at once: a restart is a new chance."""
        outcomes: list[Outcome] = []
        for row in sorted(pending, key=lambda row: row.at):
            message = from_row(row.key, row.contact, row.at, row.priority, row.message)
            since = now.tick - max(0.0, now.at - message.at)  # it has waited since it was said
            outcomes += self._queue(row.contact, message, now, since, row.tries)
            if (lane := self._lanes.get(row.contact)) is not None:  # it may be a slow one
                lane.patience = min(MOST_PATIENT, max(lane.patience, 1 + row.tries))
        return outcomes

    def add(self, message: Message, now: Moment) -> list[Outcome]:
        """A new message for each of its contacts. Outcomes: older ones it replaces."""
        outcomes: list[Outcome] = []
        for contact in message.contacts:
            outcomes += self._queue(contact, message, now, now.tick)
        return outcomes

    def _queue(
        self, contact: str, message: Message, now: Moment, since: float, tries: int = 0
    ) -> list[Outcome]:
        lane = self._lanes.get(contact)
        if lane is None:
            why = "no such contact any more"
            return [_outcome(message, contact, now, tries, state="given-up", failure=why)]
        if message.key in lane.waiting:
            return []
        same = [w.message for w in lane.waiting.values() if w.message.thread == message.thread]
        if any(other.at > message.at for other in same):
            return [_outcome(message, contact, now, tries, state="superseded")]
        unheard = message.thread not in lane.reached and lane.patience == 1
        moot = unheard and _is_moot(message, same)
        outcomes = [
            self._drop(contact, lane, key, now, state="superseded")
            for key, older in list(lane.waiting.items())
            if older.message.thread in (message.thread, *message.also)
            and older.message.at <= message.at
            and key != lane.sending
        ]
        if moot and not any(w.message.thread == message.thread for w in lane.waiting.values()):
            return [*outcomes, _outcome(message, contact, now, tries, state="superseded")]
        lane.waiting[message.key] = _Waiting(message, since, tries)
        if message.priority is Priority.URGENT and lane.last_try is not None:
            # Urgent news may find a server that is back: tried soon whatever the back-off.
            lane.not_before = min(lane.not_before, lane.last_try + FIRST_BACK_OFF_S)
        while len(lane.waiting) > self._most:
            least = self._least(lane)
            if least is None:
                break
            why = f"more than {self._most} waiting"
            outcomes.append(self._drop(contact, lane, least, now, state="given-up", failure=why))
        return outcomes

    def take(self, contact: str, now: Moment) -> Message | None:
        """The message to send to this contact now, if there is one and the lane is free."""
        lane = self._lanes[contact]
        if lane.sending is not None or not lane.waiting or now.tick < lane.not_before:
            return None
        best = min(lane.waiting.values(), key=_haste)
        if now.tick < lane.calm_until and best.message.priority is not Priority.URGENT:
            return None
        lane.sending = best.message.key
        lane.last_try = now.tick
        message, waited_s = best.message, now.tick - best.since
        if message.brief and message.thread in lane.reached:
            message = replace(message, body=message.brief)
        if waited_s >= LATE_S:
            words = late(message.title, message.body, waited_s)
            message = replace(message, title=words.title, body=words.body)
        return message

    def done(
        self, contact: str, failure: str | None, now: Moment, *, late: bool = False
    ) -> list[Outcome]:
        """How the sending that was taken ended; None: it arrived. `late`: it was waited for no
        longer, so it may have arrived."""
        lane = self._lanes.get(contact)
        if lane is None or lane.sending is None:
            return []
        key, lane.sending = lane.sending, None
        waiting = lane.waiting[key]
        waiting.tries += 1
        if failure is None:
            if lane.failures >= TROUBLE_AFTER:
                lane.calm_until = now.tick + CALM_S
            lane.failures, lane.not_before = 0, now.tick
            lane.reached.append(waiting.message.thread)
            return [self._drop(contact, lane, key, now, state="sent")]
        lane.failures += 1
        lane.patience = min(MOST_PATIENT, lane.patience + late)
        back_off_s = min(LONGEST_BACK_OFF_S, FIRST_BACK_OFF_S * 2 ** min(lane.failures - 1, 10))
        lane.not_before = now.tick + back_off_s
        newer = any(
            other.message.thread == waiting.message.thread
            and other.message.at >= waiting.message.at
            and other is not waiting
            for other in lane.waiting.values()
        )
        if newer:
            return [self._drop(contact, lane, key, now, state="superseded", failure=failure)]
        if now.tick - waiting.since >= GIVE_UP_S[waiting.message.priority]:
            return [self._drop(contact, lane, key, now, state="given-up", failure=failure)]
        tries = waiting.tries
        return [_outcome(waiting.message, contact, now, tries, state="pending", failure=failure)]

    def failures(self, contact: str) -> int:
        """How often in a row this contact was not reached."""
        lane = self._lanes.get(contact)
        return 0 if lane is None else lane.failures

    def patience(self, contact: str) -> int:
        """How many times the usual time this contact is waited for."""
        return self._lanes[contact].patience

    def pending(self, contact: str | None = None) -> int:
        """Messages not yet sent, of one contact or of all."""
        lanes = self._lanes.items()
        return sum(len(lane.waiting) for name, lane in lanes if contact in (None, name))

    def unsent(self) -> list[OutboxRow]:
        """Everything that waits, as the journal's outbox has it."""
        return [
            replace(row, tries=waiting.tries)
            for contact, lane in self._lanes.items()
            for waiting in lane.waiting.values()
            for row in rows(waiting.message)
            if row.contact == contact
        ]

    @property
    def contacts(self) -> tuple[str, ...]:
        """The contacts that have a lane."""
        return tuple(self._lanes)

    @property
    def next_due(self) -> float | None:
        """The tick at which some lane can send again; minus infinity: now."""
        return min(
            (_due(lane) for lane in self._lanes.values() if lane.waiting and not lane.sending),
            default=None,
        )

    def _least(self, lane: _Lane) -> str | None:
        """The one to do without: least priority first, oldest of these."""
        spare = [w for key, w in lane.waiting.items() if key != lane.sending]
        if not spare:
            return None
        least = max(spare, key=lambda w: (_HASTE[w.message.priority], -w.message.at))
        return least.message.key

    @staticmethod
    def _drop(
        contact: str, lane: _Lane, key: str, now: Moment, *, state: str, failure: str | None = None
    ) -> Outcome:
        waiting = lane.waiting.pop(key)
        thread = waiting.message.thread
        if state != "sent" and waiting.message.kind in _SAYS_WHAT and thread in lane.reached:
            lane.reached.remove(thread)  # what it heard before is no first message of this
        return _outcome(waiting.message, contact, now, waiting.tries, state=state, failure=failure)


def _is_moot(message: Message, waiting: list[Message]) -> bool:
    """The end of a trouble of the watch itself, of which the first word waits still: no news of the
    chicks, and nothing to do. After a night without internet each contact heard of every other
    that they are reached again, and had never heard that they were not."""
    first = any(other.kind is MessageKind.RAISED for other in waiting)
    urgent = any(other.priority is Priority.URGENT for other in waiting)
    of_the_watch = message.thread.startswith("site/")
    return message.kind is MessageKind.OVER and of_the_watch and first and not urgent


def _due(lane: _Lane) -> float:
    urgent = any(w.message.priority is Priority.URGENT for w in lane.waiting.values())
    return lane.not_before if urgent else max(lane.not_before, lane.calm_until)


def _haste(waiting: _Waiting) -> tuple[int, int, float]:
    message = waiting.message
    return (_HASTE[message.priority], _ORDER[message.kind], message.at)


def _outcome(
    message: Message,
    contact: str,
    now: Moment,
    tries: int,
    *,
    state: str,
    failure: str | None = None,
) -> Outcome:
    return Outcome(
        key=message.key,
        contact=contact,
        tried_at=now.at,
        state=state,
        tries=tries,
        failure=failure,
    )
