"""How `brooder flock` writes an entry, and what its verbs have in common."""

from typing import Annotated, Any

import typer

from monitor.brooding.batch import Batch
from monitor.brooding.entries import Entry, EntryKind
from monitor.brooding.ledger import Ledger, fold
from monitor.commands.ask import brooder_or_exit, request, when_or_exit
from monitor.commands.common import fail, out
from monitor.settings import Settings

BrooderOption = Annotated[
    str | None, typer.Option("--brooder", help="Which brooder, where there is more than one.")
]
AtOption = Annotated[
    str | None,
    typer.Option("--at", help="When: 06:30, or 2026-03-01T06:30. Default: now."),
]
YesOption = Annotated[
    bool,
    typer.Option("--yes", help="Do not ask first, even if cold is then no longer watched for."),
]
NoteOption = Annotated[str | None, typer.Option("--note", help="A remark, kept beside the entry.")]


_COUNTED = ("placed", "loss", "moved")
_OF_BIRDS = ("loss", "moved", "seen", "weighed")  # a box without any cannot be meant


def enter(
    settings: Settings,
    entry: str,
    brooder: str | None,
    at: str | None,
    *,
    yes: bool = False,
    **details: Any,
) -> None:
    """Has the entry kept, and says under which number. Exits 2 where it is refused."""
    if brooder and entry == "moved":
        name = brooder  # birds can be moved out of a box that the configuration has lost
    elif entry in _OF_BIRDS:
        name = box_of_birds(settings, brooder)
    else:
        name = brooder_or_exit(settings.site, brooder)
    if details.get("count") is not None and details["count"] < 1:
        fail(f"the count is {details['count']}; it must be 1 or more")
    answer = request(
        settings,
        "entry",
        entry=entry,
        brooder=name,
        at=when_or_exit(at, settings.site.timezone),
        by="command",
        **details,
        **said_yes(yes),
    )
    heads = answer.get("head_count") if entry in _COUNTED else None
    kept = f"Entry {answer['number']}: {entry}"
    if details.get("count") is not None:
        kept += f" {details['count']}"
    now = "" if heads is None else f" {name} now holds {heads} birds."
    out().print(f"{kept}, {name}.{now} To take it back: brooder flock undo {answer['number']}")
    if answer.get("kept") is False:
        out().print(
            "Kept in memory only: the disk does not take it. A power cut before it does would "
            "forget it: once `brooder check` is well, see that it stands in `brooder flock list`.",
            style="bold",
        )


def box_of_birds(settings: Settings, name: str | None) -> str:
    """The named box, or the only one with birds in it."""
    if name is None and len(with_birds := list(ledger_of(settings).open)) == 1:
        return with_birds[0]
    return brooder_or_exit(settings.site, name)


def running(settings: Settings, brooder: str) -> Batch | None:
    return ledger_of(settings).running(brooder)


def ledger_of(settings: Settings) -> Ledger:
    rows = request(settings, "ledger")["entries"]
    return fold(Entry(**{**row, "entry": EntryKind(row["entry"])}) for row in rows)


def said_yes(yes: bool) -> dict[str, bool]:
    """For a request: somebody has been asked back."""
    return {"yes": True} if yes else {}
