"""The mirror off the board, in a thread of its own. Owned by `run`; only loaded where
`[influx]` is configured, since its library is large."""

import logging
import threading
from collections.abc import Callable
from typing import Any

from monitor.journal.mirror.influx_server import Server
from monitor.journal.mirror.sending import CURSOR, BadPoint, Mirror
from monitor.service.logs import facts
from monitor.settings import Settings

log = logging.getLogger(__name__)


class Copying:
    """Runs from `start` to `stop`; `words` is for the page."""

    def __init__(self, settings: Settings, keep: Callable[[str, dict[str, Any]], None]) -> None:
        influx = settings.file.influx
        if influx is None:
            raise ValueError("no [influx] is configured")
        server = Server(influx.url, influx.token.get_secret_value(), influx.org, influx.bucket)
        self._mirror = Mirror(
            settings.journal_path,
            settings.site.name,
            server,
            keep=lambda value: keep(CURSOR, value),
            told=_bad_point,
        )
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)

    def start(self) -> None:
        """Begins where the cursor stands."""
        self._thread.start()

    def stop(self) -> None:
        """Sends no more; a request under way is left to its time limit."""
        self._stop.set()

    def words(self) -> str:
        """How the mirror stands."""
        return self._mirror.standing().words

    def _run(self) -> None:
        try:
            self._mirror.run(self._stop)
        except Exception:
            log.exception("The mirror broke off; it goes on at the next start.")


def _bad_point(bad: BadPoint) -> None:
    log.warning("A point was not taken by the mirror.", extra=facts(why=bad.words, line=bad.line))
