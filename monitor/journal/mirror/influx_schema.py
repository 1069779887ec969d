"""How the record looks in InfluxDB: four measurements, few tags, one timestamp a fact. Pure; called
by `backlog` (to lines) and by `read_back` (the same names the other way).

    temperature  tags site, brooder, probe, place    field celsius
    brooder      tags site, brooder                  fields target_c, low_c, high_c, ... (samples)
    alarm        tags site, brooder, alarm, change   fields priority, cause, probe, temp_c, facts...
    ledger       tags site, brooder, entry           fields number, count, hatched, kind, note, ...

A series is a probe, a box or a kind of alarm, so their number does not grow with time. What is
written twice has the same tags and time and overwrites itself. Two alarms or entries of one kind
in one millisecond are kept apart by the nanoseconds, which hold the row's own number; of two
readings of one probe in one millisecond InfluxDB keeps the later. Readings from before the board
knew the time, and values no floor can have, are not mirrored: their time or value is not true.
`facts` is JSON, for whoever wants all the numbers behind a change."""

import json
from collections.abc import Iterable
from dataclasses import fields

from monitor.events import Change, Entry
from monitor.journal.records import KnownProbe, entry_fields

TEMPERATURE, BROODER, ALARM, LEDGER = "temperature", "brooder", "alarm", "ledger"
ENTRY_TEXTS = ("hatched", "kind", "note", "alarm", "probe", "by", "id", "undoes_id")
ENTRY_WHOLE = ("number", "count", "undoes")
NS_PER_MS = 1_000_000
SITE_WIDE = "site"  # the tag brooder of what belongs to no box: an empty tag is none at all

_TAG_ESCAPES = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ ", "\n": r"\ ", "\r": r"\ "})
_TEXT_ESCAPES = str.maketrans({'"': r"\"", "\\": r"\\"})


def tag(text: str) -> str:
    """A tag's value. A backslash at the end would escape what follows."""
    escaped = text.translate(_TAG_ESCAPES)
    return escaped + "_" if escaped.endswith("\\") else escaped


def quoted(text: str) -> str:
    """A text field's value."""
    return f'"{text.translate(_TEXT_ESCAPES)}"'


def temperature_head(site: str, known: KnownProbe) -> str:
    """What all readings of a probe begin with."""
    name = known.key.rpartition("/")[2]
    return (
        f"{TEMPERATURE},brooder={tag(known.brooder or SITE_WIDE)},"
        f"place={tag(known.place or 'unknown')},probe={tag(name)},site={tag(site)} celsius="
    )


def sample_head(site: str, brooder: str, name: str) -> str:
    """What all numbers of this name that were derived of a brooder begin with."""
    return f"{BROODER},brooder={tag(brooder)},site={tag(site)} {tag(name)}="


def numbers(head: str, times_ms: Iterable[int], values: Iterable[int]) -> list[str]:
    """One line a reading or sample; values in 1/10000."""
    return [
        f"{head}{value / 10_000!r} {at}000000" for at, value in zip(times_ms, values, strict=True)
    ]


def alarm_line(site: str, row: int, change: Change) -> str:
    """One alarm change; `row` keeps it apart from others of the same millisecond."""
    parts = [
        f"priority={quoted(change.priority.value)}",
        f"cause={quoted(change.cause.value)}",
        f"occurrence={quoted(change.occurrence)}",
        f"facts={quoted(json.dumps(change.facts))}",
    ]
    if change.probe is not None:
        parts.append(f"probe={quoted(change.probe)}")
    temp_c = change.facts.get("temp_c")
    if temp_c is not None:
        parts.append(f"temp_c={float(temp_c)!r}")
    return (
        f"{ALARM},alarm={change.alarm.value},brooder={tag(change.brooder or SITE_WIDE)},"
        f"change={change.change.value},site={tag(site)} {','.join(parts)} {_ns(change.at, row)}"
    )


def entry_line(site: str, entry: Entry) -> str:
    """One ledger entry or act on an alarm."""
    said = entry_fields(entry)
    parts = [f"{name}={int(said[name])}i" for name in ENTRY_WHOLE if name in said]
    parts += [f"{name}={quoted(said[name])}" for name in ENTRY_TEXTS if name in said]
    if entry.minutes is not None:
        parts.append(f"minutes={float(entry.minutes)!r}")
    return (
        f"{LEDGER},brooder={tag(entry.brooder or SITE_WIDE)},entry={entry.entry.value},"
        f"site={tag(site)} {','.join(parts)} {_ns(entry.at, entry.number)}"
    )


def _ns(at: float, row: int) -> int:
    return round(at * 1000) * NS_PER_MS + row % NS_PER_MS


assert {"at", "entry", "brooder", "minutes", *ENTRY_TEXTS, *ENTRY_WHOLE} == {
    field.name for field in fields(Entry)
}, "a new field of Entry needs its place in the mirror"
