"""Recognises a delivery that is already in the journal, so that nothing is counted twice.

A service killed between commit and acknowledgement gets those messages again, marked DUP. They are
known by their packet identifier and a checksum of topic and payload. The journal keeps
`since_last()` in the same transaction as the readings, so marks and readings cannot differ, and
gives the newest marks back at start.

Identifiers mean something within a session only. Where one begins anew (a clean session at the
built-in broker, a broker that has none of ours) what was noted before is forgotten: a board that
was started anew begins again at 1, and a message of the same number and value would be taken for
known, acknowledged, and lost.

The window of open deliveries is 100 by our own Receive Maximum, and deploy/mosquitto says the same
for MQTT 3.1.1. But Mosquitto 2.0 goes beyond it when a session with a backlog is resumed (1,197
were seen open at once), so more than three times that are remembered."""

import struct
from collections import OrderedDict
from zlib import crc32

from monitor.intake.inbox import MqttMessage

KEPT = 4096
_MARK = struct.Struct("<HHI")  # packet identifier, checksum of origin, of topic and payload
MARK_BYTES = _MARK.size
_BEGAN = 0  # in a packet identifier's place, which is never 0: what is noted of the origin is void


class RedeliveryMemory:
    """The last journaled deliveries. Used by the watch thread alone."""

    def __init__(self, stored: bytes = b"", kept: int = KEPT) -> None:
        self._kept = kept
        self._sums: OrderedDict[tuple[int, int], int] = OrderedDict()
        self._new = bytearray()
        self._session: OrderedDict[int, int] = OrderedDict()  # of each origin
        usable = len(stored) - len(stored) % MARK_BYTES
        for mid, origin, checksum in _MARK.iter_unpack(stored[:usable]):
            if mid == _BEGAN:
                self._forget(origin)
            else:
                self._note((mid, origin), checksum)

    def already_journaled(self, delivery: MqttMessage) -> bool:
        """True: count nothing, and acknowledge it with the next commit (not at once: the first copy
        may still wait for its own). Else it is taken note of."""
        if delivery.token is None:
            return False
        origin = crc32(delivery.origin.encode()) & 0xFFFF
        self._in_session(origin, delivery.session)
        key = (delivery.token.mid, origin)
        checksum = crc32(delivery.payload, crc32(delivery.topic.encode() + b"\0"))
        # A delivery without DUP is a new message, whatever it looks like: the broker has given the
        # identifier out anew, so the old note of it must not claim the next redelivery.
        if delivery.dup and self._sums.get(key) == checksum:
            return True
        self._note(key, checksum)
        self._new += _MARK.pack(*key, checksum)
        return False

    def since_last(self) -> bytes:
        """For the commit that holds what was noted since the last call: eight bytes a delivery, and
        as many for a session that began."""
        new, self._new = bytes(self._new), bytearray()
        return new

    def _in_session(self, origin: int, session: int) -> None:
        if not session or self._session.get(origin) == session:
            return
        self._session.pop(origin, None)
        self._session[origin] = session
        if len(self._session) > self._kept:
            self._session.popitem(last=False)
        if self._forget(origin):
            self._new += _MARK.pack(_BEGAN, origin, 0)

    def _forget(self, origin: int) -> bool:
        old = [key for key in self._sums if key[1] == origin]
        for key in old:
            del self._sums[key]
        return bool(old)

    def _note(self, key: tuple[int, int], checksum: int) -> None:
        self._sums.pop(key, None)
        self._sums[key] = checksum
        if len(self._sums) > self._kept:
            self._sums.popitem(last=False)
