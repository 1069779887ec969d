"""A thermal estimate that was put aside is said in the log, once. Owned by `status_board`.

The alarms for too cold and too hot go on without it, so nothing else would show that a dead lamp
is not recognised any more."""

import logging

from monitor.service.logs import facts
from monitor.watch.status import SiteStatus

log = logging.getLogger(__name__)


class EstimateFaults:
    """Remembers what was said of each brooder."""

    def __init__(self) -> None:
        self._said: dict[str, str] = {}

    def look(self, status: SiteStatus) -> None:
        """Logs every fault that is new, with the place in the program."""
        for box in status.brooders:
            if box.estimate_fault is None:
                self._said.pop(box.name, None)
            elif self._said.get(box.name) != box.estimate_fault:
                self._said[box.name] = box.estimate_fault
                log.warning(
                    "The thermal estimate failed and was put aside; dead lamps are not recognised"
                    " there until the service is started anew.",
                    exc_info=box.estimate_error,
                    extra=facts(brooder=box.name),
                )
