"""`brooder flock` on the day the chicks come: the list with its ticks, the dead, the sheet."""

from typing import Annotated

import typer

from monitor.brooding import arrival
from monitor.brooding.arrival import STEP_NAMES, arrival_of
from monitor.commands.ask import brooder_or_exit
from monitor.commands.common import ConfigOption, fail, out, settings_or_exit
from monitor.commands.flock_entry import (
    AtOption,
    BrooderOption,
    NoteOption,
    YesOption,
    enter,
    ledger_of,
)
from monitor.journal.arrival_floor import arrival_floor
from monitor.tell.wording.arrival_words import sheet_rows
from monitor.tell.wording.words import Voice


def register(flock: typer.Typer) -> None:
    flock.command("arrival")(listed)
    flock.command("checked")(checked)
    flock.command("dead-on-arrival")(dead_on_arrival)
    flock.command("arrival-sheet")(sheet)


def listed(brooder: BrooderOption = None, config: ConfigOption = None) -> None:
    """The day the chicks come, step by step."""
    settings = settings_or_exit(config)
    found = arrival_of(ledger_of(settings), brooder_or_exit(settings.site, brooder))
    for title, steps in (("Before they come", arrival.BEFORE), ("When they come", arrival.STEPS)):
        out().print(f"\n{title}", style="bold")
        for step in steps:
            number = found.done.get(step.name)
            undo = "" if number is None else f" (brooder flock undo {number})"
            mark = " " if number is None else "x"
            out().print(f"[{mark}] {step.name}: {step.text}{undo}")
    out().print("\nTo tick one: brooder flock checked WORD")


def checked(
    steps: Annotated[list[str], typer.Argument(help=f"What was done: {', '.join(STEP_NAMES)}.")],
    brooder: BrooderOption = None,
    at: AtOption = None,
    config: ConfigOption = None,
) -> None:
    """Tick off what was done that day. `brooder flock arrival` lists them."""
    for step in steps:
        if step not in STEP_NAMES:
            fail(f'"{step}" is no step; it must be one of {", ".join(STEP_NAMES)}')
    settings = settings_or_exit(config)
    done = arrival_of(ledger_of(settings), brooder_or_exit(settings.site, brooder)).done
    for step in dict.fromkeys(steps):
        if step in done:
            out().print(f"{step} is ticked already, by entry {done[step]}.")
        else:
            enter(settings, "checked", brooder, at, note=step)


def dead_on_arrival(
    count: Annotated[int, typer.Argument(help="How many arrived dead.")],
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    yes: YesOption = False,
    config: ConfigOption = None,
) -> None:
    """Chicks that arrived dead. The hatchery's claim is about these; the box did not lose them."""
    settings = settings_or_exit(config)
    enter(settings, "dead-on-arrival", brooder, at, count=count, note=remark, yes=yes)
    out().print(arrival.CLAIM)


def sheet(brooder: BrooderOption = None, config: ConfigOption = None) -> None:
    """The sheet for the hatchery's claim. How many came, dead and alive, and how warm the box was;
    the page has the same to print."""
    settings = settings_or_exit(config)
    name = brooder_or_exit(settings.site, brooder)
    found = arrival_of(ledger_of(settings), name)
    if found.at is None and not found.dead:
        fail(f"no birds have come into {name} yet; enter them: brooder flock placed")
    floor_c = (
        None
        if found.at is None
        else (arrival_floor(settings.journal_path, settings.site.brooder(name), found.at))
    )
    for label, words in sheet_rows(found, floor_c, Voice(settings.site)):
        out().print(f"{label}: {words}")
