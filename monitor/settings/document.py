"""Every key there is, with its default and what it must be, as a commented TOML file. Printed by
`brooder check --keys`; config/every-key.toml is the same text, held true by a test. And
the configuration in force, key by key, for `brooder check` and the page."""

import json
from datetime import time
from typing import Any, get_origin

from pydantic import BaseModel, SecretStr
from pydantic.fields import FieldInfo

from monitor.measures import length_shown
from monitor.settings.faults import SECRETS, is_secret, model_in, spellings
from monitor.settings.file_model import FileSettings
from monitor.settings.load import Settings, masked
from monitor.units import Unit, step_shown
from monitor.units import shown as unit_shown

HEAD = """\
# Every key of the configuration, its default, and what it must be.
# Not a configuration to run: copy from here into yours. Keys without a default are "required"
# or "left out". Any key can be set in the environment: [site] name as BROODER_SITE__NAME, the
# first contact's url as BROODER_CONTACTS__0__URL. A secret can stand in a file of its own: name
# the file with the key plus _file, for example url_file = "contact".
"""


def every_key() -> str:
    lines = [HEAD]
    for name, field in FileSettings.model_fields.items():
        inner = model_in(field.annotation)
        if inner is not None:
            lines += _table(name, field, inner, "")
    return "\n".join(lines).rstrip() + "\n"


def _table(path: str, field: FieldInfo, model: type[BaseModel], indent: str) -> list[str]:
    many = get_origin(field.annotation) is tuple
    lines = [f"# {indent}[[{path}]]" if many else f"# {indent}[{path}]"]
    doc = " ".join((model.__doc__ or "").split())
    lines[0] += f"   {doc.split(':', 1)[-1].strip()}" if ":" in doc else ""
    tables: list[str] = []
    own_first = sorted(
        model.model_fields.items(), key=lambda one: one[0] not in model.__annotations__
    )
    for name, inner_field in own_first:
        inner = model_in(inner_field.annotation)
        if inner is None:
            secret = (
                "; or name a file with " + name + "_file"
                if name in SECRETS and is_secret(inner_field)
                else ""
            )
            want = inner_field.description or ""
            written = spellings(name, model)[0]
            unit = "" if written == name else " C" if name.endswith("_c") else " m"
            lines.append(f"# {indent}{written} = {_default(inner_field, unit)}   # {want}{secret}")
        elif inner.__name__ == "ScheduleRowSettings":
            lines.append(
                f'# {indent}{name} = [{{ from_day = 0, target = "95 F" }}]   '
                f"# {inner_field.description}"
            )
        else:
            tables += _table(f"{path}.{name}", inner_field, inner, indent + "  ")
    return [*lines, "#", *tables] if tables else [*lines, "#"]


def _default(field: FieldInfo, unit: str) -> str:
    if field.is_required():
        return "(required)"
    value: Any = field.get_default(call_default_factory=True)
    if value is None or isinstance(value, SecretStr):
        return "(left out)"
    if isinstance(value, bool):
        return "true" if value else "false"
    if unit:
        return f'"{value:g}{unit}"'
    if isinstance(value, time):
        return f'"{value:%H:%M}"'
    return json.dumps(list(value) if isinstance(value, tuple) else value, default=str)


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
