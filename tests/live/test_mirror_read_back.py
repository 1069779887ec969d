"""A journal rebuilt from recorded answers of the documented form, through the real client over
real HTTP. No server that speaks Flux was to be had: what a query means there is not tested here,
only that each asks for its own stretch and that its answer is read to the digit."""

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import Result
from support.answering import Answer, Answering, Asked
from support.birds import chicks_in
from support.journals import floor_probe
from typer.testing import CliRunner

from monitor.commands import build
from monitor.events import Entry, EntryKind
from monitor.journal.mirror import flux
from monitor.journal.mirror.influx_server import InfluxFault, Server
from monitor.journal.mirror.read_back import fetch, write
from monitor.journal.reader import JournalReader

pytestmark = pytest.mark.live
ANSWERS = Path(__file__).parent / "flux_answers"


def answer(name: str) -> str:
    return (ANSWERS / f"{name}.csv").read_bytes().decode()


class Recorded(Answering):
    """Answers each query with what was recorded for it, and with nothing where nothing was."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        super().__init__(self._answer)

    def _answer(self, asked: Asked) -> Answer:
        query = json.loads(asked.body)["query"]
        self.asked.append(query)
        headers = {"Content-Type": "text/csv; charset=utf-8"}
        return Answer(200, self.answer(query).encode(), headers)

    def answer(self, flux: str) -> str:
        if 'r.site == "Hillside"' not in flux:
            return "\r\n"
        if "first()" in flux:
            return answer("edge").format(at="2026-02-10T02:15:30Z")
        if "last()" in flux:
            return answer("edge").format(at="2026-02-11T06:00:00Z")
        if "pivot(" in flux:
            return answer("ledger")
        start = re.search(r"start: (\S+),", flux)
        assert start is not None
        days = {"2026-02-10T00:00:00Z": "day_one", "2026-02-11T00:00:00Z": "day_two"}
        return answer(days[start[1]]) if start[1] in days else "\r\n"


@pytest.fixture
def recorded() -> Iterator[Recorded]:
    server = Recorded()
    yield server
    server.close()


def test_readings_and_ledger_come_back_to_the_digit(recorded: Recorded, tmp_path: Path) -> None:
    path = tmp_path / "new.db"
    days: list[tuple[int, int]] = []
    with Server(recorded.url, "t", "farm", "b") as server:
        arrivals = fetch(server, "b", "Hillside", lambda *day: days.append(day))
    done = write(arrivals, path, (floor_probe(),))
    again = write(arrivals, path, (floor_probe(),))
    assert (done.readings, done.entries) == (4, 3)
    assert (again.readings, again.readings_known, again.entries) == (0, 4, 0)
    assert days == [(1, 2), (2, 2)]
    with JournalReader(path) as reader:
        at, temp = reader.readings("porch/floor")
        assert at.tolist() == [1770689730.0, 1770689740.25, 1770789600.0]
        assert temp.tolist() == [33.4, 33.0625, 31.0]
        assert reader.readings("site/shade")[1].tolist() == [-4.5]
        assert reader.entries() == [
            chicks_in(1770573600.0, number=1),
            Entry(
                at=1770791400.0,
                entry=EntryKind.LOSS,
                brooder="porch",
                number=2,
                count=2,
                note='piled, in the "corner"',
            ),
            Entry(at=1770791400.0, entry=EntryKind.LOSS, brooder="porch", number=3, count=1),
        ]


def test_a_site_that_is_not_there_is_named(recorded: Recorded) -> None:
    with (
        Server(recorded.url, "t", "farm", "b") as server,
        pytest.raises(InfluxFault, match='no readings of a site called "Valley"'),
    ):
        fetch(server, "b", "Valley")


def test_a_name_cannot_leave_its_quotes(recorded: Recorded) -> None:
    day = datetime(2026, 2, 10, tzinfo=UTC)
    query = flux.numbers("b", 'x" or true or r.site == "${y}\\z', day, day)
    assert r'r.site == "x\" or true or r.site == \"\${y}\\z"' in query


def test_no_server_is_said_in_words() -> None:
    with (
        Server("http://127.0.0.1:9", "t", "farm", "b") as server,
        pytest.raises(InfluxFault, match="cannot be reached"),
    ):
        fetch(server, "b", "Hillside")


def review(recorded: Recorded, tmp_path: Path, *words: str) -> Result:
    config = tmp_path / "brooder.toml"
    config.write_text(
        '[site]\nname = "Valley"\ntimezone = "America/Chicago"\nunits = "celsius"\n'
        '[[brooders]]\nname = "shed"\nlength_m = 1\nwidth_m = 1\n'
        '[[brooders.probes]]\nname = "floor"\ntopic = "shed/floor"\nplace = "floor"\n'
        f'[influx]\nurl = "{recorded.url}"\ntoken = "t"\norg = "farm"\nbucket = "b"\n'
    )
    return CliRunner().invoke(build(), ["review", "--config", str(config), *words])


def test_another_boards_batch_is_reviewed_though_this_one_knows_nothing_of_it(
    recorded: Recorded, tmp_path: Path
) -> None:
    shown = review(recorded, tmp_path, "--site", "Hillside", "--from-influx")
    assert shown.exit_code == 0, shown.output
    assert "porch" in shown.output
    assert "coldest floor 31.0" in shown.output  # outside it was -4.5
    assert "-4.5" not in shown.output
    losses = review(recorded, tmp_path, "--site", "Hillside", "--from-influx", "--losses")
    assert 'piled, in the "corner"' in losses.output


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--from-influx",), 'no readings of a site called "Valley"'),
        (("--site", "Hillside"), "it needs --from-influx"),
        (("--from-influx", "--journal", "a.db"), "either --journal FILE or --from-influx"),
    ],
)
def test_what_cannot_be_fetched_is_said(
    recorded: Recorded, tmp_path: Path, words: tuple[str, ...], why: str
) -> None:
    shown = review(recorded, tmp_path, *words)
    assert shown.exit_code != 0
    assert why in " ".join(shown.output.split())
