"""`brooder contacts list` and `brooder contacts try`: who is told, and does it reach them?"""

from typing import Annotated

import typer

from monitor.commands.common import NOT_WELL, ConfigOption, fail, out, settings_or_exit
from monitor.events import Priority
from monitor.service.people import contacts_of
from monitor.tell.contact import Contact, masked
from monitor.tell.try_contacts import try_out

_NONE = "No contacts are configured: alarms go to the terminal, the log and MQTT alone."


def register(app: typer.Typer) -> None:
    verb = typer.Typer(help="Who is told, and does it reach them?", no_args_is_help=True)
    verb.command("list")(show)
    verb.command("try")(attempt)
    app.add_typer(verb, name="contacts")


def show(config: ConfigOption = None) -> None:
    """List the contacts; their URLs stay hidden."""
    contacts = contacts_of(settings_or_exit(config))
    if not contacts:
        out().print(_NONE)
    for contact in contacts:
        out().print(_line(contact), markup=False)


def attempt(
    name: Annotated[
        str | None, typer.Argument(help="Which contact; left out: all of them.")
    ] = None,
    config: ConfigOption = None,
) -> None:
    """Send a trial message for real. Exit code 1 if one does not get through."""
    settings = settings_or_exit(config, check_contacts=True)
    names = [contact.name for contact in settings.file.contacts]
    if name is not None and name not in names:
        known = ", ".join(names) if names else "none is configured"
        fail(f'the contact is "{name}"; it must be one of those configured ({known})')
    if not names:
        out().print(_NONE)
        raise typer.Exit(NOT_WELL)
    contacts = [contact for contact in contacts_of(settings) if name in (None, contact.name)]
    unreached = 0
    limit_s = settings.file.tell.contact_time_limit_s
    for tried in try_out(contacts, settings.site, limit_s):
        if tried.why is None:
            line = f"{tried.contact}: sent in {tried.took_s:.1f} s. Has the phone made a sound?"
        else:
            unreached += 1
            line = f"{tried.contact}: not sent, {tried.why}."
        out().print(line, markup=False)
    if unreached:
        raise typer.Exit(NOT_WELL)


def _line(contact: Contact) -> str:
    wanted = [p.value for p in Priority if p in contact.priorities]
    parts = [masked(contact.url), ", ".join(wanted)]
    if contact.after_minutes:
        parts.append(f"urgent ones after {contact.after_minutes:g} min without an answer")
    if contact.quiet_from and contact.quiet_to:
        parts.append(f"advice waits from {contact.quiet_from:%H:%M} to {contact.quiet_to:%H:%M}")
    return f"{contact.name}: {'; '.join(parts)}"
