"""How soon a screen is there with two million readings kept, what an open page costs, and
whether fifty of them delay an alarm.

    python tests/bench/bench_page.py [--readings 2000000] [--seconds 20] [--trials 6]
"""

import argparse
import http.client
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from statistics import median

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import psutil  # noqa: E402
from support import nightjournal  # noqa: E402
from support.fake_api import NIGHT, FakeApi, failing_porch, placed, site, status  # noqa: E402
from support.receivers import http_receiver  # noqa: E402
from support.served import Served  # noqa: E402
from support.service import QUICK_LIMITS, Service, Thermometer, quick_service  # noqa: E402

DAYS = 8


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--readings", type=int, default=2_000_000)
    words.add_argument("--seconds", type=float, default=20.0)
    words.add_argument("--trials", type=int, default=6)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        ready(Path(folder), asked.readings)
        cost(Path(folder) / "service", asked.seconds)
        delay(Path(folder) / "alarm", asked.trials)


def ready(folder: Path, readings: int) -> None:
    """Time to the first byte and to the last, of each screen."""
    path = folder / "journal.db"
    every_s = DAYS * 86400 * len(site().all_probes) / readings
    count = nightjournal.write(
        path, site(), placed(), start=NIGHT - DAYS * 86400, stop=NIGHT, every_s=every_s
    )
    print(f"{count} readings kept, {path.stat().st_size / 1e6:.1f} MB")
    api = FakeApi(shown=status(failing_porch()), journal_path=path)
    api.entries = placed()
    night = f"brooder=porch&from={NIGHT - 86400:.0f}&to={NIGHT:.0f}"
    with Served(api, clock=lambda: NIGHT) as served:
        for name, address in (
            ("Now", "/"),
            ("Do", "/do"),
            ("Set-up", "/set-up"),
            ("Record, nothing running yet", "/record"),
            ("Record, again within a minute", "/record"),
            ("one night's words, child warm", f"/record/span?{night}"),
            ("one night's moving picture", f"/record/chart.json?{night}"),
            ("Now", "/"),
        ):
            first_s, last_s = fetch(served.port, address)
            print(f"{name:32} first byte {first_s * 1e3:6.1f} ms, whole {last_s * 1e3:7.1f} ms")


def fetch(port: int, address: str) -> tuple[float, float]:
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    began = time.perf_counter()
    line.request("GET", address, headers={"Accept": "text/html"})
    answer = line.getresponse()
    assert answer.status == 200, (address, answer.status)
    answer.read(1)
    first = time.perf_counter()
    answer.read()
    line.close()
    return first - began, time.perf_counter() - began


def cost(folder: Path, seconds: float) -> None:
    """Share of one core that the service takes, with one reading a second."""
    service = Service(folder, page=True, limits=QUICK_LIMITS)
    with service, Thermometer(service.broker_port) as probe, talking(probe):
        service.placed()
        assert service.page_port is not None
        alone = share(service.pid, seconds)
        print(f"no page open: {alone:.2f} % of a core")
        for pages in (1, 10, 50):
            with opened(service.page_port, pages):
                time.sleep(2)
                with_pages = share(service.pid, seconds)
            each = (with_pages - alone) / pages
            print(f"{pages} open: {with_pages:.2f} % of a core, {each:.3f} % for each page")


def delay(folder: Path, trials: int) -> None:
    """From a reading that is too cold to the message in somebody's hand."""
    with http_receiver() as phone:
        service = quick_service(folder, phone.url, page=True)
        with service, Thermometer(service.broker_port) as probe:
            service.placed()
            assert service.page_port is not None
            for pages in (0, 50):
                with opened(service.page_port, pages):
                    took = [alarm_s(probe, phone) for _ in range(trials)]
                print(
                    f"{pages} pages open: message after {median(took):.2f} s in the middle, "
                    f"{max(took):.2f} s at most (0.5 s of it are the alarm's own delay)"
                )


def alarm_s(probe: Thermometer, phone: object) -> float:
    """One chill and its end."""

    def said(words: str) -> int:
        return sum(words in got.title for got in list(phone.got))  # type: ignore[attr-defined]

    def holds(temp_c: float, words: str) -> None:
        """So far a jump waits for the next reading to bear it out: it is said again and again."""
        before = said(words)
        while said(words) == before:
            if time.perf_counter() - began > 60:
                raise AssertionError(f"no message with {words!r} within a minute")
            probe.say(temp_c)
            time.sleep(0.1)

    probe.say(34.5)
    began = time.perf_counter()
    holds(26.0, "dangerously cold")
    took = time.perf_counter() - began
    holds(34.5, "back to normal")
    return took


@contextmanager
def talking(probe: Thermometer) -> Iterator[None]:
    """A reading a second that changes each time."""
    end = threading.Event()

    def talk() -> None:
        count = 0
        while not end.wait(1.0):
            count += 1
            probe.say(34.0 + count % 7 / 10)

    thread = threading.Thread(target=talk, daemon=True)
    thread.start()
    try:
        yield
    finally:
        end.set()
        thread.join()


@contextmanager
def opened(port: int, count: int) -> Iterator[None]:
    """That many live streams, each read by a thread of this process."""
    with ExitStack() as stack:
        for _ in range(count):
            line = stack.enter_context(socket.create_connection(("127.0.0.1", port), timeout=60))
            line.sendall(b"GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            assert b" 200 " in line.recv(65536)
            threading.Thread(target=_drain, args=(line,), daemon=True).start()
        yield
        for_closing = stack.pop_all()
    for_closing.close()


def _drain(line: socket.socket) -> None:
    try:
        while line.recv(65536):
            pass
    except OSError:
        pass


def share(pid: int, seconds: float) -> float:
    process = psutil.Process(pid)
    before = process.cpu_times()
    time.sleep(seconds)
    after = process.cpu_times()
    return 100 * (after.user + after.system - before.user - before.system) / seconds


if __name__ == "__main__":
    main()
