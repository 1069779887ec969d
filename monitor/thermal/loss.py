"""Heat that went out, from the verdict until it is back. Held by `thermal`."""

from dataclasses import dataclass

from monitor.kept import Tick
from monitor.site import Brooder

_SURE = 0.9  # the source is named as sure
_BACK = 0.65  # of what was lost
_FORGOTTEN_S = 36 * 3600.0  # lost heat that nobody missed for so long is how the box is now


@dataclass(frozen=True, slots=True)
class HeatLoss:
    """Which sources (indices), since when, and the rise before and lost (K)."""

    sources: tuple[int, ...]
    started: Tick
    rise_before_k: float
    lost_k: float
    source_chance: float  # that it was these sources, if heat was lost
    suspects: tuple[int, ...]  # all that may be among them: not seen to work

    def named(self, brooder: Brooder) -> tuple[str, bool, float]:
        """Name, whether it is hardly another one, and watts."""
        watts = sum(brooder.heat[index].watts for index in self.sources)
        sure = self.source_chance > _SURE
        if len(self.sources) > 1:
            return "every heat source", sure, watts
        return brooder.heat[self.sources[0]].name, sure, watts

    def over(self, tick: float, rise_k: float) -> bool:
        """Is the heat back, now that the floor is held `rise_k` above outside?"""
        back = rise_k > self.rise_before_k - (1.0 - _BACK) * self.lost_k
        return back or tick - self.started > _FORGOTTEN_S
