"""The floor getting too hot: a slipped lamp told from a chick on the probe. Held by `thermal`.

A chick's skin is below 40.5 degC (vent temperature 39.4-40.5, Aviagen "How To 07"), so a probe with a
chick on it stays below that, and one under a lamp does not."""

from collections.abc import Sequence

from monitor.site import Limits
from monitor.watch.events import State
from monitor.watch.track import Track

CHICK_C = 40.5
_HOLD_S = 900.0  # a chick sits for some minutes
_FAST_K_PER_MIN = 0.5
_AHEAD_MIN = 1.5


class Rise:
    """The present rise of any floor probe."""

    __slots__ = ("_last", "hold_until", "overheat", "started")

    def __init__(self) -> None:
        self.started: float | None = None
        self.hold_until: float | None = None
        self.overheat = False
        self._last: dict[str, list[tuple[float, float]]] = {}

    def judge(
        self, tick: float, tracks: Sequence[Track], target_c: float | None, limits: Limits
    ) -> None:
        """Look at the latest means of the floor probes."""
        if target_c is None:
            self.started = self.hold_until = None
            self.overheat = False
            return
        high_c = target_c + limits.band_c
        harm_c = max(target_c + limits.harm_c, CHICK_C)
        hottest = -1e9
        overheat = False
        for track in tracks:
            if track.level is None or tick - track.last_tick > 120.0:
                continue
            past = self._last.setdefault(track.key, [])
            past.append((tick, track.mean))
            while len(past) > 2 and tick - past[0][0] > 100.0:
                del past[0]
            now_c = track.mean
            hottest = max(hottest, now_c)
            span_min = (tick - past[0][0]) / 60.0
            slope = (now_c - past[0][1]) / span_min if span_min > 0.3 else 0.0
            if now_c > high_c:
                if slope > _FAST_K_PER_MIN and self.started is None:
                    self.started = tick - 60.0 * span_min
                if slope > 1.0 and now_c + _AHEAD_MIN * slope > harm_c and now_c > high_c:
                    overheat = True
                if now_c > harm_c:
                    overheat = True
        if overheat:
            self.overheat = True
        if hottest < high_c:
            self.started = None
            self.overheat = False
        self.hold_until = (
            self.started + _HOLD_S
            if self.started is not None
            and not self.overheat
            and tick < self.started + _HOLD_S
            and hottest < CHICK_C
            else None
        )

    def state(self) -> State:
        """What is needed to go on after a restart."""
        return {
            "started": self.started,
            "hold_until": self.hold_until,
            "overheat": self.overheat,
            "last": {key: [list(pair) for pair in past] for key, past in self._last.items()},
        }

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`."""
        self.started = None if state["started"] is None else state["started"] + shift_s
        self.hold_until = None if state["hold_until"] is None else state["hold_until"] + shift_s
        self.overheat = bool(state["overheat"])
        self._last = {
            key: [(float(t) + shift_s, float(c)) for t, c in past]
            for key, past in state["last"].items()
        }
