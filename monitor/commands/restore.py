"""`brooder restore`: a back-up in the journal's place, or the journal anew from the mirror."""

from pathlib import Path
from typing import Annotated

import typer

from monitor.commands.common import ConfigOption, fail, out, settings_or_exit
from monitor.journal import copying_out as journal_backup
from monitor.journal.records import StorageFault
from monitor.settings import Settings


def restore(
    backup: Annotated[Path | None, typer.Argument(help="A file that brooder backup wrote.")] = None,
    from_influx: Annotated[
        bool, typer.Option("--from-influx", help="From the mirror under [influx].")
    ] = False,
    journal: Annotated[
        Path | None, typer.Option("--journal", help="Another place than the service's.")
    ] = None,
    config: ConfigOption = None,
) -> None:
    """Put a back-up back, or fill the journal from the mirror. The service must not be running.

    A back-up takes the place of the journal, which is moved aside. The mirror adds to it."""
    if (backup is None) == (not from_influx):
        fail("name either a back-up file or --from-influx")
    settings = settings_or_exit(config)
    path = journal or settings.journal_path
    try:
        if backup is None:
            _from_influx(settings, path)
            return
        aside = journal_backup.restore(backup, path)
    except StorageFault as fault:
        mend = "; stop it first" if fault.kind == "in-use" else ""
        fail(f"{fault.words}{mend}. Nothing was changed.")
    words = f"{backup} is now the journal {path}."
    if aside is not None:
        words += f" What was there is kept as {aside.name}."
    out().print(words)


def _from_influx(settings: Settings, path: Path) -> None:
    from monitor.commands.mirror import NOT_THERE, fetched  # noqa: PLC0415 - much behind it
    from monitor.journal.mirror import read_back  # noqa: PLC0415
    from monitor.journal.mirror.influx_server import InfluxFault  # noqa: PLC0415

    site = settings.site
    try:
        done = read_back.write(fetched(settings, site.name), path, site.all_probes)
    except InfluxFault as fault:
        fail(f"{fault}. Nothing was changed.")
    words = (
        f"{done.readings} readings, {done.entries} ledger entries and {done.changes} alarm changes"
        f" are now in {path}"
    )
    if done.readings_known:
        words += f"; {done.readings_known} readings were there already"
    out().print(f"{words}. {NOT_THERE}.")
