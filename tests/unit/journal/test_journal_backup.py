"""A back-up made while the service writes is whole, and putting it back loses nothing of either."""

import sqlite3
from pathlib import Path

import pytest
from support.journals import T0, batch, floor_probe, reading

from monitor.journal.copying_out import backup, restore
from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault
from monitor.journal.store import Journal


def times(path: Path) -> list[float]:
    with JournalReader(path) as reader:
        return reader.readings("porch/floor")[0].tolist()  # type: ignore[no-any-return]


def test_a_copy_of_a_journal_in_use_holds_every_commit_before_it(
    journal: Journal, path: Path, tmp_path: Path
) -> None:
    journal.know([floor_probe()])
    for n in range(50):
        journal.commit(batch(reading(T0 + n)))
    copy = tmp_path / "copy.db"
    backup(path, copy)
    journal.commit(batch(reading(T0 + 50)))
    assert times(copy) == [T0 + n for n in range(50)]
    assert times(path) == [T0 + n for n in range(51)]
    assert sorted(p.name for p in tmp_path.glob("copy*")) == ["copy.db"]


def test_what_was_there_is_moved_aside_and_the_restored_journal_goes_on(
    path: Path, tmp_path: Path
) -> None:
    copy = tmp_path / "copy.db"
    with Journal.open(path) as journal:
        journal.commit(batch(reading(T0)))
        backup(path, copy)
        for n in range(1, 9):
            journal.commit(batch(reading(T0 + n)))
    aside = restore(copy, path)
    assert aside is not None
    assert times(aside) == [T0 + n for n in range(9)]
    with Journal.open(path) as journal:
        journal.commit(batch(reading(T0 + 100)))
        assert times(path) == [T0, T0 + 100]


def test_a_running_service_or_a_wrong_file_stops_a_restore(
    journal: Journal, path: Path, tmp_path: Path
) -> None:
    journal.commit(batch(reading(T0)))
    copy = tmp_path / "copy.db"
    backup(path, copy)
    with pytest.raises(StorageFault, match="another brooder service"):
        restore(copy, path)
    other = tmp_path / "other.db"
    other.write_text("a shopping list")
    with pytest.raises(StorageFault, match="damaged"):
        restore(other, tmp_path / "new.db")
    anothers = tmp_path / "anothers.db"
    with sqlite3.connect(anothers) as connection:
        connection.execute("CREATE TABLE shopping (what TEXT)")
    connection.close()
    with pytest.raises(StorageFault, match="is not a journal of brooder"):
        restore(anothers, tmp_path / "new.db")
    with pytest.raises(StorageFault, match="is not there"):
        restore(tmp_path / "no.db", tmp_path / "new.db")
    assert not (tmp_path / "new.db").exists()
    assert times(path) == [T0]


def test_a_copy_that_cannot_be_written_says_so(journal: Journal, path: Path) -> None:
    journal.commit(batch(reading(T0)))
    with pytest.raises(StorageFault, match="there is no folder /proc/no/such/folder"):
        backup(path, Path("/proc/no/such/folder/copy.db"))
