"""The floor getting too hot: a slipped lamp told from a chick on the probe. Held by `thermal`.

A probe with a chick on it comes to rest below the chick's own skin, and soon; one under a lamp
heads for more. Where it is heading is foretold from its last two means: what follows an
exponential is `slope x lag` short of its end."""

from collections.abc import Sequence

from monitor.brooding.chick_skin import CHICK_SKIN_C
from monitor.events import State
from monitor.site import Limits
from monitor.thermal.track import NEVER, Track

_NEW_S = 120.0  # an older word says nothing of where it is heading
_LAG_MIN = 1.3  # of a probe in its sleeve
_ABOVE_K = 1.0  # heading this far above a chick: no chick
_FAR_ABOVE_K = 3.0  # and this far: one look is enough
_FAST_K_PER_MIN = 0.4  # slower than this is weather, and the band alarms tell it
_HOLD_S = 780.0  # a chick sits for some minutes


class Rise:
    """The present rise of any floor probe."""

    __slots__ = ("_fast", "_last", "_sure", "hold_until", "overheat", "started")

    def __init__(self) -> None:
        self.started: float | None = None  # when some floor probe began to rise quickly
        self.hold_until: float | None = None
        self.overheat = False
        self._sure = 0
        self._fast = NEVER  # when one last rose quickly
        self._last: dict[str, tuple[float, float, float]] = {}  # tick, degC, K/min

    def judge(
        self, tick: float, tracks: Sequence[Track], target_c: float | None, limits: Limits
    ) -> None:
        """Look at the latest means of the floor probes."""
        if target_c is None:
            self.started = self.hold_until = None
            self.overheat = False
            return
        high_c = target_c + limits.band_c
        harm_c = target_c + limits.harm_c
        hottest = -1e9
        headed = -1e9
        fast = False
        for track in tracks:
            if track.level is None or tick - track.last_tick > _NEW_S:
                continue
            now_c = track.mean
            then, then_c, slope = self._last.get(track.key, (track.last_tick, now_c, 0.0))
            span_min = (track.last_tick - then) / 60.0
            if track.held is None:  # a jump that is not borne out yet has no slope
                if span_min > 0.2:
                    slope = (now_c - then_c) / span_min
                self._last[track.key] = (track.last_tick, now_c, slope)
            hottest = max(hottest, now_c)
            if slope > _FAST_K_PER_MIN and now_c > track.level + 0.5:
                fast = True
                headed = max(headed, now_c + _LAG_MIN * slope)
        if fast:
            if self.started is None or tick - self._fast > _HOLD_S:
                self.started = tick
            self._fast = tick
        elif hottest < high_c and self.started is not None and tick - self.started > 120.0:
            self.started = None
        limit_c = max(harm_c, CHICK_SKIN_C + _ABOVE_K)
        above = hottest > high_c and max(hottest, headed) > limit_c
        self._sure = self._sure + 1 if above else 0
        if self._sure >= 2 or hottest > limit_c or (above and headed > limit_c + _FAR_ABOVE_K):
            self.overheat = True
        if self.overheat and hottest < high_c:
            # what a slow probe said last holds until it is silent: the lamp lies on that one
            heard = [t.mean for t in tracks if tick - t.last_tick <= limits.silent_s]
            self.overheat = max(heard, default=hottest) >= high_c
        held = (
            self.started is not None
            and not self.overheat
            and tick < self.started + _HOLD_S
            and hottest < CHICK_SKIN_C
        )
        self.hold_until = self.started + _HOLD_S if held and self.started is not None else None

    def state(self) -> State:
        """What is needed to go on after a restart."""
        return {
            "started": self.started,
            "hold_until": self.hold_until,
            "overheat": self.overheat,
            "sure": self._sure,
            "fast": self._fast,
            "last": {key: list(row) for key, row in self._last.items()},
        }

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`."""
        self.started = None if state["started"] is None else state["started"] + shift_s
        self.hold_until = None if state["hold_until"] is None else state["hold_until"] + shift_s
        self.overheat = bool(state["overheat"])
        self._sure = int(state["sure"])
        self._fast = float(state["fast"]) + shift_s
        self._last = {
            key: (float(t) + shift_s, float(c), float(slope))
            for key, (t, c, slope) in state["last"].items()
        }
