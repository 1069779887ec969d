"""For every test: nothing of the machine's own settings leaks in; long tests on request."""

import os
import sys
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import settings

HERE = Path(__file__).parent

# The same examples in every run, so that a red run is the change's own; new ones in the long form.
# No deadline: how long one takes says how busy the machine is.
settings.register_profile("same", derandomize=os.environ.get("BROODER_LONG") != "1", deadline=None)
settings.load_profile("same")

# Hundreds of children import the project: what is compiled once stays compiled.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


@pytest.fixture(autouse=True)
def _no_settings_from_the_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in list(os.environ):
        if name.startswith("BROODER_") and name != "BROODER_LONG":
            monkeypatch.delenv(name)
    for name in ("STATE_DIRECTORY", "NOTIFY_SOCKET", "JOURNAL_STREAM"):
        monkeypatch.delenv(name, raising=False)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    _long_files_first(items)
    if os.environ.get("BROODER_LONG") == "1":
        return
    skip = pytest.mark.skip(reason="long: run with BROODER_LONG=1")
    for item in items:
        if item.get_closest_marker("long"):
            item.add_marker(skip)


def _long_files_first(items: list[pytest.Item]) -> None:
    """So that at the end no worker is left alone with one, and by turns those that wait for others
    and those that compute, so that the processors always have something to do."""
    place: dict[Path, tuple[bool, int]] = {}
    counted: Counter[str] = Counter()
    for item in items:
        if item.path not in place:
            folder = item.path.relative_to(HERE).parts[0]
            kind = "waits" if folder in ("faults", "live") else folder
            if folder in ("property", "outside") or "story" in item.path.parts:
                kind = "computes"
            counted[kind] += 1
            place[item.path] = (kind == "unit", counted[kind])
    items.sort(key=lambda item: place[item.path])
