"""One floor temperature from all that lies on it. Held by `thermal`, asked at every step.

Two probes of one floor differ by where they lie. How they usually do is learned, so that the floor
does not jump when one of them is away, in doubt or not to be trusted."""

from collections.abc import Sequence

from monitor.kept import NEVER
from monitor.site import Place
from monitor.thermal.diagnosis import Finding
from monitor.thermal.track import Track

_OFFSET_RATE = 0.002  # of a step: how two floor probes differ is learned over half a day
_OFFSET_S = 1200.0  # probes heard within this are compared


class FloorFusion:
    """The probes that are taken for the floor, of all inside."""

    __slots__ = ("_all", "floor", "on_floor", "warmest")

    def __init__(self, tracks: Sequence[Track]) -> None:
        self._all = len(tracks)
        # Without a probe on the floor another one shows falls as well, but not how warm the floor
        # is; only where the cool end is too hot, the floor is.
        self.floor = _first_of(tracks, Place.FLOOR, Place.COOL_END, Place.UNDER_HEAT)
        self.on_floor = any(track.place is Place.FLOOR for track in self.floor)
        self.warmest = [track for track in self.floor if track.place is not Place.UNDER_HEAT]

    def fuse(
        self, tick: float, fresh: list[Track], *, findings: Sequence[Finding], learns: bool
    ) -> float | None:
        """The floor by those that were heard in this step (`fresh`), degC; None: by nobody. Probes
        with `findings` are not trusted. `learns`: all is usual, so their differences are too."""
        floor = self.floor
        read = fresh if len(floor) == self._all else [t for t in fresh if t in floor]
        if len(floor) == 1:
            return read[0].mean if read else None
        trusted = [t for t in floor if t.doubt_since == NEVER]
        if findings:
            bad = {finding.probe for finding in findings}
            trusted = [t for t in trusted if t.key not in bad]
        if len(trusted) < len(floor):
            read = [track for track in read if track in trusted] or (read if not trusted else [])
        if not read:
            return None
        if learns:
            _learn_offsets(trusted, tick)
        return sum(track.mean - (track.offset or 0.0) for track in read) / len(read)

    @property
    def left_alone(self) -> bool:
        """None of them has said anything that counts."""
        return all(track.level is None for track in self.floor)


def _first_of(tracks: Sequence[Track], *places: Place) -> list[Track]:
    for place in places:
        found = [track for track in tracks if track.place is place]
        if found:
            return found
    return []


def _learn_offsets(floor: list[Track], tick: float) -> None:
    heard = [t for t in floor if t.level is not None and tick - t.last_tick < _OFFSET_S]
    if len(heard) < 2:
        return
    mean = sum(track.mean for track in heard) / len(heard)
    for track in heard:
        apart = track.mean - mean
        if track.offset is None:
            track.offset = apart
        else:
            track.offset += _OFFSET_RATE * (apart - track.offset)
