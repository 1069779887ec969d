"""Journals for this folder's tests, each in its own corner."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.journal.store import Journal


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    with Journal.open(path) as opened:
        yield opened
