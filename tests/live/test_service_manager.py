"""What the service manager hears, by which it starts the service anew: up, alive, stopping."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from support.service import Service, wait_until

pytestmark = pytest.mark.live


@contextmanager
def manager() -> Iterator[tuple[str, list[str]]]:
    """Its address as NOTIFY_SOCKET names it, and the lines it has heard (sd_notify(3))."""
    said: list[str] = []
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listens:
        listens.bind("")  # a name that the kernel finds

        def hear() -> None:
            with suppress(OSError):
                while words := listens.recv(4096):
                    said.extend(words.decode().splitlines())

        hearing = threading.Thread(target=hear, daemon=True)
        hearing.start()
        address = listens.getsockname()
        yield "@" + address[1:].decode(), said
        listens.sendto(b"", address)
        hearing.join()


def test_it_is_up_once_it_watches_alive_as_long_as_it_does_and_said_to_stop(tmp_path: Path) -> None:
    with manager() as (address, said), Service(tmp_path, env={"NOTIFY_SOCKET": address}) as service:
        wait_until(lambda: "READY=1" in said, what="READY")
        for _ in range(2):  # with each round of the watch
            before = said.count("WATCHDOG=1")
            wait_until(lambda before=before: said.count("WATCHDOG=1") > before, what="a round")
        assert "STOPPING=1" not in said
        assert service.stop() == 0
        wait_until(lambda: "STOPPING=1" in said, what="STOPPING")
