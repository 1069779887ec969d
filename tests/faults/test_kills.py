"""Killed at any instant while readings flow, the service loses no acknowledged reading and counts
none twice, and its journal is whole. With the built-in broker and with Mosquitto.

A bounded number of kills in every run, 1,000 with BROODER_LONG=1."""

import itertools
import random
import sqlite3
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.mosquitto import Mosquitto, needs_mosquitto
from support.service import Service, Thermometer, wait_until

pytestmark = pytest.mark.faults


@contextmanager
def built_in(folder: Path) -> Iterator[Service]:
    with Service(folder, commit_s=1.0) as service:
        yield service


@contextmanager
def own_broker(folder: Path) -> Iterator[Service]:
    with (
        Mosquitto(folder / "broker", persistent=True) as broker,
        Service(folder, broker_port=broker.port, commit_s=1.0) as service,
    ):
        yield service


def whole(journal: Path) -> None:
    """SQLite's own full check finds nothing."""
    with sqlite3.connect(f"file:{journal}?mode=ro", uri=True) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    connection.close()


def kill_often(service: Service, kills: int, dice: random.Random) -> None:
    """Publishes without a pause while the service is killed and started again. Each value is
    another, so one that is missing or doubled shows by itself."""
    values = (f"{20 + n / 10_000:.4f}" for n in itertools.count())
    done = threading.Event()
    with Thermometer(service.broker_port) as probe:

        def publish() -> None:
            # At most a window ahead: a real probe waits for its acknowledgements too.
            while not done.is_set():
                if len(probe.sent) - len(probe.acknowledged) < 20:
                    probe.say(next(values))
                time.sleep(0.004)

        publisher = threading.Thread(target=publish)
        publisher.start()
        try:
            for number in range(kills):
                heard = len(probe.acknowledged)
                if number % 5 == 0:  # some kills in the middle of the flow, surely
                    wait_until(lambda heard=heard: len(probe.acknowledged) > heard, 60, "the flow")
                time.sleep(dice.uniform(0.0, 0.4))
                service.kill()
                acknowledged = list(probe.acknowledged)
                service.begin()
                if number % 10 == 0:
                    service.wait_ready()
                    whole(service.journal)
                    kept = Counter(f"{t:.4f}" for t in service.temps())
                    lost = [v for v in acknowledged if kept[v] == 0]
                    if not service.own_broker:  # the broker still has what it acknowledged
                        lost = []
                    assert not lost, f"after kill {number}: {lost}"
                elif number % 3:
                    service.wait_ready()  # the others are killed while they start
        finally:
            done.set()
            publisher.join()
        if service.process is None:
            service.start()
        else:
            service.wait_ready()
        probe.wait_acknowledged(within_s=120)
    sent = Counter(probe.sent)
    wait_until(
        lambda: len(service.temps()) >= len(probe.sent),
        120,
        f"all of {len(probe.sent)} readings; there are {len(service.temps())}",
    )
    assert service.stop() == 0
    kept = Counter(f"{t:.4f}" for t in service.temps())
    assert kept == sent, {v: (kept[v], sent[v]) for v in kept | sent if kept[v] != sent[v]}
    whole(service.journal)
    assert len(probe.sent) > kills
    assert "set aside" not in service.log()
    assert "Traceback" not in service.log()


@pytest.mark.timeout(600)
def test_fifty_kills_with_the_built_in_broker_lose_and_double_nothing(tmp_path: Path) -> None:
    with built_in(tmp_path) as service:
        kill_often(service, 50, random.Random(1))


@needs_mosquitto
@pytest.mark.timeout(600)
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
