"""`brooder rehearse`: an invented cold night, live and at speed, before you need it at two."""

import asyncio
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from monitor.commands.common import ConfigOption, fail
from monitor.commands.watch import on_terminal
from monitor.journal.records import StorageFault
from monitor.service.clock import FastClock
from monitor.service.logs import set_up
from monitor.service.rehearsal import first_word, play
from monitor.service.rehearsed_night import NightStory, RehearsedNight, site_file
from monitor.service.run import Hooks, Places, run
from monitor.settings import Settings, SettingsFault, load_settings
from monitor.settings.file_model import ContactSettings

LEAST_SPEED = 60.0
MARK = "REHEARSAL, nothing is wrong. "


def rehearse(
    speed: Annotated[
        float, typer.Option(help="How much faster than real time, 60 or more.")
    ] = 600.0,
    journal: Annotated[
        Path | None,
        typer.Option("--journal", help="Keep what was recorded in this file, for review."),
    ] = None,
    plugs: Annotated[
        bool, typer.Option("--plugs", help="As if each lamp had a plug that measures power.")
    ] = False,
    calm: Annotated[bool, typer.Option("--calm", help="A night in which nothing fails.")] = False,
    to_contacts: Annotated[
        bool,
        typer.Option(
            "--to-contacts", help="Really send it to your contacts, marked as a rehearsal."
        ),
    ] = False,
    config: ConfigOption = None,
) -> None:
    """Rehearse an invented cold night in which a lamp fails. Simulated probes publish over MQTT to
    the real service; at two in the morning the lamp goes out. Shows the messages you would get.
    None is sent unless you add --to-contacts."""
    if speed < LEAST_SPEED:
        fail(f"--speed is {speed:g}; it must be {LEAST_SPEED:g} or more")
    if journal is not None and journal.exists():
        fail(f"{journal} is there already; name a new file: a rehearsal is no record")
    if journal is not None and not journal.parent.is_dir():
        fail(f"{journal.parent} is no folder; name a file in a folder that is there")
    set_up("error")
    story = NightStory()
    if calm:
        story = NightStory(lamp_fails=None, answered=None, mended=None, losses_found=None)
    with tempfile.TemporaryDirectory(prefix="brooder-rehearsal-") as folder:
        try:
            settings, night = _stage(
                Path(folder), config, story, to_contacts=to_contacts, plugs=plugs
            )
            asyncio.run(_perform(settings, night, speed))
            if not calm:
                sys.stdout.write(_other_way(Path(folder), settings, night))
            if journal is not None:
                journal.write_bytes(settings.journal_path.read_bytes())
        except (StorageFault, OSError, SettingsFault) as error:
            fail(f"rehearse: {error}")
    if journal is not None:
        sys.stdout.write(
            f"\nThe night is kept in {journal}. Look back with:\n"
            f"  brooder review --journal {journal}\n"
        )


def _stage(
    folder: Path, config: Path | None, story: NightStory, *, to_contacts: bool, plugs: bool
) -> tuple[Settings, RehearsedNight]:
    """An invented site in a folder of its own, in the grower's units and time zone if there is a
    configuration, and with the grower's contacts where they are to be told."""
    contacts: tuple[ContactSettings, ...] = ()
    zone, units = ZoneInfo("America/Chicago"), "fahrenheit"
    try:
        own = load_settings(config, check_contacts=to_contacts)
        contacts = own.file.contacts
        zone, units = own.site.timezone, own.site.units.value
    except SettingsFault:
        if config is not None or to_contacts:
            raise
    if to_contacts and not contacts:
        fail("--to-contacts: no contacts are configured; add a [[contacts]] first")
    file = folder / "brooder.toml"
    file.write_text(site_file(zone.key, units, plugs=plugs), encoding="utf-8")
    environ = {
        "BROODER_BUILT_IN_BROKER__PORT": "0",
        "BROODER_PAGE__ENABLED": "false",
        "BROODER_JOURNAL__COMMIT_S": "1",
    }
    settings = load_settings(file, environ, check_contacts=False)
    if to_contacts:
        told = settings.file.model_copy(update={"contacts": contacts})
        settings = replace(settings, file=told)
    evening: date = (datetime.now(UTC).astimezone(zone) - timedelta(days=1)).date()
    return settings, RehearsedNight(evening=evening, zone=zone, story=story, plugs=plugs)


def _other_way(folder: Path, settings: Settings, night: RehearsedNight) -> str:
    """When the same night would have been told with the plugs that it had not, or without."""
    other = replace(night, plugs=not night.plugs)
    file = folder / "other.toml"
    zone, units = settings.site.timezone.key, settings.site.units.value
    file.write_text(site_file(zone, units, plugs=other.plugs), encoding="utf-8")
    said = {}
    for each, site in (
        (night, settings.site),
        (other, load_settings(file, {}, check_contacts=False).site),
    ):
        found = first_word(site, each)
        if found is None:
            return ""
        at, message = found
        when = datetime.fromtimestamp(at, night.zone)
        said[each.plugs] = f"{when:%H:%M:%S}, {message.body.splitlines()[0]}"
    return (
        "\nThe same night, its first urgent word:\n"
        f"  without plugs:             {said[False]}\n"
        f"  with a plug on each lamp:  {said[True]}\n"
    )


async def _perform(settings: Settings, night: RehearsedNight, speed: float) -> None:
    start_at = night.at(night.story.starts)
    minutes = (night.at(night.story.ends) - start_at) / 60 / speed
    sys.stdout.write(
        f"Rehearsal on an invented site: {night.story.starts:%H:%M} to {night.story.ends:%H:%M} "
        f"at {speed:g} times the speed, about {max(1, round(minutes))} min. "
        "Two lamps, a plate, 100 chicks.\n"
    )
    if night.story.lamp_fails is not None:
        sys.stdout.write(f"At {night.story.lamp_fails:%H:%M} the west lamp burns out.\n")
    told = ", ".join(contact.name for contact in settings.file.contacts)
    sys.stdout.write(
        f'Each message goes to {told} too, with "{MARK.strip()}" before it:\n\n'
        if told
        else "This is what your phone would show:\n\n"
    )
    sys.stdout.flush()
    clock = FastClock(start_at=start_at, speed=speed)
    playing: list[asyncio.Task[None]] = []
    hooks = Hooks(clock=clock, show=on_terminal(settings), mark=MARK)

    def ready(places: Places) -> None:
        task = asyncio.ensure_future(play(settings, night, clock, places))
        task.add_done_callback(lambda _: hooks.stop.set())
        playing.append(task)

    hooks.on_ready = ready
    await run(settings, hooks)
    for task in playing:
        task.cancel()
        if task.done() and not task.cancelled() and task.exception() is not None:
            raise OSError(f"the probes broke off: {task.exception()}")
