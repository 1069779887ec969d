"""Journals, written by the journal's own writer: one for the whole folder, which is only read, and
that of a split batch for each test."""

from pathlib import Path

import pytest
from support import review_journal, split_batch

from monitor.journal.reader import JournalReader
from monitor.review.record import Asked, open_record


@pytest.fixture(scope="session")
def journal_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("review") / "journal.db"
    review_journal.write(path)
    return path


@pytest.fixture
def reader(journal_path):
    with JournalReader(journal_path) as reader:
        yield reader


@pytest.fixture
def record(reader):
    """The porch's batch, long after."""
    later = review_journal.at("2026-06-01 00:00")
    return open_record(reader, review_journal.site(), Asked(brooder="porch"), now=later)


@pytest.fixture
def journal(tmp_path):
    split_batch.write(tmp_path / "journal.db")
    return tmp_path / "journal.db"
