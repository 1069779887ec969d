"""A damaged file is set aside, the watch goes on with its ledger, and what can be read is saved."""

import random
import shutil
import sqlite3
import subprocess
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from support.journals import T0, batch, floor_probe, reading

from monitor.events import Entry, EntryKind, Moment
from monitor.journal import opening, schema
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered, OutboxRow
from monitor.journal.salvaging import Report, salvage
from monitor.journal.store import Journal

PAGE = schema.PAGE_BYTES


@pytest.fixture(scope="module")
def filled_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two days of two probes, a ledger and an unsent message."""
    path = tmp_path_factory.mktemp("filled") / "journal.db"
    with Journal.open(path) as journal:
        journal.know([floor_probe()])
        for n in range(0, 17_280, 60):
            rows = [reading(T0 + 10 * k, 30 + k % 160 / 16) for k in range(n, n + 60)]
            rows += [reading(T0 + 10 * k, 12.5, "porch/cool") for k in range(n, n + 60)]
            last = batch(*rows)
            if n % 3600 == 0:
                last.snapshots = {"engine": {"n": n}}
                number = journal.next_entry_number()
                entry = Entry(
                    at=T0 + n, entry=EntryKind.NOTE, brooder="porch", note="x" * 200, number=number
                )
                last.inputs.append(Entered(entry, Moment(T0 + n, T0 + n)))
            journal.commit(last)
        journal.commit(
            Commit(outbox=[OutboxRow(key="k", contact="me", at=T0, priority="urgent", message={})])
        )
        journal.tidy(T0 + 172_800)
    return path


@pytest.fixture
def filled(filled_once: Path, path: Path) -> Path:
    """The same file for each test, to be damaged."""
    for file in filled_once.parent.iterdir():
        shutil.copy2(file, path.parent)
    return path


def overwrite(path: Path, page: int) -> None:
    raw = bytearray(path.read_bytes())
    raw[page * PAGE : (page + 1) * PAGE] = random.Random(page).randbytes(PAGE)
    path.write_bytes(raw)


def salvaged(damaged: Path, folder: Path) -> Report:
    """What can be read of it, in `folder`/saved.db."""
    into = opening.connect_to_write(folder / "saved.db")
    schema.prepare(into)
    schema.bring_to(into)
    report = salvage(damaged, into)
    into.close()
    return report


def test_a_damaged_file_is_set_aside_and_the_ledger_goes_on(filled: Path) -> None:
    with JournalReader(filled) as reader:
        entries = reader.entries()
    pages = filled.stat().st_size // PAGE
    overwrite(filled, pages - 3)  # a page of readings
    damaged = filled.read_bytes()
    with Journal.open(filled, wall=T0) as journal, JournalReader(filled) as reader:
        assert journal.set_aside == filled.with_name("journal.db.damaged-20260210T010000Z")
        assert journal.set_aside.read_bytes() == damaged
        assert reader.entries() == entries
        assert [row.key for row in reader.outbox_pending()] == ["k"]
        snapshot = reader.snapshot("engine")
        assert snapshot is not None
        assert snapshot.mark == 0
        journal.commit(batch(reading(T0 + 200_000)))
        assert [r.at for r in reader.inputs_since(snapshot.mark)] == [T0 + 200_000]  # type: ignore[union-attr]
        assert journal.next_entry_number() == entries[-1].number + 1


def test_a_file_that_a_commit_stumbled_over_is_replaced_with_its_ledger(filled: Path) -> None:
    with JournalReader(filled) as reader:
        entries = reader.entries()
    with Journal.open(filled, distrust=True) as journal, JournalReader(filled) as reader:
        assert journal.set_aside is not None
        assert reader.entries() == entries
        assert reader.readings("porch/floor")[0].size == 0


def test_damage_that_the_check_misses_and_the_start_stumbles_over_is_set_aside_too(
    filled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with sqlite3.connect(filled) as connection:
        query = "SELECT rootpage FROM sqlite_schema WHERE name = 'entries'"
        (root,) = connection.execute(query).fetchone()
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    overwrite(filled, root - 1)
    monkeypatch.setattr(opening, "damage", lambda _path: None)  # it is bounded
    with Journal.open(filled) as journal:
        assert journal.set_aside is not None
        journal.commit(batch(reading(T0)))


def test_a_file_that_is_no_database_is_set_aside(path: Path) -> None:
    path.write_bytes(b"not a database at all" * 500)
    with Journal.open(path) as journal:
        assert journal.set_aside is not None
        journal.commit(batch(reading(T0)))
    with Journal.open(path) as journal:
        assert journal.set_aside is None


@pytest.mark.parametrize(
    ("said", "says"),
    [
        (b"CREATE TABLE outbox", b"CREATE \xb1ABLE outbox"),  # SQLite's report of it is no UTF-8
        (b"CREATE INDEX alarms_by", b"CREATE INDEX \xff\xfearms_by"),
        (b"marks BLOB", b"mbrks BLOB"),  # sound to SQLite, until somebody wants the column
        (b"hatched TEXT", b"hatchad TEXT"),  # of the ledger itself
        (b"tries INTEGER", b"tries iNTEG R"),
    ],
)
def test_a_schema_in_which_one_word_is_overwritten_is_set_aside_with_its_ledger(
    filled: Path, said: bytes, says: bytes
) -> None:
    with JournalReader(filled) as reader:
        entries = reader.entries()
    raw = filled.read_bytes()
    assert said in raw
    filled.write_bytes(raw.replace(said, says))
    with Journal.open(filled, wall=T0) as journal, JournalReader(filled) as reader:
        assert journal.set_aside is not None
        assert reader.entries() == entries
        journal.commit(
            Commit(outbox=[OutboxRow(key="l", contact="me", at=T0, priority="urgent", message={})])
        )


@pytest.mark.parametrize("length", [200, 980, 1100, 5000])
def test_a_ledger_whose_tree_is_broken_is_found_on_its_pages(path: Path, length: int) -> None:
    """With notes that fit a page, and such that go on in others."""
    with Journal.open(path) as journal:
        for n in range(40):
            entry = Entry(
                at=T0 + n,
                entry=EntryKind.NOTE,
                brooder="porch",
                note="ä" + "x" * length,
                number=journal.next_entry_number(),
            )
            journal.commit(Commit(inputs=[Entered(entry, Moment(T0 + n, T0 + n))]))
    with JournalReader(path) as reader:
        # A long note is cut in what stands there a second time; the birds are not.
        entries = [replace(entry, note=entry.note[:120]) for entry in reader.entries()]
    with sqlite3.connect(path) as source:
        (root,) = source.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'entries'"
        ).fetchone()
    source.close()
    overwrite(path, root - 1)
    with Journal.open(path, wall=T0) as journal, JournalReader(path) as reader:
        assert journal.set_aside is not None
        assert reader.entries() == entries
        assert journal.next_entry_number() == 41


def test_an_opening_that_fails_in_whatever_way_gives_the_journal_free(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(_path: Path) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(opening, "damage", fails)
        with pytest.raises(KeyboardInterrupt):
            Journal.open(path)
    Journal.open(path).close()


@pytest.mark.parametrize("share", [0.0, 0.1, 0.3, 0.5, 0.7, 0.9])
def test_one_broken_page_costs_little(filled: Path, tmp_path: Path, share: float) -> None:
    with JournalReader(filled) as reader:
        whole = {
            k: dict(zip(*reader.readings(k), strict=True)) for k in ("porch/floor", "porch/cool")
        }
    pages = filled.stat().st_size // PAGE
    roots = {
        row[0]
        for row in sqlite3.connect(filled).execute("SELECT rootpage FROM sqlite_schema").fetchall()
    }
    page = next(n for n in range(int(pages * share), pages) if n + 1 not in roots)
    overwrite(filled, page)
    report = salvaged(filled, tmp_path)
    assert report.readings > 34_560 * 0.9
    with JournalReader(tmp_path / "saved.db") as reader:
        saved = 0
        for key, known in whole.items():
            at, temp = reader.readings(key)
            saved += at.size
            assert all(known[a] == t for a, t in zip(at.tolist(), temp.tolist(), strict=True))
        assert saved == report.readings
        assert len(reader.entries()) >= 3


def leaves(path: Path, table: str) -> list[int]:
    """The pages (from 0) that hold a table's rows, in the order of their keys, as SQLite's own
    account of the file has them (sqlite.org/dbstat.html)."""
    shell = shutil.which("sqlite3")
    if shell is None:
        pytest.skip("needs the program sqlite3")
    query = f"SELECT pageno FROM dbstat WHERE name = '{table}' AND pagetype = 'leaf' ORDER BY path"
    done = subprocess.run([shell, str(path), query], capture_output=True, text=True, check=True)
    return [int(line) - 1 for line in done.stdout.split()]


@pytest.mark.parametrize("which", [0, 1, 300, -2, -1])
def test_a_page_of_readings_costs_no_more_than_itself_wherever_it_lies(
    filled: Path, tmp_path: Path, which: int
) -> None:
    pages = leaves(filled, "readings")
    assert len(pages) > 600
    overwrite(filled, pages[which])
    report = salvaged(filled, tmp_path)
    assert report.broken == ["readings"]
    assert report.readings > 34_560 - 100


def test_what_lies_between_broken_pages_is_saved_too(filled: Path, tmp_path: Path) -> None:
    pages = leaves(filled, "readings")
    for page in pages[100:700:100]:
        overwrite(filled, page)
    assert salvaged(filled, tmp_path).readings > 34_560 - 6 * 100


@pytest.mark.parametrize(
    ("share", "begun"),
    [(0.5, schema.VERSION), (0.7, schema.VERSION), (0.9, schema.VERSION), (0.7, schema.OLDEST)],
)
def test_of_a_file_cut_short_all_that_lies_before_the_cut_is_saved(
    path: Path, tmp_path: Path, share: float, begun: int
) -> None:
    """A card that lost its end, or a copy that broke off; the cut is at no page's edge. Also of a
    journal that was begun by an earlier version."""
    with closing(opening.connect_to_write(path)) as connection:
        schema.prepare(connection)
        schema.bring_to(connection, begun)
    chance = random.Random(1)
    with Journal.open(path) as journal:
        journal.know([floor_probe()])
        for n in range(0, 40_000, 60):
            temps = [30 + chance.randrange(160) / 16 for _ in range(60)]
            last = batch(*(reading(T0 + 10 * (n + k), temp) for k, temp in enumerate(temps)))
            last.snapshots = {"engine": {"n": n}}
            journal.commit(last)
            if n % 360 == 0:
                journal.tidy(T0 + 10 * n)
    with JournalReader(path) as reader:
        known = dict(zip(*reader.readings("porch/floor"), strict=True))
    raw = path.read_bytes()
    path.write_bytes(raw[: int(len(raw) * share) | 1])
    report = salvaged(path, tmp_path)
    assert report.readings > len(known) * (share - 0.2)  # the file begins with tables and old room
    assert report.broken
    with JournalReader(tmp_path / "saved.db") as reader:
        at, temp = reader.readings("porch/floor")
        assert all(known[a] == t for a, t in zip(at.tolist(), temp.tolist(), strict=True))


def test_pages_that_describe_the_tables_can_be_replaced(filled: Path, tmp_path: Path) -> None:
    with sqlite3.connect(filled) as source:
        roots = {row[0] for row in source.execute("SELECT rootpage FROM sqlite_schema")}
    described = [n for n in range(max(roots)) if n + 1 not in roots]
    assert len(described) > 1, "the description takes more than the first page"
    for page in described:
        overwrite(filled, page)
    report = salvaged(filled, tmp_path)
    assert report.readings > 34_560 * 0.9
    assert report.rows["entries"] >= 3


def test_salvaging_leaves_the_damaged_file_as_it_is(filled: Path, tmp_path: Path) -> None:
    overwrite(filled, 5)
    before = filled.read_bytes()
    salvaged(filled, tmp_path)
    assert filled.read_bytes() == before


def test_of_a_large_file_the_watchs_own_tables_are_still_checked(
    filled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "WHOLE_CHECK_BYTES", 1000)
    assert opening.damage(filled) is None
    connection = sqlite3.connect(filled)
    roots = dict(connection.execute("SELECT name, rootpage FROM sqlite_schema"))
    connection.close()
    sound = filled.read_bytes()
    overwrite(filled, roots["readings"] - 1)
    assert opening.damage(filled) is None  # left out: too large to read at every start
    filled.write_bytes(sound)
    overwrite(filled, roots["entries"] - 1)
    assert opening.damage(filled) is not None
