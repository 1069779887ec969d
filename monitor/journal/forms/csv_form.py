"""The journal as CSV for spreadsheets (RFC 4180: comma, CRLF, quotes doubled), with the unit in the
heading, and CSV from elsewhere as readings. Called by the export and import commands."""

import csv
import io
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from itertools import chain

from monitor.journal.forms import payloads
from monitor.journal.forms.kept_values import kept_values
from monitor.journal.forms.lines import LineFault
from monitor.journal.reader import ALL_TIME, JournalReader
from monitor.journal.resolution import iso
from monitor.units import Unit, from_celsius, sign, to_celsius

TIME, BROODER, PROBE, PLACE = "time (UTC)", "brooder", "probe", "place"
LEDGER = ("number", "entry", "brooder", "count", "hatched", "kind", "note", "alarm", "probe")
ALARMS = ("brooder", "alarm", "change", "priority", "cause", "probe", "occurrence")


def temperature_heading(unit: Unit) -> str:
    """`temperature (°C)`."""
    return f"temperature ({sign(unit)})"


def readings(
    reader: JournalReader,
    unit: Unit,
    from_at: float = ALL_TIME[0],
    to_at: float = ALL_TIME[1],
) -> Iterator[str]:
    """One row a reading, ordered by time. Values no floor can have are left out."""
    known = payloads.current(reader.known())
    yield _row([TIME, BROODER, PROBE, PLACE, temperature_heading(unit)])
    for at_ms, key, value, _, bad in kept_values(reader, known, from_at, to_at):
        one = known[key]
        if not bad:
            said = payloads.number_text(payloads.shortest(value, unit))
            yield _row(
                [iso(at_ms), one.brooder or "", key.rpartition("/")[2], one.place or "", said]
            )


def measures(reader: JournalReader, from_at: float, to_at: float) -> Iterator[str]:
    """One row a word of a plug, a sensor or a switch, ordered by time. What is measured has its
    unit in its name: `west lamp power_w`."""
    known = payloads.current(reader.meters())
    yield _row([TIME, BROODER, "measured", "value"])
    for at_ms, key, value, *_ in kept_values(reader, known, from_at, to_at):
        one = known[key]
        said = payloads.number_text(payloads.raw_number(one, value))
        yield _row([iso(at_ms), one.brooder or "", key.partition("/")[2], said])


def ledger(reader: JournalReader, from_at: float, to_at: float) -> Iterator[str]:
    yield _row([TIME, *LEDGER, "minutes", "undoes", "by"])
    for entry in reader.entries():
        if from_at <= entry.at < to_at:
            rest = [getattr(entry, name) for name in (*LEDGER, "minutes", "undoes", "by")]
            yield _row([iso(round(entry.at * 1000)), *("" if v is None else v for v in rest)])


