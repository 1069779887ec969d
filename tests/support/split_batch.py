"""A batch that was split: a hundred meat chicks in the porch, forty of them moved into the shed on
the third day; the porch had a cold hour before, the shed a hot one after. For the review."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from support.review_journal import at, site

from monitor.events import Entry, EntryKind, Moment, Reading
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal
from monitor.site import Place, Probe, Site

START, STOP = at("2026-02-08 12:00"), at("2026-02-13 18:00")
SPLIT = at("2026-02-10 15:00")
SILENT = (STOP, STOP)  # when the porch's floor is not heard


def split_site() -> Site:
    """The review's site, with a floor probe in the shed too."""
    porch, shed = site().brooders
    floor = Probe(key="shed/floor", brooder="shed", name="floor", topic="s/f", place=Place.FLOOR)
    return replace(site(), brooders=(porch, replace(shed, probes=(floor,))))


def entries() -> list[Entry]:
    """What was written down."""
    birds = {"hatched": "2026-02-07", "kind": "broiler"}
    return [
        Entry(at=START, entry=EntryKind.PLACED, brooder="porch", count=100, **birds),
        Entry(at=START + 60, entry=EntryKind.DEAD_ON_ARRIVAL, brooder="porch", count=3),
        Entry(at=at("2026-02-09 07:00"), entry=EntryKind.LOSS, brooder="porch", count=2),
        Entry(at=SPLIT, entry=EntryKind.MOVED, brooder="porch", count=40),
        Entry(at=SPLIT + 60, entry=EntryKind.PLACED, brooder="shed", count=40, **birds),
        Entry(at=at("2026-02-12 07:00"), entry=EntryKind.LOSS, brooder="shed", count=1,
              note="leg"),
        Entry(at=STOP - 60, entry=EntryKind.END),
    ]  # fmt: skip


def write(path: Path) -> None:
    """The journal, by its own writer."""
    cold, hot = at("2026-02-09 02:00"), at("2026-02-11 14:00")

    def said(when: float) -> dict[str, float]:
        porch = 29.0 if cold <= when < cold + 3600 else 34.6
        shed = 39.5 if hot <= when < hot + 3600 else 33.6
        return {"porch/west": porch, "porch/east": porch, "shed/floor": shed, "site/shade": 4.0}

    with Journal.open(path) as journal:
        journal.know(split_site().all_probes)
        readings = [
            Reading(at=when, tick=when, probe=key, temp_c=temp_c)
            for when in np.arange(START, STOP, 300.0).tolist()
            for key, temp_c in said(when).items()
            if not (key.startswith("porch/") and SILENT[0] <= when < SILENT[1])
        ]
        entered = [
            Entered(replace(one, number=number), Moment(one.at, one.at))
            for number, one in enumerate(entries(), journal.next_entry_number())
        ]
        now = Moment(STOP, STOP)
        journal.commit(Commit(inputs=[*readings, *entered], advanced_to=now))
