"""From a command to the one who can answer: the running service, or else the journal itself.

One writer only: while the service runs, its socket takes the entry; else this process opens the
journal, takes the entry through the same core, and closes it."""

import sys
from typing import Any
from zoneinfo import ZoneInfo

import typer

from monitor.brooding.objection import NeedsYes, Objection
from monitor.commands.common import fail, local_time, one_of
from monitor.journal.records import StorageFault
from monitor.service.configured import contacts_of, machine_of
from monitor.service.control import NoService, ask
from monitor.service.offline import answer
from monitor.settings import Settings
from monitor.site import Site
from monitor.tell.missing import Missing, missing

RELOAD_WITHIN_S = 150.0  # reading a configuration and its contacts takes a small board a while
NO_SERVICE = "No service runs; it takes this at its start."


def request(settings: Settings, what: str, **details: Any) -> Any:
    """The service's answer, or this process's own. Exits 2 with one line where it is refused. What
    needs a yes is asked of whoever sits at the terminal."""
    try:
        return _answered(settings, what, details)
    except NeedsYes as question:
        if not sys.stdin.isatty():
            fail(f"{question} If it is, say it again with --yes.")
        if not typer.confirm(str(question)):
            fail("nothing was written")
        return request(settings, what, **details, yes=True)
    except (Objection, StorageFault) as refused:
        fail(str(refused))


def reload_service(settings: Settings) -> tuple[bool, list[str], bool]:
    """Has a running service take the configuration anew: whether one runs, what is wrong line by
    line, and whether something waits for its next start."""
    try:
        said = ask(settings.control_paths, "reload", wait_s=RELOAD_WITHIN_S)
    except NoService:
        return False, [], False
    except Objection as why:
        return True, [str(why)], False
    return True, said["wrong"], said["waits_for_a_start"]


def still_missing(settings: Settings) -> list[Missing]:
    """What is still missing for tonight: as the running service sees it, or by the configuration
    alone."""
    try:
        return [Missing(**one) for one in ask(settings.control_paths, "missing")]
    except NoService:
        return missing(settings.site, contacts_of(settings), None, machine_of(settings))


def _answered(settings: Settings, what: str, details: dict[str, Any]) -> Any:
    try:
        return ask(settings.control_paths, what, **details)
    except NoService:
        return answer(settings, what, details)


def brooder_or_exit(site: Site, name: str | None, option: str = "--brooder") -> str:
    """The named brooder, or the only one there is."""
    names = [b.name for b in site.brooders]
    if name is None:
        if len(names) == 1:
            return names[0]
        fail(f"--brooder is missing; it must be one of {', '.join(names)}")
    one_of(option, name, names)
    return name


def when_or_exit(at: str | None, zone: ZoneInfo) -> float | None:
    """Of --at, Unix seconds, or None where nothing was written."""
    return None if at is None else local_time("--at", at, zone)
