"""`brooder flock`: the ledger. What a grower would write on the sheet beside the box."""

from datetime import datetime
from typing import Annotated, Any

import typer
from rich.table import Table

from monitor.brooding.bird_kinds import KINDS
from monitor.commands.ask import brooder_or_exit, request, settings_of, when_or_exit
from monitor.commands.common import ConfigOption, fail, out
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
    typer.Option("--yes", help="Do not ask, though cold is no longer watched for afterwards."),
]
NoteOption = Annotated[str | None, typer.Option("--note", help="A remark, kept beside the entry.")]


def register(app: typer.Typer) -> None:
    flock = typer.Typer(
        help="The ledger: birds placed, lost, moved; notes. Every entry can be taken back.",
        no_args_is_help=True,
    )
    app.add_typer(flock, name="flock")
    flock.command("placed")(placed)
    flock.command("loss")(loss)
    flock.command("moved")(moved)
    flock.command("note")(note)
    flock.command("undo")(undo)
    flock.command("list")(listed)


def placed(
    count: Annotated[int, typer.Argument(help="How many birds were put in.")],
    hatched: Annotated[
        str | None,
        typer.Option(
            help="The hatch date, 2026-03-01. Chicks by mail are 1 to 3 days old on arrival."
        ),
    ] = None,
    kind: Annotated[str | None, typer.Option(help=f"One of {', '.join(KINDS)}.")] = None,
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    yes: YesOption = False,
    config: ConfigOption = None,
) -> None:
    """Birds were put into a brooder. A batch begins, or grows if they are of one hatch."""
    settings = settings_of(config)
    _enter(
        settings,
        "placed",
        brooder,
        at,
        count=count,
        hatched=hatched,
        kind=kind,
        note=remark,
        yes=yes,
    )


def loss(
    count: Annotated[int, typer.Argument(help="How many were found dead.")] = 1,
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    yes: YesOption = False,
    config: ConfigOption = None,
) -> None:
    """Birds were found dead. `brooder review --losses` then shows the hours before."""
    _enter(settings_of(config), "loss", brooder, at, count=count, note=remark, yes=yes)


def moved(
    count: Annotated[
        int | None, typer.Argument(help="How many were moved out; left out: all of them.")
    ] = None,
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    yes: YesOption = False,
    config: ConfigOption = None,
) -> None:
    """Birds were moved out, to pasture or into a second box."""
    _enter(settings_of(config), "moved", brooder, at, count=count, note=remark, yes=yes)


def note(
    text: Annotated[str, typer.Argument(help="The remark.")],
    brooder: BrooderOption = None,
    at: AtOption = None,
    config: ConfigOption = None,
) -> None:
    """A remark: new litter, lamp raised, chicks loud."""
    _enter(settings_of(config), "note", brooder, at, note=text)


def undo(
    number: Annotated[int, typer.Argument(help="The entry's number, as `flock list` shows it.")],
    yes: YesOption = False,
    config: ConfigOption = None,
) -> None:
    """Take an entry back. It stays in the journal, crossed out."""
    settings = settings_of(config)
    answer = request(settings, "entry", entry="undo", undoes=number, by="command", **_said(yes))
    out().print(f"Entry {answer['number']}: entry {number} is taken back.")


def listed(config: ConfigOption = None) -> None:
    """All entries with their numbers."""
    settings = settings_of(config)
    ledger: dict[str, Any] = request(settings, "ledger")
    entries = ledger["entries"]
    if not entries:
        out().print("The ledger is empty. It begins with: brooder flock placed 100 --hatched ...")
        return
    undone = set(ledger["undone"])
    table = Table("no.", "when", "brooder", "entry", "birds", "note", box=None, pad_edge=False)
    for entry in entries:
        when = datetime.fromtimestamp(entry["at"], settings.site.timezone)
        words = entry.get("note") or ""
        if entry["entry"] == "placed":
            words = f"{entry.get('kind')}, hatched {entry.get('hatched')} {words}".strip()
        if entry["entry"] == "undo":
            words = f"takes back entry {entry['undoes']}"
        table.add_row(
            str(entry["number"]),
            f"{when:%Y-%m-%d %H:%M}",
            entry.get("brooder") or "",
            entry["entry"] + (" (taken back)" if entry["number"] in undone else ""),
            "" if entry.get("count") is None else str(entry["count"]),
            words,
        )
    out().print(table)


def _enter(
    settings: Settings,
    entry: str,
    brooder: str | None,
    at: str | None,
    *,
    yes: bool = False,
    **details: Any,
) -> None:
    # Birds can be moved out of a box that the configuration has lost.
    name = brooder if brooder and entry == "moved" else brooder_or_exit(settings.site, brooder)
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
        **_said(yes),
    )
    heads = answer.get("head_count")
    kept = f"Entry {answer['number']}: {entry}"
    if details.get("count") is not None:
        kept += f" {details['count']}"
    now = "" if heads is None else f" {name} now holds {heads} birds."
    out().print(f"{kept}, {name}.{now} To take it back: brooder flock undo {answer['number']}")
    if answer.get("kept") is False:
        out().print(
            "Kept in memory only: the disk does not take it. A power cut would forget it, so write "
            "it again once `brooder check` is well.",
            style="bold",
        )


def _said(yes: bool) -> dict[str, bool]:
    return {"yes": True} if yes else {}
