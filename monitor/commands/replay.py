"""`brooder replay`: a recorded night through the same engine as a live one."""

import contextlib
import json
from collections import Counter
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, TextIO

import typer

from monitor.commands.bars import bar, watched
from monitor.commands.common import (
    ConfigOption,
    complain,
    fail,
    not_a_database,
    out,
    settings_or_exit,
)
from monitor.events import Change
from monitor.journal.forms.lines import LineFault
from monitor.service.core import CoreOutput
from monitor.service.replay import Replay, event_of, message_lines
from monitor.settings import Settings
from monitor.tell.message import Message


def replay(
    file: Annotated[Path, typer.Argument(help="Journal lines, as `brooder export` writes them.")],
    events: Annotated[
        Path | None,
        typer.Option("--events", help="Write every alarm change here, one JSON object a line."),
    ] = None,
    foretold: Annotated[
        Path | None,
        typer.Option(
            "--foretold",
            help="Write here, every half hour, what was foretold of each brooder: the night's "
            "lowest floor, the chance of a cold night, the minutes to the chill limit.",
        ),
    ] = None,
    quiet: Annotated[
        bool, typer.Option("--quiet", help="Only the totals, not each message.")
    ] = False,
    config: ConfigOption = None,
) -> None:
    """Run a recorded journal through the watch again. Shows the messages it would have sent, and
    sends none."""
    settings = settings_or_exit(config)
    if not file.is_file():
        fail(f"{file} is no file; name one with journal lines (brooder export writes them)")
    not_a_database(file)
    with contextlib.ExitStack() as stack:
        try:
            lines = stack.enter_context(file.open(encoding="utf-8", errors="replace"))
            outs = [
                None if path is None else stack.enter_context(path.open("w", encoding="utf-8"))
                for path in (events, foretold)
            ]
        except OSError as error:
            fail(f"{error.filename}: {error.strerror}")
        told = ReplayReport(settings, outs[0], quiet=quiet)
        run = Replay(settings, told.happened, None if outs[1] is None else _writes(outs[1]))
        try:
            with bar() as shown:
                tally = run.feed(watched(lines, shown, "replaying", file.stat().st_size))
        except LineFault as fault:
            fail(f"{file}: {fault}")
    for objection in tally.objections:
        complain(f"{file}: {objection}")
    for name in tally.without_estimate:
        complain(f"{name}: the thermal estimate failed; dead lamps were not looked for after that.")
    if tally.from_at is None or tally.to_at is None:
        out().print("The file holds no lines.")
        return
    zone = settings.site.timezone
    begin, end = (datetime.fromtimestamp(at, zone) for at in (tally.from_at, tally.to_at))
    unclaimed = f", {tally.unclaimed} on topics no probe claims" if tally.unclaimed else ""
    out().print(
        f"{begin:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M}: {tally.messages_heard} messages"
        f"{unclaimed}, {tally.entries} entries; {told.sums()}."
    )


def _writes(file: TextIO) -> Callable[[dict[str, Any]], None]:
    """What writes one JSON object a line into the file."""
    return lambda said: print(json.dumps(said, ensure_ascii=False), file=file)


class ReplayReport:
    def __init__(self, settings: Settings, events: TextIO | None, *, quiet: bool) -> None:
        self._settings = settings
        self._events = events
        self._quiet = quiet
        self._changes: Counter[str] = Counter()
        self._messages = 0

    def happened(self, happened: CoreOutput) -> None:
        for change in happened.batch.changes:
            self._change(change)
        for message in happened.messages:
            self._message(message)

    def _change(self, change: Change) -> None:
        self._changes[change.change.value] += 1
        if self._events is not None:
            _writes(self._events)(event_of(change, self._settings.site))

    def _message(self, message: Message) -> None:
        self._messages += 1
        if not self._quiet:
            head, *body = message_lines(message, self._settings.site.timezone)
            console = out()
            console.print(head, markup=False, style="bold")
            for line in body:
                console.print(line, markup=False)

    def sums(self) -> str:
        changes = ", ".join(f"{n} {kind}" for kind, n in self._changes.items()) or "none"
        return f"alarm changes: {changes}; messages: {self._messages}"
