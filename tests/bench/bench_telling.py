"""How quick an alert leaves and what the sender weighs. Run it by itself.

Prints: from the start of the delivery to a sender that is warm; from `send` to arrival at a real
HTTP receiver, first and then again and again, alone and beside a contact that hangs; resident and
own memory of the sender. Fails when the 99th percentile is over the aim."""

import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import psutil
from support.receivers import Mode, Receiver, http_receiver

from monitor.events import Moment, Priority
from monitor.tell.contact import Contact
from monitor.tell.delivery import Delivery
from monitor.tell.message import Message, MessageKind

AIM_P99_S = 0.3
ROUNDS = 200


def message(number: int, *contacts: str) -> Message:
    return Message(
        key=f"bench/{number}",
        thread=f"bench/{number}",
        kind=MessageKind.RAISED,
        contacts=contacts,
        priority=Priority.URGENT,
        title="porch: dangerously cold",
        body="Now 28.9 °C, should be 35.0 °C. Go now. Check the lamps first.",
        short="porch: dangerously cold.",
        at=time.time(),
    )


def memory_mb(pid: int) -> tuple[float, float]:
    """Resident, and of that its own alone."""
    found = {}
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()[1:]:
        name, value, *_ = line.split()
        found[name.rstrip(":")] = int(value) / 1024
    return found["Rss"], found["Private_Clean"] + found["Private_Dirty"]


def percentile(values: Sequence[float], of_100: float) -> float:
    return sorted(values)[min(len(values) - 1, int(len(values) * of_100 / 100))]


def timed(delivery: Delivery, phone: Receiver, number: int, *contacts: str) -> float:
    before = len(phone.got)
    begun = time.monotonic()
    delivery.send([message(number, *contacts)])
    return phone.wait_for(before + 1)[-1].at - begun


def main() -> int:
    with http_receiver() as phone, http_receiver(Mode.HANGING) as stuck:
        delivery = Delivery(
            [Contact(name="phone", url=phone.url), Contact(name="stuck", url=stuck.url)],
            now=lambda: Moment(time.time(), time.monotonic()),
            record=lambda _outcomes: None,
            trouble=lambda *_: None,
            limit_s=600,
        )
        begun = time.monotonic()
        delivery.start()
        first_s = timed(delivery, phone, 0, "phone")
        print(
            f"start, warm-up and first message  {time.monotonic() - begun:7.3f} s ({first_s:.3f})"
        )
        alone = [timed(delivery, phone, n, "phone") for n in range(1, ROUNDS)]
        delivery.send([message(9000, "stuck")])
        stuck.wait_until(lambda me: me.holding == 1)
        beside = [timed(delivery, phone, n, "phone") for n in range(ROUNDS, 2 * ROUNDS)]
        assert stuck.holding == 1
        pid = psutil.Process().children()[0].pid
        resident_mb, own_mb = memory_mb(pid) if pid else (0.0, 0.0)
        delivery.stop()
    for name, values in (("alone", alone), ("beside one that hangs", beside)):
        print(
            f"send to arrival, {name:22} p50 {percentile(values, 50) * 1000:6.1f} ms, "
            f"p99 {percentile(values, 99) * 1000:6.1f} ms, most {max(values) * 1000:6.1f} ms"
        )
    print(f"the sender: {resident_mb:.1f} MB resident, {own_mb:.1f} MB of its own (pid {pid})")
    print(f"this machine: {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    return 0 if percentile(alone + beside, 99) <= AIM_P99_S else 1


if __name__ == "__main__":
    sys.exit(main())
