"""`brooder salvage`: what can still be read of a damaged journal, as a new one."""

from pathlib import Path
from typing import Annotated

import typer

from monitor.commands.bars import bar as progress_bar
from monitor.commands.common import NOT_WELL, UnreadConfigOption, fail, out
from monitor.journal import opening, schema
from monitor.journal import salvaging as journal_salvage
from monitor.journal.records import StorageFault


def salvage(
    damaged: Annotated[Path, typer.Argument(help="The journal that was set aside.")],
    saved: Annotated[Path, typer.Argument(help="The new journal to make of it.")],
    config: UnreadConfigOption = None,
) -> None:
    """Save what can be read of a damaged journal. The damaged file is left as it is.

    Exit code 1: something was lost (the output says what)."""
    if not damaged.is_file():
        fail(f"{damaged} is no file; the service names the file it has set aside")
    if saved.exists():
        fail(f"{saved} is there already; name a new file")
    try:
        report = _salvaged(damaged, saved)
    except (OSError, StorageFault) as error:
        fail(f"{saved} cannot be written: {error}")
    if not any(report.rows.values()):
        saved.unlink(missing_ok=True)
        fail(f"nothing of {damaged} can be read as a journal")
    out().print(f"{str(report).capitalize()}. The new journal is {saved}.")
    if report.broken:
        out().print("SQLite's own recovery may find more: sqlite3 FILE .recover")
        raise typer.Exit(NOT_WELL)


def _salvaged(damaged: Path, saved: Path) -> journal_salvage.Report:
    into = opening.connect_to_write(saved)
    try:
        schema.prepare(into)
        schema.bring_to(into)
        with progress_bar() as bar:
            task = bar.add_task("reading", total=None)
            report = journal_salvage.salvage(
                damaged, into, told=lambda table: bar.update(task, description=f"reading {table}")
            )
        into.execute("PRAGMA journal_mode = DELETE")
    finally:
        into.close()
    return report
