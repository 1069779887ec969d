"""What the mirror remembers, kept in the journal as JSON: for which target, how far sending has
come, and which days must be sent again. Pure.

A target is a server, an organisation, a bucket and a site's name in it: another one is filled from
the beginning."""

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from operator import le
from typing import Any, Self

from monitor.journal.mirror import influx_schema as schema
from monitor.site import SITE_WIDE

_ALL_HOURS = 2**62  # an hour after all hours: nothing is left of that commit


@dataclass(frozen=True, slots=True)
class Scope:
    """What of a journal is mirrored, and where to."""

    target: str
    site: str
    boxes: frozenset[str] | None = None  # of one of several services; None: of all the site
    site_probes: bool = True  # one of several services sends what the site's own probes say

    def has(self, probe_key: str) -> bool:
        """Does this service send what that probe says?"""
        return self.site_probes or not probe_key.startswith(f"{SITE_WIDE}/")

    def answers_for(self, brooder: str) -> bool:
        """Is all that the bucket holds of this box (or of the site) sent from here?"""
        if self.boxes is None:
            return True
        return brooder in self.boxes


def target_of(url: str, org: str, bucket: str, site: str) -> str:
    """A target's name in the state. A URL may hold a password."""
    said = "\n".join((str(schema.FORM), url, org, bucket, site))
    return hashlib.sha256(said.encode()).hexdigest()[:16]


@dataclass(frozen=True, slots=True)
class Cursor:
    """How far sending has come: every commit up to `seq`, and of the hours that changed last by
    commit `seq` those up to (`hour`, `probe`); the newest entry, alarm change and derived number.
    """

    seq: int = 0
    hour: int = _ALL_HOURS
    probe: int = 0
    entry: int = 0
    change: int = 0
    derived: int = 0

    def after_commit(self, seq: int) -> Self:
        """All of that commit is sent."""
        return replace(self, seq=seq, hour=_ALL_HOURS, probe=0)


@dataclass(frozen=True, slots=True)
class State:
    """What the mirror keeps between two runs."""

    target: str
    cursor: Cursor = Cursor()
    refused: dict[int, int] = field(default_factory=dict)  # by day since 1970: points
    words: str = ""  # why, as the server said it last
    lacking: dict[int, int] = field(default_factory=dict)  # by day: points a comparison missed

    @classmethod
    def of(cls, kept: Any, target: str) -> Self:
        """From what the journal kept; of another target nothing is kept."""
        if not isinstance(kept, dict) or kept.get("target") != target:
            return cls(target)
        refused, lacking = (
            {int(day): number for day, number in kept[name].items()}
            for name in ("refused", "lacking")
        )
        return cls(target, Cursor(**kept["cursor"]), refused, kept["words"], lacking)

    def to_json(self) -> dict[str, Any]:
        return asdict(self)

    def with_refused(self, points: Mapping[int, int], words: str) -> Self:
        """The server would not take so many points of a day."""
        if not points:
            return self
        return replace(self, refused=dict(Counter(self.refused) + Counter(points)), words=words)

    def within(self, end: Cursor) -> Self:
        """A cursor from beyond the journal's end is another journal's: it begins anew."""
        ours, ends = self.cursor, (end.seq, end.entry, end.change, end.derived)
        if all(map(le, (ours.seq, ours.entry, ours.change, ours.derived), ends)):
            return self
        return replace(self, cursor=Cursor())

    def without(self, day: int) -> Self:
        """That day is being sent again."""
        return replace(
            self,
            refused={d: n for d, n in self.refused.items() if d != day},
            lacking={d: n for d, n in self.lacking.items() if d != day},
        )
