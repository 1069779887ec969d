"""`brooder read-wires` from a made-up 1-Wire bus to a real broker that comes and goes."""

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from support.links import clock, eventually, listening
from support.mosquitto import Mosquitto, needs_mosquitto
from support.patience import LEAST_S

from monitor.events import BadValue, Moment, Reading
from monitor.intake.forward import Forwarder
from monitor.intake.link import BrokerAddress
from monitor.intake.payload import read_all
from monitor.intake.wires import WireSample
from monitor.site import Place, Probe

pytestmark = [pytest.mark.live, needs_mosquitto]

SENSOR = "28-000005e2fdc3"
GOOD = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
PROBE = Probe(key="p/f", brooder="p", name="f", topic="t", place=Place.FLOOR)


def samples(count: int) -> list[WireSample]:
    now = clock().at
    return [
        WireSample(sensor=SENSOR, at=round(now - count + n, 3), temp_c=round(20 + n / 100, 2))
        for n in range(count)
    ]


def forwarder(port: int, **more: object) -> Forwarder:
    return Forwarder(
        BrokerAddress(host="127.0.0.1", port=port),
        prefix="brooder/wires",
        now=lambda: clock().at,
        **more,
    )


def test_what_was_kept_while_the_broker_was_away_comes_with_its_own_time(tmp_path):
    with Mosquitto(tmp_path / "b", persistent=True) as broker:
        topic = f"brooder/wires/{SENSOR}"
        with listening(broker.port, [topic]) as heard:
            # While the broker is down the watcher's session waits for it as well.
            one = forwarder(broker.port)
            one.start()
            broker.stop()
            taken = samples(250)
            for sample in taken[:-1]:
                one.add(sample)
            assert one.kept == 249
            broker.start()
            one.add(taken[-1])
            readings: list[object] = []
            while len(readings) < 250:
                (pack,) = heard.take(1)
                readings += read_all(pack.payload, PROBE, pack.received)
            assert [(r.at, r.temp_c) for r in readings if isinstance(r, Reading)] == [
                (s.at, s.temp_c) for s in taken
            ]
            eventually(lambda: one.kept == 0, "forgotten only when received")
            assert one.stop() == 0


def test_a_full_store_lets_the_oldest_go():
    one = forwarder(1, most_kept=10)
    for sample in samples(25):
        one.add(sample)
    assert one.kept == 10
    one.start()
    assert one.stop() == 10, "and says what was lost"


def test_a_board_without_the_time_says_how_old_its_readings_are():
    one = Forwarder(
        BrokerAddress(host="127.0.0.1", port=1),
        prefix="x",
        now=lambda: 100.0,
        names={SENSOR: "a/b"},
    )
    assert one.topic_of(SENSOR) == "x/a/b"
    # A broker that it could be sent to is of no use to a clock that stands still.
    payload = one._pack([WireSample(sensor=SENSOR, at=65.0, temp_c=23.125)])
    assert json.loads(payload) == [{"n": SENSOR, "t": -35.0, "u": "Cel", "v": 23.125}]
    (reading,) = read_all(payload.encode(), PROBE, Moment(1770693330.0, 50.0))
    assert reading == Reading(1770693295.0, 15.0, "p/f", 23.125)


def test_the_command_reads_the_bus_publishes_and_tells_an_unplugged_sensor(tmp_path):
    bus = tmp_path / "devices"
    (bus / SENSOR).mkdir(parents=True)
    (bus / SENSOR / "w1_slave").write_text(GOOD)
    with (
        Mosquitto(tmp_path / "b") as broker,
        listening(broker.port, ["brooder/porch/floor"]) as heard,
    ):
        words = f"read-wires --host 127.0.0.1 --port {broker.port} --every 1 --topic-prefix brooder"
        with subprocess.Popen(
            [
                *[sys.executable, "-c", "from monitor.commands import main; main()"],
                *words.split(),
                *["--name", f"{SENSOR}=porch/floor", "--sys-folder", str(bus)],
            ],
            stdout=subprocess.PIPE,
            text=True,
        ) as command:
            (first,) = heard.take(1)
            reading, *_ = read_all(first.payload, PROBE, first.received)  # a late pack holds two
            assert isinstance(reading, Reading)
            assert reading.temp_c == 23.125
            (bus / SENSOR / "w1_slave").unlink()
            (bus / SENSOR).rmdir()

            def told() -> bool:
                (pack,) = heard.take(1)
                return any(
                    isinstance(outcome, BadValue) and "left the bus" in outcome.reason
                    for outcome in read_all(pack.payload, PROBE, pack.received)
                )

            eventually(told, "unplugged")
            command.send_signal(signal.SIGTERM)
            said, _ = command.communicate(timeout=LEAST_S)
        assert command.returncode == 0
        assert f"{SENSOR}: publishing on brooder/porch/floor." in said
        assert f"{SENSOR}: the sensor has left the bus" in said


def run(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [
            *[sys.executable, "-c", "from monitor.commands import main; main()", "read-wires"],
            *["--sys-folder", str(folder), *words],
        ],
        capture_output=True,
        text=True,
        timeout=LEAST_S,
        check=False,
    )


def test_once_prints_each_sensor_and_ends(tmp_path):
    (tmp_path / SENSOR).mkdir()
    (tmp_path / SENSOR / "w1_slave").write_text(GOOD)
    done = run("--once", folder=tmp_path)
    assert (done.returncode, done.stdout) == (0, f"{SENSOR}: 23.12 °C\n")


def test_a_wrong_call_gets_one_line_that_says_what_would_be_right(tmp_path):
    for words, folder, line in (
        ((), tmp_path / "none", "is 1-Wire switched on?"),
        (("--name", "x"), tmp_path, "write it as 28-000005e2fdc3=porch/floor"),
        (("--topic-prefix", "a/#"), tmp_path, "has a wildcard"),
    ):
        done = run(*words, folder=folder)
        assert done.returncode == 2
        assert line in done.stderr
        assert done.stderr.count("\n") == 1
