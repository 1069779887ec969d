"""Advice as alarms of the lowest priority. Owned by watch.engine; what holds is decided by
brooding.advice, asked every quarter of an hour and after each entry."""

from dataclasses import replace
from datetime import tzinfo
from typing import cast

from monitor.brooding.advice import advise, moving_out
from monitor.brooding.batch import Batch
from monitor.brooding.ledger import Ledger
from monitor.brooding.moving import Moving, Stage
from monitor.events import AlarmName, Facts
from monitor.kept import Kept, part
from monitor.site import Brooder
from monitor.thermal.estimate import Nights
from monitor.watch.alarm import Alarm, Description, Owner
from monitor.watch.alarm_register import AlarmRegister

ONCE_IN_S = 20 * 3600.0  # told at most once a day each, though it may come and go
_NAMES = (
    AlarmName.STEP_DOWN,
    AlarmName.CROWDED,
    AlarmName.LOSSES_HIGH,
    AlarmName.READY_TO_MOVE,
)


@part
class Advisor(Kept, Owner):
    """The advice for one brooder."""

    _facts: dict[AlarmName, Facts]  # of what holds, also where its alarm was put aside

    def __init__(self, brooder: Brooder, zone: tzinfo, register: AlarmRegister) -> None:
        self._brooder = brooder
        self._zone = zone
        self._register = register
        self._facts = {}
        self._alarms = {
            name: register.open(name, brooder.name, self, limits=brooder.limits) for name in _NAMES
        }

    def see(
        self, batch: Batch | None, tick: float, nights: Nights, ledger: Ledger
    ) -> Moving | None:
        """What holds now? How far the birds are from moving out; None: there are none."""
        if batch is None:
            for alarm in self._alarms.values():
                self._register.stop(alarm, tick, "no batch in the brooder")
            return None
        move = moving_out(
            self._brooder,
            batch,
            now_at=tick + self._register.offset_s,
            zone=self._zone,
            coming_lows_c=nights.lows_c,
            mornings_at=nights.mornings_at,
        )
        if move is not None and move.stage is Stage.READY and nights.origin is None:
            move = replace(move, coldest_c=None)  # a bound is no coldest night
        found = advise(
            self._brooder,
            batch,
            now_at=tick + self._register.offset_s,
            zone=self._zone,
            coming_lows_c=nights.lows_c,
            lows_from=nights.origin,
            family=ledger.family_count(batch),
        )
        self._facts = {AlarmName(advice.alarm): cast(Facts, dict(advice.facts)) for advice in found}
        for name, alarm in self._alarms.items():
            lately = alarm.occurrence != "" and tick - alarm.raised_tick < ONCE_IN_S
            if name not in self._facts:
                self._register.see(alarm, False, tick)
            elif alarm.active and _is_news(self._facts[name], alarm.facts, lately=lately):
                self._register.renew(alarm, tick)
            elif alarm.delay.active or not lately:
                self._register.see(alarm, True, tick)
                self._renew(alarm)
        return move

    def _renew(self, alarm: Alarm) -> None:
        """An advice may stand for days: its figures are those of now, not of the day it came up."""
        if alarm.occurrence:
            alarm.facts = {"since": alarm.began_at, **self._facts[alarm.rule.alarm]}

    # -- Owner

    def describe(self, alarm: Alarm, tick: float) -> Description:
        """The numbers behind a piece of advice."""
        return Description(self._facts.get(alarm.rule.alarm, Facts()).copy())

    def closing(self, alarm: Alarm, tick: float) -> Facts:
        """Birds only grow older: who was to move out and is not any more has cold nights ahead."""
        if alarm.rule.alarm is AlarmName.READY_TO_MOVE:
            return Facts(reason="the coming nights are too cold for it")
        return Facts()


def _is_news(now: Facts, told: Facts, *, lately: bool) -> bool:
    """Hardened off before and ready now; or it is known now how cold the nights are."""
    learned = "outside_low_c" in now and "outside_low_c" not in told
    return now.get("reason") != told.get("reason") or (learned and not lately)
