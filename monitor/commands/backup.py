"""`brooder backup`: one file that holds everything, made while the service goes on."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from monitor.commands.common import (
    ConfigOption,
    JournalOption,
    fail,
    journal_or_exit,
    out,
    settings_or_exit,
)
from monitor.journal import copying_out as journal_backup
from monitor.journal.records import StorageFault


def backup(
    file: Annotated[
        Path, typer.Argument(help="A file, or a folder that gets a file with today's date.")
    ],
    journal: JournalOption = None,
    config: ConfigOption = None,
) -> None:
    """Back up the journal while the service runs. `brooder restore` puts it back."""
    settings = settings_or_exit(config)
    path = journal_or_exit(settings, journal)
    if file.is_dir():
        file /= f"brooder-{datetime.now(settings.site.timezone):%Y-%m-%d}.db"
    try:
        size = journal_backup.backup(path, file)
    except StorageFault as fault:
        fail(f"{fault.words}. Nothing was written to {file}.")
    out().print(f"Backed up to {file}: {max(size / 1e6, 0.1):.1f} MB, checked.")
