"""A real journal of some days in one box, written by the journal's own writer: for the review.

The story: 100 meat chicks placed on 8 Feb; a lamp dies on the night to 11 Feb and is replaced at
five; two are found dead at half past six; one more is lost on a quiet day."""

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from support.birds import chicks_in

from monitor.events import (
    AlarmName,
    BadValue,
    Cause,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Moment,
    Priority,
    Reading,
)
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal
from monitor.site import Brooder, HeatSource, Place, Probe, Site
from monitor.units import Unit

ZONE = ZoneInfo("America/Chicago")
HATCHED = date(2026, 2, 7)


def at(text: str) -> float:
    """Unix time of a local time, `2026-02-10 18:00`."""
    return datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp()


def site(units: Unit = Unit.FAHRENHEIT) -> Site:
    """One box on a porch with two floor probes."""
    places = (("west", Place.FLOOR), ("east", Place.FLOOR), ("lamp", Place.UNDER_HEAT))
    probes = tuple(
        Probe(key=f"porch/{name}", brooder="porch", name=name, topic=f"b/{name}", place=place)
        for name, place in places
    )
    porch = Brooder(
        name="porch", length_m=1.5, width_m=1.5, height_m=0.56, cover="plywood", probes=probes,
        heat=(HeatSource(name="west lamp", kind="lamp", watts=250.0),),
    )  # fmt: skip
    shed = Brooder(name="shed", length_m=1.0, width_m=1.0, height_m=0.5)
    shade = Probe(key="site/shade", brooder=None, name="shade", topic="b/o", place=Place.OUTSIDE)
    return Site(name="Hillside", timezone=ZONE, units=units, brooders=(porch, shed),
                probes=(shade,))  # fmt: skip


def temperatures(times: np.ndarray, every_c: float = 34.0) -> dict[str, np.ndarray]:
    """What each probe said: level but for the night of the lamp."""
    hours = (times - at("2026-02-11 02:00")) / 3600
    dead, back = np.clip(hours, 0, 3.2), np.clip(hours - 3.2, 0, 48)
    fall = np.where(hours > 0, 14 * (1 - np.exp(-dead / 1.1)) * np.exp(-back / 0.6), 0.0)
    wave = 0.4 * np.sin(times / 1500.0)
    return {
        "porch/west": every_c + wave - 1.1 * fall,
        "porch/east": every_c - 0.5 - wave - 0.6 * fall,
        "porch/lamp": np.where((hours > 0) & (hours < 3.2), every_c - fall, 44 + wave),
        "site/shade": -4 - 6 * np.sin((times % 86400) / 86400 * np.pi),
    }


def write(path: Path, *, days: int = 5, every_s: float = 60.0) -> None:
    """Writes the journal."""
    start = at("2026-02-08 12:00")
    times = np.round(np.arange(start, start + days * 86400, every_s))
    said = temperatures(times)
    silent = (times > at("2026-02-12 03:00")) & (times < at("2026-02-12 05:00"))
    with Journal.open(path) as journal:
        journal.know(site().all_probes)
        for first in range(0, len(times), 1000):
            inputs = [
                Reading(at=float(t), tick=float(t), probe=key, temp_c=round(float(temps[i]), 3))
                for i, t in enumerate(times[first : first + 1000], first)
                for key, temps in said.items()
                if not silent[i]
            ]
            if first == 0:
                inputs += bad_values()  # type: ignore[arg-type]
            now = Moment(float(times[first]), float(times[first]))
            journal.commit(Commit(inputs=inputs, advanced_to=now))  # type: ignore[arg-type]
        entered = []
        for entry in entries():
            numbered = replace(entry, number=journal.next_entry_number())
            entered.append(Entered(numbered, Moment(entry.at, entry.at)))
        last = Moment(float(times[-1]), float(times[-1]))
        journal.commit(Commit(inputs=entered, changes=changes(), advanced_to=last))  # type: ignore[arg-type]
        journal.tidy(float(times[-1]) + 7200)


def bad_values() -> list[BadValue]:
    """A loose wire: the east probe starts anew again and again on the first evening."""
    evening = at("2026-02-08 20:50")
    words = "the sensor sends 85.0 °C (185.0 °F), its power-up value"
    times = [evening + 60.0 * n for n in range(30)]
    return [BadValue(t, t, "porch/east", words, 85.0) for t in times]


def entries() -> list[Entry]:
    """The ledger."""
    return [
        chicks_in(at("2026-02-08 12:00"), hatched=HATCHED.isoformat()),
        Entry(at=at("2026-02-11 05:15"), entry=EntryKind.NOTE, brooder="porch", note="new bulb"),
        Entry(at=at("2026-02-11 06:30"), entry=EntryKind.LOSS, brooder="porch", count=2,
              note="piled in the corner"),
        Entry(at=at("2026-02-13 09:00"), entry=EntryKind.LOSS, brooder="porch", count=1),
    ]  # fmt: skip


def changes() -> list[Change]:
    """The alarms of the lamp's night."""
    found = []
    for alarm, priority, raised, cleared in (
        (AlarmName.HEAT_LOSS, Priority.URGENT, "2026-02-11 02:04", "2026-02-11 05:25"),
        (AlarmName.COLD, Priority.WARNING, "2026-02-11 02:19", "2026-02-11 06:32"),
        (AlarmName.CHILL, Priority.URGENT, "2026-02-11 02:40", "2026-02-11 06:00"),
    ):
        for kind, when in ((ChangeKind.RAISED, raised),
                           (ChangeKind.ACKNOWLEDGED, "2026-02-11 05:02"),
                           (ChangeKind.CLEARED, cleared)):  # fmt: skip
            found.append(
                Change(at=at(when), brooder="porch", alarm=alarm, change=kind, priority=priority,
                       cause=Cause.HEAT_SOURCE, probe="porch/west",
                       occurrence=f"porch/{alarm}/{int(at(raised))}",
                       facts={"by": "page"} if kind is ChangeKind.ACKNOWLEDGED else {})
            )  # fmt: skip
    return sorted(found, key=lambda change: change.at)
