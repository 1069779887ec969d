"""`brooder mirror`: what is in the mirror under [influx], and everything sent there again."""

import time
from collections import Counter
from contextlib import suppress
from typing import NoReturn

import typer

from monitor.commands.bars import bar as progress_bar
from monitor.commands.common import NOT_WELL, ConfigOption, complain, fail, out, settings_or_exit
from monitor.journal.bringing_in import Arrivals
from monitor.journal.mirror import backlog, read_back
from monitor.journal.mirror import influx_schema as schema
from monitor.journal.mirror.comparing import (
    SETTLES_S,
    MirrorComparison,
    compare,
    day_text,
    days_text,
)
from monitor.journal.mirror.influx_server import InfluxFault, Sent, Server
from monitor.journal.mirror.sending import STATE, MirrorDelivery, refused_words
from monitor.journal.mirror.state import Scope, State
from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault
from monitor.journal.store import Journal
from monitor.measures import counted
from monitor.service.configured import objection, scope_of, server_of
from monitor.service.control import NoService, ask
from monitor.settings import Settings
from monitor.settings.file_model import InfluxSettings

_WHAT = {
    schema.TEMPERATURE: "readings",
    schema.LEDGER_TEXT: "ledger entries",
    schema.ALARM_TEXT: "alarm changes",
    schema.BROODER: "targets and estimates",
}
_SHOWN_DAYS = 10
NOT_THERE = "Readings that no floor can have are not in the mirror"


def register(app: typer.Typer) -> None:
    mirror = typer.Typer(help="The copy in InfluxDB: is all of it there?", no_args_is_help=True)
    mirror.command("status")(status)
    mirror.command("fill")(fill)
    app.add_typer(mirror, name="mirror")


def influx_of(settings: Settings) -> InfluxSettings:
    """The mirror's section, or exit 2."""
    if settings.file.influx is None:
        fail(f"{settings.source} has no [influx]; name the server, its token and bucket there")
    return settings.file.influx


def fetched(settings: Settings, site: str) -> Arrivals:
    """All that the mirror holds of a site. Raises InfluxFault, also when there is nothing."""
    influx = influx_of(settings)
    bar = progress_bar()
    with server_of(influx) as server, bar:
        task = bar.add_task("days", total=None)
        return read_back.fetch(
            server,
            influx.bucket,
            site,
            told=lambda ready, days: bar.update(task, completed=ready, total=days),
        )


def status(config: ConfigOption = None) -> None:
    """What of the record is there, and what is missing. Exit code 1: something is."""
    settings = settings_or_exit(config)
    influx_of(settings)
    ill = False
    for well, words in findings(settings, each=True):
        ill = ill or well is False
        out().print(words[0].upper() + words[1:] + ".")
    if ill:
        raise typer.Exit(NOT_WELL)


def findings(settings: Settings, *, each: bool = False) -> list[tuple[bool | None, str]]:
    """What there is to say of the mirror, with True, False or None (a note) for well. `each`: what
    is there, one by one."""
    influx = settings.file.influx
    assert influx is not None
    scope = scope_of(settings, influx)
    why = objection(settings)
    if why is not None:
        return [(False, why)]
    with server_of(influx) as server:
        answer = server.may_write()
        if not isinstance(answer, Sent):
            return [(False, answer.words)]
        found: list[tuple[bool | None, str]] = []
        if keeps_s := server.keeps_s():
            found.append(
                (None, f"the bucket keeps {_span(keeps_s)}; what is older is dropped there")
            )
        takes = f"InfluxDB takes what we write to {server.where}"
        if not settings.journal_path.exists():
            return [*found, (True, f"{takes}; nothing is recorded yet")]
        with JournalReader(settings.journal_path) as reader:
            state = State.of(reader.cursor(STATE), scope.target)
            if state.refused:
                found.append((False, refused_words(state)))
            try:
                comparison = _compared(settings, reader, server, scope)
            except InfluxFault as fault:
                return [*found, (True, takes), (None, f"what is there cannot be counted: {fault}")]
    return [*found, *_counted(comparison, takes, state, each=each)]


