"""A recorded night through the same core as a live one, as fast as it goes. Used by
`brooder replay`, the tests and the benchmarks. Recorded time is the only time: tick == at."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Any

from monitor.brooding.objection import Objection
from monitor.events import Change, Moment
from monitor.journal.forms import lines
from monitor.journal.resolution import iso
from monitor.service import foretold
from monitor.service.core import Core, CoreOutput
from monitor.service.startup import core_of
from monitor.settings import Settings
from monitor.site import Site
from monitor.tell.message import Message
from monitor.tell.wording import for_change

TAKE_EVERY = 1000  # lines; bounds the memory of a long replay


@dataclass(slots=True)
class ReplayTally:
    """What a replay went through."""

    lines: int = 0
    messages_heard: int = 0
    entries: int = 0
    unclaimed: int = 0
    from_at: float | None = None
    to_at: float | None = None
    objections: list[str] = field(default_factory=list)
    without_estimate: list[str] = field(default_factory=list)  # brooders whose estimate failed


class Replay:
    """One pass over journal lines. `on_output` gets what came of them, in order; `on_foretold`,
    each half hour, what is foretold of each brooder."""

    def __init__(
        self,
        settings: Settings,
        on_output: Callable[[CoreOutput], None],
        on_foretold: Callable[[dict[str, Any]], None] | None = None,
    ) -> None:
        self._settings = settings
        self._on_output = on_output
        self._on_foretold = on_foretold
        self._foretell_at = float("inf")
        self._newest_number = 0
        self.core: Core | None = None
        self.tally = ReplayTally()

    def feed(self, texts: Iterable[str]) -> ReplayTally:
        """Every line, then whatever is due by the time of the last. Raises lines.LineFault."""
        tally, core, now_at = self.tally, self.core, 0.0
        now = Moment(now_at, now_at)
        for number, line in lines.read(texts):
            tally.lines += 1
            at = line.at
            # A line out of order is a late one: time never goes back.
            if at > now_at:
                if core is not None:
                    while at >= self._foretell_at:
                        self._foretell(core, self._foretell_at)
                now_at, now = at, Moment(at, at)
            if core is None:
                core = self.core = self._begin(now)
            if isinstance(line, lines.ProbeMessage):
                tally.messages_heard += 1
                taken = now if at == now_at else Moment(at, at)
                if not core.hear(line.topic, line.payload.encode("utf-8", "replace"), taken):
                    tally.unclaimed += 1
            else:
                core.advance(now)
                tally.entries += 1
                self._newest_number = max(self._newest_number, line.number)
                try:
                    core.enter(line, now)
                except Objection as objection:
                    tally.objections.append(f"line {number}: {objection}")
            if tally.lines % TAKE_EVERY == 0:
                self._on_output(core.take(now))
        if core is not None:
            core.advance(now)
            tally.to_at = now.at
            tally.without_estimate = [
                box.name for box in core.status(now).brooders if box.estimate_fault is not None
            ]
            self._on_output(core.take(now))
        return tally

    def _foretell(self, core: Core, at: float) -> None:
        """At a half hour of the wall clock, before what was heard in that second."""
        now = Moment(at, at)
        core.advance(now)
        self._foretell_at += foretold.EVERY_S
        if self._on_foretold is not None:
            for box in core.status(now).brooders:
                self._on_foretold(foretold.foretold(at, box))

    def _begin(self, now: Moment) -> Core:
        self.tally.from_at = now.at
        if self._on_foretold is not None:
            self._foretell_at = (now.at // foretold.EVERY_S + 1) * foretold.EVERY_S
        return core_of(self._settings, now, self._next_number)

    def _next_number(self) -> int:
        self._newest_number += 1
        return self._newest_number


def event_of(change: Change, site: Site) -> dict[str, Any]:
    """A change as `--events` writes it: one JSON object."""
    words = for_change(change, site)
    return {
        "at": iso(round(change.at * 1000)),
        "brooder": change.brooder,
        "alarm": change.alarm.value,
        "change": change.change.value,
        "priority": change.priority.value,
        "cause": change.cause.value,
        "probe": change.probe.rsplit("/", 1)[-1] if change.probe else None,
        "told": not change.facts.get("folded", False),
        "incident": change.facts.get("incident", change.occurrence),
        "text": f"{words.title}\n{words.body}",
    }


def message_lines(message: Message, zone: tzinfo) -> list[str]:
    """A message as it would look on a phone, for the terminal."""
    when = datetime.fromtimestamp(message.at, zone)
    head = f"{when:%a %d %b %H:%M}  {message.priority.value.upper()}  {message.title}"
    return [head, *(f"    {line}" for line in (message.brief or message.body).split("\n"))]
