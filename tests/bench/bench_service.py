"""The service as a process: start to listening, resident memory, alert latency.

    python tests/bench/bench_service.py

Baselines in the same run: memory beside a bare paho client; latency is from the publish to the
contact's HTTP receiver, with the alarm's own delay set to nothing."""

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

import psutil
from support.mosquitto import Mosquitto
from support.receivers import http_receiver
from support.service import Service, Thermometer, wait_until

BARE = """
import sys, paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
c = paho.Client(callback_api_version=CallbackAPIVersion.VERSION2)
c.connect("127.0.0.1", int(sys.argv[1])); c.loop_start(); print("up", flush=True); sys.stdin.read()
"""
ALARMS = 10
ALONE = ("env",)  # not forked from a process that has its libraries loaded


def mb(pid: int) -> float:
    """Resident megabytes of a process."""
    return psutil.Process(pid).memory_info().rss / 1e6


def memory(service: Service) -> str:
    """Of the service and of its sender."""
    children = psutil.Process(service.pid).children(recursive=True)
    own = mb(service.pid)
    rest = sum(mb(child.pid) for child in children)
    return f"{own:6.1f} MB, with its sender {own + rest:6.1f} MB"


def starts(folder: Path) -> list[float]:
    """Seconds from the command to listening, five times."""
    took = []
    service = Service(folder, wrapper=ALONE)
    for _ in range(5):
        begun = time.perf_counter()
        service.start()
        took.append(time.perf_counter() - begun)
        service.stop()
    return took


def latency(folder: Path) -> float:
    """Milliseconds from the publish that makes an urgent alarm to the receiver."""
    limits = {"harm_delay_s": 0, "band_delay_s": 0}
    with (
        http_receiver() as receiver,
        Service(folder, contacts={"phone": receiver.url}, limits=limits) as service,
    ):
        service.placed()
        time.sleep(3.0)  # the sender has warmed up
        with Thermometer(service.broker_port) as probe:
            probe.say(10.0)
            probe.say(10.1)  # one reading raises nothing, nor do two
            begun = time.perf_counter()
            probe.say(10.2)
            wait_until(lambda: receiver.got, 30)
            return (time.perf_counter() - begun) * 1000


def main() -> None:
    """Prints one figure a line."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        took = starts(folder / "start")
        print(
            f"start to listening: median {statistics.median(took):.2f} s, "
            f"worst {max(took):.2f} s  (goal 2)"
        )
        with Mosquitto(folder / "broker") as broker:
            bare = subprocess.Popen(
                [sys.executable, "-c", BARE, str(broker.port)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
            )
            assert bare.stdout is not None
            bare.stdout.readline()
            base = mb(bare.pid)
            bare.kill()
            print(f"memory of a bare paho client:    {base:6.1f} MB")
            with Service(folder / "own", page=True, wrapper=ALONE) as service:
                time.sleep(5)
                own = mb(service.pid)
                print(f"service with its own broker:     {memory(service)}  (goal 90)")
            with Service(
                folder / "other", broker_port=broker.port, page=True, wrapper=ALONE
            ) as service:
                time.sleep(5)
                print(f"service with another broker:     {memory(service)}  (goal 70)")
            print(f"ratio to the bare client:        {own / base:6.2f}")
        found = sorted(latency(folder / f"latency{n}") for n in range(ALARMS))
        print(
            f"publish to receiver, {len(found)} urgent alarms: "
            f"median {statistics.median(found):.0f} ms, worst {found[-1]:.0f} ms  (goal 300)"
        )


if __name__ == "__main__":
    main()
