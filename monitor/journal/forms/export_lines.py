"""The journal as journal lines. Called by `brooder export`."""

import json
from collections.abc import Iterable, Iterator
from heapq import merge
from itertools import groupby
from operator import attrgetter, itemgetter

from monitor.journal.forms import payloads
from monitor.journal.forms.kept_values import KeptValue, kept_values
from monitor.journal.forms.lines import entry_line
from monitor.journal.reader import ALL_TIME, JournalReader
from monitor.journal.records import KnownProbe
from monitor.journal.resolution import iso

_ENCODE = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False).encode


def chunks(
    reader: JournalReader, from_at: float = ALL_TIME[0], to_at: float = ALL_TIME[1]
) -> Iterator[str]:
    """The lines of one moment after the other. Clock-unsure readings carry `"clock":"unsure"`."""
    known = payloads.current(reader.known()) | payloads.current(reader.meters())
    topics = [one.topic for one in known.values()]
    shared = {topic for topic in topics if topics.count(topic) > 1}
    entries = [
        (round(entry.at * 1000), entry_line(entry))
        for entry in sorted(reader.entries(), key=attrgetter("at", "number"))
        if from_at <= entry.at < to_at
    ]
    said = (
        (at_ms, "".join(_of_moment(found, known, shared)))
        for at_ms, found in groupby(
            kept_values(reader, known, from_at, to_at), key=attrgetter("at_ms")
        )
    )
    yield from map(itemgetter(1), merge(said, entries, key=itemgetter(0)))


def _of_moment(
    found: Iterable[KeptValue], known: dict[str, KnownProbe], shared: set[str]
) -> Iterator[str]:
    together: dict[tuple[str, bool], list[tuple[KnownProbe, float]]] = {}
    for at_ms, key, value, sure, bad in found:
        one = known[key]
        number = payloads.raw_number(one, value, corrected=not bad)
        if one.topic in shared:
            together.setdefault((one.topic, sure), []).append((one, number))
        else:
            yield _line(at_ms, one.topic, payloads.payload(one, number, at_ms / 1000), sure)
    for (topic, sure), parts in together.items():
        yield from (_line(at_ms, topic, text, sure) for text in _merged(parts, at_ms))


def _line(at_ms: int, topic: str, payload: str, sure: bool) -> str:
    said = {"at": iso(at_ms), "topic": topic, "payload": payload}
    if not sure:
        said["clock"] = "unsure"
    return _ENCODE(said) + "\n"


def _merged(parts: list[tuple[KnownProbe, float]], at_ms: int) -> Iterator[str]:
    """One topic's readings of one instant: those at different pointers came in one payload, and
    one bare number may have served several outside probes."""
    documents: list[dict[str, tuple[KnownProbe, float]]] = []
    numbers: list[float] = []
    packs: list[str] = []
    for one, number in parts:
        if one.senml_name is not None:
            packs.append(payloads.payload(one, number, at_ms / 1000)[1:-1])
        elif one.value_pointer is None:
            if number not in numbers:
                numbers.append(number)
        else:
            place = one.value_pointer
            home = next((d for d in documents if place not in d or d[place][1] == number), None)
            if home is None:
                documents.append({place: (one, number)})
            else:
                home[place] = (one, number)
    if packs:
        yield "[" + ",".join(packs) + "]"
    yield from (payloads.number_text(number) for number in numbers)
    yield from (payloads.document(list(d.values()), at_ms / 1000) for d in documents)
