"""How things stand, for all who look: drawn by the watch thread, read by any. Owned by
`watch_thread`.

The status of thousands of brooders takes its time, and people come first: while somebody waits
to be told, a status that takes long is left for a later round."""

import logging
import threading
import time

from monitor.events import Change, Moment
from monitor.service.annunciator import Annunciator
from monitor.service.clock import Clock
from monitor.service.core import Core
from monitor.service.logs import facts, quietly
from monitor.watch.status import SiteStatus

log = logging.getLogger(__name__)

STATUS_EVERY_S = 0.5
STATUS_SHARE = 0.02  # of a core; the status of thousands of brooders is made less often
LONG_DRAW_S = 0.01


class StatusBoard:
    """The newest status, and the changes that are not yet published."""

    def __init__(self, core: Core, clock: Clock, told: Annunciator) -> None:
        self._core = core
        self._clock = clock
        self._told = told
        self.status = core.status(clock.now())  # the newest that was published
        self._renewed = threading.Condition()
        self._changes: list[Change] = []  # not yet published
        self._drawn: tuple[Moment, SiteStatus] | None = None
        self._draw_s = 0.0
        self._due = 0.0
        self._failing = False
        self._without_estimate: dict[str, str] = {}  # by box: what was said in the log

    # -- from any thread

    def wait_for_news(self, than: SiteStatus, wait_s: float) -> bool:
        """True as soon as the published status is another than `than`."""
        with self._renewed:
            return self._renewed.wait_for(lambda: self.status is not than, wait_s)

    # -- in the watch thread

    def say_anew(self) -> None:
        """Says the state of everything: retained topics may still say what was before a crash."""
        quietly(
            "The state could not be published.",
            lambda: self._told.changed([], self._core.status(self._clock.now())),
        )

    def happened(self, changes: list[Change]) -> None:
        """These are kept; they are to be published."""
        if changes:
            self._changes += changes
            self.renew_soon()

    def renew_soon(self) -> None:
        """Somebody did something and looks for what came of it."""
        self._due = 0.0

    def draw(self, now: Moment) -> SiteStatus:
        """How things stand at the end of this round; `now` is the round's own."""
        if self._drawn is None or self._drawn[0] is not now:
            begun = time.thread_time()
            self._drawn = (now, self._core.status(now))
            self._draw_s = time.thread_time() - begun
        return self._drawn[1]

    def publish(self, now: Moment, *, somebody_waits: bool) -> None:
        """The changes for MQTT and log, and the status, if it is time for one."""
        if somebody_waits and self._draw_s > LONG_DRAW_S:
            return
        if self._changes:
            changes, self._changes = self._changes, []
            quietly(
                "Changes could not be published.",
                lambda: self._told.changed(changes, self.draw(now)),
            )
        if time.monotonic() >= self._due:
            self._renew(now)

    def _renew(self, now: Moment) -> None:
        try:
            status = self.draw(now)
        except Exception:
            # The alarms do not need it; the page says by itself that it is old.
            if not self._failing:
                log.exception("The status could not be made.")
            self._failing = True
            self._due = time.monotonic() + STATUS_EVERY_S
            return
        self._failing = False
        self._log_estimate_faults(status)
        self._due = time.monotonic() + max(STATUS_EVERY_S, self._draw_s / STATUS_SHARE)
        with self._renewed:
            self.status = status
            self._renewed.notify_all()

    def _log_estimate_faults(self, status: SiteStatus) -> None:
        """Once each, with the place in the program: the alarms for too cold and too hot go on, so
        nothing else would show that a dead lamp is not recognised any more."""
        before = self._without_estimate
        faults = {box.name: box.estimate_fault for box in status.brooders if box.estimate_fault}
        self._without_estimate = faults
        for box in status.brooders:
            if box.estimate_fault is not None and before.get(box.name) != box.estimate_fault:
                log.warning(
                    "The thermal estimate failed and was put aside; dead lamps are not recognised"
                    " there until the service is started anew.",
                    exc_info=box.estimate_error,
                    extra=facts(brooder=box.name),
                )
