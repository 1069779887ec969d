"""What the heat of a box holds while none of it is missed: how the floor goes with the outside, and
what a thermostat keeps back. Learned for the coming night. Held by `thermal_watch`."""

from dataclasses import field
from math import inf

from monitor.events import Moment
from monitor.kept import Kept, Tick, part
from monitor.thermal.box_known import BoxKnown
from monitor.thermal.follow import Follow, Following, unmeasured
from monitor.thermal.model_in_use import ModelInUse
from monitor.thermal.nights_kept import NightsKept
from monitor.thermal.outside_curve import OutsideCurve
from monitor.thermal.reserve import Reserve
from monitor.thermal.swing import Swing

_LOST_SPREAD = 0.3  # of what a lost source took: one standard deviation
_NIGHT_SEEN_S = 18 * 3600.0  # since last evening: a night was among it


@part
class HeldHeat(Kept):
    """What the heat of one box holds, by the nights that were seen and by its plugs."""

    _follow: Follow
    _reserve: Reserve
    _birds_held: Tick | None = None  # since when birds are in
    nights: NightsKept = field(default_factory=NightsKept)

    def __init__(self, box: BoxKnown, in_use: ModelInUse) -> None:
        self._box, self._in_use = box, in_use
        self._reserve = Reserve()
        self._begin()

    def _begin(self) -> None:
        self.nights = NightsKept()
        self._follow = Follow(thermostat=any(it.thermostat for it in self._box.brooder.heat))

    def forget(self) -> None:
        """The birds are gone, and it begins anew with others."""
        self._birds_held = None
        self._begin()

    def draws(self, tick: float, watts: float | None) -> None:
        """All sources together, from now on. None: not every plug is heard."""
        self._reserve.draws(tick, watts)

    def see(self, tick: float, mean_c: float, swing: Swing | None, *, lost: bool) -> None:
        """A mean of the floor, and how it swings. Nothing is learned of a loss nor of an empty
        box."""
        if lost or self._box.target_c is None:
            return
        if self._birds_held is None:
            self._birds_held = tick
        if self._box.low_c is not None:
            lie = self._box.birds_lie(tick)
            self.nights.see(mean_c, self._box.low_c, night=lie, swing=swing)
        model = self._in_use.model
        if model is not None and model.outside_known:
            night = self._box.is_night(tick)
            if swing is not None and swing.sure:
                self._follow.swings(swing.middle_c, all_heat=len(self._box.brooder.heat) == 1)
            steady_c = mean_c if swing is None else swing.middle_c
            self._follow.see(tick, steady_c, self._in_use.ambient_c, night=night)
            above_k = mean_c - self._follow.felt_c
            self._reserve.holds(tick, above_k, self._box.prior.bird_watts)

    def loosen(self, sd_k: float) -> None:
        """It may hold another floor now."""
        self._follow.loosen(sd_k)

    def is_first_night(self, tick: float) -> bool:
        """Was no night seen since the birds are in?"""
        return self._birds_held is None or tick - self._birds_held < _NIGHT_SEEN_S

    def following(
        self,
        start: Moment,
        floor_c: float,
        swing: Swing | None,
        outside: OutsideCurve,
        *,
        lost_k: float,
        above_c: float | None = None,
    ) -> Following:
        """How the floor goes with the outside; what is not measured is felt as it is foretold.
        `lost_k`: it settles so much lower until that heat is back; but no lower than `above_c`."""
        if swing is None:
            return self._following(start, floor_c, outside, lost_k, above_c)
        found = self._following(start, swing.middle_c, outside, lost_k, above_c)
        return found._replace(dips_k=swing.dips_k) if self._follow.switched else found

    def _following(
        self,
        start: Moment,
        floor_c: float,
        outside: OutsideCurve,
        lost_k: float,
        above_c: float | None,
    ) -> Following:
        outside_c = outside.at(start.at)
        model = self._in_use.model
        if model is not None and model.outside_known:
            box, tick = self._box, start.tick
            night = box.is_night(tick)  # by day it is yet to be hung for it
            hung = night and (box.settling(tick) or not self._follow.is_since(box.changed))
            held = self._follow.at(floor_c, outside_c, night=night, hung=hung)
            level_c = held.level_c - lost_k
            if above_c is not None:
                level_c = max(level_c, min(above_c, held.level_c))
            return held._replace(
                level_c=level_c,
                level_var=held.level_var + (_LOST_SPREAD * lost_k) ** 2,
                spare_k=self._spare_k,
            )
        known = model is not None and model.known
        felt_c = outside_c if outside.felt_c is None else outside.felt_c
        return unmeasured(floor_c, felt_c, known=known, at_once=outside.by_floor)

    @property
    def w_per_k(self) -> float | None:
        """What the box loses for each kelvin, learned from measured watts."""
        return self._reserve.w_per_k

    @property
    def _spare_k(self) -> float:
        whole_w = self._box.heat.whole_w
        spare_k = None if whole_w is None else self._reserve.spare_k(whole_w)
        return inf if spare_k is None else spare_k
