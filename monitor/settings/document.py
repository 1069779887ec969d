"""Every key there is, with its default and what it must be, as a commented TOML file. Printed by
`brooder check --keys`; config/every-key.toml is the same text, held true by a test."""

import json
from datetime import time
from typing import Any, get_origin

from pydantic import BaseModel, SecretStr
from pydantic.fields import FieldInfo

from monitor.settings.faults import SECRETS, is_secret, model_in, spellings
from monitor.settings.file_model import FileSettings

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
