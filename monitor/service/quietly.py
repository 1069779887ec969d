"""What is not the watch itself must not end it. Used by the parts of the watch thread."""

import logging
from collections.abc import Callable

log = logging.getLogger(__name__)


def quietly(what_failed: str, work: Callable[[], None]) -> None:
    """Does the work; a fault of it is told to the log and to nobody else."""
    try:
        work()
    except Exception:
        log.exception(what_failed)
