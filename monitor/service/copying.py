"""The mirror off the board, in a thread of its own. Owned by `run`; its large library is loaded
only where `[influx]` is configured."""

import logging
import threading
import time
from collections.abc import Callable
from typing import Any

from monitor.events import AlarmName, Facts
from monitor.journal.mirror.sending import IDLE_S, STATE, BadPoint, Mirror
from monitor.service.configured import objection, scope_of, server_of
from monitor.service.logs import facts
from monitor.settings import Settings

log = logging.getLogger(__name__)

TELL_AFTER_S = 3600.0  # a server that is down for an update is no news


class Copying:
    """Runs from `start` to `stop`, with whatever configuration it was given last. `fault` is told
    when the mirror has not been well for an hour, and when it is again."""

    def __init__(
        self,
        settings: Settings,
        keep: Callable[[str, dict[str, Any]], None],
        fault: Callable[[AlarmName, bool, Facts], None],
    ) -> None:
        self._settings, self._keep, self._fault = settings, keep, fault
        self._run: _Run | None = None

    def start(self) -> None:
        """Begins where the journal says that it has come to."""
        if self._settings.file.influx is not None:
            self._run = _Run(self._settings, self._keep, self._fault)
        else:
            self._fault(AlarmName.MIRROR_FAULT, False, Facts())  # that of an earlier run, if any

    def take(self, fresh: Settings) -> None:
        """Another token, bucket or set of brooders takes effect at once."""
        before, self._settings = self._settings, fresh
        if (before.file.influx, before.site, before.pattern) != (
            fresh.file.influx,
            fresh.site,
            fresh.pattern,
        ):
            self.stop()
            self._run = None
            self.start()

    def stop(self) -> None:
        """Sends no more; a request under way is left to its time limit."""
        if self._run is not None:
            self._run.stop()

    def look_again(self) -> bool:
        """Somebody has mended or filled it; False: none is configured."""
        if self._run is not None:
            self._run.look_again()
        return self._run is not None

    def words(self) -> str:
        """How the mirror stands, in one clause."""
        return "none is configured" if self._run is None else self._run.standing()[1]

    def well(self) -> bool:
        """Is nothing wrong with it?"""
        return self._run is None or self._run.standing()[0]


class _Run:
    """The mirror to one target."""

    def __init__(
        self,
        settings: Settings,
        keep: Callable[[str, dict[str, Any]], None],
        fault: Callable[[AlarmName, bool, Facts], None],
    ) -> None:
        self._settings, self._keep, self._fault = settings, keep, fault
        self._stopped = threading.Event()
        self._objection = objection(settings)
        self._ill_since: float | None = None
        self._told: bool | None = None  # of a fault; None: nothing yet, since the start
        self._mirror: Mirror | None = None
        threading.Thread(target=self._work, name="mirror", daemon=True).start()

    def stop(self) -> None:
        self._stopped.set()
        if self._mirror is not None:
            self._mirror.stop()

    def look_again(self) -> None:
        if self._mirror is not None:
            self._mirror.look_again()

    def standing(self) -> tuple[bool, str]:
        if self._objection is not None:
            return False, self._objection
        if self._mirror is None:
            return True, "it is being started"
        return self._mirror.standing()

    def _work(self) -> None:
        try:
            if self._objection is None:
                self._mirror = self._made()
                if not self._stopped.is_set():
                    self._mirror.run(self._stood)
                return
            while True:
                self._stood(False, self._objection)
                if self._stopped.wait(IDLE_S):
                    return
        except Exception as error:
            log.exception("The mirror broke off; it goes on at the next start.")
            self._objection = f"it broke off ({type(error).__name__}) and goes on at the next start"
            self._tell(self._objection)

    def _made(self) -> Mirror:
        influx = self._settings.file.influx
        assert influx is not None
        return Mirror(
            self._settings.journal_path,
            scope_of(self._settings, influx),
            server_of(influx),  # a large library, which takes a while to load
            keep=self._keep_state,
            told=_bad_point,
        )

    def _keep_state(self, state: dict[str, Any]) -> None:
        if not self._stopped.is_set():  # another may be under way since
            self._keep(STATE, state)

    def _stood(self, well: bool, words: str) -> None:
        now = time.monotonic()
        if well:
            self._ill_since = None
            if self._told is not False and not self._stopped.is_set():
                if self._told:
                    log.info("The mirror is well again.")
                self._told = False  # also what was told before the last start
                self._fault(AlarmName.MIRROR_FAULT, False, Facts())
            return
        self._ill_since = now if self._ill_since is None else self._ill_since
        if not self._told and now - self._ill_since >= TELL_AFTER_S:
            log.warning("The mirror has not been well for an hour.", extra=facts(why=words))
            self._tell(words)

    def _tell(self, words: str) -> None:
        self._told = True
        self._fault(AlarmName.MIRROR_FAULT, True, Facts(reason=words))


def _bad_point(bad: BadPoint) -> None:
    log.warning("A point was not taken by the mirror.", extra=facts(why=bad.words, line=bad.line))
