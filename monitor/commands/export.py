"""`brooder export`: the journal as journal lines, CSV or SenML."""

import sys
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from monitor.commands.common import (
    ConfigOption,
    JournalOption,
    complain,
    fail,
    journal_or_exit,
    local_time,
    settings_or_exit,
)
from monitor.journal.reader import ALL_TIME, JournalReader
from monitor.journal.records import StorageFault
from monitor.units import Unit


class ExportForm(StrEnum):
    """How it is written."""

    LINES = "lines"
    CSV = "csv"
    SENML = "senml"


class ExportTable(StrEnum):
    """What a CSV holds."""

    READINGS = "readings"
    MEASURES = "measures"
    LEDGER = "ledger"
    ALARMS = "alarms"


def export(
    file: Annotated[
        Path | None, typer.Argument(help="Where to write. Left out: standard output.")
    ] = None,
    form: Annotated[
        ExportForm,
        typer.Option("--form", help="lines (can be replayed and imported), csv or senml."),
    ] = ExportForm.LINES,
    what: Annotated[
        ExportTable, typer.Option("--what", help="What a CSV holds.")
    ] = ExportTable.READINGS,
    start: Annotated[
        str | None, typer.Option("--from", help="From this local time: 2026-02-10T18:00.")
    ] = None,
    end: Annotated[str | None, typer.Option("--to", help="Up to this local time.")] = None,
    journal: JournalOption = None,
    config: ConfigOption = None,
) -> None:
    """Write the record out as journal lines, CSV or SenML. CSV has units in its headings."""
    settings = settings_or_exit(config)
    path = journal_or_exit(settings, journal)
    if what is not ExportTable.READINGS and form is not ExportForm.CSV:
        fail(f"--what {what} is only for --form csv; journal lines hold the ledger already")
    zone = settings.site.timezone
    from_at = ALL_TIME[0] if start is None else local_time("--from", start, zone)
    to_at = ALL_TIME[1] if end is None else local_time("--to", end, zone)
    if from_at >= to_at:
        fail(f"--from {start} is not before --to {end}")
    try:
        with JournalReader(path) as reader:
            _write(_pieces(reader, form, what, settings.site.units, from_at, to_at), file)
    except StorageFault as fault:
        fail(fault.words)
    except OSError as error:
        fail(f"{file or 'standard output'} cannot be written: {error.strerror}")


def _pieces(
    reader: JournalReader,
    form: ExportForm,
    what: ExportTable,
    unit: Unit,
    from_at: float,
    to_at: float,
) -> Iterator[str]:
    # Imported here: numpy takes a tenth of a second, which --help need not wait for.
    from monitor.journal.forms import csv_form, export_lines, senml_form  # noqa: PLC0415

    if form is ExportForm.LINES:
        return export_lines.chunks(reader, from_at, to_at)
    if form is ExportForm.SENML:
        return senml_form.readings(reader, from_at, to_at)
    if what is ExportTable.MEASURES:
        return csv_form.measures(reader, from_at, to_at)
    if what is ExportTable.LEDGER:
        return csv_form.ledger(reader, from_at, to_at)
    if what is ExportTable.ALARMS:
        return csv_form.alarms(reader, unit, from_at, to_at)
    return csv_form.readings(reader, unit, from_at, to_at)


def _write(pieces: Iterator[str], file: Path | None) -> None:
    if file is None:
        try:
            for piece in pieces:
                sys.stdout.write(piece)
            sys.stdout.flush()
        except BrokenPipeError:  # the reader has seen enough (head)
            sys.stderr.close()
        return
    part = file.with_name(file.name + ".part")
    with part.open("w", encoding="utf-8", newline="") as out:
        for piece in pieces:
            out.write(piece)
    part.replace(file)  # a file that is there is whole
    complain(f"Written to {file}.")
