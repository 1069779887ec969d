"""Ledgers of several journals, brought together in any order and however often, are one ledger: an
undo takes back the entry that it was written for, whatever the numbers, and entries of one moment
stay in the order in which they were written."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from support.journals import T0

from monitor.brooding.ledger import Ledger, fold
from monitor.events import Entry, EntryKind, Moment
from monitor.journal.bringing_in import Arrivals
from monitor.journal.forms import export_lines, lines
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal

# What is done in one journal: a loss of so many, birds added, all moved out, or the undo of its
# n-th entry; and how many seconds after the one before.
ACTS = st.lists(
    st.tuples(st.sampled_from(["loss", "loss", "placed", "moved", "undo"]), st.integers(1, 9),
              st.integers(0, 1)),
    min_size=1, max_size=8,
)  # fmt: skip
WAYS = settings(max_examples=40, deadline=None)


def written(path: Path, box: str, acts: Sequence[tuple[str, int, int]]) -> list[str]:
    """A journal in which this was entered, exported."""
    with Journal.open(path) as journal:
        at = T0
        entries: list[Entry] = []

        def enter(what: EntryKind, **said: Any) -> None:
            number = journal.next_entry_number()
            entries.append(Entry(at=at, entry=what, number=number, brooder=box, **said))
            journal.commit(Commit(inputs=[Entered(entries[-1], Moment(at, at))]))

        enter(EntryKind.PLACED, count=1000, hatched="2026-02-08", kind="broiler")
        for what, number, later in acts:
            at += later
            if what == "undo":
                enter(EntryKind.UNDO, undoes=1 + number % len(entries))
            elif what == "placed":
                enter(EntryKind.PLACED, count=number, hatched="2026-02-08", kind="broiler")
            else:
                enter(EntryKind(what), count=number if what == "loss" else None)
        with JournalReader(path) as reader:
            return "".join(export_lines.chunks(reader)).splitlines()


def entries_of(file: Sequence[str]) -> list[Entry]:
    return [entry for _, entry in lines.read(file) if isinstance(entry, Entry)]


def as_told(ledger: Ledger) -> object:
    """What a ledger says, without the numbers of this journal."""
    ids = {entry.number: entry.id for entry in ledger.entries}
    batches = [
        (b.brooder, b.kind, b.hatched, ids[b.number],
         [asdict(t) | {"number": ids[t.number]} for t in b.tallies])
        for b in ledger.batches
    ]  # fmt: skip
    return batches, {ids[number] for number in ledger.undone}, {ids[n] for n in ledger.faults}


@WAYS
@given(st.lists(ACTS, min_size=2, max_size=3), st.booleans(), st.data())
def test_ledgers_brought_together_in_any_order_are_one(
    journals: list[list[tuple[str, int, int]]], one_box: bool, data: st.DataObject
) -> None:
    """The same box in all of them: a service whose card died, and the one that came after it."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        files = [
            written(folder / f"{n}.db", "porch" if one_box else f"porch {n}", acts)
            for n, acts in enumerate(journals)
        ]
        want = fold(
            replace(entry, number=n)
            for n, entry in enumerate(itertools.chain(*map(entries_of, files)), start=1)
        )
        for journal in ("one", "other"):
            # Whole files and pieces of them, in any order, some of them twice; then each once.
            pieces = data.draw(st.lists(st.sampled_from(files), max_size=4))
            parts = [part[data.draw(st.integers(0, len(part))) :] for part in pieces]
            parts += data.draw(st.permutations(files))
            together, in_time = brought_together(folder / f"{journal}.db", parts)
            assert len(together) == sum(len(file) for file in files)
            assert as_told(fold(together)) == as_told(want)
            assert as_told(in_time) == as_told(want)


def brought_together(path: Path, parts: list[list[str]]) -> tuple[list[Entry], Ledger]:
    """The entries of a journal into which these were brought; and the ledger of a watch that was
    given the same one by one."""
    with Journal.open(path) as journal, JournalReader(path) as reader:
        for part in parts:
            journal.bring_in(Arrivals(entries=entries_of(part)))
        entries = reader.entries()
    ledger = Ledger()
    for entry in entries:
        ledger = ledger.with_entry(entry)
    return entries, ledger


@WAYS
@given(st.lists(ACTS, min_size=2, max_size=2), st.booleans())
def test_entries_of_before_there_were_identities_are_known_by_what_they_say(
    journals: list[list[tuple[str, int, int]]], other_first: bool
) -> None:
    def bare(file: list[str]) -> list[Entry]:
        return [replace(entry, id=None, undoes_id=None) for entry in entries_of(file)]

    with TemporaryDirectory() as name:
        folder = Path(name)
        files = [
            bare(written(folder / f"{n}.db", f"porch {n}", acts)) for n, acts in enumerate(journals)
        ]
        told = []
        orders: list[Callable[[Any], Any]] = [lambda f: f, reversed]
        for number, order in enumerate(orders):
            with Journal.open(folder / f"all {number}.db") as journal:
                for file in order([*files, files[other_first]]):
                    journal.bring_in(Arrivals(entries=file))
                with JournalReader(journal.path) as reader:
                    told.append(as_told(fold(reader.entries())))
        assert told[0] == told[1]
