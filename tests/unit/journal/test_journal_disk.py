"""A full or read-only disk: nothing half-written, the batch stays with the caller, and all goes
on by itself when there is room again. The disks are real, small ones, where they may be mounted."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.journals import T0, batch, reading

from monitor.journal.reader import JournalReader
from monitor.journal.records import OutboxRow, StorageFault
from monitor.journal.store import Journal

MOUNT = shutil.which("mount")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """One MiB of its own."""
    folder = tmp_path / "disk"
    folder.mkdir()
    if MOUNT is None or os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root")
    done = subprocess.run(
        [MOUNT, "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)],
        check=False,
        capture_output=True,
    )
    if done.returncode:
        pytest.skip("no file system can be mounted here")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def long_batch(n: int) -> object:
    one = batch(reading(T0 + n))
    one.outbox = [
        OutboxRow(key=f"k{n}", contact="me", at=T0, priority="urgent", message={"x": "y" * 3000})
    ]
    return one


def test_a_full_disk_refuses_whole_batches_and_goes_on_when_there_is_room(
    small_disk: Path,
) -> None:
    path = small_disk / "journal.db"
    with Journal.open(path) as journal:
        ballast = small_disk / "ballast"
        ballast.write_bytes(bytes(500_000))
        committed = 0
        fault = None
        for n in range(400):
            try:
                journal.commit(long_batch(n))  # type: ignore[arg-type]
            except StorageFault as caught:
                fault = caught
                break
            committed += 1
        assert fault is not None
        assert fault.kind == "full"
        assert "is full" in fault.words
        owed = long_batch(committed)
        for _ in range(3):  # refused again and again, nothing of it gets in
            with pytest.raises(StorageFault):
                journal.commit(owed)  # type: ignore[arg-type]
        with JournalReader(path) as reader:
            assert len(reader.outbox_pending()) == committed
            assert reader.readings("porch/floor")[0].size == committed
        ballast.unlink()
        journal.commit(owed)  # type: ignore[arg-type]
    with Journal.open(path) as journal, JournalReader(path) as reader:
        assert journal.set_aside is None
        assert len(reader.outbox_pending()) == committed + 1
        assert reader.readings("porch/floor")[0].size == committed + 1


def test_a_disk_turned_read_only_is_named_and_recovered_from(small_disk: Path) -> None:
    path = small_disk / "journal.db"
    journal = Journal.open(path)
    journal.commit(batch(reading(T0)))
    journal.close()
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with pytest.raises(StorageFault) as caught:
        Journal.open(path)
    assert caught.value.kind == "read-only"
    with JournalReader(path) as reader:  # what is there can still be looked at
        assert reader.readings("porch/floor")[0].tolist() == [T0]
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    with Journal.open(path) as journal:
        journal.commit(batch(reading(T0 + 1)))


def test_a_folder_that_cannot_be_made_is_a_fault_in_words() -> None:
    with pytest.raises(StorageFault) as caught:
        Journal.open(Path("/proc/no/journal.db"))
    assert "/proc/no/journal.db" in caught.value.words
