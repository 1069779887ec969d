"""`brooder watch`: the service."""

import asyncio
import errno
import shlex
import sys
from collections.abc import Callable
from datetime import datetime
from typing import Annotated

import typer

from monitor.commands.common import (
    WRONG_CALL,
    ConfigOption,
    complain,
    fail,
    one_of,
    port_refused,
    settings_or_exit,
)
from monitor.commands.early_signals import reload_asked
from monitor.journal.records import StorageFault
from monitor.service.logs import LEVELS, set_up
from monitor.service.replay import message_lines
from monitor.service.run import Hooks, Page, Places, run
from monitor.service.service_api import ServiceApi
from monitor.settings import Settings, SettingsFault
from monitor.settings.load_apart import load_apart
from monitor.tell.message import Message
from monitor.units import sign

_NO_PORT = (errno.EADDRINUSE, errno.EADDRNOTAVAIL, errno.EACCES)


def watch(
    only: Annotated[
        str | None,
        typer.Option("--only", help="Follow only brooders whose name matches, e.g. 'barn-a-*'."),
    ] = None,
    log_level: Annotated[
        str, typer.Option("--log", help="debug, info, warning or error.")
    ] = "info",
    config: ConfigOption = None,
) -> None:
    """Watch: read the probes, keep the record, send alarms. Runs until it is
    stopped."""
    one_of("--log", log_level, LEVELS)
    set_up(log_level)

    def settings_now() -> Settings:
        fresh = load_apart(config)
        return fresh if only is None else fresh.only(only)

    settings = settings_or_exit(config, check_contacts=True)
    if only is not None:
        try:
            settings = settings.only(only)
        except SettingsFault as fault:
            fail(str(fault))
    hooks = Hooks(
        show=on_terminal(settings) if not settings.file.contacts else None,
        on_ready=lambda places: announce(settings, places),
        page=_page,
        reload=settings_now,
        reload_asked=reload_asked,
    )
    try:
        code = asyncio.run(run(settings, hooks))
    except (StorageFault, OSError, SettingsFault, ValueError) as error:
        complain(_why_not(settings, error))
        raise typer.Exit(WRONG_CALL) from None
    raise typer.Exit(code)


async def _page(settings: Settings, api: ServiceApi) -> Page | None:
    # Its libraries are loaded only where there is a page.
    from monitor.page.app import serve_page  # noqa: PLC0415

    return await serve_page(settings, api)


def _why_not(settings: Settings, error: Exception) -> str:
    """Why it does not come up. The configuration is blamed for what is in it alone."""
    own = settings.file.built_in_broker
    if settings.file.broker is None and isinstance(error, OSError) and error.errno in _NO_PORT:
        return f"the built-in broker {port_refused(own.listen, own.port, error.errno)}"
    if isinstance(error, StorageFault | SettingsFault):
        return str(error)
    return f"{settings.source}: {error}"


def on_terminal(settings: Settings) -> Callable[[Message], None]:
    """Prints a message as the phone would show it: with no contact, this is where it is told."""

    def show(message: Message) -> None:
        lines = message_lines(message, settings.site.timezone)
        sys.stdout.write("\n".join(lines) + "\n")
        sys.stdout.flush()

    return show


def announce(settings: Settings, places: Places) -> None:
    """Where everything is, and what a probe must publish."""
    probe = next((p for b in settings.site.brooders for p in b.probes), None)
    site = settings.site
    there = f"{datetime.now(site.timezone):%H:%M} ({site.timezone.key})"
    lines = [f"Watching {site.name}, where it is {there}. Stop with Ctrl-C."]
    if places.page:
        lines.append(f"  Page:    {places.page}")
        if settings.file.page.public_url is None:
            lines.append("           On your phone: brooder set-up page")
    lines.append(f"  Broker:  {places.broker} (MQTT)")
    if probe is not None:
        payload = (
            "the temperature as a bare number"
            if probe.value_pointer is None
            else f"JSON with the temperature at {probe.value_pointer}"
        )
        lines.append(
            f"  A probe publishes, with QoS 1, {payload} in {sign(probe.unit)}, for example to"
        )
        lines.append(f"           {probe.topic}")
        lines.append(f"  Try it:  brooder probes try {shlex.quote(probe.key)} 92F")
    if not settings.file.contacts:
        lines.append("  No contacts yet: alarms appear here, in the log and on MQTT alone.")
    lines.append(
        "  The monitor informs; it is never the only safeguard. Two supports for every lamp."
    )
    sys.stdout.write("\n".join(lines) + "\n")
    sys.stdout.flush()
