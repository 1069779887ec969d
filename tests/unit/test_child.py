"""A child process ends, says why it failed, and knows no secret of ours."""

import json
import threading
from pathlib import Path

import psutil
import pytest
from support.patience import LEAST_S
from support.service import wait_until

from monitor import child

TESTS = str(Path(__file__).parents[1])


@pytest.fixture(autouse=True)
def found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", TESTS)


def run(*words: str, given: bytes = b"", limit_s: float = 60.0) -> bytes:
    return child.run("support.odd_child", *words, given=given, limit_s=limit_s)


def test_it_answers_what_it_was_given() -> None:
    given = bytes(range(256)) * 2000
    assert run("backwards", given=given) == given[::-1]


def test_no_variable_that_may_hold_a_secret_comes_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BROODER_CONTACTS__0__URL", "json://u:hidden-word@h")
    monkeypatch.setenv("LANG", "C.UTF-8")
    known = json.loads(run("environment"))
    assert known["LANG"] == "C.UTF-8"
    assert "hidden-word" not in str(known)


def test_a_failure_says_its_last_word() -> None:
    with pytest.raises(child.ChildFailed, match=r"failed \(3\): the card is full"):
        run("fails")


def test_one_that_hangs_is_ended_with_all_that_it_has_started(tmp_path: Path) -> None:
    said = tmp_path / "pid"
    failures: list[child.ChildFailed] = []

    def ask() -> None:
        try:
            run("hangs", str(said), limit_s=5)
        except child.ChildFailed as failure:
            failures.append(failure)

    asking = threading.Thread(target=ask)
    asking.start()
    asking.join(LEAST_S)
    [late] = failures
    assert isinstance(late, child.ChildLate)
    if said.exists() and (pid := said.read_text()):
        wait_until(lambda: not _lives(int(pid)), 30, "its own child to be gone")


def _lives(pid: int) -> bool:
    return psutil.pid_exists(pid) and psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
