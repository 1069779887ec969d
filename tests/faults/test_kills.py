"""Killed at any instant while readings flow, the service loses no acknowledged reading and counts
none twice, and its journal is whole after each kill. With the built-in broker and with Mosquitto.

A bounded number of kills in every run, 1,000 with BROODER_LONG=1."""

import itertools
import random
import shutil
import sqlite3
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from support.mosquitto import Mosquitto, needs_mosquitto
from support.service import Service, Thermometer, wait_until

from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal

# On a busy machine each of a hundred starts takes its time.
pytestmark = [pytest.mark.faults, pytest.mark.timeout(3600)]


TOPICS = {name: f"brooder/porch/{name}" for name in ("floor", "middle", "edge")}
BAD = "-127"  # no sensor answers


@contextmanager
def built_in(folder: Path) -> Iterator[Service]:
    with Service(folder, probes=TOPICS, commit_s=1.0) as service:
        yield service


@contextmanager
def own_broker(folder: Path) -> Iterator[Service]:
    """With the pace that is usual, so that kills fall into groups that are not yet committed."""
    with (
        # On a busy machine a start takes longer than the usual queue of 1,000 messages lasts.
        Mosquitto(folder / "broker", "max_queued_messages 0", persistent=True) as broker,
        Service(folder, probes=TOPICS, broker_port=broker.port) as service,
    ):
        yield service


def kept_in(journal: Path) -> Counter[tuple[str, str]]:
    """How often each value of each probe is there; bad ones are only counted."""
    kept: Counter[tuple[str, str]] = Counter()
    with JournalReader(journal) as reader:
        for name in TOPICS:
            for temp in reader.readings_plain(f"porch/{name}", 0, 4e9)[1]:
                kept[name, f"{temp:.4f}"] += 1
        for bad in reader.bad_values():
            kept[bad.probe.removeprefix("porch/"), BAD] += bad.count
    return kept


def whole(journal: Path) -> None:
    """SQLite's own full check finds nothing."""
    with sqlite3.connect(f"file:{journal}?mode=ro", uri=True) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    connection.close()


def as_it_was_left(service: Service) -> Counter[tuple[str, str]]:
    """What the next start will find, looked at in a copy."""
    folder = service.folder / "left"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for side in ("", "-wal"):
        part = service.journal.with_name(service.journal.name + side)
        if part.exists():
            shutil.copyfile(part, folder / part.name)
    copy = folder / service.journal.name
    with Journal.open(copy) as journal:
        assert journal.set_aside is None
        kept = kept_in(copy)
    whole(copy)
    return kept


def publish(probe: Thermometer, values: Iterator[str], done: threading.Event) -> None:
    # At most a window ahead: a real probe waits for its acknowledgements too.
    while not done.is_set():
        if len(probe.sent) - len(probe.acknowledged) < 20:
            probe.say(next(values))
        time.sleep(0.012)


def kill_often(service: Service, kills: int, dice: random.Random) -> None:
    """Three probes publish without a pause while the service is killed and started again, and each
    time what lies on the disk is looked at. Each value is another, so one that is missing or
    doubled shows by itself; those that are no temperature are counted."""
    done = threading.Event()
    with ExitStack() as stack:
        probes = {
            name: stack.enter_context(
                Thermometer(service.broker_port, topic, client_id=f"probe-{name}")
            )
            for name, topic in TOPICS.items()
        }
        values = {
            name: (BAD if n % 12 == 11 else f"{20 + n / 10_000:.4f}" for n in itertools.count())
            for name in TOPICS
        }
        publishers = [
            threading.Thread(target=publish, args=(probe, values[name], done))
            for name, probe in probes.items()
        ]
        for publisher in publishers:
            publisher.start()
        kept_before: Counter[tuple[str, str]] = Counter()
        try:
            for number in range(kills):
                heard = len(probes["floor"].acknowledged)
                if number % 5 == 0:  # some kills in the middle of the flow, surely
                    wait_until(
                        lambda heard=heard: len(probes["floor"].acknowledged) > heard, 60, "a flow"
                    )
                time.sleep(dice.uniform(0.0, 0.4))
                # Asked for before the kill: what is acknowledged by then is promised.
                promised = {name: Counter(probe.acknowledged) for name, probe in probes.items()}
                service.kill()
                kept = as_it_was_left(service)
                gone = {value: n for value, n in kept_before.items() if kept[value] < n}
                assert not gone, f"after kill {number} what was kept is gone: {gone}"
                if service.own_broker:  # else the broker still has what it acknowledged
                    lost = {
                        (name, value)
                        for name, said in promised.items()
                        for value, n in said.items()
                        if kept[name, value] < n
                    }
                    assert not lost, f"after kill {number}: {lost}"
                kept_before = kept
                service.begin()
                if number % 3:
                    service.wait_ready()  # the others are killed while they start
        finally:
            done.set()
            for publisher in publishers:
                publisher.join()
        if service.process is None:
            service.start()
        else:
            service.wait_ready()
        for probe in probes.values():
            probe.wait_acknowledged(within_s=120)
    sent = Counter((name, value) for name, probe in probes.items() for value in probe.sent)
    wait_until(
        lambda: kept_in(service.journal).total() >= sent.total(),
        120,
        f"all of {sent.total()} values",
    )
    assert service.stop() == 0
    kept = kept_in(service.journal)
    assert kept == sent, {v: (kept[v], sent[v]) for v in kept | sent if kept[v] != sent[v]}
    whole(service.journal)
    assert sent.total() > kills
    assert sent["floor", BAD] > 0
    assert "set aside" not in service.log()
    assert "Traceback" not in service.log()


def test_fifty_kills_with_the_built_in_broker_lose_and_double_nothing(tmp_path: Path) -> None:
    with built_in(tmp_path) as service:
        kill_often(service, 50, random.Random(1))


@needs_mosquitto
def test_fifty_kills_with_a_broker_of_ones_own_lose_and_double_nothing(tmp_path: Path) -> None:
    with own_broker(tmp_path) as service:
        kill_often(service, 50, random.Random(2))


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_five_hundred_kills_with_the_built_in_broker(tmp_path: Path) -> None:
    with built_in(tmp_path) as service:
        kill_often(service, 500, random.Random(time.time()))


@pytest.mark.long
@needs_mosquitto
@pytest.mark.timeout(7200)
def test_five_hundred_kills_with_a_broker_of_ones_own(tmp_path: Path) -> None:
    with own_broker(tmp_path) as service:
        kill_often(service, 500, random.Random(time.time()))
