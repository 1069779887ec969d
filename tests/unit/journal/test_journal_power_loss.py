"""Power fails while the journal is written: every whole commit before the cut is there, and the
file is sound. The cut is made by copying what was on the disk at each moment and shortening or
garbling what was written last, as a disk may leave it."""

import random
import shutil
import sqlite3
from pathlib import Path

import pytest
from support.journals import T0, batch, reading

from monitor.events import Moment
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, OutboxRow
from monitor.journal.store import Journal

SIDES = ("", "-wal")


def picture(path: Path) -> dict[str, bytes]:
    parts = {side: path.with_name(path.name + side) for side in SIDES}
    return {side: part.read_bytes() for side, part in parts.items() if part.exists()}


def mixed(n: int) -> Commit:
    """Mostly plain readings, now and then a message and a snapshot."""
    one = batch(reading(T0 + n, 20 + n / 16), reading(T0 + n, n / 16, "porch/cool"))
    if n % 7 == 3:
        one.outbox = [
            OutboxRow(key=f"k{n}", contact="me", at=T0, priority="urgent", message={"n": "x" * 90})
        ]
    if n % 40 == 39:
        one.snapshots = {"engine": {"n": n}}
    one.advanced_to = Moment(T0 + n, T0 + n)
    return one


def cut(
    before: dict[str, bytes], after: dict[str, bytes], chance: random.Random
) -> dict[str, bytes]:
    """Of the bytes in which two moments differ only the first few arrived; behind the cut lies
    what was there before, zeros, or noise."""
    torn = dict(before)
    for side, new in after.items():
        old = before.get(side, b"")
        grown = old + bytes(max(0, len(new) - len(old)))
        changed = [n for n in range(len(new)) if n >= len(old) or new[n] != old[n]]
        if not changed:
            continue
        at = chance.randint(changed[0], changed[-1] + 1)
        rest = grown[at : len(new)]
        if chance.random() < 0.3:
            noise = chance.randbytes(min(len(rest), changed[-1] + 1 - at))
            rest = noise + rest[len(noise) :]
        torn[side] = new[:at] + rest
        if side == "-wal" and chance.random() < 0.3:
            torn[side] = new[:at]
    return torn


@pytest.mark.parametrize("seed", range(4))
def test_every_whole_commit_before_the_cut_is_there(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    live = tmp_path / "live" / "journal.db"
    with Journal.open(live) as journal:
        moments = [picture(live)]
        for n in range(120):
            journal.commit(mixed(n))
            moments.append(picture(live))
    tried = tmp_path / "tried" / "journal.db"
    for n in sorted(chance.sample(range(120), 40)):
        shutil.rmtree(tried.parent, ignore_errors=True)
        tried.parent.mkdir()
        for side, raw in cut(moments[n], moments[n + 1], chance).items():
            tried.with_name(tried.name + side).write_bytes(raw)
        with Journal.open(tried) as journal:
            assert journal.set_aside is None
            with JournalReader(tried) as reader:
                times = reader.readings("porch/floor")[0].tolist()
                cool = reader.readings("porch/cool")[0].tolist()
                keys = [row.key for row in reader.outbox_pending()]
            # All of the first n commits; the one in flight wholly or not at all.
            assert len(times) in (n, n + 1)
            assert times == cool == [T0 + k for k in range(len(times))]
            assert keys == [f"k{k}" for k in range(len(times)) if k % 7 == 3]
            journal.commit(batch(reading(T0 + 1000)))
        check = sqlite3.connect(tried)
        assert check.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        check.close()


def test_tidying_cut_short_loses_and_doubles_nothing(tmp_path: Path) -> None:
    live = tmp_path / "live" / "journal.db"
    chance = random.Random(5)
    with Journal.open(live) as journal:
        for n in range(200):
            one = batch(reading(T0 + 60 * n, n / 16), reading(T0 + 60 * n, 1.0, "porch/cool"))
            one.snapshots = {"engine": {}} if n % 50 == 49 else {}
            journal.commit(one)
        before = picture(live)
        assert journal.tidy(T0 + 60 * 200) > 100
        after = picture(live)
    tried = tmp_path / "tried" / "journal.db"
    for _ in range(30):
        shutil.rmtree(tried.parent, ignore_errors=True)
        tried.parent.mkdir()
        for side, raw in cut(before, after, chance).items():
            tried.with_name(tried.name + side).write_bytes(raw)
        with Journal.open(tried) as journal, JournalReader(tried) as reader:
            assert journal.set_aside is None
            assert reader.readings("porch/floor")[1].tolist() == [n / 16 for n in range(200)]
