"""Durable ingest through the real service against real Mosquitto, beside two baselines in the same
run: a bare paho subscriber that only counts, and paho with one SQLite insert a message. The bare
one runs twice, as paho is by itself and with the service's own protocol and window, since paho
takes nearly twice as long to read a message of MQTT 5.

    python tests/bench/bench_ingest.py [--messages 30000] [--probes 100] [--window 1000] [--runs 3]

Each of the three is a process of its own that is made to wait (SIGSTOP) with its session open while
the broker takes the messages and queues them; the clock runs from SIGCONT to the last message, so
no publisher takes part. All acknowledge with QoS 1; ours and the insert only after the disk has
it. `--window` is the broker's max_inflight_messages (Mosquitto's own default is 20)."""

import argparse
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

import paho.mqtt.client as paho
import psutil
from paho.mqtt.enums import CallbackAPIVersion
from support.mosquitto import Mosquitto

from monitor.intake.broker_session import WINDOW
from monitor.journal.reader import JournalReader

LAST = "bench/last"
FILLING = 300  # messages after the last one that counts
BARE = """
import sqlite3, sys, time
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
port, path, window = int(sys.argv[1]), sys.argv[2], int(sys.argv[3])
db = sqlite3.connect(path, isolation_level=None, check_same_thread=False) if path else None
if db:
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("PRAGMA synchronous=FULL")
    db.execute("CREATE TABLE IF NOT EXISTS reading (at, topic, payload)")
count = 0
def on_message(client, _userdata, message):
    global count
    if db:
        row = (time.time(), message.topic, message.payload)
        db.execute("INSERT INTO reading VALUES (?, ?, ?)", row)
        client.ack(message.mid, message.qos)
    count += 1
    if message.topic == "bench/last":
        print(count, flush=True)
client = paho.Client(
    callback_api_version=CallbackAPIVersion.VERSION2,
    client_id="bare",
    manual_ack=bool(db),
    protocol=paho.MQTTv5 if window else paho.MQTTv311,
)
client.on_message = on_message
client.on_subscribe = lambda *_: print("up", flush=True)
properties = None
if window:
    properties = Properties(PacketTypes.CONNECT)
    properties.ReceiveMaximum = window
client.connect("127.0.0.1", port, properties=properties)
client.subscribe("bench/#", qos=1)
client.loop_forever()
"""
CONFIG = """
[site]
name = "Bench"
timezone = "UTC"
[broker]
host = "127.0.0.1"
port = {port}
[page]
enabled = false
[journal]
folder = "state"
"""


