"""The configuration in force, key by key, for `brooder check` and the page."""

from datetime import time
from typing import Any

from monitor.measures import length_shown
from monitor.settings.load import Settings, masked
from monitor.units import Unit, step_shown
from monitor.units import shown as unit_shown


def shown(settings: Settings) -> list[tuple[str, str]]:
    """Every key in force and its value; secrets only as set or not set."""
    lines: list[tuple[str, str]] = []

    def walk(value: Any, path: str) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                walk(inner, f"{path}.{key}" if path else key)
        elif isinstance(value, list | tuple) and value and isinstance(value[0], dict):
            for index, inner in enumerate(value):
                walk(inner, f"{path}[{index}]")
        elif hasattr(value, "get_secret_value"):
            lines.append((path, masked(value)))
        elif value is not None:
            lines.append((path, _as_written(value)))

    walk(settings.file.model_dump(), "")
    return [_in_units(key, value, settings.site.units) for key, value in lines]


_DIFFERENCES = ("offset", "band", "harm", "dead_band")


def _in_units(path: str, value: str, unit: Unit) -> tuple[str, str]:
    """`length_m` and `band_c` as they are written with a unit."""
    plain, _, suffix = path.rpartition("_")
    if suffix == "m":
        return plain, length_shown(float(value), unit)
    if suffix == "c":
        step = plain.rpartition(".")[2] in _DIFFERENCES
        return plain, (step_shown if step else unit_shown)(float(value), unit)
    return path, value


def _as_written(value: object) -> str:
    """As it would stand in the file, without its quotes."""
    match value:
        case bool():
            return str(value).lower()
        case list() | tuple():
            return ", ".join(str(one) for one in value) or "none"
        case time():
            return f"{value:%H:%M}"
    return str(value)
