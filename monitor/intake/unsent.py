"""How much waits to be sent to the clients of the built-in broker: bounded for each connection and
for all, in bytes. Pure; used by intake.hardened."""

from collections import Counter

MOST_OF_ONE = 256 * 1024  # more is a client that does not read
MOST_OF_ALL = 8 * 1024 * 1024
EACH = 512  # reckoned for a message beside its payload, so that many small ones count as well


class Unsent:
    """Bytes by connection; one that has more than its share has to go."""

    def __init__(self) -> None:
        self._bytes: Counter[int] = Counter()
        self.total = 0

    def add(self, connection: int, payload: int) -> set[int]:
        """A message of so many bytes waits now. The connections that must be ended for it."""
        self._bytes[connection] += payload + EACH
        self.total += payload + EACH
        over = {connection} if self._bytes[connection] > MOST_OF_ONE else set()
        if self.total > MOST_OF_ALL:
            over.add(max(self._bytes, key=self._bytes.__getitem__))
        return over

    def done(self, connection: int, payload: int) -> None:
        """It has been sent, or never will be."""
        self._bytes[connection] -= payload + EACH
        self.total -= payload + EACH
        if self._bytes[connection] <= 0:
            del self._bytes[connection]
