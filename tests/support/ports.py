"""A port for a server that cannot choose one itself, or that is to come back on it."""

import contextlib
import secrets
import socket


def free_port() -> int:
    """One that nobody listened on a moment ago.

    It lies below the ports that Linux gives to connections (32768 and above): a connection of
    another test cannot take it before its server does, nor while that server is restarted.
    """
    while True:
        port = 20_000 + secrets.randbelow(12_000)
        with contextlib.suppress(OSError), socket.socket() as probe:
            probe.bind(("127.0.0.1", port))
            return port
