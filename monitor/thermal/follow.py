"""How the floor of a box follows the outside. Held by `thermal_watch`, asked by `answers`.

The floor stands at a level and goes with the outside by a share of it: birds make more heat in the
cold and draw together, a thermostat gives more, the ground stays as it is. Litter and walls take
hours, the air in the box takes none: some of the share comes at once. Level, share and how much of
it comes at once are learned by night from means of a quarter of an hour, by least squares that
forget (a Kalman filter of three states). By day nothing is learned of the share: open covers, the
sun and the grower's hands hold a floor where it is, as a thermostat would; nor by an evening's
floor that hands have left where only a smaller share would have it, nor while one settles after
that. The figures are this project's, found on invented nights; tests/bench/bench_tonight.py
measures what they do on others."""

from dataclasses import dataclass
from math import exp, inf
from typing import NamedTuple

from monitor.kept import NEVER, Kept, Tick

FLOOR_SHARE, _SHARE_SD = 0.55, 0.25  # less with a thermostat, all in an empty box without one
_KEPT = 0.1, 0.15  # where a thermostat is said to switch the heat, or seen to switch all of it
_SEEN = 0.3, 0.2  # where one is seen to switch some of it
_SEEN_NIGHTS_SD = 0.1  # the share is known so well after some nights
_LAG_S = 2 * 3600.0
_SOON_SD = 0.3  # of what comes at once: none of it, before the second night
_WALK = 0.05  # of the share from one night to the next: birds grow, covers are laid otherwise
_MEAN_SD_K = 0.4  # of one mean: lamps that cycle, birds that lie down
_WALK_K = 0.15  # of the level, in the root of an hour: wind, birds
_EVENING_SD_K = 0.5  # of the level from one night to the next
# Of an evening: lamps are hung anew and covers laid, for a kelvin or three. A floor that goes less
# with the outside for that says nothing of the share; one that goes more may. Common practice.
_HUNG_SD_K, _HUNG_SDS, _EVENING_S = 1.5, 1.25, 5.5 * 3600.0
_SETTLES_S, _SETTLING_SD_K = 5400.0, 1.0  # until it stands where they have hung it
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
    soon: float = 0.0  # what of the share comes at once
    soon_var: float = 0.0
    soon_level: float = 0.0  # covariance of the two
    soon_share: float = 0.0

    def goes_k(self, late_k: float, soon_k: float) -> tuple[float, float]:
        """By how much it settles warmer, K, and the variance of that beside the level's, where
        what is felt late is so much warmer and the outside is `soon_k` more ahead of that."""
        var = (
            2.0 * (late_k * self.both + soon_k * (self.soon_level + late_k * self.soon_share))
            + late_k * late_k * self.share_var
            + soon_k * soon_k * self.soon_var
        )
        return self.share * late_k + self.soon * soon_k, var


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
    _hung: Tick = NEVER  # when it was found to be another level by hands
    _ahead_k: float = 0.0  # by so much the outside is above what is felt
    _soon: float = 0.0
    _v_soon: float = 0.0  # until a night is over nothing is learned of it
    _soon_level: float = 0.0
    _soon_share: float = 0.0

    def __init__(self, *, thermostat: bool = False) -> None:
        """`thermostat`: one is known to switch the heat."""
        self._level_c = self._far_k = None
        self._share, self._v_share = FLOOR_SHARE, _SHARE_SD**2
        self._v_level = self._both = self._felt_c = self._tick = 0.0
        self._by_night = self.switched = False
        self._day = self._hung = NEVER
        self._ahead_k = self._soon = self._v_soon = self._soon_level = self._soon_share = 0.0
        if thermostat:
            self.switched = True
            self._share, self._v_share = _KEPT[0], _KEPT[1] ** 2

    def swings(self, middle_c: float, *, all_heat: bool) -> None:
        """A thermostat is seen to swing the floor around there. `all_heat`: there is no other heat
        than what it switches."""
        if not self.switched:
            self.switched = True
            share, sd = _KEPT if all_heat else _SEEN
            if self._v_share < _SEEN_NIGHTS_SD**2:  # which knew of none
                self._v_share += sd**2
                return
            self._share, self._v_share, self._both = share, sd**2, 0.0
            self._soon = self._soon_level = self._soon_share = 0.0
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
        before_c, before_k = self._felt_c, self._ahead_k
        kept = exp(-gap_s / _LAG_S) if gap_s < _AWAY_S else 0.0
        self._felt_c = outside_c + kept * (before_c - outside_c)
        self._ahead_k = outside_c - self._felt_c
        self._move(self._felt_c - before_c, self._ahead_k - before_k)
        if not night:
            self._day = tick
            if not self._by_night:
                self._stands(floor_c)
            return
        self._v_level += _WALK_K**2 * gap_s / 3600.0
        if not self._by_night or gap_s >= _AWAY_S:
            self._v_level += _EVENING_SD_K**2
            self._day = NEVER
        elif tick - self._day < _EVENING_S:
            if tick - self._day <= gap_s:  # the first mean since the day
                self._v_share += _WALK**2
                self._v_soon = self._v_soon + _WALK**2 if self._v_soon else _SOON_SD**2
            if tick - self._hung >= _SETTLES_S:
                self._see_hung(floor_c)
        self._by_night = True
        if tick - self._hung < _SETTLES_S:
            self._stands(floor_c)
            self._v_level += _SETTLING_SD_K**2
        else:
            self._correct(floor_c)

    def _stands(self, floor_c: float) -> None:
        """Its level is where it is, and says nothing of the share."""
        self._level_c, self._v_level = floor_c, _MEAN_SD_K**2
        self._both = self._soon_level = 0.0

    def _move(self, late_k: float, soon_k: float) -> None:
        """The level goes with what is felt of the outside."""
        assert self._level_c is not None
        goes_k, var = self._now().goes_k(late_k, soon_k)
        self._level_c += goes_k
        self._v_level += var
        self._both += late_k * self._v_share + soon_k * self._soon_share
        self._soon_level += late_k * self._soon_share + soon_k * self._v_soon

    def _see_hung(self, floor_c: float) -> None:
        """Is the floor where only a smaller share would have it, or hands?"""
        assert self._level_c is not None
        off_k = floor_c - self._level_c
        unlikely = off_k * off_k > _HUNG_SDS**2 * (self._v_level + _MEAN_SD_K**2)
        if unlikely and off_k * self._both < 0.0:
            self._hung = self._tick

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
        soon_gain = self._soon_level / variance
        self._level_c += gain * off_k
        self._share = min(1.0, max(0.0, self._share + share_gain * off_k))
        self._soon = min(self._share, max(-self._share, self._soon + soon_gain * off_k))
        self._v_soon -= soon_gain * self._soon_level
        self._soon_share -= soon_gain * self._both
        self._v_share -= share_gain * self._both
        self._soon_level -= soon_gain * self._v_level
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
        found = self._now()
        if self._level_c is None or hung:
            found = found._replace(
                level_c=floor_c,
                felt_c=outside_c,
                level_var=_UNKNOWN_SD_K**2,
                both=0.0,
                soon_level=0.0,
            )
        if night and self._by_night:
            return found
        more_k = _EVENING_SD_K if self._by_night else _DAY_SD_K
        return found._replace(level_var=found.level_var + more_k**2)

    def _now(self) -> Following:
        return Following(
            self._level_c or 0.0,
            self._v_level,
            self._share,
            self._v_share,
            self._both,
            self._felt_c,
            soon=self._soon,
            soon_var=self._v_soon,
            soon_level=self._soon_level,
            soon_share=self._soon_share,
            switched=self.switched,
        )
