"""`brooder sources`: every figure the tool decides by or prints, and where it comes from."""

from pathlib import Path
from typing import Annotated

import typer

from monitor.brooding.bibliography import figures
from monitor.brooding.provenance import Figure
from monitor.commands.common import ConfigOption, fail
from monitor.measures import in_units
from monitor.settings import SettingsFault, load_settings
from monitor.units import (
    CM_PER_INCH,
    M2_PER_SQUARE_FOOT,
    Unit,
    area_figure,
    from_celsius,
    sign,
    step_from_celsius,
)

# NIST SP 811, 2008, appendix B.8: a foot is 0.3048 m, a pound 453.59237 g, a Btu/h.ft2.degF
# 5.678263 W/m2.K, a Btu/ft2 11356.53 J/m2 (both by the international table's Btu).
R_PER_M2K_W = 5.678263
CFM_SQ_FT_PER_M3_H_M2 = 1 / 0.3048 / 60
G_PER_LB = 453.59237
BTU_SQ_FT_F_PER_J_M2K = 1 / 11356.53 / 1.8


def sources(
    about: Annotated[
        list[str] | None, typer.Argument(help="Only figures about these words: lamp, GFCI, cover.")
    ] = None,
    config: ConfigOption = None,
) -> None:
    """Every figure with its source, and how well it is known. These are what the code uses."""
    everything = list(figures())
    found = _about(everything, [word.lower().removesuffix("s") for word in about or []])
    if not found:
        subjects = "; ".join(dict.fromkeys(f.subject.split(":")[0] for f in everything))
        fail(f'no figure is about "{" ".join(about or [])}"; subjects are {subjects}')
    units = _units(config)
    for subject in dict.fromkeys(one.subject for one in found):
        mine = [one for one in found if one.subject == subject]
        typer.echo("\n".join(_lines(subject, mine, units)))


def _about(everything: list[Figure], words: list[str]) -> list[Figure]:
    """Those whose name has every word; else those whose source has."""
    named = [f for f in everything if all(w in f"{f.subject} {f.name}".lower() for w in words)]
    if named:
        return named
    return [f for f in everything if all(w in f"{f.name} {f.source}".lower() for w in words)]


def _units(config: Path | None) -> Unit:
    """The site's, if there is a site yet."""
    try:
        return load_settings(config).site.units
    except SettingsFault as fault:
        if config is not None:
            fail(str(fault))
        return Unit.CELSIUS


def _lines(subject: str, mine: list[Figure], units: Unit) -> list[str]:
    """The subject, a line a figure, a line a source, and an empty one."""
    origins = list(dict.fromkeys((one.mark.value, one.source, one.where) for one in mine))
    folded = _folded(mine)
    words = [(_name(heads, one, units), *_value(one, units)) for heads, one in folded]
    name_w, value_w, unit_w = (max(map(len, column)) for column in zip(*words, strict=True))
    title, colon, where_measured = in_units(subject, units).partition(":")
    lines = [title.upper() + colon + where_measured]
    for (name, value, unit), (_, one) in zip(words, folded, strict=True):
        number = origins.index((one.mark.value, one.source, one.where)) + 1
        figure = f"{name:<{name_w}}  {value:>{value_w}} {unit:<{unit_w}}"
        lines.append(f"  {figure}  {one.mark.value} [{number}]")
    for number, (mark, text, where) in enumerate(origins, 1):
        lines.append(f"  [{number}] {mark}: {text}" if text != mark else f"  [{number}] {text}")
        if where:
            lines.append(f"      {where}")
    return [*lines, ""]


def _folded(mine: list[Figure]) -> list[tuple[list[str], Figure]]:
    """Rows `broiler: X` and `guinea: X` that say the same, as one with both heads."""
    rows: dict[tuple[object, ...], tuple[list[str], Figure]] = {}
    for one in mine:
        head, colon, tail = one.name.partition(": ")
        key = (tail if colon else one.name, one.value, one.unit, one.source, one.where)
        rows.setdefault(key, ([], one))[0].append(head if colon else "")
    return list(rows.values())


def _name(heads: list[str], one: Figure, units: Unit) -> str:
    tail = one.name.partition(": ")[2]
    name = f"{', '.join(heads)}: {tail}" if tail else one.name
    return in_units(name, units).strip()


def _value(one: Figure, units: Unit) -> tuple[str, str]:
    """A figure and its unit as the grower reads them."""
    value, fahrenheit = one.value, units is Unit.FAHRENHEIT
    if value is None:
        return "", ""
    if one.unit == "degC":
        return f"{from_celsius(value, units):.1f}", sign(units)
    if one.unit == "K":
        step = step_from_celsius(value, units)
        return f"{step:.1f}" if step >= 1 else f"{step:.2g}", sign(units)
    if one.unit == "m2" and value < 1.0:
        return area_figure(value, units), "sq ft" if fahrenheit else "cm2"
    if not fahrenheit:
        return f"{value:.4g}", one.unit
    factor, unit = {
        "m2": (1 / M2_PER_SQUARE_FOOT, "sq ft"),
        "cm": (1 / CM_PER_INCH, "in"),
        "m2.K/W": (R_PER_M2K_W, "R"),
        "m3/h.m2": (CFM_SQ_FT_PER_M3_H_M2, "cfm/sq ft"),
        "g a day": (16 / G_PER_LB, "oz a day"),
        "g": (1 / G_PER_LB, "lb") if value >= G_PER_LB else (16 / G_PER_LB, "oz"),
        "m3/h": (1 / 0.3048**3 / 60, "cfm"),
        "W/kg": (G_PER_LB / 1000, "W/lb"),
        "J/m2.K": (BTU_SQ_FT_F_PER_J_M2K, "Btu/sq ft.°F"),
        "J/m3.K": (BTU_SQ_FT_F_PER_J_M2K * 0.3048, "Btu/cu ft.°F"),
    }.get(one.unit, (1.0, one.unit))
    digits = 4 if factor == 1.0 else max(2, len(f"{value:g}".replace(".", "").strip("0")))
    return f"{value * factor:.{min(digits, 4)}g}", unit
