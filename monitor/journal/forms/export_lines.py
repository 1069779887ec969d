"""The journal as journal lines, an hour at a time. Called by `brooder export`.

An hour's readings come as arrays, and a line is put together from parts that are made once (minute
and second, topic, each different value)."""

import json
from collections.abc import Iterator

from monitor.journal.forms import payloads
from monitor.journal.forms.hours import HourKept, hours
from monitor.journal.forms.lines import entry_line
from monitor.journal.reader import ALL_TIME, JournalReader
from monitor.journal.records import KnownProbe
from monitor.journal.time_text import FRACTION, iso

_CLOCK = [f"{second // 60:02d}:{second % 60:02d}" for second in range(3600)]


def chunks(
    reader: JournalReader,
    from_at: float = ALL_TIME[0],
    to_at: float = ALL_TIME[1],
    *,
    brooder: str | None = None,
) -> Iterator[str]:
    """Text of many whole lines, in time order. Clock-unsure readings carry `"clock":"unsure"`."""
    known = payloads.current(reader.known()) | reader.meters()
    if brooder is not None:
        known = {k: one for k, one in known.items() if one.brooder in (brooder, None)}
    entries = sorted(
        (
            entry
            for entry in reader.entries()
            if from_at <= entry.at < to_at and brooder in (None, entry.brooder)
        ),
        key=lambda entry: (entry.at, entry.number),
    )
    waiting = [(round(entry.at * 1000), entry_line(entry)) for entry in entries]
    writer = _HourWriter(known)
    for hour in hours(reader, known, from_at, to_at):
        split = sum(1 for at_ms, _ in waiting if at_ms < hour.end_ms)
        ripe, waiting = waiting[:split], waiting[split:]
        yield writer.text(hour, ripe)
    if waiting:
        yield "".join(line for _, line in waiting)


class _HourWriter:
    """Lines of one hour after the other; what each probe's lines have in common is made once."""

    def __init__(self, known: dict[str, KnownProbe]) -> None:
        self._known = known
        topics = [one.topic for one in known.values()]
        self._shared = {topic for topic in topics if topics.count(topic) > 1}
        self._texts: dict[tuple[str, bool], dict[int, str]] = {}

    def text(self, hour: HourKept, entries: list[tuple[int, str]]) -> str:
        """All lines of the hour with the entries among them."""
        prefix = '{"at":"' + iso(hour.start_ms)[:14]
        plain: list[tuple[int, str]] = []
        shared: dict[tuple[int, str, bool], list[tuple[KnownProbe, float]]] = {}
        for key, part in hour.parts:
            one = self._known[key]
            tail = '"}\n' if part.sure else '","clock":"unsure"}\n'
            stamped = one.senml_name is not None or one.time_pointer
            if one.topic in self._shared or stamped:
                for at_ms, value in zip(part.times_ms, part.values, strict=True):
                    number = payloads.raw_number(one, value, corrected=not part.bad)
                    if one.topic in self._shared:
                        shared.setdefault((at_ms, one.topic, part.sure), []).append((one, number))
                    else:
                        text = payloads.payload(one, number, at_ms / 1000)
                        plain.append((at_ms, _line(at_ms, one.topic, text, part.sure)))
                continue
            head = f'Z","topic":{json.dumps(one.topic)},"payload":"'
            texts = self._texts.setdefault((key, part.bad), {})
            for value in set(part.values) - texts.keys():
                number = payloads.raw_number(one, value, corrected=not part.bad)
                texts[value] = head + json.dumps(payloads.payload(one, number, 0.0))[1:-1]
            start = hour.start_ms
            plain += [
                (
                    at,
                    f"{prefix}{_CLOCK[(at - start) // 1000]}{FRACTION[at % 1000]}"
                    f"{texts[value]}{tail}",
                )
                for at, value in zip(part.times_ms, part.values, strict=True)
            ]
            if len(texts) > 100_000:
                texts.clear()
        for (at_ms, topic, sure), parts in shared.items():
            plain += [(at_ms, _line(at_ms, topic, text, sure)) for text in _merged(parts, at_ms)]
        plain += entries
        plain.sort(key=_time_of)
        return "".join([line for _, line in plain])


def _time_of(item: tuple[int, str]) -> int:
    return item[0]


def _line(at_ms: int, topic: str, payload: str, sure: bool) -> str:
    said = {"at": iso(at_ms), "topic": topic, "payload": payload}
    if not sure:
        said["clock"] = "unsure"
    return json.dumps(said, separators=(",", ":"), ensure_ascii=False) + "\n"


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
