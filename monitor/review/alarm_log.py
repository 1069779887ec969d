"""Alarm changes gathered into occurrences: raised, acknowledged, cleared. For log and picture."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.review.scene import AlarmBar
from monitor.watch.events import AlarmName, Cause, Change, ChangeKind, Facts, Priority


@dataclass(frozen=True, slots=True, kw_only=True)
class Occurrence:
    """One alarm from raised to cleared (None: not over when the record ends)."""

    alarm: AlarmName
    brooder: str | None
    probe: str | None
    priority: Priority
    cause: Cause
    raised: float
    acknowledged: float | None
    by: str | None
    cleared: float | None
    facts: Facts  # of the raising, with what clearing adds (extreme, duration)

    def overlaps(self, start: float, stop: float) -> bool:
        """Was it active at some time in start <= time < stop?"""
        return self.raised < stop and (self.cleared is None or self.cleared >= start)

    def bar(self) -> AlarmBar:
        """For the picture."""
        return AlarmBar(
            alarm=self.alarm,
            priority=self.priority,
            raised=self.raised,
            cleared=self.cleared,
            acknowledged=self.acknowledged,
        )


def occurrences(changes: Iterable[Change]) -> list[Occurrence]:
    """In order of raising. One whose raising lies before the changes given is left out."""
    found: dict[str, list[Change]] = {}
    for change in changes:
        key = change.occurrence or f"{change.brooder}/{change.alarm}/{change.probe}/{change.at}"
        found.setdefault(key, []).append(change)
    whole = [_one(group) for group in found.values() if _of(group, ChangeKind.RAISED)]
    return sorted(whole, key=lambda occurrence: occurrence.raised)


def _one(group: list[Change]) -> Occurrence:
    raised = _of(group, ChangeKind.RAISED)
    assert raised is not None
    acknowledged = _of(group, ChangeKind.ACKNOWLEDGED)
    cleared = _of(group, ChangeKind.CLEARED)
    facts: Facts = {**raised.facts, **(cleared.facts if cleared else {})}
    return Occurrence(
        alarm=raised.alarm,
        brooder=raised.brooder,
        probe=raised.probe,
        priority=raised.priority,
        cause=raised.cause,
        raised=raised.at,
        acknowledged=None if acknowledged is None else acknowledged.at,
        by=None if acknowledged is None else acknowledged.facts.get("by"),
        cleared=None if cleared is None else cleared.at,
        facts=facts,
    )


def _of(group: list[Change], kind: ChangeKind) -> Change | None:
    return next((change for change in group if change.change is kind), None)
