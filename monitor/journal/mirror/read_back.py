"""A journal from what its mirror holds: for a board whose card is dead, and for a look at another
board's batch. Called by `brooder restore --from-influx` and `brooder review --from-influx`.

Queries are Flux, a day at a time, so that neither side holds more than a day; the answer is read
row by row. What comes back is what `influx_schema` says is there: readings, ledger, alarms with
their facts, derived numbers; not what was never sent (values no floor can have, readings before the
clock was set). What an earlier version has mirrored is read too."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from monitor.events import AlarmName, Cause, Change, ChangeKind, Entry, Priority
from monitor.journal.bringing_in import Arrivals, BroughtIn
from monitor.journal.forms import lines
from monitor.journal.mirror import flux
from monitor.journal.mirror import influx_schema as schema
from monitor.journal.mirror.influx_server import InfluxFault, Server
from monitor.journal.records import Sample
from monitor.journal.resolution import iso
from monitor.journal.rows import facts_of
from monitor.journal.store import Journal
from monitor.site import SITE_WIDE, Probe

_MS = timedelta(milliseconds=1)
_DAY = timedelta(days=1)
Told = Callable[[int, int], None]  # days done, days in all


def fetch(
    source: Server, bucket: str, site: str, told: Told = lambda _done, _all: None
) -> Arrivals:
    """Everything the mirror holds of a site. Raises InfluxFault, also when there is nothing."""
    arrivals = Arrivals(distinct=True)
    first = _edge(source, bucket, site, "first")
    last = _edge(source, bucket, site, "last")
    if first is None or last is None:
        raise InfluxFault(f'bucket {bucket} holds no readings of a site called "{site}"')
    day = first.replace(hour=0, minute=0, second=0, microsecond=0)
    days = (last - day) // _DAY + 1
    for number in range(days):
        for row in source.query(flux.numbers(bucket, site, day, day + _DAY)):
            _take_number(row, arrivals)
        day += _DAY
        told(number + 1, days)
    ledger = source.query(flux.texts(bucket, site, (schema.LEDGER_TEXT, schema.LEDGER)))
    arrivals.entries = sorted(
        (entry for row in ledger if (entry := _entry(row)) is not None),
        key=lambda entry: (entry.number, entry.at),
    )
    alarms = source.query(flux.texts(bucket, site, (schema.ALARM_TEXT, schema.ALARM)))
    changes = [(_nth(row), said) for row in alarms if (said := _change(row)) is not None]
    arrivals.changes = [said for _, said in sorted(changes, key=lambda one: (one[1].at, one[0]))]
    return arrivals


def write(arrivals: Arrivals, journal: Path, probes: tuple[Probe, ...] = ()) -> BroughtIn:
    """Into a journal, new or not, in one transaction. Raises StorageFault."""
    with Journal.open(journal) as opened:
        opened.know(probes)
        return opened.bring_in(arrivals)


def _edge(source: Server, bucket: str, site: str, which: str) -> datetime | None:
    times: list[datetime] = [row["_time"] for row in source.query(flux.edge(bucket, site, which))]
    if not times:
        return None
    return min(times) if which == "first" else max(times)


def _take_number(row: dict[str, Any], arrivals: Arrivals) -> None:
    box, at, value = schema.name_of(row["brooder"]), _ms(row["_time"]) / 1000, float(row["_value"])
    if row.get("_measurement") == schema.BROODER:
        arrivals.measured.append(Sample(at, box, schema.name_of(row["_field"]), value))
        return
    key = f"{box}/{schema.name_of(row['probe'])}"
    arrivals.add(key, at, value)
    if row.get("place"):
        arrivals.places[key] = row["place"]


def _entry(row: dict[str, Any]) -> Entry | None:
    """An entry of its texts; None: these are its numbers, or nothing that we have written."""
    try:
        record = row.get("record")
        if record is not None:
            said = lines.parse(record)
            return said if isinstance(said, Entry) else None
        if row.get("number") is None:
            return None
        # Of version 1, which kept no entry as a whole.
        said = lines.of({**row, "at": iso(_ms(row["_time"])), "brooder": _box(row)})
    except lines.LineFault:
        return None
    return said if isinstance(said, Entry) else None


def _change(row: dict[str, Any]) -> Change | None:
    facts = facts_of(row.get("facts"))
    if facts is None:
        return None  # its numbers
    box = schema.name_of(row["brooder"])
    try:
        return Change(
            at=_ms(row["_time"]) / 1000,
            brooder=_box(row),
            alarm=AlarmName(row["alarm"]),
            change=ChangeKind(row["change"]),
            priority=Priority(row["priority"]),
            cause=Cause(row["cause"]),
            probe=schema.probe_key(row["probe"], box) if row.get("probe") else None,
            occurrence=schema.name_of(row.get("occurrence") or ""),
            facts=facts,  # type: ignore[arg-type]
        )
    except ValueError:
        return None


def _nth(row: dict[str, Any]) -> int:
    said = str(row.get("nth") or "")
    return int(said) if said.isdigit() else 0


def _box(row: dict[str, Any]) -> str | None:
    return None if row["brooder"] == SITE_WIDE else schema.name_of(row["brooder"])


def _ms(moment: datetime) -> int:
    """Whole milliseconds: below them a time keeps facts apart (see influx_schema)."""
    return (moment - flux.EPOCH) // _MS
