"""Who decides what a fall of the floor is: a feeding, a thermostat's rest, the weather, a probe, an
open cover, or a lamp that died. Held by `thermal_watch`, asked at every step.

`fall` knows how deep it is and when it is time to tell; here it is held against what else is known
of the box; `causes` weighs why, with the word of the other probes (`witness`)."""

from functools import cache

from monitor.kept import Kept, part
from monitor.thermal.box_known import BoxKnown
from monitor.thermal.causes import Explanation, Why
from monitor.thermal.diagnosis import PROVES_NOTHING
from monitor.thermal.fall import Fall
from monitor.thermal.floor import Floor
from monitor.thermal.lost_heat import LostHeat
from monitor.thermal.model import FloorModel
from monitor.thermal.outside_heard import OutsideHeard
from monitor.thermal.probe_health import ProbeHealth
from monitor.thermal.witness import Witness, measured

_WEATHER_S = 1800.0  # before a fall: an outside that came down by as much since then explains it
_ONSET_S = 300.0  # so exactly is it known when a slow fall began
_AFTER_ONSET_S = 20.0  # what a plug said later than this after the onset, it said of the fall


@part
class FallWatch(Kept):
    """Looks for a fall of one floor, follows it and decides what caused it."""

    fall: Fall

    def __init__(
        self,
        box: BoxKnown,
        floor: Floor,
        outside: OutsideHeard,
        lost: LostHeat,
        *,
        health: ProbeHealth,
        witness: Witness,
    ) -> None:
        self._box, self._floor, self._outside, self._lost = box, floor, outside, lost
        self._health, self._witness = health, witness
        self.fall = Fall()

    def see(self, model: FloorModel, tick: float, floor_c: float) -> None:
        """Takes one step of the floor."""
        fall, lost = self.fall, self._lost
        if self._box.target_c is None:
            return
        gone = {f.probe for f in self._health.findings if f.kind in PROVES_NOTHING}
        if gone and all(track.key in gone for track in self._floor.lies_on):
            if fall.open and lost.down is None:
                lost.loss = None  # it was no floor that fell
            fall.end()
            return
        chill_c = self._floor.chill_c
        if self._box.settling(tick) and chill_c is not None and floor_c >= chill_c:
            # The grower's own turn-down is no lost heat. The band is watched all the same.
            self._settle(model, tick, floor_c)
            return
        low = self._floor.course.is_low(floor_c)
        if low or fall.open:
            self._follow(model, tick, floor_c, low=low)
        if lost.see_warm(tick, floor_c) and fall.open:
            self._settle(model, tick, floor_c)

    def _follow(self, model: FloorModel, tick: float, floor_c: float, *, low: bool) -> None:
        """One step of a floor that falls, or may: it is `low`, below what is usual."""
        fall, airs = self.fall, low and self._airs(tick, floor_c)
        begins = fall.begins_anew if fall.open else fall.begins
        if begins(self._floor, tick, floor_c) or (airs and not fall.open):
            self._begin(model, tick, floor_c)
        if airs and fall.aired is None:
            fall.aired = tick
        if fall.open:
            fall.add(tick, floor_c)
            self._judge(model, tick, floor_c)

    def settle_anew(self, model: FloorModel, tick: float) -> None:
        """The grower changed the heat: what falls is the floor's way to where it settles."""
        if self._floor.temp_c is not None:
            model.settle(tick, self._floor.temp_c)
        self.fall.end()
        self._floor.course.clear()

    def _settle(
        self, model: FloorModel, tick: float, floor_c: float, rise_k: float | None = None
    ) -> None:
        """No fall is on any more: the model goes on from here, with `rise_k` if it is known."""
        model.settle(tick, floor_c, rise_k)
        self.fall.end()

    def _begin(self, model: FloorModel, tick: float, floor_c: float) -> None:
        fall, box = self.fall, self._box
        fall.begin(self._floor.course, tick, floor_c)
        fall.rise_k, fall.rise_sd_k = model.expected()
        # the rise above outside, which a loss takes a share of: measured, or from the box's size
        known = model.outside_known
        fall.explain(
            box.watts,
            box.prior.bird_watts,
            held_k=max(4.0, fall.rise_k if known else box.prior.rise_k),
            held_sd_k=fall.rise_sd_k if known else box.prior.rise_sd_k,
            doubt_k=fall.rise_sd_k,
            nobody_at_work=box.nobody_at_work(tick),
        )

    def _judge(self, model: FloorModel, tick: float, floor_c: float) -> None:
        fall, lost = self.fall, self._lost
        if fall.recovered or self._was_weather(tick):
            if lost.loss is not None and fall.verdict is Why.LAMP:
                lost.loss = None
                model.regained(fall.rise_k)
            self._settle(model, tick, floor_c, fall.rise_k)
            return
        if fall.spent(tick):
            self._settle(model, tick, floor_c)
            return
        tells = fall.verdict is not None or self._tells(tick, floor_c)
        if tells and not fall.decided(tick):
            self._weigh(model, tick)

    def _airs(self, tick: float, floor_c: float) -> bool:
        """Is the box's air seen to go, and nothing known that speaks for itself?"""
        known = self._box.heat
        said = known.cover_open is not None or known.out or known.mains_off
        return not said and self._witness.airs(tick, self._floor.course, floor_c)

    def _tells(self, tick: float, floor_c: float) -> bool:
        """Is it time to say so?"""
        if self._rests(tick):
            return False
        fall, box = self.fall, self._box
        asleep, acted, by_night = (
            box.nobody_at_work(tick),
            box.acted_lately(tick),
            box.birds_lie(tick),
        )
        hear = cache(lambda: self._hear(tick))
        if by_night and not acted and fall.lies_open(tick, hear, nobody_at_work=asleep):
            return True
        if self._floor.rests_on(tick, floor_c) and not (hear().spared or self._weather(tick)):
            return True
        return (
            fall.tells(
                tick,
                self._floor,
                floor_c,
                nobody_at_work=asleep,
                acted_lately=acted,
                by_night=by_night,
                hear=hear,
            )
            and not self._weather(tick)
            and not self._floor.may_swing(tick)
            and not self._floor.is_hung(tick, floor_c)
        )

    def _hear(self, tick: float) -> Witness:
        """What the other probes say of the fall by now."""
        self._witness.hear(tick, self.fall.onset, -self.fall.now_k)
        return self._witness

    def _rests(self, tick: float) -> bool:
        """Did the floor begin to fall in a thermostat's rest, and may it go on with that? As its
        plug says, or the floor itself, whose last two swings came down as far, and for as long."""
        known = self._box.heat
        said = known.rests_since - _ONSET_S < self.fall.onset and tick < known.rests_until
        return said or tick < self._floor.rests_until

    def _weather(self, tick: float) -> bool:
        """Did the outside come down by as much? A box follows it later, and by less."""
        onset = self.fall.onset
        fell_k = self._outside.fell_k(tick, onset - _WEATHER_S, onset)
        return fell_k is not None and fell_k > -self.fall.now_k

    def _was_weather(self, tick: float) -> bool:
        """Was lost heat told, and has the outside come down by as much since? No box follows it
        further than that, and one without its heat falls besides."""
        told = self.fall.verdict is Why.LAMP and self._lost.down is None
        return told and tick - self.fall.onset >= _WEATHER_S and self._weather(tick)

    def _weigh(self, model: FloorModel, tick: float) -> None:
        """Weighs which cause explains the fall best."""
        fall, witness = self.fall, self._witness
        heard = witness.hear(tick, fall.onset, -fall.now_k)
        since = fall.onset + _AFTER_ONSET_S
        # A dead lamp's warm air goes too: only what lies beneath lamps tells the two apart.
        aired = fall.aired is not None and witness.looks_beneath

        def seen(one: Explanation) -> float:
            by_probes = witness.weight(one, heard, -fall.now_k)
            return by_probes + measured(one, self._box.heat, since=since, tick=tick, aired=aired)

        if fall.verdict is None:
            self._lost.weighs_anew()
        fall.weigh(tick, model.bank.tau_s, model.wander_sd, seen)
        self._lost.take_verdict(fall, model)
