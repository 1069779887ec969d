"""Whatever bytes of the journal are overwritten, the service starts on it and keeps what comes; the
birds stay known as long as the pages that hold their ledger rows were left alone, and where they
are not known people are asked for them.

A hundred and fifty damages in every run, 20,000 with BROODER_LONG=1."""

import random
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.journals import T0, batch, reading
from support.one_box import settings_of, stopped_clock

from monitor.events import AlarmName, Entry, EntryKind, Moment
from monitor.journal import schema
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered, OutboxRow, StorageFault
from monitor.journal.store import Journal
from monitor.service.startup import open_all
from monitor.settings import Settings

pytestmark = pytest.mark.faults

PAGE = schema.PAGE_BYTES
SIDES = ("", "-wal")
ENTRIES = 12
LATER = T0 + 20_000  # some hours after the last word of the journal


@dataclass(frozen=True)
class Kept:
    """A journal as it lies on the disk: closed, and as a power cut would leave it."""

    settings: Settings
    closed: dict[str, bytes]
    cut: dict[str, bytes]
    ledger_pages: frozenset[int]  # of the closed one, from 0


def files(path: Path) -> dict[str, bytes]:
    parts = {side: path.with_name(path.name + side) for side in SIDES}
    return {side: part.read_bytes() for side, part in parts.items() if part.exists()}


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Kept:
    """Two hours of readings; birds, notes, snapshots, unsent messages."""
    settings = settings_of(tmp_path_factory.mktemp("journal"))
    core = open_all(settings, stopped_clock(LATER))
    assert core.journal is not None
    journal = core.journal
    for n in range(120):
        one = batch(*(reading(T0 + 60 * n + k, 30 + k / 16) for k in range(5)))
        if n % 10 == 0:
            placed = n == 0
            entry = Entry(
                at=T0 + 60 * n,
                entry=EntryKind.PLACED if placed else EntryKind.NOTE,
                brooder="porch",
                count=100 if placed else None,
                hatched="2026-02-09" if placed else None,
                kind="broiler" if placed else None,
                note="x" * 90,
                number=journal.next_entry_number(),
            )
            one.inputs.append(Entered(entry, Moment(T0 + 60 * n, T0 + 60 * n)))
            core.core.take_in(one.inputs[-1])
        if n % 40 == 39:
            one.snapshots = core.core.snapshots()
        if n % 30 == 7:
            text = {"a": "b" * 100}
            one.outbox = [OutboxRow(key=f"k{n}", contact="me", at=T0, priority="x", message=text)]
        journal.commit(one)
        if n == 100:
            journal.tidy(T0 + 60 * n)
    cut = files(settings.journal_path)
    journal.close()
    closed = files(settings.journal_path)
    raw = closed[""]
    pages = [n for n in range(len(raw) // PAGE) if b'"note":"xxx' in raw[n * PAGE : (n + 1) * PAGE]]
    assert len(pages) >= 2
    return Kept(settings, closed, cut, frozenset(pages))


def damaged(raw: bytes, dice: random.Random) -> tuple[bytes, set[int]]:
    """Something is overwritten; the pages in which."""
    new = bytearray(raw)
    how = dice.choice(("bit", "byte", "page", "zeros", "cut"))
    if how == "cut":
        at = dice.randrange(len(new))
        return bytes(new[:at]), set(range(at // PAGE, len(new) // PAGE + 1))
    hit = set()
    for _ in range(dice.choice((1, 1, 1, 3, 10))):
        # More often where the file describes itself.
        at = dice.randrange(min(len(new), 10 * PAGE) if dice.random() < 0.4 else len(new))
        page = at // PAGE
        hit.add(page)
        if how == "bit":
            new[at] ^= 1 << dice.randrange(8)
        elif how == "byte":
            new[at] = dice.randrange(256)
        else:
            rest = new[page * PAGE : (page + 1) * PAGE]
            new[page * PAGE : (page + 1) * PAGE] = (
                dice.randbytes(len(rest)) if how == "page" else bytes(len(rest))
            )
    return bytes(new), hit


def lay_out(kept: Kept, parts: dict[str, bytes]) -> Path:
    folder = kept.settings.state_folder
    shutil.rmtree(folder)
    folder.mkdir()
    path = kept.settings.journal_path
    for side, raw in parts.items():
        path.with_name(path.name + side).write_bytes(raw)
    return path


def starts(kept: Kept, path: Path) -> tuple[int, str]:
    """The service opens what is there, and it takes what comes; heads known, and what it says."""
    opened = open_all(kept.settings, stopped_clock(LATER))
    assert opened.journal is not None, opened.trouble
    journal = opened.journal
    try:
        for more in (
            batch(reading(T0 + 30_000)),
            Commit(outbox=[OutboxRow(key="q", contact="c", at=T0, priority="x", message={})]),
        ):
            try:
                journal.commit(more)
            except StorageFault as fault:
                if fault.kind != "damaged":  # then the writer begins a new one
                    raise
                journal.close()
                journal = Journal.open(path, distrust=True)
                journal.commit(more)
        journal.tidy(T0 + 30_000)
    finally:
        journal.close()
    with JournalReader(path) as reader:
        assert T0 + 30_000 in reader.readings_plain("porch/floor", 0, 4e9)[0]
    words = [
        str(change.facts.get("reason"))
        for change in opened.core.waiting.changes
        if change.alarm in (AlarmName.STORAGE_FAULT, AlarmName.UNWATCHED)
    ]
    batch_now = opened.core.ledger.running("porch")
    return 0 if batch_now is None else batch_now.head_count(), "".join(words)


def damage_and_start(kept: Kept, seeds: Iterator[int] | range) -> None:
    for seed in seeds:
        dice = random.Random(seed)
        raw, hit = damaged(kept.closed[""], dice)
        heads, words = starts(kept, lay_out(kept, {**kept.closed, "": raw}))
        where = f"seed {seed}, pages {sorted(hit)}: {heads} birds, {words!r}"
        if not hit & kept.ledger_pages:
            assert heads == 100, where
        elif heads == 0 and len(raw) > 0:
            assert "no longer know which birds" in words, where


def damage_after_a_cut_and_start(kept: Kept, seeds: range) -> None:
    for seed in seeds:
        dice = random.Random(seed)
        side = dice.choice(SIDES)
        raw, _ = damaged(kept.cut[side], dice)
        starts(kept, lay_out(kept, {**kept.cut, side: raw}))


def test_damages_are_survived_and_the_birds_are_known(kept: Kept) -> None:
    damage_and_start(kept, range(100))
    damage_after_a_cut_and_start(kept, range(50))


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_twenty_thousand_damages(kept: Kept) -> None:
    first = random.SystemRandom().randrange(10**9)
    damage_and_start(kept, range(first, first + 14_000))
    damage_after_a_cut_and_start(kept, range(first, first + 6000))
