"""MQTT 3.1.1 byte by byte, for what no well-behaved library does.

with Client(port, "probe", user="porch", password="chicks") as probe: assert probe.code == 0"""

import socket
import struct
from contextlib import suppress
from typing import NamedTuple

from support.patience import LEAST_S

REFUSED = 5  # CONNACK: not authorized
NAME_REFUSED = 2  # CONNACK: identifier rejected


class Will(NamedTuple):
    """What the broker is to say when the connection breaks."""

    topic: str
    payload: bytes
    retain: bool = False


class Client:
    """One connection. `code` is CONNACK's, None where the broker hung up without one."""

    def __init__(
        self,
        port: int,
        name: str,
        *,
        user: str | None = None,
        password: str | None = None,
        clean: bool = True,
        will: Will | None = None,
        keep_alive: int = 60,
        receive_buffer: int | None = None,
    ) -> None:
        self.socket = socket.socket()
        if receive_buffer is not None:
            self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
        self.socket.settimeout(LEAST_S)
        self.socket.connect(("127.0.0.1", port))
        flags, fields = 2 if clean else 0, text(name)
        if will is not None:
            flags |= 0x0C | (0x20 if will.retain else 0)
            fields += text(will.topic) + text(will.payload)
        if user is not None:
            flags, fields = flags | 0x80, fields + text(user)
        if password is not None:
            flags, fields = flags | 0x40, fields + text(password)
        self.send(0x10, text("MQTT") + struct.pack(">BBH", 4, flags, keep_alive) + fields)
        self.code: int | None = None
        with suppress(OSError):
            _, body = self.receive()
            self.session_present, self.code = bool(body[0]), body[1]

    def __enter__(self) -> "Client":
        return self

    def __exit__(self, *_: object) -> None:
        self.break_off()

    def send(self, kind: int, body: bytes) -> None:
        """One packet."""
        self.socket.sendall(packet(kind, body))

    def publish(
        self,
        topic: str,
        payload: bytes,
        number: int | None = 1,
        *,
        dup: bool = False,
        retain: bool = False,
    ) -> None:
        """QoS 1; QoS 0 where `number` is None."""
        first = 0x30 | (0x02 if number else 0) | (0x08 if dup else 0) | (0x01 if retain else 0)
        identifier = b"" if number is None else struct.pack(">H", number)
        self.send(first, text(topic) + identifier + payload)

    def subscribe(self, topic: str) -> None:
        """At QoS 0; returns when it is confirmed."""
        self.send(0x82, b"\x00\x01" + text(topic) + b"\x00")
        assert self.receive() == (0x90, b"\x00\x01\x00")

    def is_alive(self) -> bool:
        """Does the broker answer a ping on this connection?"""
        try:
            self.send(0xC0, b"")
            return self.receive() == (0xD0, b"")
        except OSError:
            return False

    def receive(self) -> tuple[int, bytes]:
        """Kind and body of the next packet. Raises OSError when there is none any more."""
        kind = self._read(1)[0]
        length = shift = 0
        while True:
            low = self._read(1)[0]
            length |= (low & 0x7F) << shift
            shift += 7
            if not low & 0x80:
                return kind & 0xF0, self._read(length)

    def heard(self, within_s: float, least: int = 0) -> list[tuple[str, bytes]]:
        """Every message (topic, payload) at QoS 0 until nothing comes for that long; so many are
        waited for, however busy the broker is."""
        said: list[tuple[str, bytes]] = []
        with suppress(TimeoutError):
            while True:
                self.socket.settimeout(within_s if len(said) >= least else LEAST_S)
                kind, body = self.receive()
                if kind == 0x30:
                    end = 2 + int.from_bytes(body[:2], "big")
                    said.append((body[2:end].decode(), body[end:]))
        self.socket.settimeout(LEAST_S)
        return said

    def leave(self) -> None:
        """With a DISCONNECT: no last will."""
        with suppress(OSError):
            self.send(0xE0, b"")
        self.socket.close()

    def break_off(self) -> None:
        """Without one."""
        self.socket.close()

    def _read(self, count: int) -> bytes:
        data = b""
        while len(data) < count:
            more = self.socket.recv(count - len(data))
            if not more:
                raise ConnectionResetError("the broker hung up")
            data += more
        return data


def text(word: str | bytes) -> bytes:
    """With its length before it (MQTT 3.1.1, section 1.5.3)."""
    data = word.encode() if isinstance(word, str) else word
    return struct.pack(">H", len(data)) + data


def packet(kind: int, body: bytes) -> bytes:
    """With its fixed header."""
    length, head = len(body), bytearray([kind])
    while True:
        length, low = length >> 7, length & 0x7F
        head.append(low | (0x80 if length else 0))
        if not length:
            return bytes(head) + body
