"""Heat that went out: who says so, and that it is back. Held by `thermal_watch`.

It is said by a fall of the floor (`fall_watch`), by a probe beneath a source that collapses, or by
a plug. It is over when the floor holds itself as before, stays as warm as it should be, that probe
has come halfway back, or the plug says so."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Brooder
from monitor.thermal.box_known import BoxKnown
from monitor.thermal.causes import QUICK_SHARE, SLOW_SHARE, Lost, Why
from monitor.thermal.fall import Fall
from monitor.thermal.floor import Floor
from monitor.thermal.model import FloorModel
from monitor.thermal.model_in_use import ModelInUse
from monitor.thermal.track import Track
from monitor.thermal.witness import Collapse, Witness

SURE = 0.9  # a cause, and a source, is named as sure
_BACK = 0.65  # of what was lost
_FORGOTTEN_S = 36 * 3600.0  # lost heat that nobody missed for so long is how the box is now
_AT_TARGET_S = 600.0  # a floor as warm as it should be for so long has its heat
_DOWN_S, _DOWN_READINGS = 55.0, 2  # a probe beneath a source is down for so long
_DOWN_AT_WORK_S = 240.0  # ... where a grower may be at the box
# So long after its heat was lost a floor holds itself: one that has not fallen yet, and one whose
# fall has told nothing by then.
_TO_COME_S, _TO_COME_FALLING_S = 540.0, 1800.0
COME_UP_K = 2.0  # more than a bird beside the probe makes
_SAME_S = 60.0  # begun so much sooner it was another loss
_RISES_K = 0.3  # since then: its source is on again


@dataclass(frozen=True, slots=True)
class HeatLoss:
    """Which sources (indices), since when, and the rise before and lost (K)."""

    sources: tuple[int, ...]
    started: Tick
    rise_before_k: float
    lost_k: float
    source_chance: float  # that it was these sources, if heat was lost
    suspects: tuple[int, ...]  # all that may be among them: not seen to work
    chance: float = 1.0  # that heat was lost at all, and no cover is off

    def named(self, brooder: Brooder) -> tuple[str, bool, float]:
        """Name, whether it is hardly another one, and watts."""
        watts = sum(brooder.heat[index].watts for index in self.sources)
        sure = self.source_chance > SURE
        if len(self.sources) > 1:
            return "every heat source", sure, watts
        return brooder.heat[self.sources[0]].name, sure, watts

    def over(self, tick: float, rise_k: float) -> bool:
        """Is the heat back, now that the floor is held `rise_k` above outside?"""
        back = rise_k > self.rise_before_k - (1.0 - _BACK) * self.lost_k
        return back or tick - self.started > _FORGOTTEN_S


class Down(NamedTuple):
    """A probe beneath a source that collapsed."""

    probe: str  # key
    since: Tick
    heard: Tick  # its latest reading
    readings: int
    back_c: float  # warmer than this it is back
    told: bool


@part
class LostHeat(Kept):
    """Of one box. `loss` is None while no heat is missed."""

    loss: HeatLoss | None = None
    down: Down | None = None
    _warm_since: Tick | None = None  # the floor is at its target or above

    def __init__(
        self,
        box: BoxKnown,
        floor: Floor,
        in_use: ModelInUse,
        *,
        tracks: Mapping[str, Track],
        witness: Witness,
    ) -> None:
        self._box, self._floor, self._in_use = box, floor, in_use
        self._tracks, self._witness = tracks, witness

    def forget(self) -> None:
        """The birds or the heat are others now: none is missed."""
        self.loss = self.down = self._warm_since = None

    def to_come(self, tick: float, *, falls: bool) -> Lost | None:
        """What the floor will lose by it, so far as no fall has shown; None: nothing more. Sources
        with no probe beneath them may be out as well: it may be the power."""
        loss, model = self.loss, self._in_use.model
        for_s = _TO_COME_FALLING_S if falls else _TO_COME_S
        if loss is None or model is None or tick - loss.started > for_s:
            return None
        lit = {i for i, said in self._box.heat.lit.items() if said > loss.started}
        more = set(range(len(self._box.watts))) - lit - self._witness.under - set(loss.sources)
        return Lost(
            QUICK_SHARE * loss.lost_k,
            SLOW_SHARE * loss.lost_k,
            loss.started,
            loss.rise_before_k,
            more_k=self._brought_k(more, model, loss.rise_before_k),
            unseen=True,
        )

    # -- by a plug

    def plugs_said(self, tick: float, before: frozenset[int]) -> None:
        """Other sources are out than `before`."""
        loss, model = self.loss, self._in_use.model
        if loss is not None and set(loss.sources) <= before - self._box.heat.out:
            if model is not None:
                model.regained(loss.rise_before_k)
            self.loss = None
        self.keep_out(tick)

    def keep_out(self, tick: float) -> None:
        """What is known to be out stays lost, whatever the floor makes believe."""
        out, model, loss = self._box.heat.out, self._in_use.model, self.loss
        if not out or model is None or self._box.target_c is None:
            return
        if loss is not None and set(loss.sources) >= out:
            return
        sources = tuple(sorted(out))
        rise_k = model.filter.rise_k if loss is None else loss.rise_before_k
        lost_k = self._brought_k(sources, model, rise_k)
        if loss is None or not out & set(loss.sources):
            model.lost(rise_k, lost_k)
        self.loss = HeatLoss(sources, tick, rise_k, lost_k, 1.0, sources)

    # -- by a fall of the floor

    def weighs_anew(self) -> None:
        """A fall is weighed for the first time: how long the floor is warm counts from here on."""
        self._warm_since = None

    def take_verdict(self, fall: Fall, model: FloorModel) -> None:
        """Lost heat is remembered until it is back."""
        best, old = fall.best, self.loss
        if fall.verdict is not Why.LAMP or best is None:
            # What was lost before stays so: an open cover on top of it gives nothing back.
            if old is None or old.started >= fall.onset - _SAME_S or fall.verdict is Why.PROBE:
                self.loss = None
            return
        sources, lost_k = best.explanation.sources, best.quick_k + best.slow_k
        if old is None or old.started < fall.onset - _SAME_S:
            model.lost(fall.rise_k, lost_k)
        chance = fall.source_chance
        if old is not None and old.sources == sources:
            # Once named as sure they stay so: what is learned of the fall later is its end, which
            # says less about the source than its beginning.
            chance = max(old.source_chance, chance)
        working = self._witness.working
        suspects = tuple(i for i in range(len(self._box.watts)) if i not in working)
        self.loss = HeatLoss(
            sources, best.onset, fall.rise_k, lost_k, chance, suspects, fall.chance
        )

    def see_held(self, tick: float, model: FloorModel) -> None:
        """Nothing falls: does the floor hold itself as before?"""
        loss = None if self.down is not None else self.loss
        if loss is not None and loss.over(tick, model.filter.rise_k):
            self.loss = None

    def settles_above_c(self, tick: float, floor_c: float) -> float | None:
        """While heat is missed: a floor that has come up since, and still rises, settles no lower
        than it is now, for some of that heat is back. None: it does not."""
        floor, loss = self._floor, self.loss
        lowest_c = None if loss is None else floor.course.lowest(loss.started, tick)
        rises = lowest_c is not None and floor_c >= lowest_c + COME_UP_K
        return floor_c if rises and floor.rate_k_per_h > 0.0 else None

    def see_warm(self, tick: float, floor_c: float) -> bool:
        """A floor that stays as warm as it should be misses nothing, nor does one on its way back
        from too warm. True: it has been so for a while."""
        target_c = self._box.target_c
        if target_c is None or not self._floor.measured or floor_c < target_c:
            self._warm_since = None
            return False
        pace = 0.0 if self._floor.was_hot else min(0.0, self._floor.rate_k_per_h)
        if floor_c + pace * _AT_TARGET_S / 3600.0 < target_c:
            self._warm_since = None
        elif self._warm_since is None:
            self._warm_since = tick
        elif tick - self._warm_since >= _AT_TARGET_S:
            self.loss = None
            return True
        return False

    # -- by a probe beneath a source

    def see_collapse(self, tick: float, *, falls: bool) -> bool:
        """A source whose own probe collapses is told once, whatever the floor does yet. It is over
        when that probe has come halfway back. `falls`: the floor does too. True: this is news."""
        down, model = self.down, self._in_use.model
        if model is None or self._box.target_c is None:
            return False
        if down is not None and self._tracks[down.probe].last_c > down.back_c:
            if down.told and not falls:
                self.loss = None
            self.down = down = None
        found = self._collapsed(tick)
        if down is not None and down.told:
            return False
        if found is None:
            self.down = None
            return False
        track, index, usual_c, sure, leads = found
        if down is None or down.probe != track.key:
            down = Down(track.key, tick, NEVER, 0, 0.0, False)
        readings = down.readings + (track.last_tick > down.heard and track.held is None)
        wait_s = _DOWN_S if sure else _DOWN_AT_WORK_S
        told = readings >= _DOWN_READINGS and tick - down.since >= wait_s
        floor, floor_c = self._floor, self._floor.temp_c
        hung = leads and floor_c is not None and floor.is_hung(tick, floor_c)
        lowest_c = track.course.lowest(down.since, tick)
        rises = lowest_c is not None and track.last_c > lowest_c + _RISES_K
        told = told and not hung and not rises and not floor.may_swing(tick)
        back_c = 0.5 * (usual_c + track.last_c)
        self.down = Down(track.key, down.since, track.last_tick, readings, back_c, told)
        if told and self.loss is None:
            self._warm_since = None
            rise_k = model.filter.rise_k
            lost_k = self._brought_k((index,), model, rise_k)
            self.loss = HeatLoss((index,), down.since, rise_k, lost_k, 1.0, (index,))
        return told

    def _brought_k(self, sources: Iterable[int], model: FloorModel, rise_k: float) -> float:
        """Of the floor's rise, by these sources."""
        # Without an outside probe the model's rise is the floor's own temperature.
        held_k = rise_k if model.outside_known else self._box.prior.rise_k
        return self._box.share(sources) * held_k

    def _collapsed(self, tick: float) -> Collapse | None:
        floor_c, floor = self._floor.temp_c, self._floor
        if floor_c is None:
            return None
        fast = self._witness.collapsed(
            tick,
            floor.course,
            floor_c,
            floor_falls=lambda: Fall.begins(floor, tick, floor_c),
            nobody_at_work=self._box.nobody_at_work(tick),
        )
        return fast or self._witness.sunk(tick, floor.course, floor_c)

    def resume(self) -> None:
        """Sources that are no longer configured drop out."""
        if self.loss is not None and max(self.loss.sources) >= len(self._box.watts):
            self.loss = None
