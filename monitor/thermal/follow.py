"""How the floor of a box follows the outside. Held by `thermal_watch`, asked by `answers`.

The floor stands at a level and goes with the outside by a share of it, late: birds make more heat
in the cold and draw together, a thermostat gives more, the ground stays as it is, and litter and
walls take hours. Level and share are learned by night from means of a quarter of an hour, by least
squares that forget (a Kalman filter of two states). By day nothing is learned of the share: open
covers, the sun and the grower's hands hold a floor where it is, as a thermostat would; nor by an
evening's floor that hands have left where only a smaller share would have it. The figures
are this project's, found on invented nights; tests/bench/bench_tonight.py measures what they do on
others."""

from dataclasses import dataclass
from math import exp, inf
from typing import NamedTuple

from monitor.kept import NEVER, Kept, Tick

FLOOR_SHARE, _SHARE_SD = 0.55, 0.25  # less with a thermostat, all in an empty box without one
_KEPT = 0.1, 0.15  # where a thermostat is said to switch the heat, or seen to switch all of it
_SEEN = 0.3, 0.2  # where one is seen to switch some of it
_LAG_S = 2 * 3600.0
_MEAN_SD_K = 0.4  # of one mean: lamps that cycle, birds that lie down
_WALK_K = 0.15  # of the level, in the root of an hour: wind, birds
_EVENING_SD_K = 0.5  # of the level from one night to the next
# Of an evening: lamps are hung anew and covers laid, for a kelvin or three. A floor that goes less
# with the outside for that says nothing of the share; one that goes more may. Common practice.
_HUNG_SD_K, _HUNG_SDS, _EVENING_S = 1.5, 1.25, 5.5 * 3600.0
_DAY_SD_K = 1.2  # of a night of which only the day before is known
_UNKNOWN_SD_K = 1.5  # of a floor of which a first reading is all that is known
_FAR_SDS = 3.0  # means so far off are another box: lamps were moved
_UNMEASURED_SD_K = 0.8
_AT_ONCE_S = 1.0
_AWAY_S = 4 * 3600.0  # unheard for longer: the outside is felt as it is


class Following(NamedTuple):
    """Where a floor settles at the outside that it feels now, and how it goes with it."""

    level_c: float
    level_var: float
    share: float  # of a change outside; 0: none of it
    share_var: float
    both: float  # covariance of level and share
    felt_c: float  # the outside as the floor feels it by now
    lag_s: float = _LAG_S
    spare_k: float = inf  # so much colder than `felt_c` all heat is lit, and holds no more
    dips_k: float = 0.0  # below that a thermostat lets it go, again and again
    switched: bool = False  # by a thermostat, that makes up for wind as well


def unmeasured(floor_c: float, felt_c: float, *, known: bool, at_once: bool) -> Following:
    """Where no outside is measured: by the share that a floor is taken to feel. `known`: the floor
    was watched for a while; `at_once`: what is foretold is what the floor itself has shown."""
    sd_k = _UNMEASURED_SD_K if known else _UNKNOWN_SD_K
    lag_s = _AT_ONCE_S if at_once else _LAG_S
    return Following(floor_c, sd_k**2, FLOOR_SHARE, 0.0, 0.0, felt_c, lag_s)


