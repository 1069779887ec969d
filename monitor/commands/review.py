"""`brooder review`: what the birds went through. Record sheet, losses, alarms, pictures, report."""

import tempfile
import time
from pathlib import Path
from typing import Annotated, NamedTuple
from zoneinfo import ZoneInfo

import typer
from rich.console import Console
from rich.table import Table

from monitor.commands.bars import bar
from monitor.commands.common import ConfigOption, complain, fail, local_time, settings_or_exit
from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault
from monitor.review.alarm_text import print_alarms
from monitor.review.batches import BatchFigures, figures, heat_words, rows
from monitor.review.boxes import open_batch, open_each
from monitor.review.chart import PAPER_PX, PHONE_PX, describe, describe_boxes
from monitor.review.days import Cut
from monitor.review.draw import NotDrawn, draw
from monitor.review.for_vet import for_vet
from monitor.review.interactive import offline
from monitor.review.loss_review import losses
from monitor.review.loss_text import print_losses
from monitor.review.other_site import site_of
from monitor.review.record import Asked, NotFound, Record
from monitor.review.report import heading, report
from monitor.review.scenes import scene, scenes_of_boxes, story
from monitor.review.sheet import sheet
from monitor.review.sheet_text import print_boxes, print_sheet
from monitor.settings import Settings
from monitor.site import Site

_NAMES_WIDE, _BATCH_WIDE = 17, 21  # of the table of batches
_MORE = (
    "--alarms lists the alarms; --losses looks at each loss; --picture night.png draws it; "
    "--report night.html writes everything for paper; --for-vet page.html is one page of what the "
    "birds lived through."
)


class Wanted(NamedTuple):
    """What to show: on the terminal, unless a file is named."""

    days: Cut
    losses: bool
    alarms: bool
    picture: Path | None
    report: Path | None
    for_vet: Path | None
    batches: bool


def review(
    brooder: Annotated[
        str | None, typer.Option(help="One box alone. Default: every box that the batch is in.")
    ] = None,
    batch: Annotated[
        int | None, typer.Option(help="Its number: the first is 1. Default: the newest.")
    ] = None,
    since: Annotated[
        str | None, typer.Option("--from", help="2026-02-10 or 2026-02-10T18:00, local time.")
    ] = None,
    until: Annotated[
        str | None, typer.Option("--to", help="As --from; a date alone includes that day.")
    ] = None,
    days: Annotated[Cut, typer.Option(help="Where a day of the sheet begins.")] = Cut.NOON,
    show_losses: Annotated[
        bool, typer.Option("--losses", help="Loss by loss: the 24 and 48 hours before.")
    ] = False,
    show_alarms: Annotated[
        bool, typer.Option("--alarms", help="The alarms, one by one, and how many were answered.")
    ] = False,
    picture: Annotated[
        Path | None,
        typer.Option(help="Draw it: .png for a phone, .svg for paper, .html to zoom in."),
    ] = None,
    report_file: Annotated[
        Path | None,
        typer.Option("--report", help="Write everything to one HTML file, laid out for paper too."),
    ] = None,
    vet_file: Annotated[
        Path | None,
        typer.Option("--for-vet", help="Write one HTML page for a veterinarian or the hatchery."),
    ] = None,
    all_batches: Annotated[
        bool,
        typer.Option(
            "--batches",
            help="All batches beside each other: losses, days too cold or hot, heat, cost.",
        ),
    ] = False,
    journal: Annotated[
        Path | None, typer.Option(help="Another journal file, e.g. of a rehearsal.")
    ] = None,
    from_influx: Annotated[
        bool, typer.Option("--from-influx", help="What the mirror under [influx] holds of --site.")
    ] = False,
    site_name: Annotated[
        str | None, typer.Option("--site", help="With --from-influx: another board's site.")
    ] = None,
    config: ConfigOption = None,
) -> None:
    """What the birds went through: day by day, loss by loss."""
    _one_place(journal, site_name, from_influx=from_influx)
    wanted = Wanted(days, show_losses, show_alarms, picture, report_file, vet_file,
                    all_batches)  # fmt: skip
    _is_html("--report", report_file)
    _is_html("--for-vet", vet_file)
    if all_batches and (brooder, batch, since, until) != (None, None, None, None):
        fail("--batches shows all of them: leave --brooder, --batch, --from and --to out")
    settings = settings_or_exit(config)
    start, stop = _span(since, until, settings.site.timezone)
    asked = Asked(brooder=brooder, batch=batch, start=start, stop=stop)
    if from_influx:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "journal.db"
            site = _fetch(settings, site_name or settings.site.name, path)
            _look(path, site, asked, wanted)
    else:
        path = journal or settings.journal_path
        recorded = path.resolve() != settings.journal_path.resolve()
        _look(path, settings.site, asked, wanted, recorded=recorded)


def _is_html(option: str, file: Path | None) -> None:
    if file is not None and file.suffix.lower() not in (".html", ".htm"):
        fail(f"{option} is {file}; the name must end in .html (a browser prints it)")


