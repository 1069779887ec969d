"""When it is told that nobody watched. Used by `notification_plan`; pure.

The first time at once, and each time where a floor is not right by then or it was for long. Where
the power flickers and every floor is well, what follows is told together: an hour later, then two,
then four, so that a night of it is a few words and no siren that somebody switches off."""

from dataclasses import replace
from math import inf

from monitor.events import Change
from monitor.kept import NEVER, Kept, Tick, part
from monitor.watch.status import SiteStatus
from monitor.watch.watcher import LONG_GAP_S, down_s

_EVERY_S, _MOST_S = 3600.0, 4 * 3600.0


@part
class GapsTold(Kept):
    _waiting: list[Change]
    _told: Tick = NEVER
    _every_s: float = _EVERY_S

    def __init__(self) -> None:
        self._waiting = []

    def take(self, change: Change, tick: float, status: SiteStatus | None) -> Change | None:
        """What is to be told of it now; None: later, with what comes until then."""
        flickers = bool(self._waiting)
        self._waiting.append(change)
        soon, short = tick < self._told + self._every_s, down_s(change.facts) < LONG_GAP_S
        if soon and short and _is_well(change, status):
            return None
        if not soon:
            self._every_s = min(2 * self._every_s, _MOST_S) if flickers else _EVERY_S
        return self._all(tick)

    @property
    def due(self) -> float:
        """The tick at which those that wait are told; endless: none waits."""
        return self._told + self._every_s if self._waiting else inf

    def take_due(self, tick: float) -> Change:
        """All that wait, as one; the next come later still."""
        self._every_s = min(2 * self._every_s, _MOST_S)
        return self._all(tick)

    def _all(self, tick: float) -> Change:
        first, last = self._waiting[0].facts, self._waiting[-1]
        facts = last.facts.copy()
        if len(self._waiting) > 1:
            facts["times"] = len(self._waiting)
            facts["down_s"] = sum(down_s(change.facts) for change in self._waiting)
            if not all("down_from" in change.facts for change in self._waiting):
                del facts["down_s"]
            for name in ("down_from", "before_c"):
                facts.pop(name, None)  # type: ignore[misc]
                if name in first:
                    facts[name] = first[name]
        self._waiting, self._told = [], tick
        return replace(last, facts=facts)


def _is_well(change: Change, status: SiteStatus | None) -> bool:
    """Has every floor been heard since, and is it in its band?"""
    boxes = [] if status is None else [box for box in status.brooders if box.batch is not None]
    since = change.facts.get("down_to", inf)
    return bool(boxes) and all(box.in_band and (box.temp_at or 0.0) >= since for box in boxes)
