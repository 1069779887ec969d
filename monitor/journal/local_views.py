"""Views of the record for people: local time, and temperatures in the site's units. Made by
`probes` when the site is made known; no part of the service reads them.

SQLite knows no time zones but that of the computer it runs on. So the zone's offsets from UTC stand
in a table of their own, from one change of the clocks to the next."""

import sqlite3
from datetime import UTC, datetime, tzinfo

from monitor.units import Unit

_FROM, _TO = datetime(2020, 1, 1, tzinfo=UTC), datetime(2061, 1, 1, tzinfo=UTC)
_DAY_S, _MINUTE_S = 86_400, 60
_LOCAL = (
    "strftime('%Y-%m-%d %H:%M:%S', at_ms / 1000 + (SELECT offset_s FROM utc_offsets"
    " WHERE from_ms <= at_ms ORDER BY from_ms DESC LIMIT 1), 'unixepoch')"
)
NAMES = ("readings_local", "alarms_local", "entries_local")


def make(connection: sqlite3.Connection, zone: tzinfo, units: Unit) -> None:
    """Makes them, inside the caller's transaction; nothing is written where they are right."""
    said = f"{zone} {units.value}"
    known = connection.execute("SELECT value FROM meta WHERE name = 'views'").fetchone()
    if known is not None and known[0] == said:
        return
    connection.execute("DELETE FROM utc_offsets")
    connection.executemany("INSERT INTO utc_offsets VALUES (?, ?)", offsets(zone))
    for name, query in zip(NAMES, _queries(units), strict=True):
        connection.execute(f"DROP VIEW IF EXISTS {name}")
        connection.execute(f"CREATE VIEW {name} AS {query}")
    connection.execute("INSERT OR REPLACE INTO meta (name, value) VALUES ('views', ?)", (said,))


def offsets(zone: tzinfo) -> list[tuple[int, int]]:
    """(from Unix ms, seconds east of UTC) at each change of the clocks; the first holds for all
    time before."""
    at, last = int(_FROM.timestamp()), int(_TO.timestamp())
    found = [(0, _offset_s(zone, at))]
    while at < last:
        following = at + _DAY_S
        if _offset_s(zone, following) != found[-1][1]:
            low, high = at // _MINUTE_S, following // _MINUTE_S  # the change lies in (low, high]
            while high - low > 1:
                middle = (low + high) // 2
                same = _offset_s(zone, middle * _MINUTE_S) == found[-1][1]
                low, high = (middle, high) if same else (low, middle)
            found.append((high * _MINUTE_S * 1000, _offset_s(zone, following)))
        at = following
    return found


def _offset_s(zone: tzinfo, at: int) -> int:
    offset = datetime.fromtimestamp(at, UTC).astimezone(zone).utcoffset()
    return 0 if offset is None else round(offset.total_seconds())


def _queries(units: Unit) -> tuple[str, str, str]:
    def shown(temp: str) -> str:
        return f"round({temp} * 1.8 + 32, 2)" if units is Unit.FAHRENHEIT else f"round({temp}, 2)"

    name = "temp_f" if units is Unit.FAHRENHEIT else "temp_c"
    of_alarm = shown("json_extract(facts, '$.temp_c')")
    return (
        f"SELECT {_LOCAL} AS local_time, p.brooder, p.key AS probe, p.place,"  # noqa: S608
        f" {shown('temp_c')} AS {name} FROM readings JOIN probes AS p ON p.id = probe_id"
        " WHERE clock_sure",
        f"SELECT {_LOCAL} AS local_time, brooder, alarm, change, priority, cause, probe,"  # noqa: S608
        f" {of_alarm} AS {name} FROM alarms",
        f"SELECT {_LOCAL} AS local_time, number, brooder, entry, count, hatched, kind, note,"  # noqa: S608
        " EXISTS (SELECT 1 FROM entries AS u WHERE u.undoes_id = e.id) AS taken_back, by"
        " FROM entries AS e",
    )
