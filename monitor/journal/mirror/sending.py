"""The mirror: the journal's record once more in InfluxDB, however long the way there was cut. The
service runs it in a thread of its own; `brooder mirror fill` sends everything again.

The journal is the queue, and `state` is all there is to remember. The cursor moves only when the
other end has said that it has the lines, so that nothing is ever missing there; after a crash a
slice may go twice, which changes nothing there (see `influx_schema`). What the server would not
take is known by its day, and so is what a comparison of both sides found to be missing (a bucket
that was emptied): those days are sent again, the newest first, until they are there."""

import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple

from monitor.journal.mirror import backlog
from monitor.journal.mirror.comparing import SETTLES_S, compare, days_text
from monitor.journal.mirror.influx_schema import NS_PER_MS
from monitor.journal.mirror.influx_server import (
    BadLines,
    Busy,
    InfluxFault,
    Partly,
    Refused,
    Sent,
    Server,
)
from monitor.journal.mirror.state import Scope, State
from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault
from monitor.journal.resolution import DAY_MS

STATE = "mirror"
IDLE_S = 30.0  # a new look at the journal; nobody watches the mirror by the second
FIRST_WAIT_S = 2.0
LONGEST_WAIT_S = 300.0
REFUSED_WAIT_S = 300.0  # somebody has to mend it first; looked at again now and then
MOST_SOUGHT = 64  # bad lines of a slice found singly; more is a fault of another kind
AGAIN_S = 3600.0  # days that were refused or are missing are sent again
COMPARE_S = 86_400.0  # the last days are compared so often, everything at the start
COMPARED_DAYS = 3


@dataclass(frozen=True, slots=True)
class BadPoint:
    """A line that the other end does not take, and its reason."""

    line: str
    words: str


UP_TO_DATE = "up to date"


class MirrorStanding(NamedTuple):
    """How the mirror stands, in words for the page and the log."""

    well: bool
    words: str


def wait_s(failures: int, advice_s: float | None) -> float:
    """How long to wait after so many failures in a row: the server's own advice, or doubling."""
    if advice_s is not None:
        return min(max(advice_s, 0.1), LONGEST_WAIT_S)
    return float(min(FIRST_WAIT_S * 2 ** min(failures - 1, 10), LONGEST_WAIT_S))


class Mirror:
    """Sends slice after slice. `keep` is told each new state, for the journal's writer to keep;
    `told` is told a bad point, once for each reason."""

    def __init__(
        self,
        journal: Path,
        scope: Scope,
        sink: Server,
        keep: Callable[[dict[str, Any]], None],
        told: Callable[[BadPoint], None] = lambda _bad: None,
        *,
        wall: Callable[[], float] = time.time,
        steady: Callable[[], float] = time.monotonic,
    ) -> None:
        self._reader = JournalReader(journal)
        self._scope, self._keep = scope, keep
        self._wall, self._steady = wall, steady
        self._delivery = MirrorDelivery(sink, told)
        self._sink = sink
        self._state: State | None = None
        self._failures = 0
        self._trouble: str | None = None
        self._words = "nothing was sent yet"
        self._not_compared: str | None = None  # why
        self._compare_at = 0.0  # by the steady clock: at once
        self._compare_all = True
        self._again_at = steady() + AGAIN_S
        self._due: list[int] = []  # days to send again in this round
        self._tried: set[int] = set()  # those that were in it
        self._wake = threading.Event()
        self._stopped = False

    def step(self) -> float:
        """Sends one slice if there is one. Returns the seconds to wait before the next step: 0
        while there is more."""
        state = self._known()
        part = backlog.next_slice(self._reader, self._scope, state.cursor)
        pause, refused = self._deliver(part.lines)
        if pause is not None:
            return pause
        self._now(replace(state, cursor=part.then).with_refused(refused, self._delivery.words))
        if part.rest:
            self._words = "catching up"
            return 0.0
        return self._look_back()

    def run(self, stood: Callable[[bool, str], None] = lambda _well, _words: None) -> None:
        """Steps until stopped, and says after each how it stands. The journal's own trouble is
        waited out: others tell of it."""
        try:
            while not self._stopped:
                try:
                    pause = self.step()
                except StorageFault as fault:
                    self._words, pause = fault.words, IDLE_S
                stood(*self.standing())
                self._wake.wait(pause)
                self._wake.clear()
        finally:
            self._reader.close()

    def stop(self) -> None:
        self._stopped = True
        self._wake.set()

    def look_again(self) -> None:
        """Compares everything with the next step, and sends again what is missing or was refused:
        somebody has mended something. From any thread."""
        self._compare_all = True
        self._compare_at = self._again_at = 0.0
        self._wake.set()

    def standing(self) -> MirrorStanding:
        """May be asked from another thread."""
        words, state, ill = self._trouble or self._words, self._state, []
        if state is not None and state.refused:
            ill.append(refused_words(state))
        if state is not None and state.lacking:
            ill.append(
                f"{sum(state.lacking.values())} points of {days_text(state.lacking)} are not"
                " there and are sent again each hour"
            )
        said = ill if ill and words == UP_TO_DATE else [words, *ill]
        return MirrorStanding(not (self._trouble or ill), "; ".join(said))

    def _deliver(self, lines: Sequence[str]) -> tuple[float | None, Counter[int]]:
        """Sends lines. None: they are there, but for so many of a day that were refused; else how
        long to wait."""
        trouble, refused = self._delivery.deliver(lines) if lines else (None, Counter())
        if trouble is None:
            if self._failures:
                self._compare_at = 0.0  # who knows what was done to it meanwhile
            self._failures, self._trouble = 0, None
            return None, refused
        self._failures += 1
        self._trouble = trouble.words
        if isinstance(trouble, Refused):
            return REFUSED_WAIT_S, refused
        return wait_s(self._failures, trouble.after_s), refused

    def _known(self) -> State:
        if self._state is None:
            kept = self._reader.cursor(STATE)
            self._state = State.of(kept, self._scope.target).within(backlog.end(self._reader))
            self._due = sorted({*self._state.refused, *self._state.lacking})
        return self._state

    def _now(self, state: State) -> None:
        if state != self._state:
            self._state = state
            self._keep(state.to_json())

    def _look_back(self) -> float:
        """Everything was sent. Is it there?"""
        now = self._steady()
        if now >= self._compare_at:
            self._compare_at = now + self._compare(self._known())
        state = self._known()
        if now >= self._again_at:
            self._again_at = now + AGAIN_S
            self._tried.clear()
            self._due = sorted({*state.refused, *state.lacking})
        if self._due:
            return self._send_day(state, self._due[-1])
        self._words = UP_TO_DATE
        if self._not_compared is not None:
            self._words = f"everything was sent, but not compared: {self._not_compared}"
        return IDLE_S

    def _compare(self, state: State) -> float:
        """Finds the days that lack something. In how many seconds again?"""
        now = self._wall()
        since = 0 if self._compare_all else int(now * 1000) // DAY_MS - COMPARED_DAYS
        try:
            here = partial(compare, self._reader, self._sink, self._scope, now=now, since_day=since)
            found = here()
            if backlog.next_slice(self._reader, self._scope, state.cursor).then != state.cursor:
                found = here(until_ms=int((now - SETTLES_S) * 1000))  # more came in meanwhile
        except InfluxFault as fault:
            self._not_compared = str(fault)
            return AGAIN_S
        self._not_compared, self._compare_all = None, False
        earlier = {day: n for day, n in state.lacking.items() if day < since}
        # A day that lacks only what was refused is known by that.
        lacking = {d: n for d, n in found.lacking.items() if n > state.refused.get(d, 0)}
        self._now(replace(state, lacking=earlier | lacking))
        self._due = sorted({*self._due, *lacking.keys() - self._tried})
        return COMPARE_S if any(found.here.values()) else 0.0  # nothing says nothing

    def _send_day(self, state: State, day: int) -> float:
        """A day that was refused or lacks something once more. Where it is refused again the
        earlier ones wait for the next time."""
        refused: Counter[int] = Counter()
        for lines in backlog.day_lines(self._reader, self._scope, day):
            pause, some = self._deliver(lines)
            if pause is not None:
                return pause
            refused += some
        self._now(state.without(day).with_refused(refused, self._delivery.words))
        self._tried.add(self._due.pop())
        if refused:
            self._due.clear()
        if not self._due:
            self._compare_all, self._compare_at = True, 0.0
        return 0.0


