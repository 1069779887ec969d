"""The mirror: the journal's record once more in InfluxDB, however long the way there was cut. The
service runs it in a thread of its own; `brooder check` asks whether it would work.

The journal is the queue and the cursor is all there is to remember. It moves only when the other
end has said that it has the lines, so that nothing is ever missing there; after a crash a slice
may go twice, which changes nothing there (see `influx_schema`)."""

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from monitor.journal.mirror import backlog
from monitor.journal.mirror.backlog import Cursor
from monitor.journal.mirror.influx_server import (
    Answer,
    BadLines,
    Busy,
    Partly,
    Refused,
    Sent,
    Server,
)
from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault

CURSOR = "mirror"
IDLE_S = 30.0  # a new look at the journal; nobody watches the mirror by the second
FIRST_WAIT_S = 2.0
LONGEST_WAIT_S = 300.0
REFUSED_WAIT_S = 300.0  # somebody has to mend it first; looked at again now and then
MOST_SOUGHT = 64  # bad lines of a slice found singly; more is a fault of another kind


class Sink(Protocol):
    """What takes lines: a Server, or a test's."""

    def write(self, lines: Sequence[str]) -> Answer:
        """Sends lines as one request."""
        ...


@dataclass(frozen=True, slots=True)
class BadPoint:
    """A line that the other end will never take, and its reason."""

    line: str
    words: str


@dataclass(frozen=True, slots=True)
class Standing:
    """How the mirror stands, in words for the page and the log."""

    well: bool
    words: str
    behind_since: float | None  # Unix s of the oldest reading not there yet
    bad_points: int


def wait_s(failures: int, advice_s: float | None) -> float:
    """How long to wait after so many failures in a row: the server's own advice, or doubling."""
    if advice_s is not None:
        return min(max(advice_s, 0.1), LONGEST_WAIT_S)
    return float(min(FIRST_WAIT_S * 2 ** min(failures - 1, 10), LONGEST_WAIT_S))


class Mirror:
    """Sends slice after slice. `keep` is told each new cursor, for the journal's writer to keep;
    `told` is told each bad point."""

    def __init__(
        self,
        journal: Path,
        site: str,
        sink: Sink,
        keep: Callable[[dict[str, Any]], None],
        told: Callable[[BadPoint], None] = lambda _bad: None,
    ) -> None:
        self._reader = JournalReader(journal)
        self._site, self._sink, self._keep, self._told = site, sink, keep, told
        self._cursor: Cursor | None = None
        self._failures = 0
        self._words = "nothing was sent yet"
        self._bad_count = 0
        self._sought = 0

    def step(self) -> float:
        """Sends one slice if there is one. Returns the seconds to wait before the next step: 0
        while there is more."""
        if self._cursor is None:
            self._cursor = Cursor.of(self._reader.cursor(CURSOR))
        part = backlog.next_slice(self._reader, self._site, self._cursor)
        if part.lines:
            self._sought = 0
            trouble = self._deliver(part.lines)
            if trouble is not None:
                self._failures += 1
                self._words = trouble.words
                if isinstance(trouble, Refused):
                    return REFUSED_WAIT_S
                return wait_s(self._failures, trouble.after_s)
        self._failures = 0
        self._words = "up to date" if not part.rest else "catching up"
        if part.then != self._cursor:
            self._cursor = part.then
            self._keep(part.then.to_json())
        return 0.0 if part.rest else IDLE_S

    def run(self, stop: threading.Event) -> None:
        """Steps until stopped. The journal's own trouble is waited out: others tell of it."""
        try:
            while not stop.is_set():
                try:
                    pause = self.step()
                except StorageFault as fault:
                    self._words, pause = fault.words, IDLE_S
                stop.wait(pause)
        finally:
            self._reader.close()

    def standing(self) -> Standing:
        """May be asked from another thread."""
        since = None
        if self._cursor is not None:
            with JournalReader(self._reader.path) as reader:
                since = backlog.behind(reader, self._cursor)
        words = self._words
        if self._bad_count:
            words += f"; {self._bad_count} points were refused there and left out"
        return Standing(self._failures == 0, words, since, self._bad_count)

    def _deliver(self, lines: Sequence[str]) -> Busy | Refused | None:
        """Sends lines. If some are bad the rest is found by halving; each bad one is set aside
        alone. None: all that can be there is there."""
        answer = self._sink.write(lines)
        if isinstance(answer, Sent):
            return None
        if isinstance(answer, Partly):
            self._set_aside(BadPoint(lines[0], answer.words), answer.dropped)
            return None
        if not isinstance(answer, BadLines):
            return answer
        if len(lines) == 1 or self._sought >= MOST_SOUGHT:
            self._set_aside(BadPoint(lines[0], answer.words), len(lines))
            return None
        middle = len(lines) // 2
        return self._deliver(lines[:middle]) or self._deliver(lines[middle:])

    def _set_aside(self, bad: BadPoint, count: int) -> None:
        self._sought += 1
        self._bad_count += count
        self._told(bad)


def check(url: str, token: str, org: str, bucket: str) -> str | None:
    """Would the other end take what we write? Writes no temperature: only a mark that this board
    asked. None: yes; else why not, in words."""
    with Server(url, token, org, bucket) as server:
        answer = server.write([f"checked,by=brooder ok=1i {time.time_ns()}"])
    return None if isinstance(answer, Sent) else answer.words
