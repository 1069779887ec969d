"""`brooder probes`: what the broker is hearing, which topics are configured, what was refused; and
the verbs below it, `add` and `try`."""

import time
from datetime import datetime
from typing import Annotated, Any

import typer
from rich.table import Table

from monitor.commands.ask import request
from monitor.commands.common import NOT_WELL, ConfigOption, out, settings_or_exit
from monitor.commands.probes_add import add
from monitor.commands.probes_try import attempt
from monitor.measures import span
from monitor.settings import Settings
from monitor.tell.wording.silence_words import heard_but_old
from monitor.units import shown

LISTEN_S = 5.0  # a broker of your own is listened to for this long; probes often say it each 10 s


def register(app: typer.Typer) -> None:
    verb = typer.Typer()
    verb.callback(invoke_without_command=True)(probes)
    verb.command("add")(add)
    verb.command("try")(attempt)
    app.add_typer(verb, name="probes")


def probes(
    ctx: typer.Context,
    wait: Annotated[
        float, typer.Option(help="Seconds to listen for topics that no brooder claims.")
    ] = LISTEN_S,
    config: ConfigOption = None,
) -> None:
    """What the broker hears. The configured probes and their last reading, other topics with the
    configuration lines that would claim them, and messages that could not be read."""
    if ctx.invoked_subcommand is not None:
        return
    settings = settings_or_exit(config)
    said: dict[str, Any] = request(settings, "probes")
    if settings.file.broker is not None and wait > 0:
        # Asking began the listening; what else is said there comes within a few readings.
        time.sleep(min(wait, 60.0))
        said = request(settings, "probes")
    unheard = _configured(settings, said["probes"])
    unheard += _meters(said["meters"])
    _others(said["heard"])
    _refused(settings, said["refused"])
    if unheard:
        raise typer.Exit(NOT_WELL)


def _configured(settings: Settings, rows: list[dict[str, Any]]) -> int:
    table = Table("probe", "place", "topic", "reading", "heard", box=None, pad_edge=False)
    unheard = 0
    for row in rows:
        age_s = row["age_s"]
        never = row["temp_c"] is None or age_s is None
        unheard += never or row["silent"]
        state = "never heard" if never else f"{span(age_s)} ago"
        if row["stamps_old_s"] is not None:
            state = heard_but_old(row["stamps_old_s"])
        elif row["silent"] and not never:
            state += ", silent"
        if row["fault"]:
            state += f", not believed: {row['fault']}"
        table.add_row(
            row["key"],
            row["place"],
            row["topic"],
            "-" if row["temp_c"] is None else shown(row["temp_c"], settings.site.units),
            state,
        )
    out().print("Configured probes", style="bold")
    out().print(table)
    return unheard


def _meters(rows: list[dict[str, Any]]) -> int:
    """Plugs, switches, sensors of something else than temperature."""
    if not rows:
        return 0
    out().print("\nWhat else is measured", style="bold")
    for row in rows:
        age_s = row["age_s"]
        when = "never heard" if age_s is None else f"{span(age_s)} ago"
        out().print(f"{row['place']}: {row['line']}  ({when})")
    return sum(row["silent"] or row["age_s"] is None for row in rows)


def _others(heard: list[dict[str, Any]]) -> None:
    out().print("\nOther topics the broker hears", style="bold")
    if not heard:
        out().print("none")
    for row in heard[:20]:
        out().print(f"{row['topic']}  ({row['count']} times)  {row['excerpt']}")
        for line in row["lines"].splitlines() or ["(nothing in it looks like a temperature)"]:
            out().print(f"    {line}")
    if len(heard) > 20:
        out().print(f"... and {len(heard) - 20} more")


def _refused(settings: Settings, refused: list[dict[str, Any]]) -> None:
    out().print("\nMessages that could not be read", style="bold")
    if not refused:
        out().print("none")
    for row in refused[:20]:
        when = f"{datetime.fromtimestamp(row['last_at'], settings.site.timezone):%a %H:%M}"
        often = f"{row['count']} times, last {when}" if row["count"] > 1 else when
        said = f": {row['excerpt']}" if row["excerpt"] else ""
        out().print(f"{row['topic']}: {row['reason']} ({often}){said}", markup=False)
