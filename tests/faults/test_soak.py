"""A compressed week over real MQTT: memory, file handles and timers stay as they were; and what an
hour of eight probes every ten seconds writes to the card.

The week runs at speed through the real service, its clock alone made fast."""

import os
import statistics
import threading
import time
from contextlib import ExitStack
from pathlib import Path

import psutil
import pytest
from support.mosquitto import Mosquitto, needs_mosquitto
from support.service import Service, Thermometer, wait_until

pytestmark = [pytest.mark.faults, pytest.mark.timeout(3600)]

LONG = os.environ.get("BROODER_LONG") == "1"
SPEED = 600.0 if LONG else 2400.0
DAYS = 7.0 if LONG else 0.9
PROBES = {f"floor {n}": f"brooder/porch/floor{n}" for n in range(8)}

# The service on a clock that runs SPEED times as fast, from a fixed evening.
FAST = """
import time
from monitor.service import startup
from monitor.service.clock import FastClock
start = 1770764400.0
startup.LiveClock = lambda not_before=0.0: FastClock(start_at=max(start, not_before), speed=SPEED)
"""


def written_bytes(pid: int) -> int:
    """What the process has had written to disks."""
    lines = Path(f"/proc/{pid}/io").read_text().splitlines()
    return int(next(line for line in lines if line.startswith("write_bytes")).split()[1])


@needs_mosquitto
def test_a_week_at_speed_leaves_memory_files_and_timers_as_they_were(tmp_path: Path) -> None:
    with (
        Mosquitto(tmp_path / "broker", "max_queued_messages 0", persistent=True) as broker,
        Service(
            tmp_path,
            broker_port=broker.port,
            probes=PROBES,
            prelude=FAST.replace("SPEED", str(SPEED)),
        ) as service,
    ):
        process = psutil.Process(service.pid)
        samples: list[tuple[float, float, int]] = []
        with Thermometer(broker.port, window=100) as probe:
            begun = time.monotonic()
            real_s = DAYS * 86400 / SPEED
            rounds = 0
            while (passed := time.monotonic() - begun) < real_s:
                # A round of eight each minute of its clock.
                due = passed * SPEED / 60.0
                while rounds < due and len(probe.sent) - len(probe.acknowledged) < 400:
                    for n, topic in enumerate(PROBES.values()):
                        probe.say(f"{34 + (rounds * 7 + n) % 16 / 16:.4f}", topic=topic)
                    rounds += 1
                if len(samples) < passed:
                    rss = process.memory_info().rss / 2**20
                    samples.append((passed, rss, process.num_fds()))
                time.sleep(0.01)
            probe.wait_acknowledged(within_s=120)
        last = list(PROBES)[-1]
        wait_until(lambda: len(service.temps(f"porch/{last}")) >= rounds, 120, "every reading")
        assert all(len(service.temps(f"porch/{name}")) == rounds for name in PROBES)
        settled = samples[len(samples) // 3 :]
        half = len(settled) // 2
        early = statistics.median(rss for _, rss, _ in settled[:half])
        late = statistics.median(rss for _, rss, _ in settled[half:])
        files = {fds for *_, fds in settled}
        print(
            f"{rounds * 8} readings, {DAYS} days at {SPEED:.0f} times: resident {early:.1f} then "
            f"{late:.1f} MB, open files {min(files)} to {max(files)}"
        )
        assert late - early < 4.0, "memory grows"
        assert max(files) - min(files) <= 6
        # The watch has not fallen behind what is stored: it gives the last reading as the newest.
        last_c = float(probe.sent[-1])
        wait_until(
            lambda: abs(service.ask("probes")["probes"][-1]["temp_c"] - last_c) < 1e-3,
            120,
            "the watch at the last reading",
        )
        assert service.stop() == 0
        assert "Traceback" not in service.log()


@needs_mosquitto
@pytest.mark.parametrize("broker_of", ["its own", "the service"])
def test_what_an_hour_writes_is_within_the_aim(tmp_path: Path, broker_of: str) -> None:
    """Eight probes, ten seconds, over real time: a part of an hour, scaled. Counted by the kernel
    for the process, journal and all; acknowledged only when the disk has it."""
    # The aim is 4. A minute holds three commits, so one more counts a lot.
    minutes, aim = (25.0, 4.0) if LONG else (1.0, 6.0)
    # A tmpfs writes nothing: the card must be a disk. A checkpoint comes once an hour, so the
    # short form counts the steady commits only, the long form one checkpoint in half an hour.
    folder = tmp_path / "card"
    with ExitStack() as stack:
        port = None
        if broker_of == "its own":
            mosquitto = Mosquitto(tmp_path / "broker", persistent=True)
            port = stack.enter_context(mosquitto).port
        service = stack.enter_context(Service(folder, broker_port=port, probes=PROBES))
        probe = stack.enter_context(Thermometer(service.broker_port, window=100))
        # Prompt commits saved up at the start are no steady state: spent until one is waited for
        # longer than a busy machine takes for a prompt one.
        for n in range(200):
            before = service.ask("about")["last_commit_at"]
            asked = time.monotonic()
            probe.say(f"34.{n:04}", topic=PROBES["floor 0"])
            wait_until(
                lambda before=before: service.ask("about")["last_commit_at"] != before,
                what="a commit",
            )
            if time.monotonic() > asked + 10:
                break
        else:
            pytest.fail("prompt commits without an end")
        stop = threading.Event()

        def publish() -> None:
            number = 0
            while not stop.is_set():
                for n, topic in enumerate(PROBES.values()):
                    probe.say(f"{34 + (number * 7 + n) % 16 / 16:.4f}", topic=topic)
                    stop.wait(10 / 8)
                number += 1

        publisher = threading.Thread(target=publish)
        publisher.start()
        try:
            # A disk that is slow for a moment looks like a commit that is waited for: prompt ones
            # that are left are spent in the first minute then, and do not come in each of three.
            for _ in range(3):
                time.sleep(10)
                before, begun = written_bytes(service.pid), time.monotonic()
                time.sleep(minutes * 60)
                os.sync()
                wrote = written_bytes(service.pid) - before
                hours = (time.monotonic() - begun) / 3600
                per_hour = wrote / hours / 1e6
                print(f"{wrote} bytes in {hours * 60:.1f} min: {per_hour:.2f} MB an hour")
                if per_hour <= aim:
                    break
        finally:
            stop.set()
            publisher.join()
        if before == 0 and wrote == 0:
            pytest.skip("this file system counts no writes")
        assert per_hour <= aim
        assert service.stop() == 0
