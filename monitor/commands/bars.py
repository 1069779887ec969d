"""The progress bar of a long command: on standard error, gone when done; none off a terminal."""

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn


def bar() -> Progress:
    """A bar for tasks with or without a known end."""
    console = Console(stderr=True)
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TaskProgressColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    )