def _look(path: Path, site: Site, asked: Asked, wanted: Wanted, *, recorded: bool = False) -> None:
    """Shows what was asked for out of a journal; `recorded`: nothing more will come in it."""
    if not path.is_file():
        fail(f"there is no journal at {path}; has `brooder watch` run yet?")
    try:
        with JournalReader(path) as reader:
            now = None if recorded else time.time()
            if wanted.batches:
                _show_batches(reader, site, now=now)
            else:
                _show(open_batch(reader, site, asked, now=now), wanted)
    except NotFound as fault:
        fail(str(fault))
    except NotDrawn as fault:
        fail(f"no picture: {fault}")
    except StorageFault as fault:
        fail(f"{path}: {fault.words}")


def _show_batches(reader: JournalReader, site: Site, *, now: float | None) -> None:
    found: list[BatchFigures] = []
    with bar() as shown:
        task = shown.add_task("Working it out", total=None)
        for number, records in open_each(reader, site, now=now):
            shown.update(task, description=f"Working out batch {number}")
            one = figures(records, number)
            found += [] if one is None else [one]
    console = Console(markup=False, highlight=False)
    room = max(1, (console.width - _NAMES_WIDE) // _BATCH_WIDE)
    newest = found[-room:]
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
    table.add_column("batch", no_wrap=True)
    for one in newest:
        table.add_column(str(one.number), max_width=_BATCH_WIDE - 2)
    for lines in zip(*(rows(one, site) for one in newest), strict=True):
        table.add_row(lines[0][0], *(text for _name, text in lines))
    console.print(table)
    if len(found) > room:
        console.print(f"{len(found) - room} earlier left out here; the page has them.", style="dim")
    console.print()
    for line in heat_words(newest, site.price_per_kwh):
        console.print(line, style="dim")


def _one_place(journal: Path | None, site_name: str | None, *, from_influx: bool) -> None:
    if site_name is not None and not from_influx:
        fail("--site names a site in the mirror; it needs --from-influx")
    if from_influx and journal is not None:
        fail("review either --journal FILE or --from-influx")


def _fetch(settings: Settings, name: str, path: Path) -> Site:
    """What the mirror holds of a site, as a journal at `path`; the site it is of."""
    from monitor.commands.mirror import NOT_THERE, fetched  # noqa: PLC0415 - much behind it
    from monitor.journal.mirror import read_back  # noqa: PLC0415
    from monitor.journal.mirror.influx_server import InfluxFault  # noqa: PLC0415

    try:
        arrivals = fetched(settings, name)
    except InfluxFault as fault:
        fail(f"{fault}.")
    own = name == settings.site.name
    site = settings.site if own else site_of(name, arrivals, settings.site)
    read_back.write(arrivals, path, site.all_probes)
    complain(f"{NOT_THERE}, and so not below.")
    return site


def _show(records: list[Record], wanted: Wanted) -> None:
    if wanted.picture is not None:
        _draw(records, wanted.picture)
    if wanted.report is not None:
        _write(wanted.report, report(records, wanted.days, now=time.time()).encode())
    if wanted.for_vet is not None:
        _write(wanted.for_vet, for_vet(records, now=time.time()).encode())
    if (wanted.picture, wanted.report, wanted.for_vet) == (None, None, None):
        _print(records, wanted)


def _print(records: list[Record], wanted: Wanted) -> None:
    console = Console(markup=False, highlight=False)
    for record in records:
        title, *lines = story(record, record.start, record.stop)
        console.print(title, style="bold")
        for line in lines:
            console.print(line)
        console.print()
        if wanted.losses:
            print_losses(console, record, losses(record))
        if wanted.alarms:
            print_alarms(console, record)
    if not wanted.losses and not wanted.alarms:
        sheets = [sheet(record, wanted.days) for record in records]
        if len(records) > 1:
            print_boxes(console, records, sheets)
        else:
            print_sheet(console, records[0], sheets[0])
        console.print()
        console.print(_MORE, style="dim")


def _draw(records: list[Record], path: Path) -> None:
    forms = {".png": PHONE_PX, ".svg": PAPER_PX, ".html": PAPER_PX}
    form = path.suffix.lower()
    if form not in forms:
        fail(f"--picture is {path}; the name must end in .png, .svg or .html")
    if len(records) == 1:
        shown = scene(records[0], records[0].start, records[0].stop)
        if form == ".html":
            _write(path, offline(shown).encode())
            return
        spec = describe(shown, wide_px=forms[form])
    elif form == ".html":
        fail(f"--picture {path.name} shows one box; write --brooder, or .png or .svg for all")
    else:
        title = heading(records)
        spec = describe_boxes(scenes_of_boxes(records), title=title, wide_px=forms[form])
    _write(path, draw(spec, form[1:]))


def _write(path: Path, content: bytes) -> None:
    try:
        path.write_bytes(content)
    except OSError as fault:
        fail(f"{path} cannot be written: {fault.strerror}")
    Console(markup=False, highlight=False, soft_wrap=True).print(f"Written: {path}")


def _span(
    since: str | None, until: str | None, zone: ZoneInfo
) -> tuple[float | None, float | None]:
    start = None if since is None else local_time("--from", since, zone)
    stop = None if until is None else local_time("--to", until, zone, whole_day=True)
    if start is not None and stop is not None and stop <= start:
        fail(f"--to {until} is not after --from {since}")
    return start, stop
