"""For every test: nothing of the machine's own settings leaks in; long tests on request."""

import os
import sys

import pytest
from hypothesis import HealthCheck, settings

COMPUTES = ("thermal", "story", "property", "outside")  # the longest first
LONGEST = ("test_page_look", "test_service_night", "test_secrets_stay_hidden")  # of those that wait

# The same examples in every run, so that a red run is the change's own; new ones in the long form.
# No deadline, and none for making one: how long that takes says how busy the machine is.
settings.register_profile(
    "same",
    derandomize=os.environ.get("BROODER_LONG") != "1",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
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
    """So that at the end no worker is left alone with one; and by turns those that wait for others
    and those that compute, so that the processors always have something to do."""
    files = dict.fromkeys(item.path for item in items)
    waits = [file for file in files if file.parent.name in ("faults", "live")]
    waits.sort(key=lambda file: file.stem not in LONGEST)
    computes = [file for name in COMPUTES for file in files if file.parent.name == name]
    place = {file: n for some in (waits, computes) for n, file in enumerate(some)}
    items.sort(key=lambda item: place.get(item.path, len(files)))
