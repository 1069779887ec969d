"""`brooder tonight`: will the heat hold until morning, and if not, what would mend it?"""

import re
from typing import Annotated

import typer

from monitor.brooding.envelope import COVERS
from monitor.brooding.lamp_safety import overload
from monitor.commands.ask import brooder_or_exit, request
from monitor.commands.common import NOT_WELL, ConfigOption, fail, one_of, out, settings_or_exit
from monitor.commands.flock_entry import BrooderOption
from monitor.measures import temp_c
from monitor.tell.wording import first_aid
from monitor.units import Unit, shown

_OUTSIDE_C = (-60.0, 50.0)
_WATTS = re.compile(r"^\s*([+-]?\d+(?:[.,]\d+)?)\s*[Ww]?\s*$")


def tonight(
    low: Annotated[
        str | None,
        typer.Option(help="The lowest outside temperature you expect: 28F or -2C."),
    ] = None,
    cover: Annotated[
        str | None, typer.Option(help=f"What if it were covered with one of {', '.join(COVERS)}.")
    ] = None,
    heat: Annotated[
        str | None, typer.Option(help="What if there were more heat, or less: +250W, -100W.")
    ] = None,
    brooder: BrooderOption = None,
    config: ConfigOption = None,
) -> None:
    """How cold each floor will get tonight, and what would help. An empty box is compared with what
    day-old chicks need. Exit code 1 if a floor is below its band already, or will probably fall
    below it."""
    settings = settings_or_exit(config)
    site = settings.site
    extra_watts = watts_or_exit(heat)
    one_of("--cover", cover, COVERS)
    low_c = temperature_or_exit(low, site.units, "--low")
    if brooder is None and cover is None and not extra_watts:
        names = [each.name for each in site.brooders]
    else:  # what would change is about one box
        names = [brooder_or_exit(site, brooder)]
    too_cold = False
    for name in names:
        if name is not names[0]:
            out().print()
        said = request(
            settings, "tonight", brooder=name, low_c=low_c, cover=cover, extra_watts=extra_watts
        )
        lines = said["lines"]
        if extra_watts > 0 and first_aid.LAMP_CARE not in lines:
            lines.append(first_aid.LAMP_CARE)
        for line in lines:
            out().print(line)
        warning = overload(site, site.brooder(name).watts + extra_watts)
        if warning is not None:
            out().print(warning)
        too_cold |= said["too_cold"]
    if too_cold:
        raise typer.Exit(NOT_WELL)


def temperature_or_exit(
    text: str | None, units: Unit, option: str, reach_c: tuple[float, float] = _OUTSIDE_C
) -> float | None:
    """`28F`, `-2C` or a bare number in the site's unit, as degC."""
    if text is None:
        return None
    try:
        found_c = temp_c(text, units)
    except ValueError:
        fail(f'{option} is "{text}"; write a temperature such as 28F or -2C')
    least_c, most_c = reach_c
    if not least_c <= found_c <= most_c:
        reach = f"from {shown(least_c, units)} to {shown(most_c, units)}"
        fail(f'{option} is "{text}"; it must be {reach}')
    return found_c


def watts_or_exit(text: str | None) -> float:
    """`+250W` as watts."""
    if text is None:
        return 0.0
    found = _WATTS.match(text)
    if found is None or abs(float(found[1].replace(",", "."))) > 10000:
        fail(f'--heat is "{text}"; write watts such as +250W or -100W')
    return float(found[1].replace(",", "."))
