"""`brooder acknowledge`: somebody has seen it and is on the way; repeats stop."""

from typing import Annotated

import typer

from monitor.commands.ask import request, settings_of
from monitor.commands.common import ConfigOption, fail, out
from monitor.commands.flock_entry import BrooderOption
from monitor.events import AlarmName


def acknowledge(
    alarm: Annotated[
        str | None, typer.Argument(help="Which alarm, e.g. cold; left out: every active one.")
    ] = None,
    brooder: BrooderOption = None,
    by: Annotated[str, typer.Option(help="Who; kept in the journal.")] = "command",
    config: ConfigOption = None,
) -> None:
    """Acknowledge an alarm: you are on it. It stays active until all is well, and of what is urgent
    you are asked every hour whether it helped."""
    settings = settings_of(config)
    known = [name.value for name in AlarmName]
    if alarm is not None and alarm not in known:
        fail(f'the alarm is "{alarm}"; it must be one of {", ".join(known)}')
    names = [b.name for b in settings.site.brooders]
    if brooder is not None and brooder not in names:
        fail(f'--brooder is "{brooder}"; it must be one of {", ".join(names)}')
    answer = request(settings, "entry", entry="acknowledge", alarm=alarm, brooder=brooder, by=by)
    done = list(dict.fromkeys(answer["changes"]))  # a box and its probe are one thing to a reader
    out().print(
        "Acknowledged: " + ", ".join(done) + "." if done else "Nothing was waiting for an answer."
    )
