"""A journal from what its mirror holds: for a board whose card is dead, and for a look at another
board's batch. Called by `brooder restore --from-influx` and `brooder review --from-influx`.

Queries are Flux, a day at a time, so that neither side holds more than a day; the answer is read
row by row. What comes back is what `influx_schema` says is there: readings, ledger, derived
numbers; not what was never sent (values no floor can have, readings before the clock was set),
and not alarm changes, which a replay of the readings gives again.

These queries have not met a real server that speaks Flux: none could be had. They are tested
against recorded answers in the documented annotated CSV (docs.influxdata.com/influxdb/v2/
reference/syntax/annotated-csv/), served over real HTTP to the real client."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Protocol

from monitor.events import Entry, EntryKind
from monitor.journal.bringing_in import Arrivals, BroughtIn
from monitor.journal.mirror.influx_schema import (
    ENTRY_TEXTS,
    ENTRY_WHOLE,
    LEDGER,
    SITE_WIDE,
    TEMPERATURE,
)
from monitor.journal.mirror.influx_server import InfluxFault
from monitor.journal.store import Journal
from monitor.site import Probe

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)
_DAY = timedelta(days=1)
Told = Callable[[int, int], None]  # days done, days in all


class FluxSource(Protocol):
    """What answers Flux queries: influx_server.Server."""

    def query(self, flux: str) -> Iterator[dict[str, Any]]:
        """Rows of the answer."""
        ...


def fetch(
    source: FluxSource, bucket: str, site: str, told: Told = lambda _done, _all: None
) -> Arrivals:
    """Everything the mirror holds of a site. Raises InfluxFault, also when there is nothing."""
    arrivals = Arrivals()
    first = _edge(source, bucket, site, "first")
    last = _edge(source, bucket, site, "last")
    if first is None or last is None:
        raise InfluxFault(f'bucket {bucket} holds no readings of a site called "{site}"')
    day = first.replace(hour=0, minute=0, second=0, microsecond=0)
    days = (last - day) // _DAY + 1
    for number in range(days):
        for row in source.query(readings_query(bucket, site, day, day + _DAY)):
            key = f"{row['brooder']}/{row['probe']}"
            arrivals.add(key, _ms(row["_time"]) / 1000, float(row["_value"]))
            if row.get("place"):
                arrivals.places[key] = row["place"]
        day += _DAY
        told(number + 1, days)
    arrivals.entries = sorted(
        (_entry(row) for row in source.query(ledger_query(bucket, site))),
        key=lambda entry: (entry.number, entry.at),
    )
    return arrivals


def write(arrivals: Arrivals, journal: Path, probes: tuple[Probe, ...] = ()) -> BroughtIn:
    """Into a journal, new or not, in one transaction. Raises StorageFault."""
    with Journal.open(journal) as opened:
        opened.know(probes)
        return opened.bring_in(arrivals)


def readings_query(bucket: str, site: str, start: datetime, stop: datetime) -> str:
    """The temperatures of a stretch, start included and stop not (as Flux's range has it)."""
    return (
        f"from(bucket: {_text(bucket)})"
        f" |> range(start: {_time(start)}, stop: {_time(stop)})"
        f' |> filter(fn: (r) => r._measurement == "{TEMPERATURE}" and r._field == "celsius"'
        f" and r.site == {_text(site)})"
        ' |> keep(columns: ["_time", "_value", "brooder", "place", "probe"])'
    )


def ledger_query(bucket: str, site: str) -> str:
    """Every ledger entry, its fields side by side."""
    return (
        f"from(bucket: {_text(bucket)}) |> range(start: {_time(_EPOCH)})"
        f' |> filter(fn: (r) => r._measurement == "{LEDGER}" and r.site == {_text(site)})'
        ' |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")'
    )


def edge_query(bucket: str, site: str, which: str) -> str:
    """The first or last reading of every probe."""
    return (
        f"from(bucket: {_text(bucket)}) |> range(start: {_time(_EPOCH)})"
        f' |> filter(fn: (r) => r._measurement == "{TEMPERATURE}" and r._field == "celsius"'
        f" and r.site == {_text(site)})"
        f' |> {which}() |> keep(columns: ["_time"])'
    )


def _edge(source: FluxSource, bucket: str, site: str, which: str) -> datetime | None:
    times: list[datetime] = [row["_time"] for row in source.query(edge_query(bucket, site, which))]
    if not times:
        return None
    return min(times) if which == "first" else max(times)


def _entry(row: dict[str, Any]) -> Entry:
    said: dict[str, Any] = {name: row[name] for name in ENTRY_TEXTS if row.get(name)}
    said |= {name: int(row[name]) for name in ENTRY_WHOLE if row.get(name) is not None}
    if row.get("minutes") is not None:
        said["minutes"] = float(row["minutes"])
    brooder = row.get("brooder")
    return Entry(
        at=_ms(row["_time"]) / 1000,
        entry=EntryKind(row["entry"]),
        brooder=None if brooder == SITE_WIDE else brooder,
        **said,
    )


def _ms(moment: datetime) -> int:
    """Whole milliseconds: below them lies the row's own number (see influx_schema)."""
    return (moment - _EPOCH) // _MS


def _time(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%SZ}"


def _text(text: str) -> str:
    """A Flux string: quotes, backslashes and the beginning of an interpolation are escaped."""
    escaped = text.replace("\\", r"\\").replace('"', r"\"").replace("${", r"\${")
    return f'"{escaped}"'
