"""One client's stream to the built-in broker, bounded in what it collects and in how long it takes
to close. Used by intake.hardened alone."""

import asyncio
from collections.abc import Callable
from contextlib import suppress

from amqtt.adapters import StreamReaderAdapter, StreamWriterAdapter
from amqtt.mqtt.packet import CONNECT

from monitor.doorway import Caller

LARGEST_PACKET = 128 * 1024  # twice the largest payload that is read
CLOSE_WITHIN_S = 2.0  # a client that does not read would keep its last packets here for ever


class BoundedReader(StreamReaderAdapter):  # type: ignore[misc]
    """Refuses to collect a packet of up to 256 MB because a client announced it."""

    _ahead = b""
    _over = False
    _text = b""  # read last; before a payload that is the topic, unless that is very short
    # Told once of who is let in: the topic, as far as it is known, and how many bytes.
    on_too_large: Callable[[str, int], None] | None = None

    async def read(self, n: int = -1) -> bytes:
        """`n` bytes. Raises ConnectionResetError where they are too many."""
        # amqtt takes this for the end of the stream, but goes on with what follows a packet that
        # ended early; so once over, it stays over.
        if not self._over and n > LARGEST_PACKET:
            self._over = True
            if self.on_too_large is not None:
                self.on_too_large(self._text.decode("utf-8", "replace"), n)
        if self._over:
            raise ConnectionResetError(f"packet of {n} bytes")
        ahead, self._ahead = self._ahead[:n], self._ahead[n:]
        if len(ahead) < n:
            ahead += await super().read(n - len(ahead))
        if n != 2:  # a length, or a packet's number
            self._text = ahead if n > 2 else b""
        return ahead

    async def protocol_level(self) -> int:
        """Of the CONNECT that comes first, which stays to be read. 0: it is none."""
        start: bytes = await super().read(2)
        while start[-1] & 0x80 and len(start) < 5:  # the length's further bytes
            start += await super().read(1)
        if start[0] >> 4 != CONNECT:
            self._ahead = start
            return 0
        header: bytes = await super().read(7)  # length and name of the protocol, its level
        self._ahead = start + header
        return header[6] if header[:6] == b"\x00\x04MQTT" else 0


class BoundedWriter(StreamWriterAdapter):  # type: ignore[misc]
    """Never waits long for a client to read."""

    def __init__(self, writer: asyncio.StreamWriter, caller: Caller) -> None:
        super().__init__(writer)
        self.caller = caller

    async def close(self) -> None:
        """Ends the connection: politely, or else at once."""
        with suppress(OSError):  # it is gone already
            try:
                async with asyncio.timeout(CLOSE_WITHIN_S):
                    await super().close()
            except TimeoutError:
                self.abort()

    def abort(self) -> None:
        """Ends the connection and lets go of what was to be sent."""
        self.is_closed = True
        self._writer.transport.abort()
