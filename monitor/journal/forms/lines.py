"""Journal lines: JSON Lines in time order, what `brooder export` writes and `replay` and `import`
read. Writing them an hour at a time is `export_lines`' part; this module reads them and says what
is wrong with which."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any, NamedTuple

from pydantic_core import from_json

from monitor.events import ALARM_NAMES, Entry, EntryKind
from monitor.journal.records import entry_fields
from monitor.journal.resolution import iso


class ProbeMessage(NamedTuple):
    """What a probe published, and when it came."""

    at: float
    topic: str
    payload: str
    clock_sure: bool = True  # False: the line says "clock":"unsure"


Line = ProbeMessage | Entry


@dataclass
class LineFault(Exception):
    """A line that cannot be used. `words` is one clause."""

    number: int
    words: str

    def __str__(self) -> str:
        return f"line {self.number}: {self.words}"


_DECODE = json.JSONDecoder().decode
_ENTRY_FIELDS = {field.name for field in fields(Entry)} - {"at", "entry"}
_WHOLE = {"count", "number", "undoes"}


def entry_line(entry: Entry) -> str:
    said = {"at": iso(round(entry.at * 1000)), "entry": entry.entry.value}
    rest = {k: v for k, v in entry_fields(entry).items() if k not in ("at", "entry")}
    return json.dumps(said | rest, separators=(",", ":"), ensure_ascii=False) + "\n"


def read(lines: Iterable[str]) -> Iterator[tuple[int, Line]]:
    """(line number, what it says) of every line that is not empty. Raises LineFault."""
    for number, text in enumerate(lines, start=1):
        if text.strip():
            yield number, parse(text, number)


def parse(text: str, number: int = 1) -> Line:
    """One line. Raises LineFault that names the number, the key, the value and what is right."""
    try:
        said = from_json(text)
    except (ValueError, TypeError):  # half a surrogate pair, or what is no JSON at all
        said = _as_python(text, number)
    if not isinstance(said, dict):
        raise LineFault(number, 'is not a JSON object; write one such as {"at":...,"topic":...}')
    return of(said, number)


def _as_python(text: str, number: int) -> Any:
    """What the quicker parser refuses is taken, or named, as Python does."""
    try:
        return _DECODE(text)
    except (ValueError, RecursionError) as error:
        detail = error.msg if isinstance(error, json.JSONDecodeError) else "cannot be read"
        raise LineFault(number, f"is not one JSON object ({detail})") from None


def of(said: dict[str, Any], number: int = 1) -> Line:
    """A line from its keys. Raises LineFault."""
    at = _time(said.get("at"), number)
    if "topic" in said:
        topic, payload = said["topic"], said.get("payload")
        if not isinstance(topic, str) or not topic:
            raise LineFault(number, f"topic is {_shown(topic)}; it must be a text")
        sure = said.get("clock") != "unsure"
        if isinstance(payload, str):
            return ProbeMessage(at, topic, payload, sure)
        if isinstance(payload, int | float | dict | list) and not isinstance(payload, bool):
            return ProbeMessage(
                at, topic, json.dumps(payload), sure
            )  # a payload written without quotes
        raise LineFault(number, f'payload is {_shown(payload)}; it must be a text such as "33.4"')
    if "entry" in said:
        return _entry(at, said, number)
    raise LineFault(number, "has neither a topic nor an entry")


def _time(said: Any, number: int) -> float:
    try:
        moment = datetime.fromisoformat(said)
    except (ValueError, TypeError):
        moment = None
    if moment is not None and moment.tzinfo is not None:
        return moment.timestamp()
    raise LineFault(
        number, f"at is {_shown(said)}; it must be a time with its zone: 2026-02-10T02:15:30Z"
    )


def _entry(at: float, said: dict[str, Any], number: int) -> Entry:
    try:
        kind = EntryKind(said["entry"])
    except ValueError:
        known = ", ".join(kind.value for kind in EntryKind)
        raise LineFault(
            number, f"entry is {_shown(said['entry'])}; it must be one of {known}"
        ) from None
    kept: dict[str, Any] = {}
    for key, value in said.items():
        if key not in _ENTRY_FIELDS or value is None:
            continue
        if key in _WHOLE:
            good = isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 2**53
            want = "a whole number, 0 or more"
        elif key == "minutes":
            good = isinstance(value, int | float) and not isinstance(value, bool)
            want = "a number of minutes"
        elif key == "hatched":
            good, want = _is_date(value), "a date such as 2026-02-08"
        elif key == "alarm":
            good, want = value in ALARM_NAMES, f"one of {', '.join(ALARM_NAMES)}"
        else:
            good, want = isinstance(value, str), "a text"
        if not good:
            raise LineFault(number, f"{key} is {_shown(value)}; it must be {want}")
        kept[key] = value
    return Entry(at=at, entry=kind, **kept)


def _is_date(value: Any) -> bool:
    try:
        return isinstance(value, str) and date.fromisoformat(value) is not None
    except ValueError:
        return False


def _shown(value: Any) -> str:
    if value is None:
        return "missing"
    text = json.dumps(value)
    return text if len(text) <= 60 else text[:57] + "..."
