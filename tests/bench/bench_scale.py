"""From one box to a hatchery: the cost of a reading as probes grow, and 2,000 brooders live.

    python tests/bench/bench_scale.py [--seconds 60] [--only table|live]

The table is the whole core (payload, engine, thermal estimate, plan) without broker or disk; its
baseline is the row of 10 probes in the same run. The live part is the real service on real
Mosquitto: 2,000 brooders with 4 probes, each heard every 30 s, 267 readings a second."""

import argparse
import gc
import itertools
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

import paho.mqtt.client as paho
import psutil
from paho.mqtt.enums import CallbackAPIVersion
from support.birds import chicks_in
from support.mosquitto import Mosquitto
from support.receivers import http_receiver

from monitor.events import Moment
from monitor.service import control
from monitor.service.core import Core
from monitor.site import Brooder, HeatSource, Place, Probe, Site
from monitor.units import Unit

BOXES, PROBES_A_BOX, EVERY_S = 2000, 4, 30.0
SETTLING_ROUNDS, ROUNDS, LEAST_READINGS = 12, 30, 30_000
BELIEVED_AFTER_S = 5.0
PAYLOADS = [f"{34.75 + n / 16:.4f}".encode() for n in range(8)]


def site_of(probes: int) -> Site:
    """Boxes of up to four floor probes."""
    boxes = []
    for number in range((probes + 3) // 4):
        name = f"b{number}"
        boxes.append(
            Brooder(
                name=name,
                length_m=1.5,
                width_m=1.5,
                height_m=0.5,
                heat=(HeatSource(name="lamp", kind="lamp", watts=250),),
                probes=tuple(
                    Probe(
                        key=f"{name}/p{n}",
                        brooder=name,
                        name=f"p{n}",
                        topic=f"t/{number}/{n}",
                        place=Place.FLOOR,
                    )
                    for n in range(min(4, probes - 4 * number))
                ),
            )
        )
    return Site(name="Bench", timezone=ZoneInfo("UTC"), units=Unit.CELSIUS, brooders=tuple(boxes))


def microseconds_a_reading(probes: int) -> float:
    """CPU of the whole core for a reading, over a quarter of an hour of readings every 30 s from
    every probe, with birds in every box, after six minutes to settle."""
    spent, heard = 0.0, 0
    while heard < LEAST_READINGS:
        core, at = settled(probes)
        gc.collect()
        begun = time.process_time()
        heard += hear(core, at, ROUNDS)
        spent += time.process_time() - begun
    return spent / heard * 1e6


def settled(probes: int) -> tuple[Core, float]:
    """A core of so many probes that runs, and its time."""
    site = site_of(probes)
    start = datetime(2026, 2, 10, tzinfo=UTC).timestamp()
    numbers = itertools.count(1)
    core = Core(site, Moment(start, start), next_entry_number=lambda: next(numbers))
    for box in site.brooders:
        entry = chicks_in(start, brooder=box.name, count=50)
        core.enter(entry, Moment(start, start))
    hear(core, start, SETTLING_ROUNDS)
    return core, start + SETTLING_ROUNDS * EVERY_S


def hear(core: Core, at: float, rounds: int) -> int:
    """Readings of all probes, evenly spread; how many."""
    topics = [p.topic for p in core.site.all_probes]
    for number in range(rounds):
        for n, topic in enumerate(topics):
            moment = at + (number + n / len(topics)) * EVERY_S
            now = Moment(moment, moment)
            core.advance(now)
            core.hear(topic, PAYLOADS[(3 * n + 5 * number) % len(PAYLOADS)], now)
            if n % 1000 == 999:
                core.take(now)
        core.take(now)
    return rounds * len(topics)


def table() -> None:
    """Cost of a reading from 1 to 10,000 probes."""
    print("probes   us a reading   against 10 probes  (goal: within 20 % from 10 to 10,000)")
    sizes = (1, 10, 100, 1000, 10000)
    found: dict[int, list[float]] = {size: [] for size in sizes}
    for _ in range(3):
        for size in sizes:
            found[size].append(microseconds_a_reading(size))
    base = statistics.median(found[10])
    for size in sizes:
        cost = statistics.median(found[size])
        print(f"{size:6d} {cost:14.1f} {cost / base:19.2f}", flush=True)


def configuration(folder: Path, port: int, url: str) -> Path:
    """2,000 boxes as a grower of that size would write them, by a script."""
    text = [
        '[site]\nname = "Hatchery"\ntimezone = "UTC"\n'
        f'[broker]\nhost = "127.0.0.1"\nport = {port}\n'
        f'[page]\nenabled = false\n[[contacts]]\nname = "office"\nurl = "{url}"\n'
        'priorities = ["urgent"]\n'
    ]
    for number in range(BOXES):
        text.append(
            f'[[brooders]]\nname = "b{number}"\nlength_m = 1.5\nwidth_m = 1.5\n'
            + "".join(
                f'[[brooders.probes]]\nname = "p{n}"\ntopic = "h/{number}/{n}"\nplace = "floor"\n'
                for n in range(PROBES_A_BOX)
            )
            + "[brooders.limits]\nharm_delay_s = 0\nband_delay_s = 0\n"
        )
    path = folder / "brooder.toml"
    path.write_text("".join(text), encoding="utf-8")
    return path


def live(seconds: float) -> None:
    """CPU, alarm latency and losses with 2,000 boxes."""
    with (
        tempfile.TemporaryDirectory() as name,
        Mosquitto(Path(name) / "broker", "max_inflight_messages 1000\n") as broker,
        http_receiver() as receiver,
    ):
        folder = Path(name)
        config = configuration(folder, broker.port, receiver.url)
        command = [sys.executable, "-m", "monitor", "watch", "--config", str(config)]
        begun = time.perf_counter()
        with (folder / "out").open("wb") as out, (folder / "log").open("wb") as log:
            service = subprocess.Popen([*command, "--log", "error"], stdout=out, stderr=log)
        try:
            while b"Stop with" not in (folder / "out").read_bytes():
                time.sleep(0.05)
                assert service.poll() is None, (folder / "log").read_text()
            print(f"start with {BOXES} brooders: {time.perf_counter() - begun:.1f} s")
            hatched = (datetime.now(UTC) - timedelta(days=1)).date().isoformat()
            sick = [f"b{n}" for n in range(0, BOXES, BOXES // 10)]
            for box in sick:
                control.ask(
                    [folder / "state" / "control.sock"],
                    "entry",
                    entry="placed",
                    brooder=box,
                    count=50,
                    hatched=hatched,
                    kind="broiler",
                )
            flood(broker.port, service.pid, seconds, receiver, sick)
        finally:
            service.terminate()
            service.wait(60)


def flood(port: int, pid: int, seconds: float, receiver: object, sick: list[str]) -> None:
    """Publishes evenly, lets one box after another turn cold, watches CPU and the phone."""
    client = paho.Client(callback_api_version=CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(5000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    stop = threading.Event()
    cold: set[int] = set()
    said: dict[int, float] = {}

    def steady() -> None:
        count, begun = 0, time.monotonic()
        topics = [(b, p) for p in range(PROBES_A_BOX) for b in range(BOXES)]
        while not stop.is_set():
            b, p = topics[count % len(topics)]
            client.publish(f"h/{b}/{p}", "20.0" if b in cold else "35.0", qos=1)
            said[b] = time.perf_counter()
            count += 1
            ahead = begun + count * EVERY_S / len(topics) - time.monotonic()
            if ahead > 0.005:
                stop.wait(ahead)

    thread = threading.Thread(target=steady, daemon=True)
    thread.start()
    time.sleep(EVERY_S + 10)  # every probe was heard once
    process = psutil.Process(pid)
    before, begun = process.cpu_times(), time.monotonic()
    late = []
    for box in sick:
        number = int(box[1:])
        had = len(receiver.got)  # type: ignore[attr-defined]
        cold.add(number)
        told = partial(heard_more, receiver, had)
        late.append(until_told(client, number, said, told))
        time.sleep(max(0.0, seconds / len(sick) - late[-1]))
    after, took = process.cpu_times(), time.monotonic() - begun
    stop.set()
    thread.join()
    client.disconnect()
    client.loop_stop()
    used = after.user + after.system - before.user - before.system
    rate = BOXES * PROBES_A_BOX / EVERY_S
    print(
        f"{BOXES} brooders x {PROBES_A_BOX} probes, {rate:.0f} readings/s for {took:.0f} s: "
        f"{100 * used / took:.0f} % of one core (goal < 50)"
    )
    print(
        f"alarm, publish to receiver: median {sorted(late)[len(late) // 2]:.2f} s, "
        f"worst {max(late):.2f} s (goal < 1)"
    )
    print(f"resident: {process.memory_info().rss / 1e6:.0f} MB")


def heard_more(receiver: object, than: int) -> bool:
    """Has the phone got another message?"""
    return len(receiver.got) > than  # type: ignore[attr-defined]


def until_told(
    client: paho.Client, number: int, said: dict[int, float], told: Callable[[], bool]
) -> float:
    """Seconds from the reading that proves it until somebody is told. One reading alone proves
    nothing: all probes of the box say it, and again, until they are believed; the clock runs from
    the box's last reading, the steady ones included."""
    for _ in range(20):
        for probe in range(PROBES_A_BOX):
            client.publish(f"h/{number}/{probe}", "20.0", qos=1)
        said[number] = time.perf_counter()
        until = said[number] + BELIEVED_AFTER_S
        while time.perf_counter() < until:
            if told():
                return time.perf_counter() - said[number]
            time.sleep(0.002)
    raise AssertionError(f"nobody was told of b{number}")


def main() -> None:
    """Prints the table and the live figures."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--seconds", type=float, default=60.0)
    words.add_argument("--only", choices=("table", "live"))
    asked = words.parse_args()
    if asked.only != "live":
        table()
    if asked.only != "table":
        live(asked.seconds)


if __name__ == "__main__":
    main()
