"""A line for each thing that happens: a plain sentence, then `key=value`, for people and grep.

Set up once by the commands. journald stamps its own time, so under systemd the line has none."""

import logging
import os
import sys
from collections.abc import Callable, Mapping

LEVELS = {
    "debug": logging.DEBUG,
    "info": logging.INFO,
    "warning": logging.WARNING,
    "error": logging.ERROR,
}


class _KeyValues(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        line = super().format(record)
        facts = getattr(record, "facts", None)
        if isinstance(facts, Mapping):
            line += "".join(f" {key}={_quoted(value)}" for key, value in facts.items())
        return line.replace("\r", "\\r").replace("\n", "\\n")


def _quoted(value: object) -> str:
    text = f"{value:g}" if isinstance(value, float) else str(value)
    plain = text and not any(c.isspace() or c in '"=' for c in text)
    return text if plain else '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def set_up(level: str = "info") -> None:
    """Log lines go to standard error. Libraries speak only when something is wrong."""
    stamped = "JOURNAL_STREAM" not in os.environ
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(
        _KeyValues(
            "%(asctime)s %(levelname)s %(message)s" if stamped else "%(levelname)s %(message)s",
            "%Y-%m-%dT%H:%M:%S%z",
        )
    )
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger("monitor").setLevel(LEVELS[level])


def facts(**pairs: object) -> dict[str, dict[str, object]]:
    """`log.info("Connected.", extra=facts(broker=host))`: the pairs at the end of the line."""
    return {"facts": pairs}


log = logging.getLogger(__name__)


def quietly(what_failed: str, work: Callable[[], None]) -> None:
    """Does what must not end the watch: a fault of it is told to the log and to nobody else."""
    try:
        work()
    except Exception:
        log.exception(what_failed)
