"""What is wrong with a configuration, one line each: the key, the value, what would be right.

Called by `load`. A secret's value is never repeated."""

import difflib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, get_args

from pydantic import AliasChoices, BaseModel, SecretStr, ValidationError
from pydantic.fields import FieldInfo

_LOG_IN = re.compile(r"[^\s/@:]+:[^\s@]+@")  # name:password@ before a server's name
_LONGEST_SHOWN = 1000
HIDDEN = "(hidden)"
_QUERY = re.compile(r"\?[^?]*=.*", re.DOTALL)
# Keys whose value is a secret, in whatever table: never shown, and read from `KEY_file` as well.
SECRETS = frozenset({"url", "heartbeat_url", "password", "passphrase", "token"})

Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class WrongSetting:
    """One wrong thing: after its key `says` what is wrong, and `right`, if that is apart, what
    would not be."""

    key: str
    says: str
    right: str = ""
    where: str = ""  # a sentence more: whose key it is, and who set it

    def __str__(self) -> str:
        key, right = f"{self.key} " if self.key else "", f"; {self.right}" if self.right else ""
        return f"{key}{self.says}{right}{self.where}"


class SettingsFault(Exception):
    """The configuration cannot be used. `faults` holds every fault found, not only the first."""

    def __init__(self, source: str, faults: Sequence[WrongSetting]) -> None:
        self.source = source
        self.faults = tuple(faults)
        super().__init__("\n".join(f"{source}: {fault}" for fault in faults))


def key_of(path: Path) -> str:
    """A path as a grower would point at it: `brooders[0].probes[1].unit`."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else (f".{part}" if text else part)
    return text


def shown_value(value: object) -> str:
    """A value as it stands in the file, cut short."""
    if isinstance(value, SecretStr):
        return HIDDEN
    try:
        value = _without_secrets(value)
        text = json.dumps(value, ensure_ascii=False, default=str)
    except (TypeError, ValueError):
        text = str(value)
    return text if len(text) <= 80 else text[:77] + "..."


def _without_secrets(value: object) -> object:
    if isinstance(value, Mapping):
        return {
            key: HIDDEN if key in SECRETS else _without_secrets(inner)
            for key, inner in value.items()
        }
    if isinstance(value, list | tuple):
        return [_without_secrets(inner) for inner in value]
    if isinstance(value, str):
        return _url_without_secrets(value)
    return value


def _url_without_secrets(text: str) -> str:
    """A contact's URL where none belongs, or a server's with a password, or with a key in its path
    or query: of these the scheme is shown, and a web server's name."""
    if len(text) > _LONGEST_SHOWN:  # nobody reads it, and looking through it takes minutes
        return f"(a text of {len(text)} characters)"
    scheme, found, rest = text.partition("://")
    if not found or not rest:
        return _QUERY.sub("?(hidden)", _LOG_IN.sub("(hidden)@", text))
    server, *more = re.split(r"[/?#]", rest, maxsplit=1)
    if scheme not in ("http", "https", "ftp") or "@" in rest:
        return f"{scheme}://(hidden)"
    return f"{scheme}://{server}/(hidden)" if any(more) else text


def _kind(value: object) -> str:
    """What stands there, without what it says; a number is no secret."""
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    return "a text" if isinstance(value, str) else shown_value(value)


def from_validation(
    error: ValidationError, model: type[BaseModel], raw: Mapping[str, Any]
) -> list[WrongSetting]:
    """Every error of a validation of `raw` as a fault that says what would be right."""
    errors = error.errors(include_url=False)
    return [
        _fault({**item, "input": _as_given(raw, item)}, model)
        for item in errors
        # A list whose only entry is faulty counts as empty too: the entry's own fault says it all.
        if item["type"] != "too_short"
        or not any(e is not item and e["loc"][: len(item["loc"])] == item["loc"] for e in errors)
    ]


def _as_given(raw: Any, item: Mapping[str, Any]) -> Any:
    """The value as it stands in the file: `200 ft`, which validation knows as 60.96."""
    try:
        for part in item["loc"]:
            raw = raw[part]
    except (LookupError, TypeError):
        return item["input"]
    return raw


