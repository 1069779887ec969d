"""A port for a server that cannot choose one itself, or that is to come back on it."""

import contextlib
import random
import socket
from pathlib import Path

_OURS: list[socket.socket] = []  # held until this process ends
_DRAWN = random.SystemRandom()


def free_port() -> int:
    """One that nobody listened on a moment ago, and that is asked for only once.

    It lies outside the ports that the kernel gives to connections: a connection of another test
    cannot take it before its server does, nor while that server is restarted. Nor can another
    test's server: a name that this process holds (gone with it, and as wide as the network that
    the port is in) marks it as taken.
    """
    while True:
        port = _DRAWN.choice(_not_given_away())
        mark = socket.socket(socket.AF_UNIX)
        with contextlib.suppress(OSError), socket.socket() as probe:
            mark.bind(f"\0brooder-test-port-{port}")
            probe.bind(("0.0.0.0", port))
            _OURS.append(mark)
            return port
        mark.close()


def _not_given_away() -> list[int]:
    given = Path("/proc/sys/net/ipv4/ip_local_port_range").read_text().split()
    first, last = map(int, given)
    return [port for port in range(15_000, 65_000) if not first <= port <= last] or [
        *range(15_000, 65_000)
    ]
