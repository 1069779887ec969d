"""Which of the probes is held in a hand? The one that warms in the last minutes while the others do
not. Pure; asked by the guided set-up."""

from collections import OrderedDict

LOOK_BACK_S = 180.0
# A sheath of steel at 20 degC takes up several degrees of a hand's 33 within a minute; a room or a
# lamp's thermostat moves it by less. Common practice.
LEAST_RISE_C = 1.5
TIMES_THE_NEXT = 2.0
MOST_PROBES = 300
_MOST_READINGS = 200


class Rising:
    """Readings of the last minutes, by probe."""

    def __init__(self) -> None:
        self._readings: OrderedDict[str, list[tuple[float, float]]] = OrderedDict()

    def note(self, probe: str, temp_c: float, at: float) -> None:
        """A reading; one that was noted before is passed over."""
        kept = self._readings.setdefault(probe, [])
        if kept and kept[-1][0] >= at:
            return
        kept.append((at, temp_c))
        kept[:] = [one for one in kept if one[0] >= at - LOOK_BACK_S][-_MOST_READINGS:]
        while len(self._readings) > MOST_PROBES:
            self._readings.popitem(last=False)

    def rise_c(self, probe: str) -> float:
        """How far it is above its lowest of the last minutes."""
        kept = self._readings.get(probe, [])
        return kept[-1][1] - min(temp_c for _, temp_c in kept) if kept else 0.0

    def in_hand(self) -> str | None:
        """The one that rises, where it is plainly one."""
        ranked = sorted(self._readings, key=self.rise_c, reverse=True)
        if not ranked or self.rise_c(ranked[0]) < LEAST_RISE_C:
            return None
        next_c = self.rise_c(ranked[1]) if len(ranked) > 1 else 0.0
        return ranked[0] if self.rise_c(ranked[0]) >= TIMES_THE_NEXT * next_c else None
