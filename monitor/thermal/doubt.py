"""Which probes prove nothing just now. Called by `thermal` at every step.

One probe goes its own way far quicker than a box can while the others stay: it fell out, somebody
moved it, a chick sits on it. For ten minutes it is doubted; by then `probe_health` has found what
is wrong with it, or it is believed."""

from collections.abc import Sequence

from monitor.kept import NEVER
from monitor.thermal.track import Track

_APART_K = 3.5  # from its level of the last minutes: no box falls so far in four minutes
_SHARE = 0.2  # the others went less than this share of it
_LONGEST_S = 600.0
_HEARD_S = 90.0


def look(tracks: Sequence[Track], tick: float, step_s: float) -> None:
    """Doubt who goes alone, believe who is back."""
    for track in tracks:
        level = track.level
        if level is None or tick - track.last_tick > step_s:
            continue
        own = abs(track.mean - level)
        if own < _APART_K:
            if own < 0.5 * _APART_K:
                track.doubt_since = NEVER
            continue
        others = [
            abs(other.mean - other.level)
            for other in tracks
            if other is not track and other.level is not None and tick - other.last_tick < _HEARD_S
        ]
        if others and max(others) < _SHARE * own and track.doubt_since == NEVER:
            track.doubt_since = tick


def doubted(tracks: Sequence[Track], tick: float) -> tuple[str, ...]:
    """Keys of those doubted, and of those whose last reading waits for the next one."""
    found = [t for t in tracks if t.held is not None or tick - t.doubt_since < _LONGEST_S]
    return tuple([t.key for t in found]) if found else ()
