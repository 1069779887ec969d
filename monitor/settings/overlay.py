"""The file, with the environment and the secret files laid over it. Called by `load`.

`BROODER_SITE__NAME=Hillside` replaces `[site] name`; `BROODER_CONTACTS__0__URL=...` the first
contact's. A key or a variable that ends in `_file` beside a secret names the file that holds it:
`password_file = "/run/secrets/broker"`, `BROODER_CONTACTS__0__URL_FILE=...`."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.settings.cross_checks import WITH_UNIT
from monitor.settings.faults import SECRETS, WrongSetting, key_of
from monitor.settings.reading import LONGEST_SECRET, Unreadable, read_text

PREFIX = "BROODER_"
# Of the commands, which may be given beside any configuration.
NOT_SETTINGS = frozenset(
    {
        "BROODER_CONFIG",
        "BROODER_LOG",
        "BROODER_LONG",
        "BROODER_WIRES_PASSWORD",
        "BROODER_PROBE_PASSWORD",
    }
)


def lay_environment(
    raw: dict[str, Any], environ: Mapping[str, str], known: frozenset[str]
) -> tuple[list[WrongSetting], dict[str, str]]:
    """Replaces in `raw` what `environ` sets. Returns what could not be placed, and by key which
    variable set it."""
    faults: list[WrongSetting] = []
    names: dict[str, str] = {}
    for variable in sorted(environ):
        if not variable.startswith(PREFIX) or variable in NOT_SETTINGS:
            continue
        parts: list[str | int] = [
            int(p) if p.isdigit() else p for p in variable[len(PREFIX) :].lower().split("__")
        ]
        if parts[0] not in known:
            faults.append(
                WrongSetting(
                    f"environment variable {variable}",
                    f"names no setting; the first part must be one of {', '.join(sorted(known))}.",
                )
            )
            continue
        names[key_of(tuple(parts))] = variable
        problem = _place(raw, parts, _value(environ[variable]))
        if problem:
            faults.append(WrongSetting(f"environment variable {variable}", problem))
    return faults, names


def _value(text: str) -> Any:
    """Lists and tables come as JSON; everything else stays text, which the model converts."""
    if text[:1] in ("[", "{"):
        try:
            return json.loads(text)
        except (ValueError, RecursionError):
            return text
    return text


def _place(raw: dict[str, Any], parts: list[str | int], value: Any) -> str | None:
    holder: Any = raw
    for index, part in enumerate(parts):
        last = index == len(parts) - 1
        follower: Any = [] if not last and isinstance(parts[index + 1], int) else {}
        if isinstance(part, int):
            if not isinstance(holder, list) or part > len(holder):
                table = key_of(tuple(parts[:index]))
                return f"points at entry {part} of {table}, which has not so many."
            if part == len(holder):
                holder.append(value if last else follower)
            elif last:
                holder[part] = value
            holder = holder[part]
        elif isinstance(holder, dict):
            if last:
                for plain, older in WITH_UNIT.items():
                    if part in (plain, older):  # the other spelling of the same in the file
                        holder.pop(plain if part == older else older, None)
                holder[part] = value
            else:
                holder = holder.setdefault(part, follower)
        else:
            return f"goes into {key_of(tuple(parts[:index]))}, which is not a table."
    return None


def read_secret_files(raw: Any, base: Path, path: tuple[str | int, ...] = ()) -> list[WrongSetting]:
    """Replaces each `SECRET_file` key by the secret it names. Relative paths start at `base`."""
    faults: list[WrongSetting] = []
    if isinstance(raw, list):
        for index, item in enumerate(raw):
            faults += read_secret_files(item, base, (*path, index))
    elif isinstance(raw, dict):
        for key in list(raw):
            secret = key.removesuffix("_file")
            if key.endswith("_file") and secret in SECRETS:
                name = raw.pop(key)
                where = key_of((*path, key))
                try:
                    raw[secret] = read_text(base / str(name), LONGEST_SECRET).strip()
                except (OSError, ValueError, Unreadable) as error:
                    reason = str(error.strerror if isinstance(error, OSError) else error)
                    faults.append(
                        WrongSetting(
                            where,
                            f"is {_shown_name(name, base)}; it must be a file this service may "
                            f"read: {reason.removeprefix('is ')}.",
                        )
                    )
                    raw[secret] = ""
            else:
                faults += read_secret_files(raw[key], base, (*path, key))
    return faults


def _shown_name(name: object, base: Path) -> str:
    """A file's name, where it can be seen to be one: else somebody may have written the secret
    itself where its file's name belongs."""
    hidden = f"(hidden, looked for in {base})"
    if not isinstance(name, str) or "\0" in name:
        return hidden
    path = base / name
    return f'"{name}"' if path.exists() or ("/" in name and path.parent.is_dir()) else hidden
