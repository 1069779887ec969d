"""The floor getting too hot: a slipped lamp, a stuck thermostat or the sun told from a chick on the
probe. Held by `thermal_watch`.

A probe with a chick on it is never above the chick's own skin; what is beyond that, or climbs
towards harm at a steady pace, is heat. Figures are this project's (assumed); tests/bench measures
what they do."""

from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter

from monitor.brooding.chick_skin import CHICK_SKIN_C
from monitor.kept import Kept, Tick
from monitor.site import Limits
from monitor.thermal.climb import Climb
from monitor.thermal.track import Track

_ABOVE_K = 1.0  # above a chick's skin: no chick
_BORNE_OUT, _BORNE_OUT_S = 3, 50.0  # readings that say so, one after the other, over so long
_AHEAD_MIN = 10.0  # a climb that is harm by then is told as that
_MEAN = attrgetter("mean")


@dataclass(slots=True, eq=False)
class Rise(Kept):
    """The present rise of any floor probe."""

    overheat: bool = False
    _since: Tick = 0.0  # first of the readings that say it is too hot
    _count: int = 0  # how many there were
    _heard: Tick = 0.0  # the latest of them

    def judge(
        self,
        tick: float,
        tracks: Sequence[Track],
        target_c: float | None,
        limits: Limits,
        climb: Climb,
        *,
        pulses: bool,
    ) -> None:
        """Look at the latest means of the floor probes. `pulses`: a thermostat brings them up, for
        no longer than the time before."""
        if target_c is None:
            self.overheat = False
            self._count = 0
            return
        high_c = target_c + limits.band_c
        harm_c = target_c + limits.harm_c
        heard = [t for t in tracks if t.held is None and t.is_new(tick)]
        if not heard:
            return
        hottest = max(heard, key=_MEAN)
        ahead_c = climb.in_minutes(_AHEAD_MIN)
        climbs = ahead_c is not None and ahead_c > harm_c and not pulses
        above = hottest.mean > max(harm_c, CHICK_SKIN_C + _ABOVE_K)
        self._bear_out(hottest, above or climbs)
        if self._count >= _BORNE_OUT and self._heard - self._since >= _BORNE_OUT_S:
            self.overheat = True
        if self.overheat and hottest.mean < high_c and not climbs:
            # what a slow probe said last holds until it is silent: the lamp lies on that one
            late = [t.mean for t in tracks if tick - t.last_tick <= limits.silent_s]
            self.overheat = max(late, default=hottest.mean) >= high_c

    def _bear_out(self, track: Track, hot: bool) -> None:
        if not hot:
            self._count = 0
        elif self._count == 0:
            self._count, self._since = 1, track.last_tick
            self._heard = track.last_tick
        elif track.last_tick > self._heard:
            self._count += 1
            self._heard = track.last_tick
