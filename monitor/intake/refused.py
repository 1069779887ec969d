"""A small counted record of messages that could not be read. Filled by the watch thread, read by
`brooder probes`, the page and the log; bounded however much junk comes."""

import threading
from dataclasses import dataclass

from monitor.bounded import Bounded

EXCERPT_BYTES = 80
MOST_KINDS = 200  # of (topic, reason) kept; the longest unheard goes first
MOST_TOPIC_CHARS = 200


@dataclass(frozen=True, slots=True)
class RefusedKind:
    """Messages of one topic refused for one reason."""

    topic: str
    reason: str
    count: int
    first_at: float
    last_at: float
    excerpt: str  # of the last one, safe to print


class RefusedRecord:
    """What was refused, by topic and reason. Safe to use from several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kinds: Bounded[tuple[str, str], RefusedKind] = Bounded(MOST_KINDS)

    def add(self, topic: str, reason: str, payload: bytes, at: float) -> RefusedKind:
        """Count one; the first of its kind (count == 1) is worth a log line."""
        topic = printable(topic[:MOST_TOPIC_CHARS])
        # Reasons quote the payload's numbers; they must not make each message a kind of its own.
        key = (topic, "".join("0" if char.isdigit() else char for char in reason))
        with self._lock:
            old = self._kinds.get(key)
            count, first_at = (1, at) if old is None else (old.count + 1, old.first_at)
            kind = RefusedKind(topic, reason, count, first_at, at, excerpt(payload))
            self._kinds[key] = kind
            return kind

    def latest(self) -> list[RefusedKind]:
        with self._lock:
            return list(reversed(self._kinds.values()))


def excerpt(payload: bytes) -> str:
    """The beginning of a payload as one printable line without terminal codes."""
    head = payload[:EXCERPT_BYTES].decode("utf-8", errors="replace")
    return printable(head) + ("…" if len(payload) > EXCERPT_BYTES else "")


def printable(text: str) -> str:
    """What came from the network without what a terminal or a page would obey: control characters
    (MQTT 3.1.1, section 1.5.3, lets them be), and those that turn the direction of writing."""
    return text if text.isprintable() else "".join(c if c.isprintable() else "·" for c in text)
