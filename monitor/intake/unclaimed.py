"""What was heard on topics that no probe has, and the configuration lines that would claim them.

Filled by intake.listener or the built-in broker; read by `brooder probes` and the set-up page."""

import json
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from monitor.bounded import Bounded
from monitor.intake.guessing import Guess, guess
from monitor.intake.refused import MOST_TOPIC_CHARS, excerpt, printable
from monitor.site import place_for

MOST_TOPICS = 200
KEPT_PAYLOAD_BYTES = 2048  # enough to guess from; a pack that is longer is not guessed


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One unclaimed topic. Without guesses where the topic is not shown as it is: the lines that
    claim it would claim another."""

    topic: str  # safe to print
    count: int
    last_at: float
    excerpt: str
    payload: bytes  # its beginning
    guesses: tuple[Guess, ...]


class Unclaimed:
    """The latest unclaimed topics, bounded. Safe to use from several threads."""

    def __init__(self, ours: Callable[[str], bool] = lambda _topic: False) -> None:
        """`ours`: topics of the monitor itself, which are nothing to claim."""
        self._ours = ours
        self._lock = threading.Lock()
        self._heard: Bounded[str, tuple[int, float, bytes, bool]] = Bounded(MOST_TOPICS)

    def add(self, topic: str, payload: bytes, at: float) -> None:
        """Note one message. Cheap: guessing is left to who asks."""
        if self._ours(topic):
            return
        shown = printable(topic[:MOST_TOPIC_CHARS])
        whole, topic = shown == topic, shown
        with self._lock:
            old = self._heard.get(topic)
            count = old[0] + 1 if old else 1
            self._heard[topic] = (count, at, bytes(payload[:KEPT_PAYLOAD_BYTES]), whole)

    def forget(self, topics: Iterable[str]) -> None:
        """A probe has them now."""
        with self._lock:
            for topic in topics:
                self._heard.pop(topic, None)

    def latest(self) -> list[Heard]:
        """Every topic kept, the latest first, with what may be a temperature in it."""
        with self._lock:
            heard = list(reversed(self._heard.items()))
        return [
            Heard(
                topic=topic,
                count=count,
                last_at=at,
                excerpt=excerpt(payload),
                payload=payload,
                guesses=guess(payload) if whole else (),
            )
            for topic, (count, at, payload, whole) in heard
        ]


def suggest(heard: Heard, brooder: str | None = None) -> str:
    """Configuration lines (TOML) that would claim the topic for a probe of the last-named brooder,
    or for the site when `brooder` is None. Empty where nothing in it looks like a temperature."""
    if not heard.guesses:
        return ""
    best = heard.guesses[0]
    name = heard.topic.rstrip("/").rsplit("/", 1)[-1] or "probe"
    lines = ["[[brooders.probes]]" if brooder else "[[site.probes]]"]
    lines.append(f"name = {_toml(name)}")
    lines.append(f"topic = {_toml(heard.topic)}")
    lines.append(f"place = {_toml(place_for(heard.topic).value if brooder else 'outside')}")
    lines.append(f"unit = {_toml(best.unit)}")
    if best.pointer is not None:
        lines.append(f"value = {_toml(best.pointer)}")
    return "\n".join(lines)


def _toml(text: str) -> str:
    # A TOML basic string has JSON's escapes; DEL is the one control JSON lets through.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
