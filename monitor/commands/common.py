"""What every command shares: the --config option, how a fault is said, exit codes.

Exit codes: 0 done; 1 the thing asked about is not well; 2 the call or configuration is wrong."""

import errno
import os
from collections.abc import Iterable
from contextlib import suppress
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Annotated, NoReturn
from zoneinfo import ZoneInfo

import typer
from rich.console import Console

from monitor.brooding.calendar import midnight
from monitor.settings import Settings, SettingsFault, load_settings

NOT_WELL = 1
WRONG_CALL = 2

ConfigOption = Annotated[
    Path | None,
    typer.Option(
        "--config",
        help="The configuration file. Default: config/brooder.toml, then "
        "/etc/brooder/brooder.toml.",
        show_default=False,
    ),
]


JournalOption = Annotated[
    Path | None, typer.Option("--journal", help="Another journal than the service's.")
]

UnreadConfigOption = Annotated[
    Path | None,
    typer.Option(
        "--config", help="Accepted as by every other command; not needed here.", show_default=False
    ),
]


def out() -> Console:
    # Notes and names are the grower's words, brackets and all.
    return Console(highlight=False, soft_wrap=True, markup=False)


def complain(line: str) -> None:
    """One line on standard error, as it is."""
    typer.echo(line, err=True)


def fail(line: str) -> NoReturn:
    """The call cannot be carried out: one line that names the thing and what would be right."""
    complain(line)
    raise typer.Exit(WRONG_CALL)


def one_of(what: str, said: str | None, known: Iterable[str]) -> None:
    """Exit 2 where something is said that is not known. `what`: an option, or `the alarm`."""
    if said is not None and said not in (known := tuple(known)):
        fail(f'{what} is "{said}"; it must be one of {", ".join(known)}')


def not_a_database(file: Path) -> None:
    """Exit 2 where a journal's database is given for the lines written from it."""
    with suppress(OSError), file.open("rb") as source:
        if source.read(13) == b"SQLite format":
            fail(
                f"{file} is a journal's database; brooder export FILE --journal {file} makes lines"
            )


def settings_or_exit(config: Path | None, *, check_contacts: bool = False) -> Settings:
    """The settings, or exit 2 with a line for each fault."""
    try:
        return load_settings(config, check_contacts=check_contacts)
    except SettingsFault as fault:
        fail(str(fault))


def journal_or_exit(settings: Settings, other: Path | None) -> Path:
    """The service's journal, or another; exit 2 where there is none."""
    path = other or settings.journal_path
    if not path.exists():
        fail(f"there is no journal at {path}; start `brooder watch` or name one: --journal")
    return path


def local_time(option: str, text: str, zone: ZoneInfo, *, whole_day: bool = False) -> float:
    """A local date or time, Unix s; `06:30` is the last one. A time with an offset of its own is
    taken as it is; of a date alone, its end is meant with `whole_day`."""
    try:
        if len(text) == len("2026-02-10"):
            day = date.fromisoformat(text)
            return midnight(day + timedelta(days=1) if whole_day else day, zone)
        if len(text) <= len("06:30:00"):
            now = datetime.now(zone)
            when = datetime.combine(now.date(), time.fromisoformat(text), zone)
            when -= timedelta(days=1 if when > now else 0)
        else:
            when = datetime.fromisoformat(text)
    except (ValueError, OverflowError):
        fail(f'{option} is "{text}"; write 06:30, a date like 2026-02-10 or both: 2026-02-10T06:30')
    return (when if when.tzinfo else when.replace(tzinfo=zone)).timestamp()


def port_refused(host: str, port: int, number: int) -> str:
    """Why the built-in broker cannot listen, by the errno of the try, and what to do."""
    why = f"cannot listen on {host}:{port}: {os.strerror(number)}"
    if number == errno.EADDRINUSE:
        return (
            f"{why}; most likely a second copy of this service runs already: stop one of them. Or "
            "another broker runs there: use it with [broker], or choose another "
            "built_in_broker.port"
        )
    return f"{why}; choose another built_in_broker.listen or built_in_broker.port"
