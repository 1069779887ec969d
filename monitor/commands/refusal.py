"""A call that cannot be understood, as one line: the word, and what would be right. Called by
`main` with what the command line's library found wrong."""

import re
import sys

from pydantic import ValidationError
from typer.exceptions import TyperException

_KINDS = {"int": "a whole number", "float": "a number", "bool": "true or false"}


def in_one_line(wrong: TyperException) -> str:
    """The help itself where a command was left out; empty where it has been shown."""
    said = wrong.format_message().strip()
    ctx = getattr(wrong, "ctx", None)
    if not said or said.startswith("Usage:"):
        return said
    return f"{ctx.command_path if ctx is not None else 'brooder'}: {_said(wrong, said, ctx)}"


def _said(wrong: TyperException, said: str, ctx: object) -> str:
    command = getattr(ctx, "command", None)
    param = getattr(wrong, "param", None)
    option = getattr(wrong, "option_name", None)
    if param is not None:
        name = next((o for o in param.opts if o.startswith("--")), param.name)
        return f"{name} {_value(wrong) or _missing(ctx, command)}"
    if unknown := re.fullmatch(r"No such command '(.*)'\.", said):
        verbs = ", ".join(_below(command))
        return f'"{unknown[1]}" is no command; it must be one of {verbs}'
    if said.startswith("No such option"):
        return _unknown(option or "", command)
    option = option or said.partition("'")[2].partition("'")[0]
    if "requires an argument" in said:
        return f"{option} needs a value after it"
    if more := re.fullmatch(r"Got unexpected extra arguments? ?(?:\(s\))? ?\((.*)\)", said):
        return f'"{more[1]}" is one word too many; put words that belong together in quotes'
    return said


def _unknown(option: str, command: object) -> str:
    takes = [verb for verb, one in _below(command).items() if option in _options(one)]
    if takes:
        typed = next((word for word in sys.argv if word in takes), f"a command such as {takes[0]}")
        return f"put {option} after {typed}"
    if re.fullmatch(r"-[0-9]+", option):
        return f"{option} is below zero; write 1 or more"
    return f"{option} is no option; known here: {', '.join([*_options(command), '--help'])}"


def _below(command: object) -> dict[str, object]:
    """Its verbs, where it has some."""
    found: dict[str, object] = getattr(command, "commands", {})
    return found


def _options(command: object) -> list[str]:
    return [o for p in getattr(command, "params", []) for o in p.opts if o.startswith("--")]


def _missing(ctx: object, command: object) -> str:
    words = (one for one in getattr(command, "params", []) if one.param_type_name == "argument")
    places = [one.name.upper() if one.required else f"[{one.name.upper()}]" for one in words]
    return f"is missing; write {' '.join([getattr(ctx, 'command_path', 'brooder'), *places])}"


def _value(wrong: TyperException) -> str:
    """What was given, and what it must be; empty where nothing was given."""
    cause = wrong.__cause__
    if not isinstance(cause, ValidationError):
        missing = "Missing" in wrong.format_message()
        return "" if missing else f"is wrong: {wrong.message}"
    found = cause.errors(include_url=False)[0]
    choices = re.findall(r"'([^']*)'", found["msg"].partition("is not one of")[2])
    if choices:
        right = f"one of {', '.join(choices)}"
    else:
        kind = found["type"].partition("_")[0]
        reason = found["msg"].removeprefix("Input should be ").removeprefix("Value error, ")
        right = _KINDS[kind] if found["type"].endswith("_parsing") and kind in _KINDS else reason
    return f'is "{found["input"]}"; it must be {right}'
