"""The power fails at any write of the journal, also while SQLite carries its log into the file:
every commit that had returned is there, the file is sound. Every write and sync of the disk is
known, and what no sync had followed may be lost, torn or out of order.

Three hundred cuts in every run, 10,000 with BROODER_LONG=1."""

import random
import shutil
import sqlite3
from pathlib import Path

import pytest
from support.journals import T0, batch, reading
from support.power import Move, left, recorded

from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal

pytestmark = pytest.mark.faults

COMMITS = 240
# A checkpoint comes every few commits here, so that cuts fall into some dozens of them.
PROGRAM = f"""
from pathlib import Path
from monitor.journal import schema
schema.CHECKPOINT_PAGES = 24
from monitor.journal.records import Commit, OutboxRow
from monitor.journal.store import Journal
from monitor.events import Moment, Reading
with Journal.open(Path(PATH)) as journal:
    said("open")
    for n in range({COMMITS}):
        at = {T0} + 60 * n
        one = Commit(
            inputs=[Reading(at, at, key, n / 16) for key in ("porch/floor", "porch/cool")],
            advanced_to=Moment(at, at),
        )
        if n % 5 == 3:
            row = dict(contact="me", at=at, priority="urgent", message={{"n": "x" * 900}})
            one.outbox = [OutboxRow(key=f"k{{n}}", **row)]
        if n % 40 == 39:
            one.snapshots = {{"engine": {{"n": n}}}}
        journal.commit(one)
        said(n)
        if n % 60 == 59:
            journal.tidy(at)
"""


@pytest.fixture(scope="module")
def moves(tmp_path_factory: pytest.TempPathFactory) -> list[Move]:
    return recorded(tmp_path_factory.mktemp("power") / "live", PROGRAM)


def test_no_commit_returns_before_all_that_it_wrote_is_synced(moves: list[Move]) -> None:
    """Without this the other test would only show what a lucky disk does."""
    unsynced: set[str] = set()
    commits = by_log = 0
    since: set[str] = set()
    for move in moves:
        if move.kind == "write":
            unsynced.add(move.side)
            since.add(move.side)
        elif move.kind == "sync":
            unsynced.discard(move.side)
        elif move.kind == "said":
            # The file itself may wait: until it is synced, the log is not begun anew.
            assert not unsynced - {""}, f"commit {move.side} returned with {unsynced} not synced"
            commits += move.side != "open"
            by_log += "-wal" in since
            since = set()
    assert commits == COMMITS
    assert by_log >= COMMITS


def test_the_log_is_begun_anew_only_when_the_file_has_all_of_it(moves: list[Move]) -> None:
    dirty = False
    begun_anew = 0
    for move in moves:
        if move.side == "" and move.kind in ("write", "sync"):
            dirty = move.kind == "write"
        elif move.side == "-wal" and move.kind == "write" and move.at == 0:
            assert not dirty
            begun_anew += 1
    assert begun_anew > 10, "checkpoints happened"


def cut_and_look(moves: list[Move], tried: Path, place: int, dice: random.Random) -> None:
    shutil.rmtree(tried.parent, ignore_errors=True)
    tried.parent.mkdir(parents=True)
    for side, raw in left(moves[:place], dice).items():
        tried.with_name(tried.name + side).write_bytes(raw)
    returned = sum(m.kind == "said" and m.side != "open" for m in moves[:place])
    with Journal.open(tried) as journal:
        assert journal.set_aside is None
        with JournalReader(tried) as reader:
            times = list(reader.readings_plain("porch/floor", 0, 4e9)[0])
            cool = list(reader.readings_plain("porch/cool", 0, 4e9)[0])
            keys = [row.key for row in reader.outbox_pending()]
        # All that had returned; the one in flight wholly or not at all.
        assert len(times) in (returned, returned + 1)
        assert times == cool == [T0 + 60 * n for n in range(len(times))]
        assert keys == [f"k{n}" for n in range(len(times)) if n % 5 == 3]
        journal.commit(batch(reading(T0 + 100_000)))
    check = sqlite3.connect(tried)
    assert check.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    check.close()


def cut_often(moves: list[Move], folder: Path, cuts: int, dice: random.Random) -> None:
    ready = next(n for n, move in enumerate(moves) if move.side == "open")
    in_the_file = [n for n, move in enumerate(moves) if n > ready and move.side == ""]
    assert len(in_the_file) > 100, "the database file itself is written"
    for number in range(cuts):
        # Half of them in the middle of a checkpoint.
        places = in_the_file if number % 2 else range(ready, len(moves))
        cut_and_look(moves, folder / "tried" / "journal.db", dice.choice(places) + 1, dice)


def test_three_hundred_cuts_lose_nothing_that_was_promised(
    moves: list[Move], tmp_path: Path
) -> None:
    cut_often(moves, tmp_path, 300, random.Random(1))


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_ten_thousand_cuts(moves: list[Move], tmp_path: Path) -> None:
    cut_often(moves, tmp_path, 10_000, random.Random())
