"""The command `brooder`: one module a verb, loaded only when that verb is called."""

import gc
import sys
from importlib import import_module
from typing import Annotated

import typer
from typer.exceptions import TyperException

from monitor import __version__
from monitor.commands import early_signals

VERBS = {
    "watch": "watch",
    "set-up": "set_up",
    "check": "check",
    "rehearse": "rehearse",
    "replay": "replay",
    "flock": "flock",
    "acknowledge": "acknowledge",
    "shelve": "shelve",
    "plan": "plan",
    "warm-up": "warm_up",
    "tonight": "tonight",
    "review": "review",
    "contacts": "contacts",
    "probes": "probes",
    "export": "export",
    "import": "import_",
    "backup": "backup",
    "salvage": "salvage",
    "restore": "restore",
    "mirror": "mirror",
    "read-wires": "read_wires",
    "sources": "sources",
}


def build(verb: str | None = None) -> typer.Typer:
    """The command line, with all its verbs or with one. One is enough to run it: the others'
    libraries would cost a small board seconds at every call."""
    app = typer.Typer(
        name="brooder",
        help="Watches the temperature in a brooder and warns the grower early.",
        no_args_is_help=True,
        add_completion=verb is None,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,  # it takes [influx] in a help for markup, and leaves it out
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    # A callback keeps the verb a verb where only one is registered.
    app.callback()(_about)
    for name in [verb] if verb in VERBS else VERBS:
        module = import_module(f"monitor.commands.{VERBS[name]}")
        if hasattr(module, "register"):  # a verb with verbs of its own
            module.register(app)
        else:
            app.command(name)(getattr(module, VERBS[name]))
    return app


def _say_version(asked: bool) -> None:
    if asked:
        typer.echo(f"brooder {__version__}")
        raise typer.Exit


def _about(
    _version: Annotated[
        bool,
        typer.Option(
            "--version", help="Say which version this is.", callback=_say_version, is_eager=True
        ),
    ] = False,
) -> None:
    """Takes what stands before the verb."""


def main() -> None:
    first = sys.argv[1] if len(sys.argv) > 1 else None
    if first == "watch":
        early_signals.heed()
    # What is loaded stays: looking through it for garbage, now and later, is time for nothing.
    gc.disable()
    app = build(first if first in VERBS else None)
    gc.freeze()
    gc.enable()
    try:
        code = app(prog_name="brooder", standalone_mode=False)
    except TyperException as wrong:
        from monitor.commands.refusal import in_one_line  # noqa: PLC0415 - seldom needed

        if line := in_one_line(wrong):
            typer.echo(line, err=True)
        code = 2
    except OSError as fault:
        if fault.filename is None:
            raise
        name = str(fault.filename)
        shown = name if len(name) <= 80 else f"{name[:77]}..."
        typer.echo(f"brooder: {shown}: {fault.strerror}", err=True)
        code = 2
    except typer.Abort:
        code = 130
    sys.exit(code if isinstance(code, int) else 0)