def _compared(
    settings: Settings, reader: JournalReader, server: Server, scope: Scope
) -> MirrorComparison:
    now = time.time()
    exact = compare(reader, server, scope, now=now)
    if not exact.lacking or not _runs(settings):
        return exact
    return compare(reader, server, scope, now=now, until_ms=int((now - SETTLES_S) * 1000))


def _counted(
    comparison: MirrorComparison, takes: str, state: State, *, each: bool
) -> list[tuple[bool | None, str]]:
    found: list[tuple[bool | None, str]] = []
    lacking = {d: n - state.refused.get(d, 0) for d, n in comparison.lacking.items()}
    lacking = {day: number for day, number in lacking.items() if number > 0}
    if not any(comparison.here.values()):
        takes += "; nothing that is recorded here is young enough for it"
    elif not comparison.lacking:
        takes += "; all that is recorded here is there"
    found.append((True, takes))
    if each:
        for measurement, what in _WHAT.items():
            here, there = comparison.here[measurement], comparison.there[measurement]
            found.append((None, f"{what}: {here:,} here, {there:,} of them there"))
    if lacking and not any(comparison.there.values()):
        found.append(
            (
                False,
                f"nothing of the record is there yet: {sum(lacking.values()):,} points of "
                f"{days_text(lacking)}; a running service sends them by and by, brooder mirror "
                "fill at once",
            )
        )
    elif lacking:
        newest = sorted(lacking, reverse=True)[: _SHOWN_DAYS if each and len(lacking) > 1 else 0]
        listed = "".join(f"; {day_text(day)}: {lacking[day]:,}" for day in newest)
        found.append(
            (
                False,
                f"{sum(lacking.values()):,} points of {days_text(lacking)} are not there{listed}; "
                "the running service sends them again each hour, brooder mirror fill at once",
            )
        )
    return found


def _span(seconds: int) -> str:
    days, rest = divmod(seconds, 86_400)
    return counted(days, "day") if days and not rest else counted(round(seconds / 3600), "hour")


def fill(config: ConfigOption = None) -> None:
    """Send everything again, from the first day on. What is there already is not doubled. The
    service may keep running."""
    settings = settings_or_exit(config)
    influx = influx_of(settings)
    scope = scope_of(settings, influx)
    why = objection(settings)
    if why is not None:
        fail(why)
    if not settings.journal_path.exists():
        fail(f"there is no journal at {settings.journal_path}; has `brooder watch` run yet?")
    try:
        with server_of(influx) as server:
            state = _fill(settings, scope, server)
    except StorageFault as fault:
        fail(f"{settings.journal_path}: {fault.words}")
    _say_filled(settings, state)
    if state.refused:
        out().print(f"But {refused_words(state)}.")
        raise typer.Exit(NOT_WELL)


def _fill(settings: Settings, scope: Scope, server: Server) -> State:
    delivery = MirrorDelivery(server)
    refused: Counter[int] = Counter()
    sent = 0
    with JournalReader(settings.journal_path) as reader, progress_bar() as bar:
        end = backlog.end(reader)
        days = backlog.days(reader)
        task = bar.add_task("days", total=len(days))
        for done, day in enumerate(days):
            for lines in backlog.day_lines(reader, scope, day):
                trouble, some = delivery.deliver(lines)
                if trouble is not None:
                    _stop_short(trouble.words, done, len(days))
                refused += some
                sent += len(lines)
            bar.update(task, advance=1)
    out().print(f"{sent:,} lines of {counted(len(days), 'day')} were sent to {server.where}.")
    return State(scope.target, end, dict(refused), delivery.words)


def _stop_short(words: str, done: int, days: int) -> NoReturn:
    complain(f"{words}. {done} of {days} days were sent; run it again when that is mended.")
    raise typer.Exit(NOT_WELL)


def _say_filled(settings: Settings, state: State) -> None:
    """To the running service, which then looks what is there; without one, to the journal."""
    try:
        ask(settings.control_paths, "mirror-look-again")
    except NoService:
        with suppress(StorageFault), Journal.open(settings.journal_path) as journal:
            journal.set_cursor(STATE, state.to_json())


def _runs(settings: Settings) -> bool:
    try:
        ask(settings.control_paths, "about")
    except NoService:
        return False
    return True
