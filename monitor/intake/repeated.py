"""Knows a stamped reading that came before. Pure; used by the core for every reading.

A probe that keeps what was not acknowledged may say it once more as a new message: after its power
failed, or where it knows no DUP. If it stamps its readings, the same probe, time and value is the
same reading, whatever message brings it. Without a stamp nothing tells a repeated reading from a
new one of the same value."""

from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field

KEPT = 160  # of a probe: what deploy/probe may have on its way at once, 8 messages of 20 readings
_PER_DEGREE = 10_000  # as the journal keeps it


class StampedMemory:
    """The latest readings of each probe, in whole milliseconds and ten-thousandths of a degree."""

    def __init__(self, kept: int = KEPT) -> None:
        self._kept = kept
        self._latest: dict[str, _Latest] = {}

    def recall(self, probe: str, pairs: Iterable[tuple[float, float]]) -> None:
        """At start, from the journal: (Unix seconds, degC)."""
        for at, temp_c in pairs:
            self.is_repeated(probe, at, temp_c)

    def is_repeated(self, probe: str, at: float, temp_c: float) -> bool:
        """Was this reading taken before? Else it is taken note of."""
        latest = self._latest.get(probe)
        if latest is None:
            latest = self._latest[probe] = _Latest()
        return latest.had(round(at * 1000), round(temp_c * _PER_DEGREE), self._kept)


@dataclass(slots=True)
class _Latest:
    at_ms: "array[int]" = field(default_factory=lambda: array("q"))
    temps: "array[int]" = field(default_factory=lambda: array("i"))
    newest_ms: int = -1

    def had(self, at_ms: int, temp: int, kept: int) -> bool:
        if at_ms <= self.newest_ms:  # else there is nothing to look for
            for place, known_ms in enumerate(self.at_ms):
                if known_ms == at_ms and self.temps[place] == temp:
                    return True
        self.newest_ms = max(self.newest_ms, at_ms)
        self.at_ms.append(at_ms)
        self.temps.append(temp)
        if len(self.at_ms) >= 2 * kept:
            del self.at_ms[:kept], self.temps[:kept]
        return False
