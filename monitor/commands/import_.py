"""`brooder import`: a record from elsewhere, journal lines or CSV, all or nothing."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from monitor.commands.bars import bar as progress_bar
from monitor.commands.bars import watched
from monitor.commands.common import (
    ConfigOption,
    JournalOption,
    fail,
    not_a_database,
    out,
    settings_or_exit,
)
from monitor.events import BadValue, Entry, Measured, Moment, Reading
from monitor.intake.payload import read_all
from monitor.intake.topics import Router, Sensor
from monitor.journal.bringing_in import Arrivals, BroughtIn, Sort
from monitor.journal.forms import csv_form, lines
from monitor.journal.forms.lines import LineFault
from monitor.journal.opening import about_aside
from monitor.journal.records import StorageFault
from monitor.journal.store import Journal
from monitor.journal.writing import sample_of
from monitor.measures import counted
from monitor.site import Site
from monitor.units import Unit


def import_(
    file: Annotated[Path, typer.Argument(help="Journal lines (as exported) or a .csv file.")],
    time: Annotated[
        str, typer.Option("--time", help="CSV: the heading of the column with the time.")
    ] = csv_form.TIME,
    time_form: Annotated[
        str | None,
        typer.Option(
            "--time-form", help="CSV: how times are written, if not as ISO 8601: %d.%m.%Y %H:%M"
        ),
    ] = None,
    temperature: Annotated[
        str | None,
        typer.Option("--temperature", help="CSV: the heading of the temperature's column."),
    ] = None,
    probe: Annotated[
        str | None,
        typer.Option(
            "--probe", help="CSV: the probe all rows belong to (porch/floor), or a heading."
        ),
    ] = None,
    unit: Annotated[
        Unit | None, typer.Option("--unit", help="CSV: the unit, if the heading does not say it.")
    ] = None,
    skip_unclaimed: Annotated[
        bool, typer.Option("--skip-unclaimed", help="Leave out readings that belong to no probe.")
    ] = False,
    journal: JournalOption = None,
    config: ConfigOption = None,
) -> None:
    """Bring a record in. What is there already is not added twice. If anything in it is wrong,
    nothing is added.

    CSV times without a zone are in the site's zone. The service must not be running; at its next
    start it learns the boxes from the last three days of the record."""
    settings = settings_or_exit(config)
    if not file.is_file():
        fail(f"{file} is no file; name one that brooder export wrote")
    not_a_database(file)
    try:
        done, left_out = _bring_in(
            file,
            settings.site,
            journal or settings.journal_path,
            # A journal's lines have no headings to look among.
            _columns(settings.site, temperature, probe, unit, file, time, time_form)
            if file.suffix.lower() == ".csv"
            else None,
            skip_unclaimed,
        )
    except UnicodeDecodeError:
        fail(f"{file} is not text in UTF-8; nothing was imported")
    except LineFault as fault:
        fail(f"{file}: {fault}. Nothing was imported.")
    except StorageFault as fault:
        mend = "; stop it first" if fault.kind == "in-use" else ""
        fail(f"{fault.words}{mend}. Nothing was imported.")
    _tell(done, left_out)


def _bring_in(
    file: Path,
    site: Site,
    journal: Path,
    columns: csv_form.Columns | None,
    skip_unclaimed: bool,
) -> tuple[BroughtIn, int]:
    """All of the file, or nothing: what came of it, and how many lines no probe claims. With
    `columns` the file is CSV. Raises UnicodeDecodeError, LineFault, StorageFault."""
    arrivals = Arrivals()
    with progress_bar() as bar, file.open(encoding="utf-8-sig", newline="") as source:
        text = watched(source, bar, "reading", os.stat(file).st_size)
        if columns is not None:
            left_out = _gather_csv(text, columns, site, arrivals, skip_unclaimed)
        else:
            left_out = _gather_lines(text, site, arrivals, skip_unclaimed)
        task = bar.add_task("writing", total=None)
        with Journal.open(journal) as opened:
            if opened.set_aside is not None:
                out().print(f"A new journal is begun: {about_aside(opened.set_aside)}.")
            opened.know_site(site)
            done = opened.bring_in(
                arrivals,
                lambda ready, total: bar.update(task, completed=ready, total=total),
            )
    return done, left_out


def _tell(done: BroughtIn, left_out: int) -> None:
    readings, entries = counted(done.readings, "reading"), counted(done.entries, "entry", "entries")
    told = f"{readings} and {entries} of the ledger imported"
    if done.readings_known or done.entries_known:
        told += f"; {done.readings_known} and {done.entries_known} were there already"
    if left_out:
        told += f"; {left_out} left out that belong to no probe"
    out().print(told + ".")


def _gather_lines(text: Iterator[str], site: Site, arrivals: Arrivals, skip_unclaimed: bool) -> int:
    router = Router(site.all_sensors)
    names = {brooder.name for brooder in site.brooders}
    left_out = 0
    for number, line in lines.read(text):
        if isinstance(line, Entry):
            if line.brooder is not None and line.brooder not in names:
                known = ", ".join(sorted(names))
                raise LineFault(number, f'brooder is "{line.brooder}"; the site has {known}')
            arrivals.entries.append(line)
        elif probes := router.route(line.topic):
            _gather_message(number, line, probes, arrivals)
        elif skip_unclaimed:
            left_out += 1
        else:
            raise LineFault(
                number,
                f'no probe of the configuration has the topic "{line.topic}" '
                "(--skip-unclaimed leaves such lines out)",
            )
    return left_out


def _gather_message(
    number: int, line: lines.ProbeMessage, probes: tuple[Sensor, ...], arrivals: Arrivals
) -> None:
    """Every value in the payload. Of several sensors on one topic only one need be in it."""
    reason: str | None = None
    heard = False
    for probe in probes:
        for one in read_all(line.payload.encode(), probe, Moment(line.at, line.at)):
            if isinstance(one, Reading):
                sort = Sort.SURE if line.clock_sure else Sort.UNSURE
                arrivals.add(one.probe, one.at, one.temp_c, sort=sort)
                heard = True
            elif isinstance(one, BadValue):
                if one.temp_c is not None:
                    arrivals.add(one.probe, one.at, one.temp_c, sort=Sort.BAD)
                heard = True
            elif isinstance(one, Measured):
                if line.clock_sure:
                    arrivals.measured.append(sample_of(one))
                heard = True
            else:
                reason = one.reason
    if not heard:
        raise LineFault(number, f"the payload {reason}")


def _gather_csv(
    text: Iterator[str],
    columns: csv_form.Columns,
    site: Site,
    arrivals: Arrivals,
    skip_unclaimed: bool,
) -> int:
    known = {probe.key for probe in site.all_probes}
    left_out = 0
    for number, row in csv_form.read(text, columns):
        if row.probe in known:
            arrivals.add(row.probe, row.at, row.temp_c)
        elif skip_unclaimed:
            left_out += 1
        else:
            listed = ", ".join(sorted(known))
            raise LineFault(
                number, f'no probe is called "{row.probe}"; the configuration has {listed}'
            )
    return left_out


def _columns(
    site: Site,
    temperature: str | None,
    probe: str | None,
    unit: Unit | None,
    file: Path,
    time: str,
    time_form: str | None,
) -> csv_form.Columns:
    """`--probe` is a probe of the site, or else a heading."""
    keys = {one.key for one in site.all_probes}
    names: dict[str, str] = {}
    for one in site.all_probes:  # a probe's own name is enough where only one has it
        names[one.name] = one.key if one.name not in names else ""
    names = {name: key for name, key in names.items() if key}
    with file.open(encoding="utf-8-sig") as source:
        head = source.readline()
    if probe is not None and probe not in keys and probe not in head:
        listed = ", ".join(sorted(keys))
        raise LineFault(1, f'--probe "{probe}" is neither a heading nor a probe; probes: {listed}')
    return csv_form.Columns(
        time=time,
        time_form=time_form,
        temperature=temperature,
        probe=probe if probe in keys else None,
        probe_column=None if probe in keys else probe,
        names=names,
        unit=unit,
        zone=site.timezone,
    )
