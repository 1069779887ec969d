"""The progress bar of a long command: on standard error, gone when done; none off a terminal."""

from collections.abc import Iterable, Iterator

from rich.console import Console
from rich.progress import (
    BarColumn,
    Progress,
    TaskProgressColumn,
    TextColumn,
    TimeRemainingColumn,
)

MOVE_EVERY = 1 << 16  # characters; a bar moved for each line costs more than reading it


def bar() -> Progress:
    """A bar for tasks with or without a known end."""
    console = Console(stderr=True)
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TaskProgressColumn(),
        TimeRemainingColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    )


def watched(lines: Iterable[str], shown: Progress, what: str, size: int) -> Iterator[str]:
    """The lines of a text of `size` characters, moving the bar as they are read."""
    task = shown.add_task(what, total=size or 1)
    waiting = 0
    for line in lines:
        waiting += len(line)
        if waiting >= MOVE_EVERY:
            shown.update(task, advance=waiting)
            waiting = 0
        yield line
    shown.update(task, completed=size or 1)
