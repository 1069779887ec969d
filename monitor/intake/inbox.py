"""Between the network and the watch thread: deliveries in order of arrival, bounded.

The session's or the built-in broker's thread puts, the watch thread takes. A delivery with a token
is acknowledged by whoever takes it, once the journal has it on disk - also when it was refused as
malformed, else it would fill the broker's in-flight window for ever."""

import threading
from collections import deque
from typing import NamedTuple

from monitor.events import Moment

MOST_WAITING = 20_000  # the window of the broker keeps QoS 1 far below
EACH = 400  # bytes of a message beside its payload, about
MOST_BYTES = 16 << 20  # two windows of the largest payloads that are read
MOST_BYTES_OF_ONE = 4 << 20
# What is judged before the next sender has its turn, and before timers are looked at, in bytes of
# payload. A reading in a pack (RFC 8428) has about as many as are counted for a message by itself.
TURN_BYTES, ROUND_BYTES = 16 * 1024, 32 * 1024
EACH_TURN = 50
# What comes in quick succession is judged together: woken for each message, the reader would keep
# the sender waiting for longer than it works.
GATHERED, GATHER_S = 50, 0.005
# A part is kept free for messages that are to be acknowledged: one of those dropped would take up a
# place in the broker's window until the next connection, so a flood without acknowledgements
# (QoS 0) would end in silence.
SPARE_PART = 20


class AckToken(NamedTuple):
    """What acknowledges one delivery. Worthless once its connection is gone: the broker delivers
    again, and may by then use the same packet identifier for another message."""

    generation: int  # number of the connection
    mid: int  # MQTT packet identifier


class MqttMessage(NamedTuple):
    topic: str
    payload: bytes
    received: Moment
    token: AckToken | None  # None: QoS 0, nothing to acknowledge
    dup: bool = False
    retain: bool = False
    held: bool = False  # the broker had kept it while this service was away: it is older than now
    origin: str = ""  # built-in broker: the probe's client id (packet identifiers are per client)
    # Number of the connection with which the session of these identifiers began; 0: it is older
    # than this run, or nobody knows.
    session: int = 0
    too_large: int = 0  # bytes of a payload that the built-in broker did not take


class Inbox:
    """A bounded queue with one reader that can be woken. Senders have turns: one that floods waits
    behind its own messages, and whoever had nothing waiting comes first."""

    def __init__(self, most_waiting: int = MOST_WAITING) -> None:
        self._ready = threading.Condition(threading.Lock())
        self._senders: dict[str, _Sender] = {}
        # Names of senders: those that had nothing waiting, and those that have had a turn. One that
        # had it stays in line a round more, so that small portions do not make it first for ever.
        self._first: deque[str] = deque()
        self._then: deque[str] = deque()
        self._woken = False
        self._most_waiting = most_waiting
        self._count = 0
        self._bytes = 0
        self.dropped = 0  # since the start because the reader was behind

    def put(self, delivery: MqttMessage) -> bool:
        """Hand over. False: the reader is so far behind that this one was dropped. A dropped one
        with a token is never acknowledged, so the broker still has it."""
        name = delivery.origin or delivery.topic
        size = _size(delivery)
        with self._ready:
            sender = self._senders.get(name)
            if self._is_full(delivery, size, sender):
                self.dropped += 1
                return False
            if sender is None:
                sender = self._senders[name] = _Sender()
                self._first.append(name)
            sender.waiting.append(delivery)
            sender.size += size
            self._bytes += size
            self._count += 1
            if self._count in (1, GATHERED):
                self._ready.notify()
            return True

    def _is_full(self, delivery: MqttMessage, size: int, sender: "_Sender | None") -> bool:
        spare = SPARE_PART if delivery.token is None else self._most_waiting + 1
        if self._count >= self._most_waiting - self._most_waiting // spare:
            return True
        if self._bytes + size > MOST_BYTES - MOST_BYTES // spare:
            return True
        # What a broker of one's own sent and is not acknowledged takes up its window: it may
        # not be dropped for being much.
        bounded = delivery.token is None or delivery.origin
        return bool(bounded and sender is not None and sender.size + size > MOST_BYTES_OF_ONE)

    def wake(self) -> None:
        """Let take() return now: there is something else to do."""
        with self._ready:
            self._woken = True
            self._ready.notify()

    def take(self, most: int, timeout_s: float) -> list[MqttMessage]:
        """At least one delivery, or none after `timeout_s` or wake(). No more than `most`, nor than
        can be judged in a moment: of each sender its next few, in their order."""
        with self._ready:
            if not self._count and not self._woken:
                self._ready.wait(timeout_s)
            if 0 < self._count < GATHERED and not self._woken:
                self._ready.wait(min(timeout_s, GATHER_S))
            self._woken = False
            taken: list[MqttMessage] = []
            size = 0
            while self._count and len(taken) < most and size < ROUND_BYTES:
                size += self._take_turn(taken, most)
            return taken

    def _take_turn(self, taken: list[MqttMessage], most: int) -> int:
        """Of one sender; how much it is to judge."""
        is_first = bool(self._first)
        name = (self._first or self._then).popleft()
        sender = self._senders[name]
        turn = 0
        while sender.waiting and turn < TURN_BYTES and len(taken) < most:
            delivery = sender.waiting.popleft()
            turn += len(delivery.payload) + EACH_TURN
            sender.size -= _size(delivery)
            self._bytes -= _size(delivery)
            self._count -= 1
            taken.append(delivery)
        if sender.waiting or is_first:
            self._then.append(name)
        else:
            del self._senders[name]
        return turn

    def __len__(self) -> int:
        return self._count


class _Sender:
    __slots__ = ("size", "waiting")

    def __init__(self) -> None:
        self.waiting: deque[MqttMessage] = deque()
        self.size = 0


def _size(delivery: MqttMessage) -> int:
    return len(delivery.payload) + EACH