@dataclass(slots=True, init=False, eq=False)
class Follow(Kept):
    """Level and share of one floor."""

    _level_c: float | None  # None: nothing was heard
    _share: float
    _v_level: float
    _both: float
    _v_share: float
    _felt_c: float
    _tick: Tick
    _by_night: bool  # the level is that of a night
    switched: bool
    _far_k: float | None  # how far off the last mean was, if it was another box's
    _day: Tick = NEVER  # of the last mean by day; NEVER: what was hung since is known

    def __init__(self, *, thermostat: bool = False) -> None:
        """`thermostat`: one is known to switch the heat."""
        self._level_c = self._far_k = None
        self._share, self._v_share = FLOOR_SHARE, _SHARE_SD**2
        self._v_level = self._both = self._felt_c = self._tick = 0.0
        self._by_night = self.switched = False
        self._day = NEVER
        if thermostat:
            self.switched = True
            self._share, self._v_share = _KEPT[0], _KEPT[1] ** 2

    def swings(self, middle_c: float, *, all_heat: bool) -> None:
        """A thermostat is seen to swing the floor around there. `all_heat`: there is no other heat
        than what it switches."""
        if not self.switched:
            self.switched = True
            share, sd = _KEPT if all_heat else _SEEN
            self._share, self._v_share, self._both = share, sd**2, 0.0
            if self._level_c is not None:
                self._level_c, self._v_level = middle_c, _MEAN_SD_K**2

    def see(self, tick: float, floor_c: float, outside_c: float, *, night: bool) -> None:
        """Means over a quarter of an hour."""
        level_c = self._level_c
        if level_c is None:
            self._level_c, self._felt_c, self._tick = floor_c, outside_c, tick
            self._v_level, self._by_night = _MEAN_SD_K**2, night
            return
        gap_s, self._tick = max(0.0, tick - self._tick), tick
        before_c = self._felt_c
        kept = exp(-gap_s / _LAG_S) if gap_s < _AWAY_S else 0.0
        self._felt_c = outside_c + kept * (before_c - outside_c)
        warmer_k = self._felt_c - before_c  # the level goes with what is felt of the outside
        self._level_c = level_c + self._share * warmer_k
        self._v_level += 2.0 * warmer_k * self._both + warmer_k * warmer_k * self._v_share
        self._both += warmer_k * self._v_share
        if not night:
            self._day = tick
            if not self._by_night:
                self._level_c, self._both = floor_c, 0.0
                self._v_level = _MEAN_SD_K**2
            return
        self._v_level += _WALK_K**2 * gap_s / 3600.0
        if not self._by_night or gap_s >= _AWAY_S:
            self._v_level += _EVENING_SD_K**2
            self._day = NEVER
        elif tick - self._day < _EVENING_S:
            self._see_hung(floor_c)
        self._by_night = True
        self._correct(floor_c)

    def _see_hung(self, floor_c: float) -> None:
        """Is the floor where only a smaller share would have it, or hands?"""
        assert self._level_c is not None
        off_k = floor_c - self._level_c
        unlikely = off_k * off_k > _HUNG_SDS**2 * (self._v_level + _MEAN_SD_K**2)
        if unlikely and off_k * self._both < 0.0:
            self._v_level += _HUNG_SD_K**2
            self._day = NEVER

    def _correct(self, floor_c: float) -> None:
        assert self._level_c is not None
        off_k = floor_c - self._level_c
        variance = self._v_level + _MEAN_SD_K**2
        if off_k * off_k > _FAR_SDS**2 * variance:
            # One alone is none, nor is a floor on its way back.
            far_k, self._far_k = self._far_k, off_k
            if far_k is None or abs(off_k) < abs(far_k):
                return
            self._v_level += off_k * off_k
            variance += off_k * off_k
        self._far_k = None
        gain, share_gain = self._v_level / variance, self._both / variance
        self._level_c += gain * off_k
        self._share = min(1.0, max(0.0, self._share + share_gain * off_k))
        self._v_share -= share_gain * self._both
        self._both -= share_gain * self._v_level
        self._v_level -= gain * self._v_level

    @property
    def felt_c(self) -> float:
        """The outside as the floor feels it."""
        return self._felt_c

    def loosen(self, sd_k: float) -> None:
        """The level may be another one now."""
        self._v_level += sd_k * sd_k

    def is_since(self, tick: float) -> bool:
        """Was a mean seen since then?"""
        return self._tick > tick

    def at(self, floor_c: float, outside_c: float, *, night: bool, hung: bool = False) -> Following:
        """As it stands. Before anything is learned a floor stays where it is, nor is it known where
        one settles whose heat was `hung` anew."""
        level_c, felt_c, var, both = self._level_c, self._felt_c, self._v_level, self._both
        if level_c is None or hung:
            level_c, felt_c, var, both = floor_c, outside_c, _UNKNOWN_SD_K**2, 0.0
        if not night or not self._by_night:
            var += (_EVENING_SD_K if self._by_night else _DAY_SD_K) ** 2
        return Following(
            level_c, var, self._share, self._v_share, both, felt_c, switched=self.switched
        )
