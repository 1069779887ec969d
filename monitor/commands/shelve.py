"""`brooder shelve`: set an alarm aside for a stated time, with a reason. It comes back."""

from typing import Annotated

import typer

from monitor.commands.ask import brooder_or_exit, request
from monitor.commands.common import ConfigOption, fail, out, settings_or_exit
from monitor.commands.flock_entry import BrooderOption
from monitor.events import AlarmName
from monitor.watch.alarm_table import cleaning_out

_CLEANING_OUT = "cleaning-out"  # stands for all that cleaning out sets off


def shelve(
    alarm: Annotated[
        str,
        typer.Argument(help="Which alarm, e.g. cold; or cleaning-out: all that cleaning sets off."),
    ],
    minutes: Annotated[
        float | None, typer.Option(help="For how long; the alarm then comes back by itself.")
    ] = None,
    reason: Annotated[str | None, typer.Option(help="Why, e.g. cleaning out.")] = None,
    end: Annotated[bool, typer.Option("--end", help="Take it off the shelf now.")] = False,
    brooder: BrooderOption = None,
    config: ConfigOption = None,
) -> None:
    """Shelve an alarm while you clean out or feed. It always comes back by itself."""
    settings = settings_or_exit(config)
    known = [name.value for name in AlarmName]
    if alarm not in (*known, _CLEANING_OUT):
        fail(f'the alarm is "{alarm}"; it must be {_CLEANING_OUT} or one of {", ".join(known)}')
    for_min = minutes or 0.0
    alarms = cleaning_out(for_min) if alarm == _CLEANING_OUT else {AlarmName(alarm): for_min}
    name = brooder_or_exit(settings.site, brooder)
    if end:
        changes = [
            change
            for each in alarms
            for change in request(
                settings, "entry", entry="unshelve", alarm=each.value, brooder=name, by="command"
            )["changes"]
        ]
        if not changes:
            fail(f"{name}: {alarm} is not shelved")
        out().print(f"{name}: {alarm} is watched again.")
        return
    if minutes is None:
        fail(
            "--minutes is missing; say for how long, 1 to 1440: the alarm then comes back by itself"
        )
    if not 0 < minutes <= 1440:
        fail(f"--minutes is {minutes:g}; it must be more than 0 and at most 1440")
    if not reason and alarm == _CLEANING_OUT:
        reason = "cleaning out"
    if not reason:
        fail("--reason is missing; say why, for whoever looks later")
    changes = []
    for each, lasts in alarms.items():
        answer = request(
            settings,
            "entry",
            entry="shelve",
            alarm=each.value,
            brooder=name,
            minutes=lasts,
            note=reason,
            by="command",
        )
        changes += answer["changes"]
    if not changes:
        fail(f"{name}: {alarm} was not shelved; it is already shelved or out of service")
    out().print(f"{name}: {alarm} is shelved for {minutes:g} minutes ({reason}).")
