"""Loss by loss on a terminal. Called by the command."""

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

from monitor.review import loss_words
from monitor.review.loss_review import LossReview
from monitor.review.record import Record
from monitor.review.verdict import verdict


def print_losses(console: Console, record: Record, found: Sequence[LossReview]) -> None:
    if not found:
        console.print("No loss was entered for this time.")
        return
    for loss in found:
        console.print(loss_words.heading(loss, record), style="bold")
        console.print(verdict(loss, record))
        console.print(_table(loss, record))
        console.print("Alarms in the 48 hours before:")
        _list(console, loss_words.alarm_words(loss.two_days, record))
        console.print()
    console.print("Other causes to look at, at that age (common practice)", style="bold")
    _list(console, loss_words.other_causes(found))
    console.print()
    console.print("What this can and cannot say", style="bold")
    _list(console, loss_words.CANNOT)
    console.print("Figures that would help to tell:")
    _list(console, loss_words.FIGURES_THAT_MATTER)
    console.print(loss_words.ASK)


def _table(loss: LossReview, record: Record) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("")
    for head in loss_words.heads(loss):
        table.add_column(head, justify="right")
    for row in loss_words.figures(loss, record):
        table.add_row(*row)
    return table


def _list(console: Console, lines: Sequence[str]) -> None:
    """Each line with a hanging indent."""
    grid = Table.grid(padding=(0, 1))
    for line in lines:
        grid.add_row("-", line)
    console.print(grid)
