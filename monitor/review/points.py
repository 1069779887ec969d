"""A scene's numbers as the chart's data rows: in the site's units, on the local axis, thinned.
Called by `panels`."""

from collections.abc import Sequence

import numpy as np

from monitor.review.exposure import Trace
from monitor.review.ink import Spec
from monitor.review.local_axis import LocalAxis
from monitor.review.scene import ProbeLine, Scene
from monitor.review.thinning import thinned
from monitor.units import from_celsius

_SYMBOLS = 8  # along a line: enough to follow it, few enough to see it


class Points:
    """Rows of one picture. `columns` is how many pixels wide the detail goes."""

    def __init__(self, scene: Scene, axis: LocalAxis, columns: int) -> None:
        self.scene, self.axis, self.columns = scene, axis, columns

    def temp(self, temp_c: float) -> float:
        """A temperature in the site's units, as fine as any thermometer here."""
        return round(from_celsius(temp_c, self.scene.units), 2)

    def line(self, line: ProbeLine, *, columns: int | None = None) -> list[Spec]:
        """A probe's readings, thinned, with a null in each silence so that the gap stays open."""
        rows: list[Spec] = []
        for piece in line.pieces:
            thin = thinned(
                piece,
                start=self.scene.start,
                stop=self.scene.stop,
                columns=columns or self.columns,
            )
            if not len(thin.times):
                continue
            if rows:
                rows.append({"t": rows[-1]["t"] + 1, "v": None})
            rows += self._rows(thin)
        return rows

    def symbols(self, line: ProbeLine, number: int) -> list[Spec]:
        """A few readings to carry the line's symbol, each line's set aside from the others'."""
        span = self.scene.stop - self.scene.start
        shares = (np.arange(_SYMBOLS) + 0.15 + 0.22 * (number % 4)) / _SYMBOLS
        wanted = self.scene.start + span * shares
        rows = []
        for piece in line.pieces:
            near = np.searchsorted(piece.times, wanted)
            keep = near[(near > 0) & (near < len(piece.times))]
            rows += self._rows(Trace(piece.times[keep], piece.temps_c[keep]))
        return rows

    def envelope(self, lines: Sequence[ProbeLine]) -> list[Spec]:
        """Lowest and highest of all probes per column; null where none was heard. A column is
        never shorter than a reading holds, so a slow probe leaves no false gaps."""
        start, stop = self.scene.start, self.scene.stop
        many = max(int(min(self.columns * 2, (stop - start) / self.scene.hold_s)), 1)
        low, high = np.full(many, np.inf), np.full(many, -np.inf)
        for line in lines:
            for piece in line.pieces:
                trace = piece.between(start, stop)
                column = ((trace.times - start) * (many / (stop - start))).astype(np.int64)
                begins = np.flatnonzero(np.diff(column, prepend=-1))
                if len(begins):
                    at = column[begins]
                    low[at] = np.minimum(low[at], np.minimum.reduceat(trace.temps_c, begins))
                    high[at] = np.maximum(high[at], np.maximum.reduceat(trace.temps_c, begins))
        width = (stop - start) / many
        rows: list[Spec] = []
        for number in range(many):
            row: Spec = {"t": self.axis.position(start + number * width), "low": None, "high": None}
            if low[number] <= high[number]:
                row["low"], row["high"] = (
                    self.temp(float(low[number])),
                    self.temp(float(high[number])),
                )
            rows.append(row)
        return rows

    def treads(self) -> list[Spec]:
        """The target, its band and the chill limit; each tread from its row to the next one."""
        target = self.scene.target
        if not target.treads:
            return []
        # The last tread ends where the span does.
        which = [*range(target.treads), target.treads - 1]
        return [
            self._tread(float(start), tread)
            for start, tread in zip(target.edges, which, strict=True)
        ]

    def reach(self, lines: Sequence[ProbeLine], others: Sequence[float]) -> tuple[float, float]:
        """A scale's ends: all that is drawn, and a little air."""
        seen = list(others)
        for line in lines:
            for piece in line.pieces:
                if len(piece.temps_c):
                    seen.append(self.temp(float(piece.temps_c.min())))
                    seen.append(self.temp(float(piece.temps_c.max())))
        low, high = (min(seen), max(seen)) if seen else (0.0, 1.0)
        air = max((high - low) * 0.06, 0.5)
        return low - air, high + air

    def _tread(self, at: float, tread: int) -> Spec:
        row: Spec = {"t": self.axis.position(at)}
        target = self.scene.target
        for name, levels in (("target", target.target_c), ("low", target.low_c),
                             ("high", target.high_c), ("chill", target.chill_c)):  # fmt: skip
            level = float(levels[tread])
            row[name] = None if np.isnan(level) else self.temp(level)
        return row

    def _rows(self, trace: Trace) -> list[Spec]:
        times = np.round(trace.times * 1000 + self.axis.position(0))
        zero, one = from_celsius(0.0, self.scene.units), from_celsius(1.0, self.scene.units)
        temps = np.round(trace.temps_c * (one - zero) + zero, 2)
        return [{"t": t, "v": v} for t, v in zip(times.tolist(), temps.tolist(), strict=True)]
