"""Tells systemd that the service is up, alive and what it is doing. Called by `run` and the watch
thread.

The protocol of sd_notify(3): a datagram to the socket that NOTIFY_SOCKET names. WATCHDOG=1 is sent
by the watch thread after each round of its own work, so a hung engine is a dead service to systemd
however alive its other threads are. And the other way round: where the thread that keeps or the one
that tells has ended, or the event loop does not turn (`Pulse`), the watch thread is silent too
(`needs`)."""

import asyncio
import logging
import os
import socket
import time
from collections.abc import Callable

log = logging.getLogger(__name__)


class Readiness:
    """Does nothing where no service manager listens."""

    def __init__(self, address: str | None = None) -> None:
        given = os.environ.get("NOTIFY_SOCKET") if address is None else address
        self._address = f"\0{given[1:]}" if given and given.startswith("@") else given
        self._needed: dict[str, Callable[[], bool]] = {}
        self._missed: set[str] = set()

    def needs(self, what: str, alive: Callable[[], bool]) -> None:
        """Something besides the watch thread, without which the service is none."""
        self._needed[what] = alive

    def all_live(self) -> bool:
        """Is everything that is needed alive? What is not is said once."""
        missed = {what for what, alive in self._needed.items() if not alive()}
        for what in sorted(missed - self._missed):
            log.error("%s is not alive any more; systemd is not told that the service is.", what)
        self._missed = missed
        return not missed

    def say(self, *lines: str) -> None:
        """Sends `READY=1`, `STOPPING=1`, `WATCHDOG=1`, `STATUS=...`; never raises, never waits."""
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as s:
                s.sendto("\n".join(lines).encode(), self._address)
        except OSError:
            # The manager is gone or busy; the watch matters more than the news of it.
            return


EVERY_S = 1.0
STANDS_AFTER_S = 30.0  # a page that takes long holds it up for a second or two


class Pulse:
    """Beats in the loop from `begin`; `alive` may be asked in any thread."""

    def __init__(self) -> None:
        self._last = time.monotonic()

    def begin(self, loop: asyncio.AbstractEventLoop) -> None:
        """Notes that the loop turns, again and again until it ends."""
        self._last = time.monotonic()
        loop.call_later(EVERY_S, self.begin, loop)

    def alive(self) -> bool:
        """Has it turned lately?"""
        return time.monotonic() - self._last < STANDS_AFTER_S
