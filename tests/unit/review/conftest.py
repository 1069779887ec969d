"""One journal for the whole folder: written once by the journal's own writer, only read here."""

from pathlib import Path

import pytest
from support import review_journal

from monitor.journal.reader import JournalReader


@pytest.fixture(scope="session")
def journal_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("review") / "journal.db"
    review_journal.write(path)
    return path


@pytest.fixture
def reader(journal_path):
    with JournalReader(journal_path) as reader:
        yield reader
