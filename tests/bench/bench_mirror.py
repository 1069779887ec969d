"""Twenty services of 500 brooders on one broker and one bucket: one of them live, all reckoned.

    python tests/bench/bench_mirror.py [--rounds 5]

Two services share a site by `--only`: one follows 500 boxes with 4 probes each, the other a single
box, and both hear the probe outside. Every probe says something different each round, as fast as
Mosquitto takes it. Then what was published, what the journals hold and what is in the bucket
(victoria-metrics, which takes what InfluxDB takes) are counted; they must agree."""

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from support.mosquitto import Mosquitto
from support.victoria import Victoria

from monitor.journal.mirror.backlog import day_lines, days
from monitor.journal.mirror.state import Scope
from monitor.journal.reader import JournalReader

SERVICES, BOXES, PROBES_A_BOX, EVERY_S = 20, 500, 4, 30.0
SHARES = ("a-*", "b-*")
# The mirror looks up by the half minute; a bench by the second.
MAIN = (
    "import monitor.journal.mirror.sending as s; s.IDLE_S = 1.0;"
    " from monitor.commands import main; main()"
)


def configuration(folder: Path, port: int, url: str) -> Path:
    """500 boxes of one service and one of another, and a probe outside."""
    text = [
        '[site]\nname = "Hatchery"\ntimezone = "UTC"\n[[site.probes]]\nname = "shade"\n'
        'topic = "h/outside"\nplace = "outside"\n'
        f'[broker]\nhost = "127.0.0.1"\nport = {port}\n[page]\nenabled = false\n'
        "[journal]\ncommit_s = 2\n"
        f'[influx]\nurl = "{url}"\ntoken = "t"\norg = "farm"\nbucket = "brooder"\n'
    ]
    for name in [*(f"a-{n}" for n in range(BOXES)), "b-0"]:
        text.append(
            f'[[brooders]]\nname = "{name}"\nlength_m = 1.5\nwidth_m = 1.5\n'
            + "".join(
                f'[[brooders.probes]]\nname = "p{n}"\ntopic = "h/{name}/{n}"\nplace = "floor"\n'
                for n in range(PROBES_A_BOX)
            )
        )
    path = folder / "brooder.toml"
    path.write_text("".join(text), encoding="utf-8")
    return path


def started(config: Path, folder: Path, share: str) -> subprocess.Popen[bytes]:
    """A service that follows its share, once it watches."""
    state = folder / share[0]
    state.mkdir()
    command = [sys.executable, "-c", MAIN, "watch", "--config", str(config), "--only", share]
    with (state / "out").open("wb") as out, (state / "log").open("wb") as log:
        service = subprocess.Popen(
            command, stdout=out, stderr=log, env={"BROODER_JOURNAL__FOLDER": str(state)}
        )
    until(lambda: b"Stop with" in (state / "out").read_bytes(), f"the service of {share}")
    return service


def until(true: Callable[[], object], what: str) -> None:
    """Waits for it; a deadline only so that a failed run ends."""
    deadline = time.monotonic() + 300
    while not true():
        if time.monotonic() > deadline:
            raise SystemExit(f"waited in vain for {what}")
        time.sleep(0.2)


def publish(port: int, rounds: int) -> int:
    """All probes in turn; how many readings."""
    client = paho.Client(callback_api_version=CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(5000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    names = [*(f"a-{n}" for n in range(BOXES)), "b-0"]
    topics = [f"h/{name}/{n}" for name in names for n in range(PROBES_A_BOX)]
    for number in range(rounds):
        said = [client.publish(topic, f"{34 + number / 16}", qos=1) for topic in topics]
        said.append(client.publish("h/outside", f"{5 + number / 16}", qos=1))
        for one in said:
            one.wait_for_publish(60)
    client.disconnect()
    client.loop_stop()
    return rounds * len(topics)


def kept(folder: Path, of: str) -> int:
    """Readings in the journals, of all probes whose key begins so."""
    total = 0
    for share in SHARES:
        with JournalReader(folder / share[0] / "journal.db") as reader:
            found = reader.readings_of()
            total += sum(len(at) for key, (at, _) in found.items() if key.startswith(of))
    return total


def there(victoria: Victoria, of: str) -> tuple[int, int]:
    """Readings in the bucket of those probes, and how many series they are."""
    found = victoria.series('{__name__="temperature_celsius"}')
    own = [pairs for (box, _), pairs in found.items() if box.startswith(of)]
    return sum(len(pairs) for pairs in own), len(own)


def main() -> int:
    """Prints the counts; 1 where they do not agree."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--rounds", type=int, default=5)
    rounds = words.parse_args().rounds
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        victoria = Victoria(folder / "victoria")
        victoria.start()
        services: list[subprocess.Popen[bytes]] = []
        try:
            with Mosquitto(folder / "broker", "max_queued_messages 0\n") as broker:
                config = configuration(folder, broker.port, victoria.url)
                services += [started(config, folder, share) for share in SHARES]
                begun = time.monotonic()
                published = publish(broker.port, rounds)
                boxes = ("a-", "b-")
                until(lambda: sum(kept(folder, of) for of in boxes) == published, "the journals")
                until(lambda: sum(there(victoria, of)[0] for of in boxes) == published, "the copy")
                took = time.monotonic() - begun
            return told(folder, victoria, published, rounds, took)
        finally:
            for service in services:
                service.terminate()
            for service in services:
                service.wait(60)
            victoria.stop()


def told(folder: Path, victoria: Victoria, published: int, rounds: int, took: float) -> int:
    """The counts of the live share, and the site's reckoned from them."""
    outside_here, (outside_there, _) = kept(folder, "site/"), there(victoria, "site")
    mirrored, series = there(victoria, "a-")
    print(f"{BOXES} boxes x {PROBES_A_BOX} probes and one box beside, two services, {took:.0f} s")
    print(
        f"published {published}, in the journals {kept(folder, 'a-') + kept(folder, 'b-')}, ",
        end="",
    )
    print(f"in the bucket {mirrored + there(victoria, 'b-')[0]}")
    print(
        f"probe outside: published {rounds}, in the journals {outside_here} (both hear it), ",
        end="",
    )
    print(f"in the bucket {outside_there} (one sends it)")
    with JournalReader(folder / "a" / "journal.db") as reader:
        lines = [
            line
            for day in days(reader)
            for some in day_lines(reader, Scope("", "Hatchery"), day)
            for line in some
        ]
    of_readings = [line for line in lines if line.startswith("temperature")]
    size = sum(len(line) + 1 for line in of_readings) / len(of_readings)
    a_day = SERVICES * BOXES * PROBES_A_BOX * 86_400 / EVERY_S
    print(f"{SERVICES} such services, every probe each {EVERY_S:.0f} s:")
    print(f"  {a_day / 86_400:,.0f} readings/s, {a_day / 1e6:.0f} million a day in the bucket")
    print(f"  {a_day * size / 1e9:.1f} GB of line protocol a day, {size:.0f} bytes a reading")
    print(f"  {SERVICES * series:,} series of temperatures ({series} of one service)")
    right = mirrored + there(victoria, "b-")[0] == published and outside_there == rounds
    print("the counts agree" if right and outside_here == 2 * rounds else "THE COUNTS DIFFER")
    return 0 if right else 1


if __name__ == "__main__":
    raise SystemExit(main())
