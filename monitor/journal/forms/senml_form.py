"""The journal's readings as one SenML JSON pack (RFC 8428). Called by `brooder export`.

The first record carries the base fields: name, unit Cel and a time from which the others count, so
that the numbers stay short. Times count from the first reading and not from now, as section 4.5.3
asks of values that are absolute: the base time is far above 2**28."""

import json
import re
from collections.abc import Iterator

from monitor.journal.forms import payloads
from monitor.journal.forms.kept_values import kept_values
from monitor.journal.reader import ALL_TIME, JournalReader
from monitor.journal.resolution import PER_DEGREE

_NOT_IN_A_NAME = re.compile(r"[^A-Za-z0-9\-:./_]")  # section 4.5.1


def readings(
    reader: JournalReader, from_at: float = ALL_TIME[0], to_at: float = ALL_TIME[1]
) -> Iterator[str]:
    """The pack in pieces, one record a line, ordered by time. Empty: an empty list, which is not a
    pack but is what a reader of JSON expects."""
    meters = payloads.current(reader.meters())
    known = payloads.current(reader.known()) | meters
    # A state has no unit; "/" is SenML's for a ratio, and 0 and 1 are that too (RFC 8428, 12.1).
    units = {
        key: '"u":' + json.dumps("/" if one.unit == one.place else one.unit) + ","
        for key, one in meters.items()
    }
    names = {key: json.dumps(name(key)) for key in known}
    base_ms: int | None = None
    yield "["
    for at_ms, key, value, _, bad in kept_values(reader, known, from_at, to_at):
        if bad:
            continue
        head, separator = "", ",\n"
        if base_ms is None:
            base_ms = at_ms // 1000 * 1000
            head, separator = f'"bt":{base_ms // 1000},"bu":"Cel",', "\n"
        offset = payloads.number_text((at_ms - base_ms) / 1000)
        shown = payloads.number_text(value / PER_DEGREE)
        unit = units.get(key, "")
        yield f'{separator}{{{head}"n":{names[key]},{unit}"t":{offset},"v":{shown}}}'
    yield "\n]\n"


def name(key: str) -> str:
    """A probe's key as a SenML name: other characters become _, and it begins with a letter or
    digit."""
    word = _NOT_IN_A_NAME.sub("_", key)
    return word if word[:1].isalnum() else f"x{word}"
