"""Ledgers of several journals, brought together in any order and however often, are one ledger: an
undo takes back the entry that it was written for, whatever the numbers."""

import itertools
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.journals import T0

from monitor.brooding.batch import fold
from monitor.events import Entry, EntryKind, Moment
from monitor.journal.bringing_in import Arrivals
from monitor.journal.forms import export_lines, lines
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal

# What is done in one journal: a loss of so many, or the undo of its n-th loss.
ACTS = st.lists(
    st.tuples(st.sampled_from(["loss", "undo"]), st.integers(1, 9)), min_size=1, max_size=8
)


def written(path: Path, acts: Sequence[tuple[str, int]], clock: Any) -> list[str]:
    """A journal in which this was entered, exported."""
    with Journal.open(path) as journal:
        losses = [0]
        first = Entry(at=next(clock), entry=EntryKind.PLACED, brooder="porch", count=1000,
                      hatched="2026-02-08", kind="broiler")  # fmt: skip
        entries = [first]
        for what, number in acts:
            if what == "loss":
                losses.append(len(entries) + 1)
                entries.append(
                    Entry(at=next(clock), entry=EntryKind.LOSS, brooder="porch", count=number)
                )
            elif len(losses) > 1:
                undone = losses[1 + number % (len(losses) - 1)]
                entries.append(Entry(at=next(clock), entry=EntryKind.UNDO, undoes=undone))
        for entry in entries:
            numbered = replace(entry, number=journal.next_entry_number())
            journal.commit(Commit(inputs=[Entered(numbered, Moment(entry.at, entry.at))]))
        with JournalReader(path) as reader:
            return "".join(export_lines.chunks(reader)).splitlines()


def heads(entries: list[Entry]) -> int:
    batch = fold(entries).running("porch")
    assert batch is not None
    return batch.head_count()


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(ACTS, min_size=2, max_size=3), st.data())
def test_ledgers_brought_together_in_any_order_are_one(
    journals: list[list[tuple[str, int]]], data: st.DataObject
) -> None:
    folder = Path(tempfile.mkdtemp())
    clock = (T0 + n for n in itertools.count())
    try:
        files = [written(folder / f"{n}.db", acts, clock) for n, acts in enumerate(journals)]
        lost = sum(
            1000 - heads([e for _, e in lines.read(file) if isinstance(e, Entry)]) for file in files
        )
        # Whole files and pieces of them, in any order, some of them twice; then each once.
        pieces = data.draw(st.lists(st.sampled_from(files), max_size=4))
        parts = [part[data.draw(st.integers(0, len(part))) :] for part in pieces]
        parts += data.draw(st.permutations(files))
        with Journal.open(folder / "all.db") as journal, JournalReader(journal.path) as reader:
            for part in parts:
                entries = [e for _, e in lines.read(part) if isinstance(e, Entry)]
                journal.bring_in(Arrivals(entries=entries))
            together = reader.entries()
            assert len(together) == sum(len(file) for file in files)
            assert heads(together) == 1000 * len(files) - lost
    finally:
        shutil.rmtree(folder)
