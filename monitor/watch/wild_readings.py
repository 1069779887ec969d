"""Readings of one probe that leapt further than a floor can. They are no figure of the night until
the third in a row bears them out. Held by watch.probe_watch."""

from monitor.kept import Kept, Tick, part
from monitor.thermal.course import SPIKE_K
from monitor.thermal.track import CLOSE_S
from monitor.watch.band import SURE_READINGS


@part
class WildReadings(Kept):
    """Those that wait. `since` is the first of them, still with the reading that bears them out."""

    count: int = 0
    since: Tick | None = None
    _from_c: float = 0.0  # the last one before them

    def see(
        self,
        before_c: float | None,
        temp_c: float,
        tick: float,
        gap_s: float,
        calm_c: tuple[float, float],
    ) -> None:
        """A reading at `tick`, degC, `gap_s` after the one `before_c`. Within `calm_c` it changes
        no figure, wherever it came from."""
        from_c = self._from_c if self.count else before_c
        allowed_k = SPIKE_K * max(1.0, gap_s / CLOSE_S)
        calm = calm_c[0] <= temp_c <= calm_c[1]
        if from_c is None or calm or abs(temp_c - from_c) <= allowed_k:
            self.count, self.since = 0, None
            return
        if not self.count:
            self.since, self._from_c = tick, from_c
        self.count = (self.count + 1) % SURE_READINGS
