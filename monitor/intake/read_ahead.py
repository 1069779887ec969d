"""paho's client, but for how it reads. By itself it asks the system for the first byte of each
packet, for its length and for the rest, and between two packets whether there is more: most of what
a message costs. Here what has come is read in one piece. Used by `broker_session`."""

from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTErrorCode

_PIECE = 16 * 1024  # bytes; some three hundred readings
_MOST_PACKETS = 200  # then the client also writes, and looks whether the broker is there


class ReadAhead:
    """A connection that is read as far as it goes, and gives of that what it is asked for."""

    def __init__(self, line: Any) -> None:
        self._line, self._piece, self._given = line, b"", 0
        self.fileno, self.send, self.close = line.fileno, line.send, line.close

    def recv(self, most: int) -> bytes:
        """As a socket's."""
        if not self.ahead:
            self._piece, self._given = self._line.recv(_PIECE), 0
        some = self._piece[self._given : self._given + most]
        self._given += len(some)
        return some

    @property
    def ahead(self) -> int:
        """Bytes that are read and not given yet."""
        return len(self._piece) - self._given

    def pending(self) -> int:
        """As a TLS socket's: what can be had without asking the system."""
        return self.ahead or getattr(self._line, "pending", int)()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._line, name)


class Client(paho.Client):
    """paho's, reading ahead."""

    def _create_socket(self) -> Any:
        return ReadAhead(super()._create_socket())

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Packets while there are any, up to some."""
        for _ in range(_MOST_PACKETS):
            result = super().loop_read(max_packets)
            if result or self._sock is None or not self._sock.ahead:  # type: ignore[attr-defined]
                break
        return result
