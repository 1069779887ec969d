"""A sign of life to the outside: an HTTP GET at an interval, whose absence somebody else notices.
Owned by the service.

Only while the watch makes progress (`alive`): a heart that beats on in a hung service is worse
than none. Runs in a thread of its own, where a server that hangs harms nobody. The URL is a
secret and appears nowhere."""

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass

from monitor.tell.fetch import FetchFault, fetch

log = logging.getLogger(__name__)


@dataclass(eq=False, repr=False)
class Heartbeat:
    """Fetches the URL at intervals from `start` to `stop`, while the watch is alive."""

    url: str
    every_s: float
    _: KW_ONLY
    alive: Callable[[], bool] = lambda: True
    limit_s: float = 10.0

    def __post_init__(self) -> None:
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)
        self.failing = False

    def start(self) -> None:
        """The first beat goes out at once."""
        self._thread.start()

    def stop(self) -> None:
        """Returns at once; a beat under way is let go."""
        self._stop.set()

    def _run(self) -> None:
        next_at = time.monotonic()
        while not self._stop.wait(max(0.0, next_at - time.monotonic())):
            next_at = max(next_at + self.every_s, time.monotonic())
            if self.alive():
                self._beat()

    def _beat(self) -> None:
        why = None
        try:  # of the answer only the status is read, so one that drips costs nothing
            fetch(self.url, {"User-Agent": "brooder"}, limit_s=self.limit_s, most_bytes=0)
        except FetchFault as fault:
            why = str(fault)  # without the URL
        if self._stop.is_set():
            return  # nobody asks any more, and another may have begun
        if why is None:
            if self.failing:
                log.info("The sign of life gets through again.")
            self.failing = False
        elif not self.failing:
            self.failing = True
            log.warning("The sign of life does not get through: %s.", why)
