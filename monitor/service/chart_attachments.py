"""Pictures of the last twelve hours for urgent messages. Nobody ever waits for one: a message
takes the newest there is, and the next repeat has a newer one.

Drawn by a child process at low priority, one at a time, killed when it takes too long: numpy and
the drawing library are never loaded by the watch."""

import logging
import pickle
import queue
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from monitor import child
from monitor.service.logs import facts
from monitor.site import Site

log = logging.getLogger(__name__)

LIMIT_S = 60.0  # a small board takes ten
FRESH_S = 1800.0  # an older picture would mislead
AGAIN_S = 120.0  # one brooder is not drawn more often


@dataclass(eq=False, repr=False)
class ChartAttachments:
    """Draws when asked, gives what is there."""

    journal: Path
    site: Callable[[], Site]
    folder: Path
    now: Callable[[], float]

    def __post_init__(self) -> None:
        self._wanted: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._done: dict[str, tuple[float, Path]] = {}  # brooder -> drawn (monotonic), file
        self._asked: dict[str, float] = {}
        self._thread = threading.Thread(target=self._run, name="charts", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Takes no more orders; one under way ends by its own limit."""
        self._wanted.put(None)

    def want(self, brooder: str) -> None:
        """Something happened there: a picture will be wanted. Returns at once."""
        now = time.monotonic()
        if now - self._asked.get(brooder, -AGAIN_S) >= AGAIN_S:
            self._asked[brooder] = now
            self._wanted.put(brooder)

    def newest(self, brooder: str) -> Path | None:
        """A finished picture that is still fresh."""
        drawn = self._done.get(brooder)
        if drawn is None or time.monotonic() - drawn[0] > FRESH_S:
            return None
        return drawn[1] if drawn[1].is_file() else None

    def _run(self) -> None:
        with suppress(OSError):
            self.folder.mkdir(exist_ok=True, mode=0o700)
            for old in self.folder.glob("*.png"):
                old.unlink()
        while (brooder := self._wanted.get()) is not None:
            # Let the journal take what has just happened, so that the picture shows it.
            time.sleep(2.0)
            path = self._draw(brooder)
            if path is not None:
                before = self._done.get(brooder)
                self._done[brooder] = (time.monotonic(), path)
                if before is not None and before[1] != path:
                    before[1].unlink(missing_ok=True)

    def _draw(self, brooder: str) -> Path | None:
        order = self.journal, self.site(), brooder, self.now(), self.folder
        try:
            said = child.run(
                "monitor.review.attachment", given=pickle.dumps(order), limit_s=LIMIT_S
            )
        except child.ChildFailed as error:
            log.info("No picture.", extra=facts(why=str(error)[-200:]))
            return None
        return Path(said.decode(errors="replace").strip())
