"""Is all of it there? The journal's points and the mirror's are counted by day. Called by `sending`
before it says "up to date", by `brooder mirror status` and by `brooder check`."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from monitor.journal.mirror import backlog, flux
from monitor.journal.mirror import influx_schema as schema
from monitor.journal.mirror.backlog import Counts
from monitor.journal.mirror.influx_server import Server
from monitor.journal.mirror.state import Scope
from monitor.journal.reader import JournalReader
from monitor.journal.resolution import DAY_MS, LARGEST_MS
from monitor.site import SITE_WIDE

SETTLES_S = 600.0  # what is newer may be on its way
_EDGE_S = 60.0  # what is about to leave the bucket may be gone by the server's clock
_AT_ONCE = 50  # boxes of one query


@dataclass(frozen=True, slots=True)
class MirrorComparison:
    """How many points of each measurement are here and there, and where any lack."""

    here: dict[str, int]
    there: dict[str, int]  # of what is here
    lacking: dict[int, int]  # by day since 1970, how many points are not there


def compare(
    reader: JournalReader,
    source: Server,
    scope: Scope,
    *,
    now: float,
    since_day: int = 0,
    until_ms: int = LARGEST_MS,
) -> MirrorComparison:
    """Of everything before `until_ms`. What the bucket keeps no longer is left out. Raises
    InfluxFault where the server does not answer or the token may not read."""
    from_ms = since_day * DAY_MS
    if keeps_s := source.keeps_s():
        from_ms = max(from_ms, int((now - keeps_s + _EDGE_S) * 1000))
    here = backlog.counts(reader, scope, (from_ms, until_ms))
    there = _there(source, scope, {day for _, _, day in here}, (from_ms, until_ms))
    lacking: dict[int, int] = {}
    for place, number in here.items():
        if (missing := number - there.get(place, 0)) > 0:
            lacking[place[2]] = lacking.get(place[2], 0) + missing
    return MirrorComparison(_by_measurement(here), _by_measurement(there, here), lacking)


def _there(source: Server, scope: Scope, days: set[int], span_ms: tuple[int, int]) -> Counts:
    found: Counts = {}
    if not days:
        return found
    from_ms = max(min(days) * DAY_MS, span_ms[0])
    until_ms = min((max(days) + 1) * DAY_MS, span_ms[1])
    start, stop = (datetime.fromtimestamp(ms / 1000, UTC) for ms in (from_ms, until_ms))
    for brooders in _in_parts(scope):
        query = flux.counts(source.bucket, scope.site, start, stop, brooders)
        for row in source.query(query):
            day = int(row["_time"].timestamp() * 1000) // DAY_MS
            place = (row["_measurement"], row["brooder"], day)
            found[place] = found.get(place, 0) + int(row["_value"])
    return found


def _in_parts(scope: Scope) -> Iterable[list[str] | None]:
    if scope.boxes is None:
        return [None]
    names = [schema.tag_text(box) for box in sorted(scope.boxes)]
    names += [SITE_WIDE] if scope.site_probes else []
    return [names[n : n + _AT_ONCE] for n in range(0, len(names), _AT_ONCE)]


def _by_measurement(counts: Counts, among: Counts | None = None) -> dict[str, int]:
    found = dict.fromkeys(schema.COUNTED, 0)
    for place, number in counts.items():
        if place[0] in found and (among is None or place in among):
            found[place[0]] += number if among is None else min(number, among[place])
    return found


def day_text(day: int) -> str:
    return f"{datetime.fromtimestamp(day * DAY_MS / 1000, UTC):%Y-%m-%d}"


def days_text(days: Iterable[int]) -> str:
    """A day, or from which to which."""
    known = sorted(days)
    first, last = day_text(known[0]), day_text(known[-1])
    return first if first == last else f"{first} to {last}"
