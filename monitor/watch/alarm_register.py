"""The alarms as they stand: delays, life cycle, shelving, passing on. Owned by watch.engine, fed
with conditions by brooder_watch, silence, probe_faults, watcher and advisor."""

from collections.abc import Callable
from typing import Annotated, Any

from pydantic import WrapSerializer

from monitor.events import LOSES_HEAT, AlarmName, Change, ChangeKind, ClockStep, Facts
from monitor.kept import Kept, WallOffset, part
from monitor.site import SITE_WIDE, Limits
from monitor.watch import incidents
from monitor.watch.alarm import Alarm, Owner
from monitor.watch.alarm_table import TABLE, Lasting
from monitor.watch.band import Delay
from monitor.watch.life_cycle import AlarmState, Move, after, possible
from monitor.watch.timers import Slot, Timers

DELAY, SHELF = "delay", "shelf"
_RANK = {DELAY: 2, SHELF: 3}


def _touched(alarms: dict[str, Alarm], as_json: Callable[[Any], Any]) -> Any:
    return as_json({key: alarm for key, alarm in alarms.items() if not alarm.untouched})


@part
class AlarmRegister(Kept):
    """All alarms of a site. Changes gather in `out` until the engine hands them on."""

    offset_s: WallOffset  # wall minus steady
    alarms: Annotated[dict[str, Alarm], WrapSerializer(_touched)]
    incidents: incidents.Incidents

    def __init__(self, timers: Timers, offset_s: float) -> None:
        self._timers = timers
        self.offset_s = offset_s
        self.alarms = {}
        self._within: dict[str | None, list[Alarm]] = {}  # by brooder
        self._standing: dict[str, Alarm] = {}  # those that are not normal, of thousands that are
        self.out: list[Change] = []
        self.incidents = incidents.Incidents()

    def open(
        self,
        name: AlarmName,
        brooder: str | None,
        owner: Owner,
        *,
        limits: Limits,
        subject: str | None = None,
        on_delay_s: float | None = None,
    ) -> Alarm:
        """The alarm of that name and place; made when it is asked for the first time."""
        key = "/".join(p for p in (brooder or SITE_WIDE, name.value, subject) if p is not None)
        alarm = self.alarms.get(key)
        if alarm is None:
            rule = TABLE[name]
            on_s = rule.delay_s(rule.on_delay, limits) if on_delay_s is None else on_delay_s
            delay = Delay(on_s=on_s, off_s=rule.delay_s(rule.off_delay, limits))
            alarm = Alarm(
                key=key,
                rule=rule,
                brooder=brooder,
                subject=subject,
                owner=owner,
                delay=delay,
            )
            self.alarms[key] = alarm
            self._within.setdefault(brooder, []).append(alarm)
        return alarm

    def wall_at(self, tick: float) -> float:
        """Wall time of a tick, to the millisecond. Where the clocks lie far apart (a board that
        woke up in the year 2000) the bare sum falls a hair short of a full hour, for ever."""
        return round(tick + self.offset_s, 3)

    def within(self, brooder: str | None) -> list[Alarm]:
        """The alarms of a brooder; None: all there are, by name."""
        if brooder is None:
            return sorted(self.alarms.values(), key=lambda alarm: alarm.key)
        return self._within.get(brooder, [])

    def standing(self, brooder: str | None = None, name: str | None = None) -> list[Alarm]:
        """The alarms that are not in their normal state, of a brooder and with a name (None: any),
        by key: in which order they were opened, a restart forgets."""
        standing = sorted(self._standing.values(), key=lambda alarm: alarm.key)
        if brooder is None and name is None:
            return standing
        return [
            alarm
            for alarm in standing
            if brooder in (None, alarm.brooder) and name in (None, alarm.rule.alarm.value)
        ]

    def _move(self, alarm: Alarm, move: Move) -> None:
        alarm.state = after(alarm.state, move)
        if alarm.state is AlarmState.NORMAL:
            self._standing.pop(alarm.key, None)
        else:
            self._standing[alarm.key] = alarm

    def resume(self) -> None:
        self.out.clear()
        self._standing = {
            key: alarm for key, alarm in self.alarms.items() if alarm.state is not AlarmState.NORMAL
        }

    # -- conditions

    def see(self, alarm: Alarm, condition: bool, tick: float, *, at_once: bool = False) -> None:
        """What is true from `tick` on. `at_once`: the on-delay has been served elsewhere."""
        delay = alarm.delay
        if condition == delay.condition and not (at_once and delay.due is not None):
            return
        if condition and not delay.active and delay.began is None:
            alarm.extreme_c = None
        delay.see(condition, tick)
        if at_once and condition and delay.due is not None:
            delay.due = tick
        if delay.due is not None and delay.due <= tick:
            self._settle(alarm, tick)
        else:
            self._timers.set(Slot(_RANK[DELAY], DELAY, alarm.key), delay.due)

    def hold(self, alarm: Alarm) -> None:
        """It can no longer be judged: an active alarm stays."""
        alarm.delay.hold()
        self._timers.set(Slot(_RANK[DELAY], DELAY, alarm.key), alarm.delay.due)

    def ask_again(self, alarm: Alarm, tick: float) -> None:
        """Its delay has passed and its owner held it back: does he still?"""
        delay = alarm.delay
        if (
            delay.condition
            and delay.due is not None
            and delay.began is not None
            and delay.began + delay.on_s <= tick < delay.due
        ):
            self._settle(alarm, tick)

    def stop(self, alarm: Alarm, tick: float, reason: str) -> None:
        """There is nothing left to judge: over at once, with the reason."""
        was_active = alarm.active
        alarm.delay.reset()
        self._timers.set(Slot(_RANK[DELAY], DELAY, alarm.key), None)
        if was_active:
            self._clear(alarm, tick, Facts(reason=reason))

    def renew(self, alarm: Alarm, tick: float) -> None:
        """The same condition weighs differently now: told again as a new occurrence of the same
        incident."""
        if alarm.active:
            began = alarm.delay.began
            self._clear(alarm, tick, Facts(reason=incidents.RENEWED, folded=True))
            self._raise(alarm, tick, began)

    def fire(self, kind: str, key: str, tick: float) -> None:
        """A timer of this book is due. Probes of one box that went wrong together are told
        together."""
        alarm = self.alarms.get(key)
        if alarm is None:
            return
        if kind == SHELF:
            self.unshelve(alarm, tick)
            return
        waiting = alarm.delay.condition
        others = incidents.siblings(alarm, self._within[alarm.brooder]) if waiting else []
        self._settle(alarm, tick)
        for other in others:
            other.delay.due = tick
            self._settle(other, tick)

    def _settle(self, alarm: Alarm, tick: float) -> None:
        delay = alarm.delay
        if delay.due is None:
            return
        slot = Slot(_RANK[DELAY], DELAY, alarm.key)
        if delay.condition:
            held = alarm.owner.suppressed_until(alarm, tick)
            if held is not None and held > tick:
                delay.due = held
                self._timers.set(slot, held)
                return
        self._timers.set(slot, None)
        began = delay.began if delay.began is not None else tick
        ended = delay.due - delay.off_s
        if delay.settle():
            if alarm.state not in (AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE):
                self._raise(alarm, tick, began)
        elif alarm.active:
            self._clear(alarm, tick, Facts(), alarm.owner.ended(alarm, ended))

    # -- raised, cleared

    def _raise(self, alarm: Alarm, tick: float, began: float | None = None) -> None:
        described = alarm.owner.describe(alarm, tick)
        rule = alarm.rule
        self._move(alarm, Move.RAISE)
        alarm.priority = described.priority or rule.priority
        alarm.cause, alarm.probe = described.cause, described.probe
        alarm.raised_tick = tick
        alarm.raised_at = tick + self.offset_s
        began_at = (tick if began is None else began) + self.offset_s
        alarm.began_at = described.facts.setdefault("since", began_at)
        # Never the same second twice, whatever the wall clock did: the occurrence is a key.
        alarm.last_second = max(int(alarm.raised_at), alarm.last_second + 1)
        alarm.occurrence = f"{alarm.key}/{alarm.last_second}"
        alarm.by = alarm.acknowledged_at = alarm.ended_at = None
        alarm.facts = described.facts
        alarm.incident, alarm.folded = "", False
        change = self._emit(alarm, ChangeKind.RAISED, tick, alarm.facts)
        alarm.rank = incidents.rank(change)
        alarm.incident = change.facts["incident"]
        alarm.folded = change.facts.get("folded", False)
        if rule.lasting is Lasting.MOMENT:
            alarm.delay.reset()
            self._clear(alarm, tick, Facts())
        elif alarm.folded:
            # It needs no message of its own, but may be what its incident is now.
            head = incidents.head(alarm.incident, self.standing(), alarm)
            if head is None:
                alarm.folded = alarm.incident != alarm.occurrence
            elif head.state is AlarmState.ACKNOWLEDGED:
                self._acknowledge_one(alarm, tick, head.by)
            elif head.rank < alarm.rank:
                alarm.folded = False

    def explain(self, alarm: Alarm, tick: float) -> None:
        """What is behind an active alarm is known to be another thing than when it was told, or
        more than one. Not where both were named."""
        described = alarm.owner.describe(alarm, tick)
        measured = "draws_w" in described.facts
        more = measured and described.facts.get("source") != alarm.facts.get("source")
        named = alarm.facts.get("either") and described.cause in LOSES_HEAT
        if alarm.active and (more or (described.cause is not alarm.cause and not named)):
            alarm.cause, alarm.probe = described.cause, described.probe
            alarm.facts = described.facts
            alarm.facts["since"] = alarm.began_at
            self._emit(alarm, ChangeKind.EXPLAINED, tick, alarm.facts)

    def _clear(self, alarm: Alarm, tick: float, facts: Facts, ended: float | None = None) -> None:
        """`ended`: when it was over, which is known a while later."""
        self._move(alarm, Move.CLEAR)
        alarm.ended_at = self.wall_at(tick if ended is None else ended)
        closing = alarm.owner.closing(alarm, tick)
        closing.update(facts)
        closing["lasted_s"] = alarm.ended_at - alarm.began_at
        closing["since"] = alarm.began_at
        if alarm.extreme_c is not None:
            closing["extreme_c"] = alarm.extreme_c
        self._emit(alarm, ChangeKind.CLEARED, tick, closing)

    # -- what a grower does

    def acknowledge(self, asked: list[Alarm], tick: float, by: str | None) -> None:
        """Somebody knows. Takes the lesser alarms of the same incident along."""
        asked = [a for a in asked if possible(a.state, Move.ACKNOWLEDGE)]
        lesser = incidents.lesser(asked, self.standing())
        for alarm in asked + lesser:
            self._acknowledge_one(alarm, tick, by)

    def _acknowledge_one(self, alarm: Alarm, tick: float, by: str | None) -> None:
        self._move(alarm, Move.ACKNOWLEDGE)
        alarm.by = by
        alarm.acknowledged_at = tick + self.offset_s
        self._emit(alarm, ChangeKind.ACKNOWLEDGED, tick, _by(by))

    def shelve(
        self, alarm: Alarm, tick: float, *, for_s: float, note: str | None, by: str | None
    ) -> None:
        """Put aside until a stated time. Its open occurrence ends here."""
        if not possible(alarm.state, Move.SHELVE):
            return
        self._move(alarm, Move.SHELVE)
        if not alarm.occurrence:
            alarm.last_second = int(tick + self.offset_s)
            alarm.occurrence = alarm.incident = f"{alarm.key}/{alarm.last_second}"
            alarm.began_at = alarm.raised_at = tick + self.offset_s
            alarm.priority = alarm.rule.priority
        alarm.shelved_until = tick + max(60.0, min(for_s, alarm.rule.shelve_max_s))
        alarm.shelved_note = note
        alarm.by = by
        facts = _by(by)
        facts["until"] = alarm.shelved_until + self.offset_s
        if note:
            facts["note"] = note
        self._emit(alarm, ChangeKind.SHELVED, tick, facts)
        self._timers.set(Slot(_RANK[SHELF], SHELF, alarm.key), alarm.shelved_until)

    def unshelve(self, alarm: Alarm, tick: float, *, by: str | None = None) -> None:
        """Take up again: the time is over, or somebody says so before that."""
        if alarm.state is not AlarmState.SHELVED:
            return
        self._move(alarm, Move.UNSHELVE)
        alarm.shelved_until = alarm.shelved_note = None
        self._timers.set(Slot(_RANK[SHELF], SHELF, alarm.key), None)
        self._emit(alarm, ChangeKind.UNSHELVED, tick, _by(by))
        if alarm.delay.active:
            self._raise(alarm, tick, alarm.delay.began)

    def take_out(self, alarm: Alarm, tick: float, reason: str) -> None:
        """Its probe or brooder is not in use."""
        if alarm.state is AlarmState.OUT_OF_SERVICE:
            return
        self.stop(alarm, tick, reason)
        self._move(alarm, Move.TAKE_OUT)
        alarm.shelved_until = alarm.shelved_note = None
        self._timers.set(Slot(_RANK[SHELF], SHELF, alarm.key), None)

    def put_back(self, alarm: Alarm) -> None:
        """In use again: judged from here on."""
        if alarm.state is AlarmState.OUT_OF_SERVICE:
            self._move(alarm, Move.PUT_BACK)

    def jump(self, step: ClockStep) -> None:
        """The wall clock was set: what is open began by the new clock's reckoning."""
        self.offset_s += step.by_s
        for alarm in self.alarms.values():
            if alarm.active:
                alarm.began_at = step.moved(alarm.began_at)
                alarm.raised_at = step.moved(alarm.raised_at)

    # -- out, and over a restart

    def _emit(self, alarm: Alarm, kind: ChangeKind, tick: float, facts: Facts) -> Change:
        facts = facts.copy()
        facts["incident"] = alarm.incident
        if alarm.folded and kind is not ChangeKind.EXPLAINED:
            facts["folded"] = True
        change = Change(
            at=tick + self.offset_s,
            brooder=alarm.brooder,
            alarm=alarm.rule.alarm,
            change=kind,
            priority=alarm.priority,
            cause=alarm.cause,
            probe=alarm.probe,
            occurrence=alarm.occurrence,
            facts=facts,
        )
        change = self.incidents.take(change, tick)
        self.out.append(change)
        return change


def _by(by: str | None) -> Facts:
    return Facts(by=by) if by else Facts()
