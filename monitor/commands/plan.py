"""`brooder plan`: before the order, will this box and this heat rear so many birds?"""

import time
from dataclasses import replace
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.envelope import COVERS, WALLS
from monitor.brooding.rearing_plan import MOST_BIRDS, changed_box, rearing_plan
from monitor.commands.ask import brooder_or_exit
from monitor.commands.common import NOT_WELL, ConfigOption, fail, one_of, out, settings_or_exit
from monitor.commands.tonight import temperature_or_exit
from monitor.service.forecast import kept_forecast, lows_of
from monitor.settings import Settings
from monitor.settings.load import DEFAULT_FILES
from monitor.site import Brooder, HeatSource, Site
from monitor.tell.wording.plan_words import plan_sections
from monitor.units import Unit


def plan(
    count: Annotated[int, typer.Argument(help="How many birds you mean to order.")],
    low: Annotated[
        str | None,
        typer.Option(
            help="The coldest night to expect where the box stands: 28F or -2C. Left out: by the "
            "forecast, where one is configured."
        ),
    ] = None,
    kind: Annotated[str, typer.Option(help=f"One of {', '.join(KINDS)}.")] = "broiler",
    length: Annotated[str | None, typer.Option(help='Of the box: "5 ft" or "1.5 m".')] = None,
    width: Annotated[str | None, typer.Option(help="Of the box.")] = None,
    height: Annotated[str | None, typer.Option(help="Of its walls.")] = None,
    walls: Annotated[str | None, typer.Option(help=f"One of {', '.join(WALLS)}.")] = None,
    cover: Annotated[str | None, typer.Option(help=f"One of {', '.join(COVERS)}.")] = None,
    heat: Annotated[
        list[str] | None,
        typer.Option(
            help='A heat source you have: "lamp 250". Repeat it for each; "none": no heat.'
        ),
    ] = None,
    units: Annotated[
        str | None, typer.Option(help="celsius or fahrenheit. Left out: as configured.")
    ] = None,
    brooder: Annotated[
        str | None, typer.Option("--brooder", help="A box of the configuration to begin with.")
    ] = None,
    config: ConfigOption = None,
) -> None:
    """Before the order: floor space and heat, week by week. Says what a cover changes, and what to
    buy. Needs no probe, no birds and no running service. What you leave out is taken from the box
    of the configuration, or from a plywood box of 5 by 5 ft under two lamps. Exit code 1 if it is
    not enough."""
    settings = _settings(config)
    site = _site(settings, units)
    if not 1 <= count <= MOST_BIRDS:
        fail(f"the count is {count}; it must be 1 to {MOST_BIRDS}")
    one_of("--kind", kind, KINDS)
    low_c = temperature_or_exit(low, site.units, "--low")
    lows_c = [] if settings is None or low_c is not None else _foretold(settings)
    if low_c is None:
        low_c = min(lows_c, default=None)
    if low_c is None:
        fail(
            "--low is missing, and no forecast is known; write the coldest night to expect, such "
            "as 28F or -2C"
        )
    options = {"length": length, "width": width, "height": height, "walls": walls, "cover": cover}
    said = {option: text for option, text in options.items() if text is not None}
    box = _box(site, brooder, said | {"heat": ", ".join(heat or ())})
    found = rearing_plan(box, kind, count, low_c)
    for section in plan_sections(found, site, forecast_nights=len(lows_c)):
        out().print(f"\n{section.title}", style="bold")
        for line in section.lines:
            out().print(f"- {line}")
    if found.crowded_days is not None or found.cold_weeks:
        raise typer.Exit(NOT_WELL)


def _settings(config: Path | None) -> Settings | None:
    """None: nothing is configured yet."""
    if config is None and not any(path.is_file() for path in DEFAULT_FILES):
        return None
    return settings_or_exit(config)


def _foretold(settings: Settings) -> list[float]:
    """The lows of the coming nights by the forecast that the service got last."""
    if settings.file.forecast is None:
        return []
    return lows_of(kept_forecast(settings.state_folder), time.time(), settings.site.timezone)


def _site(settings: Settings | None, units: str | None) -> Site:
    """The configured site, or a plain one."""
    if units is not None and units not in ("celsius", "fahrenheit"):
        fail(f'--units is "{units}"; it must be celsius or fahrenheit')
    if settings is None:
        site = Site(name="plan", timezone=ZoneInfo("UTC"), units=Unit.CELSIUS, brooders=())
    else:
        site = settings.site
    return site if units is None else replace(site, units=Unit(units))


def _box(site: Site, name: str | None, said: dict[str, str]) -> Brooder:
    box = PLAIN
    if name is not None or len(site.brooders) == 1:
        box = site.brooder(brooder_or_exit(site, name))
    box, wrong = changed_box(box, said, site.units)
    for option, why in wrong.items():
        fail(f'--{option} is "{said[option]}"; {why}')
    return box


PLAIN = Brooder(
    name="box",
    length_m=1.524,
    width_m=1.524,
    height_m=0.61,
    cover="plywood",
    heat=(
        HeatSource(name="lamp 1", kind="lamp", watts=250),
        HeatSource(name="lamp 2", kind="lamp", watts=250),
    ),
)