def publish(port: int, topics: list[str], count: int) -> None:
    """All messages and a last one, each taken by the broker when this returns."""
    client = paho.Client(callback_api_version=CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for n in range(count - 1):
        info = client.publish(topics[n % len(topics)], f"{33 + n % 17 / 16:.4f}", qos=1)
        if n % 2000 == 1999:
            info.wait_for_publish(60)
    client.publish(LAST, "34.0", qos=1)
    # What is too little for a commit waits for company; without this the last one would.
    for n in range(FILLING):
        info = client.publish(topics[n % len(topics)], "33.5", qos=1)
    info.wait_for_publish(60)
    client.disconnect()
    client.loop_stop()


def drained(
    pid: int, port: int, topics: list[str], count: int, done: Callable[[], bool]
) -> tuple[float, float]:
    """Messages a second from the moment the process may go on until `done()`; its CPU seconds."""
    process = psutil.Process(pid)
    process.send_signal(signal.SIGSTOP)
    publish(port, topics, count)
    before = process.cpu_times()
    begun = time.perf_counter()
    process.send_signal(signal.SIGCONT)
    while not done():
        assert time.perf_counter() < begun + 180, "not done in three minutes"
    took = time.perf_counter() - begun
    after = process.cpu_times()
    return count / took, after.user + after.system - before.user - before.system


def baseline(
    folder: Path, conf: str, topics: list[str], count: int, *, insert: bool = False, window: int = 0
) -> tuple[float, float]:
    """Messages a second and CPU of a bare subscriber: MQTT 3.1.1 as paho is by itself, or MQTT 5
    with a window as the service has it."""
    folder.mkdir()
    with Mosquitto(folder, conf) as broker:
        path = str(folder / "base.db") if insert else ""
        words = [sys.executable, "-c", BARE, str(broker.port), path, str(window)]
        child = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        assert child.stdout is not None
        try:
            child.stdout.readline()
            line = child.stdout.readline  # waits for the last one

            def done() -> bool:
                assert int(line()) == count
                return True

            return drained(child.pid, broker.port, topics, count, done)
        finally:
            child.kill()
            child.wait()


def ours(folder: Path, conf: str, topics: list[str], count: int) -> tuple[float, float]:
    """Messages a second and CPU of the service, counted in its journal at the end."""
    folder.mkdir()
    with Mosquitto(folder / "broker", conf) as broker:
        text = CONFIG.format(port=broker.port)
        for number, topic in enumerate([*topics, LAST]):
            if number % 4 == 0:
                text += f'[[brooders]]\nname = "b{number // 4}"\nlength_m = 1.5\nwidth_m = 1.5\n'
            name = topic.rpartition("/")[2]
            text += f'[[brooders.probes]]\nname = "{name}"\ntopic = "{topic}"\nplace = "floor"\n'
        config = folder / "brooder.toml"
        config.write_text(text)
        command = [sys.executable, "-m", "monitor", "watch", "--config", str(config)]
        with (folder / "out").open("wb") as out, (folder / "log").open("wb") as log:
            service = subprocess.Popen([*command, "--log", "error"], stdout=out, stderr=log)
        try:
            while b"Stop with" not in (folder / "out").read_bytes():
                time.sleep(0.05)
                assert service.poll() is None, (folder / "log").read_text()
            time.sleep(2.0)
            last = f"b{len(topics) // 4}/last"
            with JournalReader(folder / "state" / "journal.db") as reader:

                def done() -> bool:
                    time.sleep(0.05)
                    return last in reader.latest()

                found = drained(service.pid, broker.port, topics, count, done)
                with reader.transaction() as connection:
                    kept = connection.execute("SELECT count(*) FROM readings").fetchone()[0]
                assert kept >= count
            return found
        finally:
            service.terminate()
            service.wait(30)


def main() -> None:
    """Prints the three rates and two ratios."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--messages", type=int, default=30000)
    words.add_argument("--probes", type=int, default=100)
    words.add_argument("--window", type=int, default=1000)
    words.add_argument("--runs", type=int, default=3)
    asked = words.parse_args()
    conf = f"max_inflight_messages {asked.window}\nmax_queued_messages 0\n"
    topics = [f"bench/{n}" for n in range(asked.probes)]
    some = max(1000, asked.messages // 6)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bare, alike, single, durable = [], [], [], []
        for run in range(asked.runs):
            place = folder / str(run)
            place.mkdir()
            bare.append(baseline(place / "bare", conf, topics, asked.messages))
            alike.append(baseline(place / "alike", conf, topics, asked.messages, window=WINDOW))
            single.append(baseline(place / "single", conf, topics, some, insert=True))
            durable.append(ours(place / "ours", conf, topics, asked.messages))
    rates = []
    for what, found, count in (
        ("bare paho that only counts, MQTT 3.1.1", bare, asked.messages),
        (f"the same, MQTT 5 and our window of {WINDOW}", alike, asked.messages),
        ("paho + one SQLite insert a message", single, some),
        ("brooder watch, judged and on the disk", durable, asked.messages),
    ):
        rate, cpu = (statistics.median(each) for each in zip(*found, strict=True))
        rates.append(rate)
        print(f"{what:40}{rate:9.0f} messages/s {1e6 * cpu / count:6.0f} us CPU each")
    print(f"ratio to the bare one like us           {rates[3] / rates[1]:9.2f}  (goal 0.65)")
    print(f"ratio to the bare one with MQTT 3.1.1   {rates[3] / rates[0]:9.2f}")
    print(f"ratio to one insert a message           {rates[3] / rates[2]:9.2f}")


if __name__ == "__main__":
    main()
