"""The rows under the temperatures: what plugs, sensors and switches measured, one low panel each.
Called by `chart`. A plug's row shows its mean watts, so that over weeks a thermostat's share of the
time is seen; a switch's row is filled while the cover is open or the mains off."""

from math import ceil, floor

import numpy as np

from monitor.quantities import CONTACT, MAINS, POWER
from monitor.review.exposure import Floats
from monitor.review.ink import SMALL_PX, Palette, Spec
from monitor.review.local_axis import LocalAxis
from monitor.review.scene import Measure, Scene

_ROW_PX, _STATE_PX = 30, 12
_FINER = 4  # where it can be zoomed into
_NAMES = {MAINS.kind: "mains off"}


class Strips:
    """The rows of one picture. `wide_px` is the width of the drawing, `x` its time axis."""

    def __init__(
        self, scene: Scene, axis: LocalAxis, x: Spec, ink: Palette, *, wide_px: int, moving: bool
    ) -> None:
        self._scene, self._axis, self._x, self._ink = scene, axis, x, ink
        self._wide_px = wide_px
        columns = wide_px * (_FINER if moving else 1)
        self._edges = np.linspace(scene.start, scene.stop, columns + 1)

    def rows(self) -> list[Spec]:
        """One panel a meter, of those that said something worth seeing."""
        made = [self._row(one) for one in self._scene.measures]
        return [row for row in made if row is not None]

    def _row(self, one: Measure) -> Spec | None:
        values = one.values
        if one.quantity.is_state:
            # what is worth seeing: open, off
            values = (values > 0.0).astype(float)
            if one.quantity in (CONTACT, MAINS):
                values = 1.0 - values
        means = self._means(one, values)
        heard = means[~np.isnan(means)]
        if not heard.size or (one.quantity.is_state and not heard.any()):
            return None
        title = f"{one.title}, {one.quantity.sign}"
        if one.quantity.is_state:
            title = _NAMES.get(one.quantity.kind, f"{one.title} open")
            means = np.ceil(means)  # a minute with the cover open is seen in a month
        filled = one.quantity is POWER or one.quantity.is_state  # from nothing up
        low = 0 if filled else floor(heard.min())
        high = 1 if one.quantity.is_state else max(ceil(heard.max()), low + 1)
        return self._panel(means, (low, high), title, filled=filled, state=one.quantity.is_state)

    def _means(self, one: Measure, values: Floats) -> Floats:
        held_s = np.inf if one.quantity.is_state else self._scene.hold_s
        return mean_between(one.times, values, self._edges, held_s)

    def _panel(
        self, means: Floats, ends: tuple[int, int], title: str, *, filled: bool, state: bool
    ) -> Spec:
        ink = self._ink
        rows = [
            {"t": self._axis.position(at), "v": None if value != value else round(value, 1),  # noqa: PLR0124
             "low": ends[0]}
            for at, value in zip(self._edges.tolist(), [*means.tolist(), means[-1]], strict=True)
        ]  # fmt: skip
        axis: Spec | None = None if state else {"values": list(ends)}
        y: Spec = {"type": "quantitative", "title": None, "axis": axis,
                   "scale": {"domain": list(ends), "nice": False, "zero": False}}  # fmt: skip
        area: Spec = {
            "data": {"values": rows},
            "mark": {"type": "area", "interpolate": "step-after", "color": ink.marks,
                     "fillOpacity": 0.35 if filled else 0, "opacity": 1, "clip": True,
                     "line": not state and {"color": ink.marks, "strokeWidth": 1.0},
                     "invalid": "break-paths-show-path-domains"},
            "encoding": {"x": self._x, "y": {"field": "v", **y}, "y2": {"field": "low"}},
        }  # fmt: skip
        words = {"text": title, "fontSize": SMALL_PX, "fontWeight": "bold", "anchor": "start",
                 "frame": "group", "offset": 4}  # fmt: skip
        height = _STATE_PX if state else _ROW_PX
        return {"layer": [area], "width": self._wide_px, "height": height, "title": words}


def mean_between(times: Floats, values: Floats, edges: Floats, hold_s: float) -> Floats:
    """The mean from each edge to the next one, each value (Unix s) held until the next, but no
    longer than `hold_s`; NaN where none was."""
    held_s = np.minimum(np.diff(times, append=np.inf), hold_s)
    which = np.searchsorted(times, edges, side="right") - 1
    at = np.maximum(which, 0)
    into_s = np.where(which < 0, 0.0, np.minimum(edges - times[at], held_s[at]))
    before_s = np.concatenate(([0.0], np.cumsum(held_s[:-1])))
    before = np.concatenate(([0.0], np.cumsum(held_s[:-1] * values[:-1])))
    known_s = np.diff(before_s[at] + into_s)
    total = np.diff(before[at] + values[at] * into_s)
    means = np.full(len(total), np.nan)
    means[known_s > 0.0] = total[known_s > 0.0] / known_s[known_s > 0.0]
    return means
