"""Whoever holds connections open keeps out neither a probe nor the grower, and delays no alarm."""

import asyncio
import os
import resource
import socket
import threading
import time
from contextlib import suppress
from pathlib import Path

import psutil
import pytest
from support.builtin import FLOOR, running
from support.fake_api import FakeApi
from support.held_lines import lines_held_open
from support.mqtt_wire import Client
from support.patience import LEAST_S
from support.receivers import http_receiver
from support.served import Served
from support.service import Thermometer, quick_service, wait_until
from support.visitor import Visitor

from monitor.doorway import SAY_EVERY_S, Caller, Doorway, household, listening_socket

pytestmark = pytest.mark.live


@pytest.mark.parametrize("which", ["page", "broker"])
def test_lines_held_open_use_up_neither_descriptors_nor_log_and_the_alarm_goes_out(
    which: str, tmp_path: Path
) -> None:
    with (
        http_receiver() as phone,
        quick_service(
            tmp_path, phone.url, page=True, wrapper=["prlimit", "--nofile=512:512"]
        ) as service,
    ):
        service.placed()
        begun = time.monotonic()
        port = service.page_port if which == "page" else service.broker_port
        assert port is not None
        with lines_held_open(port):
            assert psutil.Process(service.pid).num_fds() < 200
            with Thermometer(service.broker_port) as probe:

                def told() -> bool:
                    probe.say(15.0)
                    return bool(phone.got)

                wait_until(told, 120, "the alarm")
            assert service.page_port is not None
            assert Visitor(service.page_port).get("/").status == 200
        assert "Traceback" not in service.log()
        minutes = (time.monotonic() - begun) // SAY_EVERY_S
        assert 1 <= service.log().count("that said nothing were ended") <= 2 + minutes
        assert "127.0.0.1" in service.log()


def test_a_probe_that_is_in_stays_in_while_strangers_come_and_go() -> None:
    with running() as broker, Client(broker.port, "board", keep_alive=0) as probe:
        with lines_held_open(broker.port, 300):
            probe.publish(FLOOR, b"33.4")
            broker.take(1)
        assert probe.code == 0


def test_who_has_signed_in_keeps_the_stream_while_strangers_come_and_go() -> None:
    with Served(FakeApi(), passphrase="ten chicks in a box") as served:
        grower = Visitor(served.port)
        grower.get("/sign-in")
        grower.send("/sign-in", passphrase="ten chicks in a box")
        cookies = "; ".join(f"{k}={v}" for k, v in grower.cookies.items())
        with socket.create_connection(("127.0.0.1", served.port), timeout=LEAST_S) as stream:
            stream.sendall(
                f"GET /live HTTP/1.1\r\nHost: localhost\r\nCookie: {cookies}\r\n\r\n".encode()
            )
            assert b" 200 " in stream.recv(65536)
            with lines_held_open(served.port, 300):
                stream.settimeout(0.5)
                with suppress(TimeoutError):
                    while True:
                        assert stream.recv(65536) != b"", "the stream was ended"


class _Silent(asyncio.Protocol):
    def __init__(self, caller: Caller, here: set[Caller]) -> None:
        self.caller, self.here = caller, here

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self.here.add(self.caller)

    def connection_lost(self, exc: Exception | None) -> None:
        self.here.discard(self.caller)
        self.caller.left()


def test_without_a_descriptor_left_it_says_so_once_and_goes_on_when_there_is_one(caplog) -> None:
    here: set[Caller] = set()
    ready, over, port = threading.Event(), asyncio.Event(), [0]
    loop = asyncio.new_event_loop()

    async def serve() -> None:
        listener = listening_socket("127.0.0.1", 0)
        port[0] = listener.getsockname()[1]
        doorway = Doorway("page", listener, lambda caller: _Silent(caller, here))
        doorway.open()
        ready.set()
        await over.wait()
        doorway.close()

    thread = threading.Thread(target=loop.run_until_complete, args=(serve(),))
    thread.start()
    assert ready.wait(LEAST_S)
    lines = [socket.socket() for _ in range(40)]
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    try:
        resource.setrlimit(resource.RLIMIT_NOFILE, (len(os.listdir("/proc/self/fd")) + 1, hard))
        for line in lines:
            line.setblocking(False)
            line.connect_ex(("127.0.0.1", port[0]))
        wait_until(lambda: "ended" in caplog.text, 60, "it is said")
        assert len(caplog.records) == 1
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        late = socket.create_connection(("127.0.0.1", port[0]), timeout=LEAST_S)
        before = late.getsockname()
        wait_until(lambda: len(here) >= 1, 60, f"{before} is let in")
        late.close()
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        loop.call_soon_threadsafe(over.set)
        thread.join(LEAST_S)
        for line in lines:
            line.close()
        loop.close()
    assert len(caplog.records) <= 2


@pytest.mark.parametrize(
    ("address", "counts_as"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2::7", "2001:db8:1:2::"),
        ("fe80::7%eth0", "fe80::"),
        ("::1", "::1"),
        ("unknown", "unknown"),
    ],
)
def test_an_ipv6_household_counts_as_one_address(address: str, counts_as: str) -> None:
    assert household(address) == counts_as
