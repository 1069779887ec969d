"""Who may see the page: passphrase, names, sessions."""

import json
import os
import time
from pathlib import Path

import pytest

from monitor.page.access import Access, AccessFault
from monitor.page.browser_session import LASTS_S, BrowserSessions

WORDS = "ten chicks in a box"


def test_the_network_needs_a_passphrase(tmp_path: Path):
    with pytest.raises(AccessFault, match="passphrase"):
        Access.prepare(folder=tmp_path, listen="0.0.0.0")
    with pytest.raises(AccessFault, match="passphrase"):
        Access.prepare(folder=tmp_path, behind_proxy=True)


def test_only_the_passphrase_is_the_passphrase(tmp_path: Path):
    access = Access.prepare(folder=tmp_path, passphrase=WORDS)
    assert access.is_passphrase(WORDS)
    for wrong in ("", WORDS + " ", WORDS.upper(), WORDS[:-1]):
        assert not access.is_passphrase(wrong)


def test_the_passphrase_itself_is_not_kept(tmp_path: Path):
    access = Access.prepare(folder=tmp_path, passphrase=WORDS)
    assert WORDS not in repr(access)
    assert "argon2id" in str(access.passphrase_hash)
    for path in tmp_path.iterdir():
        assert WORDS.encode() not in path.read_bytes()


def test_the_key_is_readable_by_nobody_else(tmp_path: Path):
    Access.prepare(folder=tmp_path)
    assert os.stat(tmp_path / "page.key").st_mode & 0o077 == 0


def test_a_disk_that_cannot_be_written_does_not_take_the_page_away(tmp_path: Path, caplog):
    nowhere = tmp_path / "file"
    nowhere.write_text("")
    access = Access.prepare(folder=nowhere / "state", passphrase=WORDS)
    assert access.is_passphrase(WORDS)
    assert len(access.key) == 32
    assert "could not be kept" in caplog.text


@pytest.mark.parametrize(
    ("host", "answers"),
    [
        ("localhost:8420", True),
        ("LOCALHOST", True),
        ("127.0.0.1:8420", True),
        ("[::1]:8420", True),
        ("192.168.1.20:8420", True),
        ("coop.example:8420", True),
        ("hillside.example", True),
        ("elsewhere.example", False),
        ("hillside.example.elsewhere.example", False),
        ("", False),
        ("[", False),
        ("a b", False),
    ],
)
def test_it_answers_to_its_own_names_and_to_numbers(tmp_path: Path, host: str, answers: bool):
    access = Access.prepare(
        folder=tmp_path,
        passphrase=WORDS,
        hosts=("coop.example",),
        public_url="https://hillside.example/",
    )
    assert access.answers_to(host) is answers


def test_a_restart_signs_nobody_out_but_a_new_passphrase_does(tmp_path: Path):
    before = BrowserSessions(Access.prepare(folder=tmp_path, passphrase=WORDS))
    cookie = before.written(before.begin(signed_in=True))
    again = BrowserSessions(Access.prepare(folder=tmp_path, passphrase=WORDS))
    other = BrowserSessions(Access.prepare(folder=tmp_path, passphrase=WORDS + "!"))
    kept = again.read(cookie, time.time())
    assert kept is not None
    assert kept.signed_in
    assert other.read(cookie, time.time()) is None


def test_a_board_that_boots_with_an_old_time_signs_nobody_out(tmp_path: Path):
    sessions = BrowserSessions(Access.prepare(folder=tmp_path, passphrase=WORDS))
    cookie = sessions.written(sessions.begin(signed_in=True))
    for behind_s in (60.0, 3600.0, 40 * 86400.0):
        session = sessions.read(cookie, time.time() - behind_s)
        assert session is not None
        assert session.signed_in
        assert not session.fresh, "it is not sent again with a time that is wrong"
    assert sessions.read(cookie, time.time() + LASTS_S + 60) is None


def test_a_cookie_that_was_meddled_with_is_worth_nothing(tmp_path: Path):
    sessions = BrowserSessions(Access.prepare(folder=tmp_path, passphrase=WORDS))
    cookie = sessions.written(sessions.begin(signed_in=False))
    for at in range(len(cookie)):
        other = "A" if cookie[at] != "A" else "B"
        read = sessions.read(cookie[:at] + other + cookie[at + 1 :], time.time())
        assert read is None or not read.signed_in


def test_signing_out_outlives_a_restart_and_tells_no_names(tmp_path: Path):
    access = Access.prepare(folder=tmp_path, passphrase=WORDS)
    sessions = BrowserSessions(access)
    session = sessions.begin(signed_in=True)
    cookie = sessions.written(session)
    sessions.end(session, time.time())
    assert sessions.read(cookie, time.time()) is None
    assert BrowserSessions(access).read(cookie, time.time()) is None
    assert session.name not in (tmp_path / "page-ended.json").read_text()


def test_ended_sessions_are_forgotten_when_their_cookie_is_too_old_anyway(tmp_path: Path):
    sessions = BrowserSessions(Access.prepare(folder=tmp_path, passphrase=WORDS))
    sessions.end(sessions.begin(signed_in=True), 1000.0)
    sessions.end(sessions.begin(signed_in=True), 1000.0 + LASTS_S + 1)
    assert len(json.loads((tmp_path / "page-ended.json").read_text())) == 1


def test_a_damaged_list_of_ended_sessions_does_not_keep_the_page_from_starting(tmp_path: Path):
    (tmp_path / "page-ended.json").write_text("[1, 2")
    sessions = BrowserSessions(Access.prepare(folder=tmp_path, passphrase=WORDS))
    cookie = sessions.written(sessions.begin(signed_in=True))
    assert sessions.read(cookie, time.time()) is not None


def test_form_tokens_belong_to_one_session(tmp_path: Path):
    sessions = BrowserSessions(Access.prepare(folder=tmp_path))
    mine, other = sessions.begin(signed_in=False), sessions.begin(signed_in=False)
    assert sessions.is_form_token(mine, sessions.form_token(mine))
    assert not sessions.is_form_token(mine, sessions.form_token(other))
    assert not sessions.is_form_token(mine, "")
    assert not sessions.is_form_token(mine, "é")
