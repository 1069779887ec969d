"""Alarm changes gathered into occurrences: raised, acknowledged, over. For log and picture.

An alarm that is put aside ends there: nothing is told of it until it is taken up again, and if it
still holds then it is raised anew. Put aside is not mended, though: see `Record.doubted`."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.events import AlarmName, Cause, Change, ChangeKind, Facts, Priority
from monitor.watch.incidents import SWING_S, SWINGING


@dataclass(frozen=True, slots=True, kw_only=True)
class Occurrence:
    """One alarm from raised to cleared, or to when it was put aside (both None: not over when the
    record ends)."""

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
    put_aside: float | None = None
    taken_up: float | None = None  # again; before it was, when it was meant to be
    told: bool = True  # by itself; else it was part of what was told already

    @property
    def over(self) -> float | None:
        """When nothing more was told of it; None: it was still told when the record ends."""
        return self.put_aside if self.cleared is None else self.cleared

    def overlaps(self, start: float, stop: float) -> bool:
        """Was it active at some time in start <= time < stop?"""
        return self.raised < stop and (self.over is None or self.over >= start)


def occurrences(changes: Iterable[Change]) -> list[Occurrence]:
    """In order of raising. One whose raising lies before the changes given is left out."""
    found: dict[str, list[Change]] = {}
    for change in changes:
        key = change.occurrence or f"{change.brooder}/{change.alarm}/{change.probe}/{change.at}"
        found.setdefault(key, []).append(change)
    whole = [_one(group) for group in found.values() if _of(group, ChangeKind.RAISED)]
    return sorted(whole, key=lambda occurrence: occurrence.raised)


def gathered(alarms: Iterable[Occurrence]) -> list[list[Occurrence]]:
    """In order of raising, those together by which a floor that a thermostat swings about the edge
    of its band went out of it over and over."""
    rows: list[list[Occurrence]] = []
    for alarm in alarms:
        row = next((row for row in reversed(rows) if _is_like(row[-1], alarm)), None)
        if row is not None and _swings(row[-1], alarm):
            row.append(alarm)
        else:
            rows.append([alarm])
    return rows


def _is_like(one: Occurrence, other: Occurrence) -> bool:
    same = (one.alarm, one.brooder, one.probe, one.priority, one.cause)
    return same == (other.alarm, other.brooder, other.probe, other.priority, other.cause)


def _swings(before: Occurrence, alarm: Occurrence) -> bool:
    """Did it come back within the hour, and nobody answered?"""
    if alarm.alarm not in SWINGING or before.cleared is None:
        return False
    unanswered = before.acknowledged is None and alarm.acknowledged is None
    return unanswered and alarm.put_aside is None and alarm.raised - before.cleared < SWING_S


def _one(group: list[Change]) -> Occurrence:
    raised = _of(group, ChangeKind.RAISED)
    assert raised is not None
    acknowledged = _of(group, ChangeKind.ACKNOWLEDGED)
    cleared = _of(group, ChangeKind.CLEARED)
    aside = _of(group, ChangeKind.SHELVED) if cleared is None else None
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
        told=not raised.facts.get("folded"),
        put_aside=None if aside is None else aside.at,
        taken_up=None if aside is None else _taken_up(group, aside),
    )


def _taken_up(group: list[Change], aside: Change) -> float | None:
    again = _of(group, ChangeKind.UNSHELVED)
    return aside.facts.get("until") if again is None else again.at


def _of(group: list[Change], kind: ChangeKind) -> Change | None:
    return next((change for change in group if change.change is kind), None)