def _fault(item: Mapping[str, Any], model: type[BaseModel]) -> WrongSetting:
    path: Path = tuple(item["loc"])
    key = key_of(path)
    holder, field = _look_up(model, path)
    want = field.description if field is not None and field.description else None
    match item["type"]:
        case "extra_forbidden":
            known = {} if holder is None else {n: spellings(n, holder) for n in holder.model_fields}
            near = difflib.get_close_matches(str(path[-1]), sum(known.values(), ()), n=1)
            listed = ", ".join(names[0] for names in known.values())
            hint = f"write {near[0]}" if near else f"known here: {listed}"
            return WrongSetting(key, f"is not a setting; {hint}.")
        case "missing":
            return WrongSetting(key, f"is missing; it must be {want or 'given'}.")
        case "value_error":
            reason = str(item.get("ctx", {}).get("error", item["msg"]))
            value = HIDDEN if is_secret(field) else shown_value(item["input"])
            return WrongSetting(key, f"is {value}", f"{reason}.")
        case _:
            value = _wrong_value(item["input"], field)
            right = f"it must be {want}" if want else item["msg"]
            return WrongSetting(key, f"is {value}", f"{right}.")


def _wrong_value(value: object, field: FieldInfo | None) -> str:
    """Somebody who writes a text where a table belongs (page = "..."), or a list or a table where a
    text does, may have put the secret itself there."""
    if is_secret(field):
        return HIDDEN
    table = field is not None and model_in(field.annotation) is not None
    nested = isinstance(value, Mapping | list | tuple)
    return _kind(value) if value and (table or nested) else shown_value(value)


def is_secret(field: FieldInfo | None) -> bool:
    """Is its value never to be shown?"""
    return field is not None and "SecretStr" in str(field.annotation)


def spellings(name: str, model: type[BaseModel]) -> tuple[str, ...]:
    """How a field may be written in the file, the preferred spelling first."""
    alias = model.model_fields[name].validation_alias
    return tuple(map(str, alias.choices)) if isinstance(alias, AliasChoices) else (name,)


def _look_up(model: type[BaseModel], path: Path) -> tuple[type[BaseModel] | None, FieldInfo | None]:
    """The model that holds the last name of the path, and its field if there is one."""
    holder: type[BaseModel] | None = model
    field: FieldInfo | None = None
    for part in path:
        if isinstance(part, int):
            continue
        names = (
            {}
            if holder is None
            else {s: n for n in holder.model_fields for s in spellings(n, holder)}
        )
        if holder is None or part not in names:
            # A part that names no field is pydantic's own (a union's branch), or the unknown key.
            return holder, field
        found = holder.model_fields[names[part]]
        inner = model_in(found.annotation)
        field = found
        if inner is not None and part is not path[-1]:
            holder = inner
    return holder, field


def model_in(annotation: Any) -> type[BaseModel] | None:
    """The table that a field holds, alone or in a list; None: it is a plain value."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for inner in get_args(annotation) if (found := model_in(inner))), None)


# Which box, probe or contact a fault is about: `probes[2]` must be counted out, and from nought.
_STEP = re.compile(r"(\w+)(?:\[(\d+)\])?")
_CALLED = {
    "brooders": "brooder",
    "probes": "probe",
    "heat": "heat source",
    "contacts": "contact",
}


def pointed(fault: WrongSetting, raw: dict[str, Any], set_by: Mapping[str, str]) -> WrongSetting:
    """The fault with the names on its key's way at the end, where there are any, and the variable
    that set it, where one did. `raw` is the file as read, in whatever shape."""
    names: list[str] = []
    here: object = raw
    for word, index in _STEP.findall(fault.key):
        here = here.get(word) if isinstance(here, dict) else None
        if index and isinstance(here, list):
            here = here[int(index)] if int(index) < len(here) else None
            name = here.get("name") if isinstance(here, dict) else None
            if word in _CALLED and isinstance(name, str) and name:
                names.append(f"{_CALLED[word]} {shown_value(name)}")
    where = f" That is {' of '.join(reversed(names))}." if names else ""
    if fault.key in set_by:
        where += f" The environment variable {set_by[fault.key]} says so."
    return replace(fault, where=where)