class MirrorDelivery:
    """Lines to the server, whatever it makes of them."""

    def __init__(self, sink: Server, told: Callable[[BadPoint], None] = lambda _bad: None) -> None:
        self._sink, self._told = sink, told
        self._sought = 0
        self._reasons: set[str] = set()
        self.words = ""  # why points were refused last

    def deliver(self, lines: Sequence[str]) -> tuple[Busy | Refused | None, Counter[int]]:
        """Sends lines. None: all that can be there is there; with it, how many points of which
        day (since 1970) were refused."""
        self._sought = 0
        refused: Counter[int] = Counter()
        return self._deliver(lines, refused), refused

    def _deliver(self, lines: Sequence[str], refused: Counter[int]) -> Busy | Refused | None:
        """If some are bad the rest is found by halving; each bad one is set aside alone."""
        answer = self._sink.write(lines)
        if isinstance(answer, Sent):
            return None
        if isinstance(answer, Partly):
            return self._partly(lines, answer, refused)
        if not isinstance(answer, BadLines):
            return answer
        if len(lines) == 1 or self._sought >= MOST_SOUGHT:
            self._set_aside(lines, answer.words, refused)
            return None
        middle = len(lines) // 2
        return self._deliver(lines[:middle], refused) or self._deliver(lines[middle:], refused)

    def _partly(
        self, lines: Sequence[str], answer: Partly, refused: Counter[int]
    ) -> Busy | Refused | None:
        """The server says how many, not which: days are asked one by one."""
        days = [list(of_day) for _, of_day in groupby(sorted(lines, key=_day_of), _day_of)]
        if len(days) == 1:
            self._set_aside(lines[: max(1, min(answer.dropped, len(lines)))], answer.words, refused)
            return None
        for of_day in days:
            trouble = self._deliver(of_day, refused)
            if trouble is not None:
                return trouble
        return None

    def _set_aside(self, lines: Sequence[str], words: str, refused: Counter[int]) -> None:
        self._sought += 1
        self.words = words
        refused.update(map(_day_of, lines))
        reason = "".join(sign for sign in words if not sign.isdigit())
        if reason not in self._reasons and len(self._reasons) < MOST_SOUGHT:
            self._reasons.add(reason)
            self._told(BadPoint(lines[0], words))


def _day_of(line: str) -> int:
    return int(line.rpartition(" ")[2]) // (DAY_MS * NS_PER_MS)


def refused_words(state: State) -> str:
    points = sum(state.refused.values())
    return (
        f"{points} points of {days_text(state.refused)} were refused there ({state.words}); they"
        " are sent again each hour"
    )
