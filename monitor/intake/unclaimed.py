"""What was heard on topics that no probe has, and the configuration lines that would claim them.

Filled by intake.listener or the built-in broker; read by `brooder probes` and the set-up page."""

import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from monitor.intake.refused import excerpt, printable
from monitor.site import place_for


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """Where a temperature may be. `pointer` None: the payload is a bare number or SenML."""

    pointer: str | None
    value: float
    unit: str


def guess(payload: bytes) -> tuple[Guess, ...]:
    """Places of the payload that may hold a temperature, the likeliest first."""
    try:
        document = (
            json.loads(payload.decode("utf-8").strip().replace(",", ".", 1))
            if len(payload) < 16
            else json.loads(payload)
        )
    except (ValueError, RecursionError):
        return ()
    if isinstance(document, int | float) and not isinstance(document, bool):
        unit = _unit_for(float(document), "")
        return (Guess(pointer=None, value=float(document), unit=unit),) if unit else ()
    if isinstance(document, list) and document and _looks_senml(document):
        return _guess_senml(document)
    found = [
        (likelihood, Guess(pointer=pointer, value=value, unit=unit))
        for pointer, name, value in _numbers(document)
        for likelihood in (_likelihood(name),)
        if (unit := _unit_for(value, name)) and likelihood > 0
    ]
    found.sort(key=lambda pair: -pair[0])
    return tuple(one for _, one in found[:4])


_LIKELY = ("temperature", "temp", "tempc", "temp_c", "tempf", "temp_f", "celsius", "fahrenheit")
_NOT_TEMPERATURE = ("hum", "batt", "volt", "rssi", "link", "press", "time", "stamp", "id", "lux")


def _likelihood(name: str) -> int:
    word = name.lower()
    if any(part in word for part in _NOT_TEMPERATURE):
        return 0
    if word in _LIKELY:
        return 3
    return 2 if "temp" in word or word in ("t", "c", "f") else 1


def _unit_for(value: float, name: str) -> str | None:
    """The unit in which this would be a temperature of a brooder or of a night outside."""
    word = name.lower()
    if word.endswith(("_f", "tempf", "fahrenheit")) or word == "f":
        return "fahrenheit" if -40 <= value <= 200 else None
    if -40 <= value <= 60:
        return "celsius"
    if 60 < value <= 140:
        return "fahrenheit"
    return "kelvin" if 233 <= value <= 333 else None


def _numbers(
    document: Any, at: str = "", name: str = "", depth: int = 0
) -> Iterator[tuple[str, str, float]]:
    if depth > 6:
        return
    if isinstance(document, Mapping):
        for key, value in list(document.items())[:64]:
            token = str(key).replace("~", "~0").replace("/", "~1")
            yield from _numbers(value, f"{at}/{token}", str(key), depth + 1)
    elif isinstance(document, list):
        for index, value in enumerate(document[:16]):
            yield from _numbers(value, f"{at}/{index}", name, depth + 1)
    elif isinstance(document, int | float | str) and not isinstance(document, bool):
        try:
            value = float(document)
        except (ValueError, OverflowError):
            return
        yield at, name, value


def _looks_senml(document: list[Any]) -> bool:
    return all(isinstance(r, Mapping) and ("n" in r or "bn" in r or "v" in r) for r in document)


def _guess_senml(document: list[Any]) -> tuple[Guess, ...]:
    for record in document:
        value = record.get("v")
        said = record.get("u", record.get("bu"))
        if isinstance(value, int | float) and said in ("Cel", "K"):
            unit = "celsius" if said == "Cel" else "kelvin"
            return (Guess(pointer=None, value=float(value), unit=unit),)
    return ()


MOST_TOPICS = 200
MOST_TOPIC_CHARS = 200
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

    def __init__(
        self, most_topics: int = MOST_TOPICS, *, ours: Callable[[str], bool] = lambda _topic: False
    ) -> None:
        """`ours`: topics of the monitor itself, which are nothing to claim."""
        self._ours = ours
        self._lock = threading.Lock()
        self._heard: OrderedDict[str, tuple[int, float, bytes, bool]] = OrderedDict()
        self._most_topics = most_topics
        self.total = 0  # all messages on unclaimed topics since the start

    def add(self, topic: str, payload: bytes, at: float) -> None:
        """Note one message. Cheap: guessing is left to who asks."""
        if self._ours(topic):
            return
        shown = printable(topic[:MOST_TOPIC_CHARS])
        whole, topic = shown == topic, shown
        with self._lock:
            self.total += 1
            old = self._heard.pop(topic, None)
            count = old[0] + 1 if old else 1
            self._heard[topic] = (count, at, bytes(payload[:KEPT_PAYLOAD_BYTES]), whole)
            if len(self._heard) > self._most_topics:
                self._heard.popitem(last=False)

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
