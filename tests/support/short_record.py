"""A record of a few days made to measure: a real journal of the review's site, written by the
journal's own writer and opened as the review opens it."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from support.review_journal import at, site

from monitor.events import Change, Entry, EntryKind, Moment, Reading
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal
from monitor.review.record import Asked, Record, open_record

Course = Callable[[float], float]  # Unix seconds -> degC


def placed(when: str, **fields: Any) -> Entry:
    """A hundred meat chicks, hatched that day."""
    given = {"count": 100, "hatched": when[:10], "kind": "broiler", **fields}
    return Entry(at=at(when), entry=EntryKind.PLACED, brooder="porch", **given)


@contextmanager
def recorded(
    folder: Path,
    said: Mapping[str, Course],
    *entries: Entry,
    start: str,
    stop: str,
    changes: Iterable[Change] = (),
    silences: Iterable[tuple[float, float]] = (),
    every_s: float = 300.0,
) -> Iterator[Record]:
    """The porch's record: what each probe said from `start` to `stop`, but for `silences`, and what
    was entered."""
    path = folder / "journal.db"
    first, last = at(start), at(stop)
    mute = list(silences)
    readings = [
        Reading(at=t, tick=t, probe=key, temp_c=course(t))
        for t in np.arange(first, last, every_s).tolist()
        if not any(begins <= t < ends for begins, ends in mute)
        for key, course in said.items()
    ]
    with Journal.open(path) as journal:
        journal.know(site().all_probes)
        entered = [
            Entered(replace(entry, number=journal.next_entry_number()), Moment(entry.at, entry.at))
            for entry in entries
        ]
        journal.commit(
            Commit(
                inputs=[*readings, *entered],
                changes=list(changes),
                advanced_to=Moment(last, last),
            )
        )
    with JournalReader(path) as kept:
        yield open_record(kept, site(), Asked(brooder="porch"), now=last)
