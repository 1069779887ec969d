"""How a box has kept through its nights: by how much its floor stayed above the band's edge where
it was lowest. Held by `held_heat`; weighed by `coming_night` with what an evening shows.

A warm evening's floor falls with the air until its thermostat goes on, as far as it lets it go.
Nothing has shown that thermostat since the morning, and nothing that it is gone."""

from dataclasses import dataclass

from monitor.kept import Kept
from monitor.thermal.swing import Swing

# Most boxes hold in most nights: what a grower has hung ends up so far over the band's edge, in one
# night of fourteen below it. Assumed.
MOST_OVER_EDGE_K = 2.5
_RESTED = 8  # means: a thermostat that still switched in the last hours had heat to spare
_LAST_COUNTS = 0.5  # the night before as much as all before it


@dataclass(slots=True, eq=False)
class NightsKept(Kept):
    """Of one box with birds. `over_edge_k`: where the next night is to be expected, K; what was
    hung too little is likely to be so again, and what was more than enough promises nothing."""

    over_edge_k: float = MOST_OVER_EDGE_K
    last_low_c: float | None = None  # the lowest mean of the last night
    rests_c: float | None = None  # where a thermostat caught its fall, to the end of it
    _lowest: tuple[float, float] | None = None  # of this night: K above the edge, degC
    _caught_c: float | None = None  # in this night
    _since: int = 0  # means

    def see(
        self, floor_c: float, edge_c: float, *, night: bool, swing: Swing | None = None
    ) -> None:
        """A mean of the floor, its band's edge, and how it swings."""
        if night:
            self._since += 1
            if swing is not None and swing.sure:
                self._caught_c, self._since = swing.middle_c - swing.dips_k, 0
            found = (floor_c - edge_c, floor_c)
            self._lowest = found if self._lowest is None else min(self._lowest, found)
        elif self._lowest is not None:
            (over_k, self.last_low_c), self._lowest = self._lowest, None
            self.rests_c = self._caught_c if self._since <= _RESTED else None
            self._caught_c = None
            over_k = self.over_edge_k + _LAST_COUNTS * (over_k - self.over_edge_k)
            self.over_edge_k = min(MOST_OVER_EDGE_K, over_k)
