"""`brooder acknowledge`: somebody has seen it and is on the way; repeats stop."""

from typing import Annotated

import typer

from monitor.commands.ask import brooder_or_exit, request
from monitor.commands.common import ConfigOption, one_of, out, settings_or_exit
from monitor.commands.flock_entry import BrooderOption
from monitor.events import AlarmName


def acknowledge(
    alarm: Annotated[
        str | None, typer.Argument(help="Which alarm, e.g. cold; left out: every active one.")
    ] = None,
    brooder: BrooderOption = None,
    by: Annotated[str, typer.Option(help="Your name, kept in the journal.")] = "command",
    config: ConfigOption = None,
) -> None:
    """Acknowledge an alarm: you are on it. It stays active until all is well, and if it is urgent
    you are asked every hour whether what you did helped."""
    settings = settings_or_exit(config)
    one_of("the alarm", alarm, AlarmName)
    if brooder is not None:
        brooder_or_exit(settings.site, brooder)
    answer = request(settings, "entry", entry="acknowledge", alarm=alarm, brooder=brooder, by=by)
    done = list(dict.fromkeys(answer["changes"]))  # a box and its probe are one thing to a reader
    out().print(
        "Acknowledged: " + ", ".join(done) + "." if done else "Nothing was waiting for an answer."
    )
