"""How the record looks in InfluxDB: six measurements, few tags, one timestamp a fact. Pure; called
by `backlog` (to lines) and by `read_back` (the same names the other way).

    temperature   tags site, brooder, probe, place    celsius
    brooder       tags site, brooder                  target_c, low_c, high_c, head_count, ...
    ledger        tags site, brooder, entry           count, undone                  (whole numbers)
    ledger_text   tags site, brooder, entry           record, note, kind, hatched, by, probe
    alarm         tags site, brooder, alarm, change   temp_c, target_c, ...: the numbers behind it
    alarm_text    tags site, brooder, alarm, change   priority, cause, probe, occurrence, facts

`record` is the whole entry and `facts` all behind a change, as JSON. Numbers and texts are apart,
so that a query may group what it finds. A series is a probe, a box or a kind of entry or alarm:
their number does not grow with time. `count` of an entry that was taken back is 0 and `undone` 1,
so a sum of losses is right as it stands. A probe is called by its name in its box; where it belongs
elsewhere than the tag `brooder` says, by its key (site/shade).

What is written twice has the same tags and time and overwrites itself, from whatever journal it
comes: below the millisecond a time holds which of the probe's readings in that millisecond it is,
or digits of the identity of the entry or of the alarm's occurrence. Readings from before the board
knew the time, and values no floor can have, are not mirrored: their time or value is not true."""

import json
import re
import zlib
from collections.abc import Iterable

from monitor.events import Change, Entry, EntryKind
from monitor.journal.forms.lines import entry_line as journal_line
from monitor.site import SITE_WIDE

TEMPERATURE, BROODER = "temperature", "brooder"
LEDGER, LEDGER_TEXT = "ledger", "ledger_text"
ALARM, ALARM_TEXT = "alarm", "alarm_text"
FORM = 2  # of all this: another is another target, filled from the beginning
# One point of each fact has this field: what is counted to know whether all is there.
COUNTED = {TEMPERATURE: "celsius", BROODER: None, LEDGER_TEXT: "record", ALARM_TEXT: "facts"}
NS_PER_MS = 1_000_000

_TAG_ESCAPES = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ "})
_TEXT_ESCAPES = str.maketrans({'"': r"\"", "\\": r"\\"})
# A tag holds no line end and must not end in a backslash: those are written as in a URL.
_HIDDEN = re.compile(r"%(?=25|5C|0A|0D)|\n|\r|\\$")
_SHOWN = re.compile("%(25|5C|0A|0D)")


def tag_text(name: str) -> str:
    """A name as the mirror has it; `name_of` gives it back. Nearly always the name itself."""
    return _HIDDEN.sub(lambda found: f"%{ord(found[0]):02X}", name)


def name_of(text: str) -> str:
    return _SHOWN.sub(lambda found: chr(int(found[1], 16)), text)


def tag(name: str) -> str:
    return tag_text(name).translate(_TAG_ESCAPES)


def quoted(text: str) -> str:
    """A text field's value. A server would give other line ends back than it was given."""
    printable = "".join(sign if sign.isprintable() else " " for sign in text)
    return f'"{printable.translate(_TEXT_ESCAPES)}"'


def temperature_head(site: str, key: str, place: str | None) -> str:
    box, _, name = key.rpartition("/")
    return (
        f"{TEMPERATURE},brooder={tag(box or SITE_WIDE)},"
        f"place={tag(place or 'unknown')},probe={tag(name)},site={tag(site)} celsius="
    )


def sample_head(site: str, brooder: str, name: str) -> str:
    """What all numbers of this name that were derived of a brooder begin with."""
    return f"{BROODER},brooder={tag(brooder)},site={tag(site)} {tag(name)}="


def numbers(head: str, times_ms: Iterable[int], values: Iterable[int]) -> list[str]:
    """One line a reading or sample, in order of time; values in 1/10000."""
    lines = []
    before, nth = -1, 0
    for at, value in zip(times_ms, values, strict=True):
        nth = nth + 1 if at == before else 0
        before = at
        lines.append(f"{head}{value / 10_000!r} {at * NS_PER_MS + nth}")
    return lines


def alarm_lines(site: str, change: Change, nth: int) -> list[str]:
    """One alarm change: its texts and, where it has any, its numbers. `nth`: of the changes of its
    millisecond."""
    box = change.brooder or SITE_WIDE
    tags = (
        f"alarm={change.alarm.value},brooder={tag(box)},change={change.change.value},"
        f"site={tag(site)}"
    )
    texts = {
        "priority": change.priority.value,
        "cause": change.cause.value,
        "probe": None if change.probe is None else _probe(change.probe, box),
        "occurrence": tag_text(change.occurrence),
        "facts": json.dumps(change.facts),
        "nth": str(nth) if nth else None,
    }
    at = _ns(change.at, f"{change.occurrence} {change.change.value}")
    known = {
        name: float(value)
        for name, value in change.facts.items()
        if isinstance(value, int | float) and not isinstance(value, bool)
    }
    found = ",".join(f"{name}={value!r}" for name, value in known.items() if abs(value) < 1e300)
    numbers_of_it = [f"{ALARM},{tags} {found} {at}"] if found else []
    return [f"{ALARM_TEXT},{tags} {_texts(texts)} {at}", *numbers_of_it]


def entry_lines(site: str, entry: Entry, *, undone: bool) -> list[str]:
    box = entry.brooder or SITE_WIDE
    tags = f"brooder={tag(box)},entry={entry.entry.value},site={tag(site)}"
    texts = {
        "record": json.dumps(json.loads(journal_line(entry))),  # ASCII: no line end in it
        "note": entry.note,
        "kind": entry.kind,
        "hatched": entry.hatched,
        "by": entry.by,
        "probe": None if entry.probe is None else _probe(entry.probe, box),
    }
    at = _ns(entry.at, entry.id or "")
    count = "" if entry.count is None else f"count={0 if undone else entry.count}i,"
    lines = [f"{LEDGER_TEXT},{tags} {_texts(texts)} {at}"]
    if entry.entry is not EntryKind.UNDO:
        lines.append(f"{LEDGER},{tags} {count}undone={int(undone)}i {at}")
    return lines


def probe_key(said: str, brooder: str) -> str:
    """The key of a probe as it is called here."""
    return said if "/" in said else f"{brooder}/{said}"


def _probe(key: str, box: str) -> str:
    where, _, name = key.rpartition("/")
    return name if where == box else key


def _texts(texts: dict[str, str | None]) -> str:
    return ",".join(f"{name}={quoted(said)}" for name, said in texts.items() if said is not None)


def _ns(at: float, identity: str) -> int:
    """The time of a fact, and below the millisecond digits of what makes it itself: two of one kind
    in one millisecond are kept apart, but for one pair in a million."""
    return round(at * 1000) * NS_PER_MS + zlib.crc32(identity.encode()) % NS_PER_MS
