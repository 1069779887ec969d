"""`brooder contacts kinds` and `brooder contacts try`: ways to tell somebody. Do they wake them?"""

import time
from typing import Annotated, Any

import typer

from monitor.brooding.objection import Objection
from monitor.commands.common import (
    NOT_WELL,
    ConfigOption,
    UnreadConfigOption,
    fail,
    out,
    settings_or_exit,
)
from monitor.service.configured import contacts_of
from monitor.service.control import NoService, ask
from monitor.settings import Settings
from monitor.tell.contact import Contact
from monitor.tell.receivers import RECEIVERS
from monitor.tell.try_contacts import try_out

_NONE = "No contacts are configured: alarms go to the terminal, the log and MQTT alone."
_LOOK_S = 0.5


def register(app: typer.Typer) -> None:
    verb = typer.Typer(help="Who is told, and does it wake them?", no_args_is_help=True)
    verb.command("try")(attempt)
    verb.command("kinds")(kinds)
    app.add_typer(verb, name="contacts")


def kinds(config: UnreadConfigOption = None) -> None:
    """Worked examples, by kind of receiver, and what to set on the phone."""
    for number, receiver in enumerate(RECEIVERS):
        out().print(f"{chr(10) if number else ''}{receiver.kind.capitalize()}", style="bold")
        for line in receiver.lines.splitlines():
            out().print(f"    {line}" if line else "")
        out().print(f"On the phone: {receiver.phone}")
    out().print(
        "\nA URL is a secret: better in a file of its own, beside the configuration, named with "
        'url_file = "my-phone". Then try it: brooder contacts try'
    )


def attempt(
    name: Annotated[
        str | None, typer.Argument(help="Which contact; left out: all of them.")
    ] = None,
    wait: Annotated[
        float, typer.Option(min=0, max=3600, help="Seconds to wait for the answers.")
    ] = 300.0,
    config: ConfigOption = None,
) -> None:
    """Send a trial alarm for real, and wait for the answer. It is as urgent as a dead lamp's and
    has the same link. Exit code 1 if one does not get through, or nobody answers."""
    settings = settings_or_exit(config, check_contacts=True)
    names = [contact.name for contact in settings.file.contacts]
    if name is not None and name not in names:
        known = ", ".join(names) if names else "none is configured"
        fail(f'the contact is "{name}"; it must be one of those configured ({known})')
    if not names:
        out().print(_NONE)
        raise typer.Exit(NOT_WELL)
    wanted = [contact for contact in contacts_of(settings) if name in (None, contact.name)]
    rows = _tried(settings, wanted, name)
    for row in rows:
        line = f"sent in {row['took_s']:.1f} s." if row["ok"] else f"not sent, {row['why']}."
        out().print(f"{row['contact']}: {line}")
    unreached = sum(not row["ok"] for row in rows)
    waiting = {row["trial"]: row["contact"] for row in rows if row["ok"] and row["trial"]}
    if not waiting and unreached < len(rows):
        out().print(f"Has the phone made a sound? {_no_link(settings, rows)}")
    if unreached + _unanswered(settings, waiting, wait):
        raise typer.Exit(NOT_WELL)


def _tried(settings: Settings, contacts: list[Contact], name: str | None) -> list[dict[str, Any]]:
    """By the running service, whose link can be answered; where none runs, from here."""
    limit_s = settings.file.tell.contact_time_limit_s
    try:
        said: list[dict[str, Any]] = ask(
            settings.control_paths,
            "contacts-try",
            name=name,
            wait_s=(limit_s + 15.0) * len(contacts),
        )
    except NoService:
        return [
            {"contact": t.contact, "ok": t.why is None, "why": t.why, "took_s": t.took_s}
            | {"trial": None, "here": True}
            for t in try_out(contacts, settings.site, limit_s)
        ]
    except Objection as why:
        fail(f"the running service: {why}")
    return said


def _no_link(settings: Settings, rows: list[dict[str, Any]]) -> str:
    if any(row.get("here") for row in rows):
        return "It has no link: no service runs that could take the answer."
    if settings.file.page.public_url is None:
        return "It has no link: [page] public_url does not say where a phone finds the page."
    return ""


def _unanswered(settings: Settings, waiting: dict[str, str], wait_s: float) -> int:
    begun = time.monotonic()
    if waiting and wait_s > 0:
        out().print("Waiting for the answer: tap the link in the message. Ctrl-C ends it.")
    while waiting and time.monotonic() - begun < wait_s:
        try:
            answers: dict[str, float | None] = ask(settings.control_paths, "trials")
        except (NoService, Objection) as why:
            fail(f"the answers cannot be waited for: {why}")
        for trial in [t for t in waiting if answers.get(t) is not None]:
            took_s = answers[trial]
            out().print(f"{waiting.pop(trial)}: answered after {took_s:.0f} s.")
        if waiting:
            time.sleep(_LOOK_S)
    for contact in waiting.values() if wait_s > 0 else ():
        out().print(f"{contact}: not answered within {wait_s:.0f} s.")
    return len(waiting) if wait_s > 0 else 0
