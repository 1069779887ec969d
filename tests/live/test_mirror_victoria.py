"""The mirror holds the record value by value, through outages, tidying, late readings and kills."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.journals import T0, batch, floor_probe, reading
from support.mirror import scope, send_all
from support.patience import LEAST_S
from support.service import wait_until
from support.victoria import Victoria

from monitor.events import (
    AlarmName,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Moment,
    Priority,
    Reading,
)
from monitor.journal.mirror.influx_server import Busy, Sent, Server
from monitor.journal.mirror.sending import STATE, Mirror
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered, Sample
from monitor.journal.store import Journal
from monitor.site import Place

pytestmark = pytest.mark.live
SHADE = floor_probe(
    key="site/shade", brooder=None, name="shade", topic="brooder/outside", place=Place.OUTSIDE
)


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Victoria]:
    victoria = Victoria(tmp_path / "victoria")
    victoria.start()
    yield victoria
    victoria.stop()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


def connected(server: Victoria) -> Server:
    return Server(server.url, "a token", "farm", "brooder")


def fill(journal: Journal, start: int, count: int) -> None:
    """Ten-second readings of two probes, with a snapshot in each hour so that they can settle."""
    for n in range(start, start + count, 30):
        rows = [
            Reading(T0 + 10 * k + k % 7 / 8, T0 + 10 * k, key, base + k % 96 / 16)
            for k in range(n, n + 30)
            for key, base in (("porch/floor", 30.0), ("site/shade", -9.0))
        ]
        one = batch(*rows)
        one.snapshots = {"engine": {}} if n % 300 == 0 else {}
        journal.commit(one)


def kept(path: Path) -> dict[tuple[str, ...], list[tuple[int, float]]]:
    with JournalReader(path) as reader:
        return {
            (key.split("/")[0], key.split("/")[1]): [
                (round(at * 1000), temp)
                for at, temp in zip(*(a.tolist() for a in numbers), strict=True)
            ]
            for key, numbers in reader.readings_of().items()
        }


def test_the_copy_equals_the_record_through_an_outage_tidying_and_late_readings(
    server: Victoria, path: Path
) -> None:
    with Journal.open(path) as journal, connected(server) as sink:
        journal.know([floor_probe(), SHADE])
        fill(journal, 0, 900)
        mirror = Mirror(path, scope(), sink, lambda c: journal.set_cursor(STATE, c))
        send_all(mirror)
        assert server.series('{__name__="temperature_celsius"}') == kept(path)

        server.stop()
        fill(journal, 900, 4500)  # half a day, most of it tidied while the server is away
        pause = mirror.step()
        assert pause > 0
        standing = mirror.standing()
        assert not standing.well
        assert standing.words.startswith("InfluxDB at http://")
        assert "cannot be reached (Connection refused)" in standing.words
        assert journal.tidy(T0 + 54_000) > 0
        late = [Reading(T0 - 5000 + n, T0 + 54_001, "porch/floor", 20.0) for n in range(9)]
        journal.commit(Commit(inputs=list(late), advanced_to=Moment(T0 + 54_001, T0 + 54_001)))

        server.start()
        assert mirror.step() == 0.0  # a first slice of several
        journal.flush()
    # The service died between two slices; another goes on from the kept cursor.
    with Journal.open(path) as journal, connected(server) as sink:
        mirror = Mirror(path, scope(), sink, lambda c: journal.set_cursor(STATE, c))
        send_all(mirror)
        # Victoria has no Flux: nothing there can be counted.
        assert mirror.standing().words.startswith("everything was sent, but not compared")
        assert server.series('{__name__="temperature_celsius"}') == kept(path)
        assert send_all(mirror) == 1  # nothing is left to send


def test_targets_alarms_and_the_ledger_are_in_the_copy(server: Victoria, path: Path) -> None:
    with Journal.open(path) as journal, connected(server) as sink:
        entry = Entry(
            at=T0, entry=EntryKind.LOSS, brooder="porch", count=2, number=1, note='piled "up", \\'
        )
        change = Change(
            at=T0 + 5,
            brooder="porch",
            alarm=AlarmName.COLD,
            change=ChangeKind.RAISED,
            priority=Priority.URGENT,
            occurrence="porch/cold/1",
            facts={"temp_c": 28.5, "reason": "a\nb"},
        )
        journal.commit(
            Commit(
                inputs=[Entered(entry, Moment(T0, T0))],
                changes=[change],
                samples=[Sample(T0, "porch", "target_c", 35.0), Sample(T0, "porch", "low_c", 32.2)],
            )
        )
        told: list[object] = []
        mirror = Mirror(path, scope("Hill side, west"), sink, lambda _c: None, told.append)
        send_all(mirror)
        assert told == []
        at = round(T0 * 1000)
        assert server.series('{__name__="brooder_target_c"}') == {("porch", ""): [(at, 35.0)]}
        assert server.series('{__name__="brooder_low_c"}') == {("porch", ""): [(at, 32.2)]}
        assert server.series('{__name__="ledger_count",entry="loss"}') == {("porch", ""): [(at, 2)]}
        cold = server.series('{__name__="alarm_temp_c",alarm="cold",site="Hill side, west"}')
        assert cold == {("porch", ""): [(at + 5000, 28.5)]}


def test_the_thread_catches_up_while_the_watch_commits(server: Victoria, path: Path) -> None:
    with Journal.open(path) as journal, connected(server) as sink:
        journal.know([floor_probe(), SHADE])
        fill(journal, 0, 9000)
        mirror = Mirror(path, scope(), sink, lambda _c: None)
        thread = threading.Thread(target=mirror.run)
        thread.start()
        for n in range(50):
            journal.commit(batch(reading(T0 + 200_000 + n)))
        wait_until(
            lambda: mirror.standing().words.startswith("everything was sent"), 60, "the whole copy"
        )
        mirror.stop()
        thread.join(LEAST_S)
        assert not thread.is_alive()
        sent = server.series('{__name__="temperature_celsius",probe="shade"}')
        assert sent == {k: v for k, v in kept(path).items() if k == ("site", "shade")}


def test_a_server_that_takes_it_is_asked_without_leaving_anything(server: Victoria) -> None:
    with connected(server) as sink:
        assert isinstance(sink.may_write(), Sent)
        assert server.series('{__name__=~".+"}') == {}
        server.stop()
        answer = sink.may_write()
        assert isinstance(answer, Busy)
        assert "cannot be reached" in answer.words
