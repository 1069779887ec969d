"""Durable ingest through the real service against real Mosquitto, beside two baselines in the same
run: a bare paho subscriber that only counts, and paho with one SQLite insert a message.

    python tests/bench/bench_ingest.py [--messages 20000] [--probes 100]

Prints messages a second and the ratios. All three acknowledge with QoS 1; ours and the insert only
after the disk has it."""

import argparse
import multiprocessing
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from support.mosquitto import Mosquitto

from monitor.journal.reader import JournalReader

CONF = "max_inflight_messages 1000\nmax_queued_messages 0\n"
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


def publish(port: int, topics: list[str], count: int, go: "multiprocessing.Event") -> None:
    """A publisher in a process of its own, as fast as the broker takes it."""
    client = paho.Client(callback_api_version=CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    go.wait(60)
    for n in range(count):
        info = client.publish(topics[n % len(topics)], f"{33 + n % 17 / 16:.4f}", qos=1)
        if n % 2000 == 1999:
            info.wait_for_publish(60)
    info.wait_for_publish(60)
    client.disconnect()
    client.loop_stop()


def timed(port: int, topics: list[str], count: int, done: "callable") -> float:
    """Messages a second from the first publish until `done()`."""
    go = multiprocessing.Event()
    process = multiprocessing.Process(target=publish, args=(port, topics, count, go))
    process.start()
    time.sleep(1.5)
    begun = time.perf_counter()
    go.set()
    deadline = begun + 180
    while not done():
        assert time.perf_counter() < deadline, "not done in three minutes"
        time.sleep(0.01)
    took = time.perf_counter() - begun
    process.join(60)
    return count / took


def subscriber(port: int, insert: sqlite3.Connection | None) -> tuple[paho.Client, list[int]]:
    """A bare paho subscriber; with `insert`, one transaction a message."""
    count = [0]
    client = paho.Client(
        callback_api_version=CallbackAPIVersion.VERSION2,
        client_id="baseline",
        manual_ack=insert is not None,
    )

    def on_message(c: paho.Client, _u: object, m: paho.MQTTMessage) -> None:
        if insert is not None:
            insert.execute(
                "INSERT INTO reading VALUES (?, ?, ?)", (time.time(), m.topic, m.payload)
            )
            c.ack(m.mid, m.qos)
        count[0] += 1

    client.on_message = on_message
    client.connect("127.0.0.1", port)
    client.subscribe("bench/#", qos=1)
    client.loop_start()
    return client, count


def baseline(folder: Path, topics: list[str], count: int, *, insert: bool) -> float:
    """Messages a second of a bare subscriber."""
    with Mosquitto(folder, CONF) as broker:
        connection = None
        if insert:
            connection = sqlite3.connect(
                folder / "base.db", isolation_level=None, check_same_thread=False
            )
            connection.execute("PRAGMA journal_mode=WAL")
            connection.execute("PRAGMA synchronous=FULL")
            connection.execute("CREATE TABLE reading (at, topic, payload)")
        client, got = subscriber(broker.port, connection)
        try:
            return timed(broker.port, topics, count, lambda: got[0] >= count)
        finally:
            client.disconnect()
            client.loop_stop()


def ours(folder: Path, topics: list[str], count: int) -> float:
    """Messages a second of the service, counted in its journal at the end."""
    with Mosquitto(folder / "broker", CONF) as broker:
        text = CONFIG.format(port=broker.port)
        for number, topic in enumerate(topics):
            if number % 4 == 0:
                text += f'[[brooders]]\nname = "b{number // 4}"\nlength_m = 1.5\nwidth_m = 1.5\n'
            text += f'[[brooders.probes]]\nname = "p{number}"\ntopic = "{topic}"\nplace = "floor"\n'
        config = folder / "brooder.toml"
        config.write_text(text)
        command = [sys.executable, "-m", "monitor", "watch", "--config", str(config)]
        with (folder / "out").open("wb") as out, (folder / "log").open("wb") as log:
            service = subprocess.Popen([*command, "--log", "error"], stdout=out, stderr=log)
        try:
            while b"Stop with" not in (folder / "out").read_bytes():
                time.sleep(0.05)
                assert service.poll() is None, (folder / "log").read_text()
            time.sleep(1.0)
            reader = JournalReader(folder / "state" / "journal.db")

            def kept() -> int:
                with reader.picture() as db:
                    rows = db.execute("SELECT sum(length(readings)) FROM log").fetchone()[0]
                # About ten bytes a reading in the log; counted exactly once that much is there.
                if (rows or 0) < count * 6:
                    return 0
                return sum(reader.counts_by_day().values())

            rate = timed(broker.port, topics, count, lambda: kept() >= count)
            cpu = Path(f"/proc/{service.pid}/stat").read_text().rsplit(")", 1)[1].split()
            print(f"  service CPU seconds since start: {(int(cpu[11]) + int(cpu[12])) / 100:.1f}")
            return rate
        finally:
            service.terminate()
            service.wait(30)


def main() -> None:
    """Prints the three rates and two ratios."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--messages", type=int, default=20000)
    words.add_argument("--probes", type=int, default=100)
    asked = words.parse_args()
    topics = [f"bench/{n}" for n in range(asked.probes)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bare = baseline(folder / "bare", topics, asked.messages, insert=False)
        print(f"bare paho subscriber that only counts   {bare:9.0f} messages/s")
        some = min(asked.messages, 5000)
        single = baseline(folder / "single", topics, some, insert=True)
        print(f"paho + one SQLite insert a message       {single:9.0f} messages/s")
        (folder / "ours").mkdir()
        durable = ours(folder / "ours", topics, asked.messages)
        print(f"brooder watch, judged and on the disk    {durable:9.0f} messages/s")
        print(f"ratio to the bare subscriber             {durable / bare:9.2f}  (goal 0.7)")
        print(f"ratio to one insert a message            {durable / single:9.2f}")


if __name__ == "__main__":
    main()
