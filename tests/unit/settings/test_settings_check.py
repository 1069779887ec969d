"""The contacts' URLs are checked by a child process, which may fail on a busy board."""

from pathlib import Path

import pytest

from monitor.child import ChildFailed, ChildLate
from monitor.settings import load, load_settings

TEXT = """
[[brooders]]
name = "porch"
length_m = 1
width_m = 1
[[contacts]]
name = "phone"
url = "json://127.0.0.1:9/hidden-word"
"""


@pytest.mark.parametrize(
    "error",
    [
        ChildLate("took longer than 60 s and was stopped"),
        ChildFailed("could not start: no more processes"),
        ValueError("no JSON"),
    ],
)
def test_a_check_of_contacts_that_fails_is_no_fault_of_the_contacts(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    error: Exception,
) -> None:
    def fails(_urls: list[str]) -> list[int]:
        raise error

    monkeypatch.setattr(load, "unknown_forms", fails)
    file = tmp_path / "brooder.toml"
    file.write_text(TEXT, encoding="utf-8")
    assert [contact.name for contact in load_settings(file, {}).file.contacts] == ["phone"]
    assert "could not be checked" in caplog.text
    assert "hidden-word" not in caplog.text
