"""What the mirror does with each answer a server may give, and in what words it tells of it."""

import json
import urllib.parse
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.answering import Answer, Answering, Asked
from support.journals import T0, batch, floor_probe, reading
from support.mirror import scope

from monitor.journal.mirror.influx_server import Sent, Server
from monitor.journal.mirror.sending import BadPoint, Mirror, wait_s
from monitor.journal.store import Journal

pytestmark = pytest.mark.live
Respond = Callable[[list[str]], tuple[int, str, dict[str, str]]]
OK = (204, "", {})
NO_BUCKET = 'failed to initialize execute state: could not find bucket "b"'


class OtherEnd(Answering):
    """It answers writes as it is told and keeps what it took."""

    def __init__(self) -> None:
        self.taken: list[str] = []
        self.requests: list[str] = []
        self.sent = 0  # requests with points
        self.respond: Respond = lambda _lines: OK
        super().__init__(self._answer)

    def _answer(self, asked: Asked) -> Answer:
        if asked.path.startswith("/api/v2/query"):
            status, message, headers = 404, NO_BUCKET, {}
        else:
            lines = asked.body.decode().splitlines()
            points = [line for line in lines if not line.startswith("#")]
            self.sent += bool(points)
            self.requests.append(asked.path)
            status, message, headers = self.respond(lines)
            if status == 204:
                self.taken += points
                return Answer(204)
        return Answer(status, json.dumps({"code": "x", "message": message}).encode(), headers)


@pytest.fixture
def other_end() -> Iterator[OtherEnd]:
    server = OtherEnd()
    yield server
    server.close()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A journal of a hundred readings, one of them 99.5 degC."""
    path = tmp_path / "journal.db"
    with Journal.open(path) as journal:
        journal.know([floor_probe()])
        for n in range(100):
            journal.commit(batch(reading(T0 + n, 99.5 if n == 41 else 30.0)))
    return path


def test_one_bad_point_is_set_aside_alone_and_told(other_end: OtherEnd, path: Path) -> None:
    def picky(lines: list[str]) -> tuple[int, str, dict[str, str]]:
        bad = any("celsius=99.5" in line for line in lines)
        return (400, "unable to parse it", {}) if bad else OK

    other_end.respond = picky
    told: list[BadPoint] = []
    cursors: list[object] = []
    with Server(other_end.url, "t", "farm", "b") as sink:
        mirror = Mirror(path, scope(), sink, cursors.append, told.append)
        assert mirror.step() > 0
        assert len(other_end.taken) == 99
        assert [bad.words for bad in told] == ["unable to parse it"]
        assert "celsius=99.5" in told[0].line
        assert len(cursors) == 1  # the bad point does not hold the others up
        assert not mirror.standing().well
        assert (
            "1 points of 2026-02-10 were refused there (unable to parse it); they are sent again"
            in mirror.standing().words
        )


def test_a_server_that_takes_nothing_is_not_asked_for_every_line(
    other_end: OtherEnd, path: Path
) -> None:
    other_end.respond = lambda _lines: (400, "bucket type is wrong", {})
    with Journal.open(path) as journal:
        journal.commit(batch(*(reading(T0 + 200 + n) for n in range(2000))))
    with Server(other_end.url, "t", "farm", "b") as sink:
        mirror = Mirror(path, scope(), sink, lambda _c: None)
        mirror.step()
        assert other_end.sent < 300
        assert "2100 points of 2026-02-10 were refused" in mirror.standing().words


def test_points_dropped_for_their_age_do_not_stop_the_rest(other_end: OtherEnd, path: Path) -> None:
    other_end.respond = lambda _lines: (
        422,
        "failure writing points to database: partial write: points beyond retention policy "
        "dropped=60",
        {},
    )
    with Server(other_end.url, "t", "farm", "b") as sink:
        mirror = Mirror(path, scope(), sink, lambda _c: None)
        mirror.step()
        assert other_end.sent == 1
        assert "60 points of 2026-02-10 were refused" in mirror.standing().words


def test_the_reason_at_the_end_of_a_long_answer_is_said(other_end: OtherEnd, path: Path) -> None:
    """InfluxDB 2.8 names whole series, with all their tags, before it says why."""
    series = "temperature,brooder=porch,place=floor,probe=floor,site=" + "long\\ name" * 40
    other_end.respond = lambda _lines: (
        422,
        "failure writing points to database: partial write: dropped 60 points outside retention"
        f" policy of duration 1h0m0s - oldest point {series} at 2026-02-10T01:00:00Z dropped"
        " because it violates a Retention Policy Lower Bound at 2026-02-12T00:00:00Z, newest"
        f" point {series} at 2026-02-10T01:01:00Z dropped because it violates a Retention Policy"
        " Lower Bound at 2026-02-12T00:00:00Z dropped=60 for database: 9f282d63c7d3a5c0 for"
        " retention policy: autogen",
        {},
    )
    with Server(other_end.url, "t", "farm", "b") as sink:
        mirror = Mirror(path, scope(), sink, lambda _c: None)
        mirror.step()
        words = mirror.standing().words
    assert "60 points of 2026-02-10 were refused" in words
    assert "outside retention policy of duration 1h0m0s" in words
    assert "dropped because it violates a Retention Policy Lower Bound" in words


@pytest.mark.parametrize("status", [429, 503])
def test_the_servers_own_advice_is_followed(other_end: OtherEnd, path: Path, status: int) -> None:
    other_end.respond = lambda _lines: (status, "later", {"Retry-After": "7"})
    cursors: list[object] = []
    with Server(other_end.url, "t", "farm", "b") as sink:
        mirror = Mirror(path, scope(), sink, cursors.append)
        assert mirror.step() == 7.0
        assert cursors == []
        other_end.respond = lambda _lines: OK
        mirror.step()
        assert len(other_end.taken) == len(set(other_end.taken)) == 100


def test_without_advice_the_wait_doubles_up_to_a_bound() -> None:
    waits = [wait_s(n, None) for n in range(1, 30)]
    assert waits[:4] == [2.0, 4.0, 8.0, 16.0]
    assert waits[-1] == 300.0
    assert wait_s(1, 1e9) == 300.0


@pytest.mark.parametrize(
    ("status", "message", "words"),
    [
        (401, "unauthorized access", "does not accept the token"),
        (403, "insufficient permissions", "may not write to bucket brooder"),
        (404, "bucket not found", "there is no bucket brooder of farm"),
        (500, "write: no space left on device", "no room left on its disk"),
        (503, "unavailable", "trouble of its own (status 503)"),
    ],
)
def test_check_says_what_is_wrong_and_what_would_be_right(
    other_end: OtherEnd, status: int, message: str, words: str
) -> None:
    other_end.respond = lambda _lines: (status, message, {})
    with Server(other_end.url, "secret-token", "farm", "brooder") as server:
        answer = server.may_write()
    assert not isinstance(answer, Sent)
    assert words in answer.words
    assert "secret-token" not in answer.words


def test_check_asks_of_the_right_bucket(other_end: OtherEnd) -> None:
    with Server(other_end.url, "t", "farm", "the bucket") as server:
        assert isinstance(server.may_write(), Sent)
    asked = urllib.parse.urlsplit(other_end.requests[0])
    assert asked.path == "/api/v2/write"
    assert urllib.parse.parse_qs(asked.query) == {
        "org": ["farm"],
        "bucket": ["the bucket"],
        "precision": ["ns"],
    }
