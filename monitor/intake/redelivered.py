"""Recognises a delivery that is already in the journal, so that nothing is counted twice.

A service killed between commit and acknowledgement gets those messages again, marked DUP. They are
known by their packet identifier and a checksum of topic and payload. The journal keeps
`since_last()` in the same transaction as the readings, so marks and readings cannot differ, and
gives the newest marks back at start.

Identifiers mean something within a session only. Where one begins anew (a clean session at the
built-in broker, a broker that has none of ours) what was noted before is forgotten: a board that
was started anew begins again at 1, and a message of the same number and value would be taken for
known, acknowledged, and lost.

What may be open at once is bounded by nothing but the identifiers: Mosquitto 2.0 goes beyond our
Receive Maximum of 100 when a session with a backlog is resumed (1,197 were seen). So of a broker of
one's own the last message of every identifier is remembered. They are acknowledged in their order,
so what is open is what came last, each under an identifier of its own. The built-in broker keeps to
its window."""

import struct
from array import array
from zlib import crc32

from monitor.bounded import Bounded
from monitor.intake.inbox import MqttMessage

EVERY = 1 << 16  # packet identifiers there are (MQTT 5.0, section 2.2.1)
KEPT = 4096  # of all clients of the built-in broker; far above its window
_BROKER = 0  # the origin of what a broker of one's own delivers, which names none
_MARK = struct.Struct("<HHI")  # packet identifier, checksum of origin, of topic and payload
MARK_BYTES = _MARK.size
_BEGAN = 0  # in a packet identifier's place, which is never 0: what is noted of the origin is void


class RedeliveryMemory:
    """The last journaled deliveries. Used by the watch thread alone."""

    def __init__(self, stored: bytes = b"", kept: int = KEPT) -> None:
        self._of_broker = array("I", bytes(4 * EVERY))  # by packet identifier; 0: none
        self._sums: Bounded[tuple[int, int], int] = Bounded(kept)
        self._new = bytearray()
        self._session: Bounded[int, int] = Bounded(kept)  # of each origin
        usable = len(stored) - len(stored) % MARK_BYTES
        for mid, origin, checksum in _MARK.iter_unpack(stored[:usable]):
            if mid == _BEGAN:
                self._forget(origin)
            else:
                self._note(mid, origin, checksum)

    def already_journaled(self, delivery: MqttMessage) -> bool:
        """True: count nothing, and acknowledge it with the next commit (not at once: the first copy
        may still wait for its own). Else it is taken note of."""
        if delivery.token is None:
            return False
        origin = crc32(delivery.origin.encode()) & 0xFFFF
        self._in_session(origin, delivery.session)
        mid = delivery.token.mid
        checksum = crc32(delivery.payload, crc32(delivery.topic.encode() + b"\0")) or 1
        # A delivery without DUP is a new message, whatever it looks like: the broker has given the
        # identifier out anew, so the old note of it must not claim the next redelivery.
        if delivery.dup and self._noted(mid, origin) == checksum:
            return True
        self._note(mid, origin, checksum)
        self._new += _MARK.pack(mid, origin, checksum)
        return False

    def since_last(self) -> bytes:
        """For the commit that holds what was noted since the last call: eight bytes a delivery, and
        as many for a session that began."""
        new, self._new = bytes(self._new), bytearray()
        return new

    def _in_session(self, origin: int, session: int) -> None:
        if not session or self._session.get(origin) == session:
            return
        self._session[origin] = session
        if self._forget(origin):
            self._new += _MARK.pack(_BEGAN, origin, 0)

    def _forget(self, origin: int) -> bool:
        if origin == _BROKER:
            known = any(self._of_broker)
            self._of_broker = array("I", bytes(4 * EVERY))
            return known
        old = [key for key in self._sums if key[1] == origin]
        for key in old:
            del self._sums[key]
        return bool(old)

    def _noted(self, mid: int, origin: int) -> int | None:
        return self._of_broker[mid] if origin == _BROKER else self._sums.get((mid, origin))

    def _note(self, mid: int, origin: int, checksum: int) -> None:
        if origin == _BROKER:
            self._of_broker[mid] = checksum
        else:
            self._sums[mid, origin] = checksum
