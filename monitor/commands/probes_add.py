"""`brooder probes add`: a probe's topic, account and rights in one go, and the card that says what
to type into it, shown this once."""

import io
import sys
from pathlib import Path
from typing import Annotated

import segno
import typer

from monitor.brooding.objection import Objection
from monitor.commands.ask import NO_SERVICE, brooder_or_exit, reload_service
from monitor.commands.common import ConfigOption, complain, fail, out, settings_or_exit
from monitor.commands.flock_entry import BrooderOption
from monitor.service.probe_accounts import (
    MOSQUITTO_FILES,
    Prepared,
    carry_out,
    named,
    prepare,
)
from monitor.settings import Settings, SettingsFault
from monitor.settings.rewriting import BEFORE, NotWritten, replace_text
from monitor.site import Place, Probe, Site, place_for


def add(
    name: Annotated[str, typer.Argument(help='What it is called, e.g. "under west lamp".')],
    place: Annotated[
        Place | None,
        typer.Option(help="Where it lies. Left out: as its name says, or else floor."),
    ] = None,
    network: Annotated[
        bool,
        typer.Option(
            "--network",
            help="Let probes on the Wi-Fi reach the built-in broker; says what that means.",
        ),
    ] = False,
    address: Annotated[
        str | None,
        typer.Option(help="This board's name or address, as the probe will use it."),
    ] = None,
    to: Annotated[
        Path | None,
        typer.Option(help="Write the settings of a deploy/probe board into this file (probe.txt)."),
    ] = None,
    mosquitto: Annotated[
        Path, typer.Option(help="Where Mosquitto's passwords and rights are.")
    ] = MOSQUITTO_FILES,
    yes: Annotated[bool, typer.Option("--yes", help="Ask nothing.")] = False,
    brooder: BrooderOption = None,
    config: ConfigOption = None,
) -> None:
    """Add a probe, and say what to type into it. Its lines go into the configuration, its account
    to the broker, with the right to publish its own topic and nothing else. A probe that is there
    already, or a lamp whose plug reports its watts, is given a new account.

    Outside probes serve every box unless --brooder names one."""
    settings = settings_or_exit(config)
    try:
        ready = prepare(
            settings,
            name,
            brooder=_box(settings.site, name, place, brooder),
            place=place,
            network=network,
            address=address,
            mosquitto_files=mosquitto,
        )
        _agree(settings, ready, sure=yes)
        left = carry_out(ready)
    except (Objection, SettingsFault, NotWritten) as why:
        fail(str(why))
    _show(ready, to)
    for note in [*left, *_taken(settings)]:
        out().print(note)


def _box(site: Site, name: str, place: Place | None, brooder: str | None) -> str | None:
    """Whose probe it is; None: the site's."""
    if brooder is not None:
        return brooder_or_exit(site, brooder)
    there = named(site, name)
    if len(there) == 1:
        return there[0].brooder
    if not there and (place or place_for(name)) is Place.OUTSIDE:
        return None
    return brooder_or_exit(site, None)


def _agree(settings: Settings, ready: Prepared, *, sure: bool) -> None:
    probe = ready.probe
    where = f"place {probe.place.value}, " if isinstance(probe, Probe) else ""
    out().print(f"{probe.key}: {where}topic {probe.topic}", style="bold")
    if ready.change is not None:
        source = settings.source
        out().print(f"In {source} (the file before is kept as {source.name}{BEFORE}):")
        out().print(ready.change.difference)
    for sentence in ready.consequences:
        out().print(f"- {sentence}")
    if not ready.consequences or sure:
        return
    if not sys.stdin.isatty():
        fail("nothing was written: if that is right, say it again with --yes")
    if not typer.confirm("Is that right?"):
        fail("nothing was written")


def _show(ready: Prepared, to: Path | None) -> None:
    lines = ready.card.lines
    once = " The password is shown this once." if ready.card.password else ""
    out().print(f"\nType this into the probe.{once}", style="bold")
    out().print("".join(f"    {line}\n" for line in lines.splitlines()))
    if (sys.stdout.encoding or "").lower().startswith("utf"):
        out().print("The same for a phone's camera:")
        drawn = io.StringIO()
        segno.make(lines, error="l").terminal(drawn, compact=True)
        for row in drawn.getvalue().splitlines():  # light on dark, whatever the terminal's own are
            out().print(row, style="bright_white on black")
    if to is not None:
        wifi = "wifi = (name of the network)\nwifi_password = (its password)\n"
        try:
            replace_text(to, f"{wifi}{lines}\n", mode=0o600)
        except OSError as fault:
            complain(f"{to} could not be written: {fault.strerror}")
        else:
            out().print(f"Written to {to}; fill in the Wi-Fi, then copy it to the board.")


def _taken(settings: Settings) -> list[str]:
    """Has the running service taken it?"""
    runs, wrong, _ = reload_service(settings)
    if not runs:
        return [NO_SERVICE]
    if wrong:
        return [f"The running service has not taken it: {line}" for line in wrong]
    return ["The running service has taken it. brooder probes shows when the probe is heard."]
