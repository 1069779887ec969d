"""Recognises a delivery that is already in the journal, so that nothing is counted twice.

A service killed between commit and acknowledgement gets those messages again, marked DUP. They are
known by their packet identifier and a checksum of topic and payload. The journal keeps `to_bytes()`
in the same transaction as the readings, so the memory and the readings cannot differ.

No more than a broker's in-flight window can be open, so a memory of that size is enough: keep it
above the window (100 by our own Receive Maximum; deploy/mosquitto says the same for MQTT 3.1.1)."""

import struct
from collections import OrderedDict
from zlib import crc32

from monitor.intake.inbox import Delivery

KEPT = 128
_RECORD = struct.Struct("<HII")  # packet identifier, checksum of origin, of topic and payload


class RedeliveryMemory:
    """The last journaled deliveries. Used by the watch thread alone."""

    def __init__(self, stored: bytes = b"", kept: int = KEPT) -> None:
        self._kept = kept
        self._sums: OrderedDict[tuple[int, int], int] = OrderedDict()
        usable = len(stored) - len(stored) % _RECORD.size
        for mid, origin, checksum in _RECORD.iter_unpack(stored[:usable]):
            self._sums[(mid, origin)] = checksum

    def already_journaled(self, delivery: Delivery) -> bool:
        """True: count nothing, and acknowledge it with the next commit (not at once: the first copy
        may still wait for its own). Else it is taken note of."""
        if delivery.token is None:
            return False
        key = (delivery.token.mid, crc32(delivery.origin.encode()))
        checksum = crc32(delivery.payload, crc32(delivery.topic.encode() + b"\0"))
        # A delivery without DUP is a new message, whatever it looks like: the broker has given the
        # identifier out anew, so the old note of it must not claim the next redelivery.
        if delivery.dup and self._sums.get(key) == checksum:
            return True
        self._sums.pop(key, None)
        self._sums[key] = checksum
        if len(self._sums) > self._kept:
            self._sums.popitem(last=False)
        return False

    def to_bytes(self) -> bytes:
        """For the commit that holds everything noted so far: ten bytes a delivery."""
        return b"".join(_RECORD.pack(*key, checksum) for key, checksum in self._sums.items())
