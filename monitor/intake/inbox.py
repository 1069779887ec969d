"""Between the network and the watch thread: deliveries in order of arrival, bounded.

The session's or the built-in broker's thread puts, the watch thread takes. A delivery with a token
is acknowledged by whoever takes it, once the journal has it on disk - also when it was refused as
malformed, else it would fill the broker's in-flight window for ever."""

import threading
from collections import deque
from typing import NamedTuple

from monitor.events import Moment

MOST_WAITING = 20_000  # about 10 MB; the window of the broker keeps QoS 1 far below
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
    """One message as it came."""

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


class Inbox:
    """A bounded queue with one reader that can be woken."""

    def __init__(self, most_waiting: int = MOST_WAITING) -> None:
        self._ready = threading.Condition(threading.Lock())
        self._waiting: deque[MqttMessage] = deque()
        self._woken = False
        self._most_waiting = most_waiting
        self._dropped = 0

    def put(self, delivery: MqttMessage) -> bool:
        """Hand over. False: the reader is so far behind that this one was dropped. A dropped one
        with a token is never acknowledged, so the broker still has it."""
        with self._ready:
            spare = self._most_waiting // SPARE_PART if delivery.token is None else 0
            if len(self._waiting) >= self._most_waiting - spare:
                self._dropped += 1
                return False
            self._waiting.append(delivery)
            if len(self._waiting) == 1:
                self._ready.notify()
            return True

    def wake(self) -> None:
        """Let take() return now: there is something else to do."""
        with self._ready:
            self._woken = True
            self._ready.notify()

    def take(self, most: int, timeout_s: float) -> list[MqttMessage]:
        """At least one delivery, or none after `timeout_s` or wake()."""
        with self._ready:
            if not self._waiting and not self._woken:
                self._ready.wait(timeout_s)
            self._woken = False
            if len(self._waiting) <= most:
                taken = list(self._waiting)
                self._waiting.clear()
                return taken
            return [self._waiting.popleft() for _ in range(most)]

    def __len__(self) -> int:
        return len(self._waiting)

    @property
    def dropped(self) -> int:
        """Dropped since the start because the reader was behind."""
        return self._dropped
