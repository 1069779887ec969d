"""A real journal of a batch for tests of the Record screen: cold nights, one lamp failure."""

from math import cos, pi
from pathlib import Path

from monitor.events import (
    AlarmName,
    Cause,
    Change,
    ChangeKind,
    Entry,
    Moment,
    Priority,
    Reading,
)
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal
from monitor.site import Site

DAY = 86400.0
_BATCH = 20_000


def write(
    path: Path, site: Site, entries: list[Entry], *, start: float, stop: float, every_s: float
) -> int:
    """Writes the journal; how many readings it holds. In the last night a lamp is off for two
    hours from 01:00 on (by the clock of `stop`'s day, six hours before it)."""
    keys = [probe.key for probe in site.all_probes]
    lamp_off = stop - 8 * 3600
    count = 0
    with Journal.open(path) as journal:
        journal.know(site.all_probes)
        inputs: list[object] = [Entered(e, Moment(e.at, e.at)) for e in entries]
        journal.commit(Commit(inputs=inputs, changes=_alarm(lamp_off)))  # type: ignore[arg-type]
        for _ in entries:
            journal.next_entry_number()
        at, block = start, []
        while at < stop:
            for key in keys:
                block.append(Reading(at, at, key, round(_temp(key, at, lamp_off), 2)))
            at += every_s
            if len(block) >= _BATCH:
                journal.commit(Commit(inputs=list(block), advanced_to=Moment(at, at)))
                count += len(block)
                block = []
        journal.commit(Commit(inputs=list(block), advanced_to=Moment(at, at)))
        count += len(block)
        # As the service does now and then.
        journal.commit(Commit(snapshots={"engine": {}}, advanced_to=Moment(stop, stop)))
        journal.tidy(stop)
    return count


def _temp(key: str, at: float, lamp_off: float) -> float:
    day = cos(2 * pi * (at % DAY) / DAY)
    if key.endswith(("shade", "outside")):
        return -4.0 - 7.0 * day
    off = at - lamp_off
    fall = 0.0
    if 0 < off < 2 * 3600:
        fall = min(9.0, off / 600)
    elif off >= 2 * 3600:
        fall = max(0.0, 9.0 - (off - 7200) / 300)
    base = 32.4 if key.endswith("floor") else 41.0
    return base - 0.6 * day - fall


def _alarm(lamp_off: float) -> list[Change]:
    def change(at: float, kind: ChangeKind) -> Change:
        return Change(
            at=at,
            brooder="porch",
            alarm=AlarmName.HEAT_LOSS,
            change=kind,
            priority=Priority.URGENT,
            cause=Cause.HEAT_SOURCE,
            occurrence=f"porch/heat-loss/{int(lamp_off + 400)}",
            facts={"by": "page"} if kind is ChangeKind.ACKNOWLEDGED else {},
        )

    return [
        change(lamp_off + 400, ChangeKind.RAISED),
        change(lamp_off + 4000, ChangeKind.ACKNOWLEDGED),
        change(lamp_off + 9000, ChangeKind.CLEARED),
    ]
