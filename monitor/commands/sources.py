"""`brooder sources`: every figure the tool decides by, and where it comes from."""

from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table

from monitor.brooding.bibliography import figures
from monitor.brooding.provenance import Figure
from monitor.commands.common import UnreadConfigOption, fail


def register(app: typer.Typer) -> None:
    """Adds the verb."""
    app.command("sources")(sources)


def sources(
    about: Annotated[
        str | None, typer.Argument(help="Only figures whose subject or name has this word.")
    ] = None,
    config: UnreadConfigOption = None,
) -> None:
    """Every figure with its source, and how well it is known. These are what the code uses."""
    wanted = (about or "").lower()
    found = [f for f in figures() if wanted in f.subject.lower() or wanted in f.name.lower()]
    if not found:
        subjects = ", ".join(dict.fromkeys(f.subject for f in figures()))
        fail(f'no figure is about "{about}"; subjects are {subjects}')
    console = Console(highlight=False)
    for subject in dict.fromkeys(f.subject for f in found):
        mine = [f for f in found if f.subject == subject]
        console.print(_table(subject, mine))
        for number, (text, where) in enumerate(_origins(mine), 1):
            console.print(f"[{number}] {text}" + (f" {where}" if where else ""), markup=False)
        console.print()


def _table(subject: str, mine: list[Figure]) -> Table:
    origins = _origins(mine)
    table = Table(title=subject, title_justify="left", title_style="bold", box=None,
                  padding=(0, 1, 0, 0), pad_edge=False)  # fmt: skip
    table.add_column("what", ratio=1)
    table.add_column("value", justify="right")
    table.add_column("unit")
    table.add_column("how known")
    table.add_column("source", justify="right")
    for figure in mine:
        number = origins.index((figure.source, figure.where)) + 1
        table.add_row(
            figure.name, f"{figure.value:.4g}", figure.unit, figure.mark.value, f"\\[{number}]"
        )
    return table


def _origins(mine: list[Figure]) -> list[tuple[str, str]]:
    """Each source once, in the order of first use."""
    return list(dict.fromkeys((figure.source, figure.where) for figure in mine))
