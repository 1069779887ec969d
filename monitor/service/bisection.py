"""Parts of a batch, to find the record in it that a database will not take. Pure; used by
`writer`."""

from collections.abc import Iterator
from typing import Any

from monitor.journal.records import Commit

_LISTS = ("inputs", "samples", "changes", "outbox", "outcomes", "refused")


def halves(batch: Commit) -> tuple[Commit, Commit] | None:
    """The batch in two, in order; None: there is but one record in it."""
    records = list(_records(batch))
    if len(records) < 2:
        return None
    middle = len(records) // 2
    return _batch(records[:middle], batch), _batch(records[middle:], batch)


def shown(batch: Commit) -> str:
    """A batch of one record, for the log."""
    return "; ".join(f"{name}: {str(value)[:200]}" for name, value in _records(batch)) or "nothing"


def _records(batch: Commit) -> Iterator[tuple[str, Any]]:
    for name in _LISTS:
        for item in getattr(batch, name):
            yield name, item
    # Last, because they speak of everything before them.
    for name, state in batch.snapshots.items():
        yield "snapshots", (name, state)
    if batch.redelivery_marks:
        yield "redelivery_marks", batch.redelivery_marks


def _batch(records: list[tuple[str, Any]], of: Commit) -> Commit:
    part = Commit(advanced_to=of.advanced_to)
    for name, value in records:
        if name == "snapshots":
            part.snapshots[value[0]] = value[1]
        elif name == "redelivery_marks":
            part.redelivery_marks = value
        else:
            getattr(part, name).append(value)
    return part
