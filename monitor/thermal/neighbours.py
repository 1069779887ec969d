"""What is remembered of one probe beside the others of its box, and who they are. Held by
`probe_health`, which has its parts judge by it."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from monitor.kept import NEVER, Kept, Tick
from monitor.thermal import own_way
from monitor.thermal.diagnosis import FaultKind
from monitor.thermal.track import Track

CHECK_S = 60.0  # how often all of them are looked at

Suspect = tuple[FaultKind, float, str]  # kind, how long to confirm (s), reason


@dataclass(slots=True, eq=False)
class Neighbours(Kept):
    """What one probe differs from the others by, and how that came about."""

    recent: float | None = None  # difference to the others, over some ten minutes
    slow: float | None = None  # the same, over some forty
    base: float | None = None  # the difference that is usual
    checks: int = 0
    own: float | None = None  # what it said itself over some hours
    torn: float = 0.0  # share of its readings that jump and come back
    beside: float | None = None  # the others over some twenty minutes
    moved_tick: Tick = NEVER  # when this one last changed, as last looked at
    company: str = ""  # whom it was held against then
    others_low: float = 0.0  # how they moved since
    others_high: float = 0.0
    fell_from_c: float | None = None  # it fell within minutes, from there
    fell_tick: Tick = NEVER  # when that began
    others_fell_k: float = 0.0  # the most that another has come down by since
    fell: FaultKind | None = None  # it alone did, as no floor can
    way: own_way.Way = field(default_factory=list)
    astray: tuple[float, float, Tick] | None = None  # how far, from which difference, since when
    # What is beside it, lowest and highest, since it says just that in Fahrenheit.
    in_f_of: tuple[float, float] | None = None
    lit: bool = False  # in the lamp's light
    since: dict[FaultKind, Tick] = field(default_factory=dict)  # suspected, since when


def beside(
    track: Track, sound: Sequence[Track]
) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """What the others say, by key: all of them, those that go as it does, and those alike. One
    beneath a lamp goes its own way when the lamp is moved or the birds are."""
    others: dict[str, float] = {}
    peers: dict[str, float] = {}
    alike: dict[str, float] = {}
    for one in sound:
        level = one.level
        if one is not track and level is not None:
            others[one.key] = level
            if one.beneath is track.beneath:
                peers[one.key] = level
                if are_alike(one, track):
                    alike[one.key] = level
    return others, peers, alike


def are_alike(one: Track, other: Track) -> bool:
    """Two of one place go together, but not beneath two lamps."""
    return one.place is other.place and not one.beneath
