"""What the other probes say about a fall of the floor. Called by `thermal` while a fall is weighed.

A probe beneath a lamp loses that lamp's light and keeps the others'; under an open cover it loses
no light at all. The cool end loses as much air as the floor when the cover is off, and far less
when a lamp dies, because it saw little of its light. Each is a normal likelihood with a floor under
it, so that one odd probe cannot outweigh everything."""

from collections.abc import Sequence
from math import exp, log, pi, sqrt

from monitor.site import Brooder, Place
from monitor.thermal.causes import QUICK_S, Explanation, Why
from monitor.thermal.track import Track

_LEAST = 0.002  # likelihood of anything at all
_LEAST_S = 45.0  # after the onset; what a probe said before says nothing
_LEAST_LIGHT_K = 4.0  # a probe that is hardly warmer than the floor sees no lamp


def beneath(brooder: Brooder, probe_name: str) -> int | None:
    """Which source a probe lies under, by its name: `under west lamp`. None: it does not say."""
    words = set(probe_name.lower().replace("-", " ").split())
    fits = [
        index
        for index, source in enumerate(brooder.heat)
        if set(source.name.lower().replace("-", " ").split()) <= words
    ]
    if len(brooder.heat) == 1:
        return 0
    return fits[0] if len(fits) == 1 else None


class Witness:
    """The other probes of a box."""

    __slots__ = ("_cool", "_sources", "_under")

    def __init__(self, brooder: Brooder, tracks: Sequence[Track]) -> None:
        names = {probe.key: probe.name for probe in brooder.probes}
        self._under = [
            (track, beneath(brooder, names[track.key]))
            for track in tracks
            if track.place is Place.UNDER_HEAT
        ]
        self._cool = [track for track in tracks if track.place is Place.COOL_END]
        self._sources = len(brooder.heat)

    def weight(
        self, one: Explanation, *, begun: float, floor_ref_c: float, fallen_k: float
    ) -> float:
        """What they add to the log weight of `one`. `begun` is when the fall began, `floor_ref_c`
        the floor before it, `fallen_k` how far it has come down since."""
        total = 0.0
        for track, index in self._under:
            light_k = track.ref - floor_ref_c
            since_s = track.last_tick - begun
            if light_k < _LEAST_LIGHT_K or since_s < _LEAST_S:
                continue
            gone = 1.0 - exp(-since_s / QUICK_S)
            lost = (track.ref - track.last_c - fallen_k) / light_k
            total += log(max(_LEAST, self._light(one, index, lost, gone, fallen_k / light_k)))
        if fallen_k > 0.7:
            for track in self._cool:
                if track.last_tick - begun < _LEAST_S:
                    continue
                share = (track.ref - track.last_c) / fallen_k
                blur = 0.2 / fallen_k
                if one.why is Why.LAMP:
                    like = _normal(share, 0.37, 0.14 + blur)
                elif one.why is Why.COVER:
                    like = _normal(share, 1.1, 0.35 + blur)
                elif one.why is Why.PROBE:
                    like = _normal(share, 0.0, 0.1 + blur)
                else:
                    like = _normal(share, 0.6, 0.4 + blur)
                total += log(max(_LEAST, like))
        return total

    def _light(
        self, one: Explanation, index: int | None, lost: float, gone: float, fallen: float
    ) -> float:
        """Likelihood of the share of its light that an under-heat probe has lost."""
        if one.why is Why.PROBE:
            return _normal(lost, -fallen, 0.15)
        if one.why is Why.COVER:
            return _normal(lost, 0.0, 0.12)
        if one.why is Why.SMALL:
            return _normal(lost, 0.15, 0.15)
        under = _normal(lost, 0.85 * gone, 0.25)
        beside = _normal(lost, -0.08, 0.12)
        if len(one.sources) == self._sources:
            return under
        if index is not None:
            return under if index in one.sources else beside
        odds = len(one.sources) / self._sources
        return odds * under + (1.0 - odds) * beside


def _normal(value: float, mean: float, sd: float) -> float:
    return exp(-0.5 * ((value - mean) / sd) ** 2) / (sd * sqrt(2.0 * pi))