def alarms(reader: JournalReader, unit: Unit, from_at: float, to_at: float) -> Iterator[str]:
    yield _row([TIME, *ALARMS, temperature_heading(unit)])
    for change in reader.changes(from_at, to_at):
        temp_c = change.facts.get("temp_c")
        rest = [getattr(change, name) for name in ALARMS]
        shown = "" if temp_c is None else f"{from_celsius(temp_c, unit):.2f}"
        yield _row([iso(round(change.at * 1000)), *("" if v is None else v for v in rest), shown])


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Where a foreign file has what. `probe` (one Probe.key for all rows) or `probe_column`, whose
    words are Probe.keys or, through `names`, lead to them."""

    time: str = TIME
    temperature: str | None = None  # None: the heading that begins with "temperature"
    probe: str | None = None
    probe_column: str | None = None
    names: dict[str, str] = field(default_factory=dict)
    unit: Unit | None = None  # None: as the heading says
    zone: tzinfo = UTC  # of times without a zone
    time_form: str | None = None  # as strptime has it, where it is not ISO 8601


@dataclass(frozen=True, slots=True)
class CsvReading:
    """One row, in degC."""

    at: float
    probe: str
    temp_c: float


def read(lines: Iterable[str], columns: Columns) -> Iterator[tuple[int, CsvReading]]:
    """(line number, reading) of each row with a temperature. Raises LineFault. Commas or
    semicolons between columns; with semicolons a decimal comma is understood."""
    text = iter(lines)
    first = next(text, "").removeprefix("\ufeff")
    separator = ";" if first.count(";") > first.count(",") else ","
    rows = _rows(chain([first], text), separator)
    _, head = next(rows, (1, []))
    headings = [word.strip() for word in head]
    time_at = _place(headings, columns.time, "--time")
    temp_name = columns.temperature or next(
        (h for h in headings if h.lower().startswith("temperature")), None
    )
    if temp_name is None:
        known = ", ".join(headings)
        raise LineFault(
            1, f"no heading begins with temperature; name one of {known} with --temperature"
        )
    temp_at = _place(headings, temp_name, "--temperature")
    unit = columns.unit or _unit_of(temp_name)
    own = columns.probe is None and columns.probe_column is None
    probe_at = None if columns.probe else _place(headings, columns.probe_column or PROBE, "--probe")
    brooder_at = headings.index(BROODER) if own and BROODER in headings else None
    for number, row in rows:
        if not row or len(row) <= temp_at or not row[temp_at].strip():
            continue
        if len(row) != len(headings):
            raise LineFault(number, f"has {len(row)} columns; the headings have {len(headings)}")
        probe = columns.probe or row[probe_at or 0].strip()
        if brooder_at is not None:
            probe = f"{row[brooder_at].strip() or 'site'}/{probe}"
        at = _time(row[time_at].strip(), columns, number)
        temp_c = to_celsius(_number(row[temp_at].strip(), separator, number), unit)
        yield number, CsvReading(at, columns.names.get(probe, probe), temp_c)


def _rows(text: Iterable[str], separator: str) -> Iterator[tuple[int, list[str]]]:
    """(line number, cells)."""
    rows = csv.reader(text, delimiter=separator)
    try:
        for row in rows:
            yield rows.line_num, row
    except csv.Error as error:
        raise LineFault(rows.line_num, f"is not CSV ({error})") from None


def _place(headings: list[str], wanted: str, option: str) -> int:
    if wanted in headings:
        return headings.index(wanted)
    raise LineFault(
        1, f'no column is called "{wanted}"; name one of {", ".join(headings)} with {option}'
    )


def _unit_of(heading: str) -> Unit:
    for unit in Unit:
        if f"({sign(unit)})" in heading:
            return unit
    raise LineFault(
        1, f'the heading "{heading}" says no unit such as (°C) or (°F); name it with --unit'
    )


def _time(word: str, columns: Columns, number: int) -> float:
    wanted = "ISO 8601 or Unix seconds (or say --time-form)"
    seconds = math.nan
    try:
        if columns.time_form is not None:
            wanted = f"as --time-form {columns.time_form} says"
            moment = datetime.strptime(word, columns.time_form)  # noqa: DTZ007 - zoned below
        else:
            try:
                seconds = float(word)
            except ValueError:
                moment = datetime.fromisoformat(word)
        if math.isnan(seconds):
            zoned = moment if moment.tzinfo else moment.replace(tzinfo=columns.zone)
            seconds = zoned.timestamp()
        elif abs(seconds) >= 1e11:  # 1e11 s is the year 5138; 1e11 ms is 1973
            seconds /= 1000
    except (ValueError, OverflowError):
        seconds = math.nan
    if not 0 <= seconds < ALL_TIME[1]:
        raise LineFault(number, f'the time is "{word[:40]}"; it must be {wanted}')
    return seconds


def _number(word: str, separator: str, number: int) -> float:
    try:
        value = float(word.replace(",", ".") if separator == ";" else word)
    except ValueError:
        value = float("nan")
    if not -273.15 <= value < 10_000:
        raise LineFault(number, f'the temperature is "{word[:40]}"; it must be a number')
    return value


def _row(cells: Iterable[object]) -> str:
    out = io.StringIO()
    csv.writer(out).writerow(cells)
    return out.getvalue()
