"""The journal's file is taken away, or was damaged, while the service writes."""

from pathlib import Path

from monitor.journal.store import Journal
from monitor.service.journal_file import JournalFile


def test_one_that_was_taken_away_is_begun_anew_and_then_stays_open(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    file = JournalFile(Journal.open(path), lambda: Journal.open(path))
    for side in ("", "-wal", "-shm"):
        path.with_name(path.name + side).unlink(missing_ok=True)
    said: list[object] = []
    anew = file.opened(said.append)
    assert path.exists()
    assert file.opened_anew, "its ledger is compared with the watch's"
    assert file.opened(said.append) is anew, "not opened and looked through at every commit"
    [once] = said
    assert "taken away while it was written" in str(once)
    file.put_away()
