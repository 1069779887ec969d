"""Alarms about the watcher itself: broker, storage, delivery, clock, and having been away.

Owned by watch.engine; the service reports the facts through `Engine.fault`."""

from collections.abc import Callable

from monitor.events import AlarmName, Cause, ClockStep, Facts, ProbeFact
from monitor.kept import Kept, Sorted, Tick, part
from monitor.site import Limits, Place
from monitor.watch.alarm import Alarm, Description, Owner
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.brooder_watch import BrooderWatch
from monitor.watch.life_cycle import AlarmState
from monitor.watch.timers import Slot, Timers

SETTLE = "settle"
BACK_WITHIN_S = 120.0  # after a gap, how long to wait for the first readings before telling
SET_WITHIN_S = 600.0  # so long most boards without a battery take to set their clock. Assumed
JUST_ON_S = 3600.0  # within so long a board finds a time server. Common practice
_GAP, _JUMP = "was-down", "jump"
_TO_TELL = Slot(6, SETTLE, _GAP)
# A step of the clock that moves no record by as much as a reading is no news; one by half a day can
# move the birds into another day of age. Common practice.
_TELL_FROM_S, _ASK_FROM_S = 120.0, 12 * 3600.0
LONG_GAP_S = 3600.0  # of short lives one word an hour says enough; so long a gap is news of its own
_JUMP_STANDS_S = 600.0  # so long a step stands among the alarms
_ALWAYS = (
    AlarmName.BROKER_LOST,
    AlarmName.NAME_TAKEN,
    AlarmName.STORAGE_FAULT,
    AlarmName.MIRROR_FAULT,
    AlarmName.CLOCK_FAULT,
    AlarmName.WAS_DOWN,
)


def back_by(before: float | None, left: float, now: float) -> float:
    """When the readings should be back after a gap from `left` to `now`, all in ticks. `before`: by
    when they should have been after the gap before. A watch that was cut off while it waited waits
    half of the rest: one that is cut off again and again would never come to speak."""
    rest_s = 0.0 if before is None else (before - left) / 2.0
    return now + (rest_s if 0.0 < rest_s < BACK_WITHIN_S else BACK_WITHIN_S)


def down_s(gap: Facts) -> float:
    """How long nobody watched, as far as it is known."""
    known = "down_from" in gap and "down_to" in gap
    return gap["down_to"] - gap["down_from"] if known else 0.0


@part
class Watcher(Kept, Owner):
    """What is wrong with the tool, not with the box."""

    _wrong: dict[str, bool]  # by alarm
    _facts: dict[str, Facts]
    _gap: Facts | None = None  # told once the readings are back
    _gap_tick: Tick = 0.0
    _gap_s: float = 0.0  # how long the last one was, by the clock of the start after it
    _asks: bool = False  # a jump of the clock waits for an answer
    _jump_s: float = 0.0  # how far it jumped since then
    _doubted_s: float = 0.0  # how far it was set since it is doubted
    _opened: Sorted[tuple[str, str | None]]  # there to be put aside, raised or not

    def __init__(
        self,
        register: AlarmRegister,
        timers: Timers,
        boxes: list[BrooderWatch],
        season_closed: Callable[[], bool],
    ) -> None:
        """`season_closed`: there have been birds, and there are none. Then nobody is told of the
        tool itself either; what is still wrong is told when birds come."""
        self._season_closed = season_closed
        self._register = register
        self._timers = timers
        self._boxes = boxes
        self._wrong, self._facts, self._opened = {}, {}, set()
        for name in _ALWAYS:
            self._alarm(name)

    def _alarm(self, name: AlarmName, subject: str | None = None) -> Alarm:
        self._opened.add((name.value, subject))
        return self._register.open(name, None, self, limits=Limits(), subject=subject)

    def see(self, name: AlarmName, active: bool, tick: float, facts: Facts) -> None:
        """A fault is there, or no longer."""
        alarm = self._alarm(name, facts.get("contact"))
        self._facts[alarm.key] = facts
        self._wrong[alarm.key] = active
        if name is AlarmName.CLOCK_FAULT and not active:
            self._doubted_s = 0.0
        self._register.see(alarm, active and not self._season_closed(), tick)

    def season_changed(self, tick: float) -> None:
        """Birds came, or the last ones have gone."""
        for key, active in self._wrong.items():
            self._register.see(
                self._register.alarms[key], active and not self._season_closed(), tick
            )

    def jumped(
        self, tick: float, jump_s: float, *, doubted: bool, birds: bool, just_on: bool
    ) -> bool:
        """The wall clock was set. Told where it is worth it; True: it may be wrong, so the targets
        of the `birds` stay until somebody has said that it is right, or it is set back.

        `doubted`: it was known to be wrong, and is now right: that ends the doubt and asks
        nobody. `just_on`: a board that has started shortly before, without a battery for its clock,
        was off for so long; that is told as a gap."""
        off_s = jump_s + self._doubted_s
        self.see(AlarmName.CLOCK_FAULT, False, tick, Facts())
        alarm = self._alarm(AlarmName.CLOCK_FAULT, _JUMP)
        self._jump_s = (self._jump_s if self.asks_about_jump else 0.0) + jump_s
        if self.asks_about_jump and abs(self._jump_s) < _ASK_FROM_S:
            self._asks, self._jump_s = False, 0.0  # set back: as if nothing had been
            self._register.see(alarm, False, tick)
            return False
        self._asks = birds and not doubted and abs(self._jump_s) >= _ASK_FROM_S
        if just_on:
            self._was_off(off_s, tick, noted=doubted)
        told_as_gap = just_on and off_s >= 0.0
        if not self._asks and (told_as_gap or abs(self._jump_s) < _TELL_FROM_S):
            return False
        facts = Facts(jump_s=self._jump_s)
        if self._asks:
            facts["detail"] = (
                f"By the new date the birds are {self._ages(tick)} old. The target stays as it was "
                "until you say that this is right: acknowledge this. If the date is wrong, set the "
                "clock; nothing more is needed then. If only the age is, undo their entry and make "
                "it again before you acknowledge"
            )
        self._facts[alarm.key] = facts
        self._register.renew(alarm, tick)
        self._register.see(alarm, not self._season_closed(), tick)
        self._timers.set(Slot(6, SETTLE, _JUMP), None if self._asks else tick + _JUMP_STANDS_S)
        return self._asks

    def doubt(self, jump_s: float) -> None:
        """The wall clock shows another time than before, and that cannot be right."""
        self._doubted_s += jump_s

    @property
    def doubted_s(self) -> float | None:
        """How far the wall clock was set since it is doubted; None: it is not."""
        doubted = self._wrong.get(self._alarm(AlarmName.CLOCK_FAULT).key, False)
        return self._doubted_s if doubted else None

    def clock_step(self, tick: float, jump_s: float, on_for_s: float) -> ClockStep:
        """What a jump makes of the times that are known. Where only the clock of this start was
        wrong, a board just started was off for longer than it knew, or not for the hours that it
        took it for; what came before the cut was then told by a right clock."""
        doubted_s, began = self.doubted_s, tick - on_for_s
        before_s = jump_s
        if doubted_s is not None or on_for_s < JUST_ON_S:
            if jump_s > 0.0:
                before_s = min(jump_s, -(doubted_s or 0.0))
            elif self._gap_tick >= began and self._gap_s >= -jump_s:
                before_s = 0.0
        return ClockStep(jump_s, before_s, self._register.wall_at(began))

    @property
    def unreached(self) -> list[str]:
        """The contacts that a message did not reach."""
        faults = self._register.standing(name=AlarmName.DELIVERY_FAULT.value)
        return [alarm.subject for alarm in faults if alarm.subject is not None]

    def _ages(self, tick: float) -> str:
        """Birds that were entered by a clock months behind would be taken for grown ones."""
        at = self._register.wall_at(tick)
        return ", ".join(
            f"{int(box.needs.age_days_at(at))} days ({box.name})"
            for box in self._boxes
            if box.needs.batch is not None
        )

    @property
    def asks_about_jump(self) -> bool:
        """Does it wait for somebody to say whether the clock is right?"""
        return self._asks

    def jump_is_right(self, tick: float) -> bool:
        """Has somebody just said so? Then the new time is taken."""
        alarm = self._alarm(AlarmName.CLOCK_FAULT, _JUMP)
        if not self._asks or alarm.state is not AlarmState.ACKNOWLEDGED:
            return False
        self._asks, self._jump_s = False, 0.0
        self._register.see(alarm, False, tick)
        return True

    def was_down(self, left: float, tick: float, facts: Facts) -> None:
        """The watcher was not running from `left` to `tick`; the readings from before are still
        those of the probes. A command may have looked in between, or the power come for a moment:
        one gap all the same, until somebody watches again. Without `down_from` it is not known for
        how long, until the clock is set."""
        self._gap_s = down_s(facts)
        if self._gap is None:
            gap = facts.copy()
            before = self._floor_facts(None)
            temps = [p["temp_c"] for p in before if p["temp_c"] is not None]
            if temps:
                gap["before_c"] = min(temps)
        else:
            gap = self._gap.copy()
            if "down_to" in facts and "down_from" in facts:
                gap.setdefault("down_from", facts["down_from"])
                gap["down_to"] = facts["down_to"]
        due, known = self._timers.due(_TO_TELL), "down_from" in gap
        if known or due is not None:
            due = back_by(due if not known or down_s(gap) >= LONG_GAP_S else None, left, tick)
        else:
            due = tick + SET_WITHIN_S
        self._gap, self._gap_tick = gap, tick
        self._timers.set(_TO_TELL, due)

    def _was_off(self, off_s: float, tick: float, *, noted: bool) -> None:
        """By the clock that was set the gap was longer than the board knew. One that was `noted` at
        the start, and is told already, is news once more only where it was long."""
        gap, due = self._gap, max(tick, self._gap_tick + BACK_WITHIN_S)
        if gap is None:
            if off_s < (LONG_GAP_S if noted else _TELL_FROM_S):
                return
            gap, due, self._gap_tick = Facts(), tick, self._gap_tick if noted else tick
        off_s += down_s(gap)
        down_to = self._register.wall_at(self._gap_tick)
        gap["down_from"], gap["down_to"] = down_to - off_s, down_to
        worth_it = off_s >= _TELL_FROM_S
        self._gap = gap if worth_it else None
        self._timers.set(_TO_TELL, due if worth_it else None)

    def settle(self, key: str, tick: float) -> None:
        """A jump of the clock has stood for a while; or it is time to tell of the gap, with what is
        heard again."""
        if key == _JUMP:
            self._register.see(self._alarm(AlarmName.CLOCK_FAULT, _JUMP), False, tick)
            return
        if self._gap is None:
            return
        if self._wrong.get(self._alarm(AlarmName.STORAGE_FAULT).key):
            # Who cannot keep anything does not know when it watched last, and that is told.
            self._timers.set(_TO_TELL, tick + BACK_WITHIN_S)
            return
        gap, self._gap = self._gap, None
        after = self._floor_facts(self._gap_tick)
        gap["probes"] = after
        gap.setdefault("down_to", self._register.wall_at(self._gap_tick))
        temps = [p["temp_c"] for p in after if p["temp_c"] is not None]
        if temps:
            gap["after_c"] = min(temps)
        alarm = self._alarm(AlarmName.WAS_DOWN)
        self._facts[alarm.key] = gap
        self._register.see(alarm, not self._season_closed(), tick)

    def _floor_facts(self, since: float | None) -> list[ProbeFact]:
        boxes = [box for box in self._boxes if box.needs.batch is not None] or self._boxes
        probes = [p for box in boxes for p in box.probes if p.place is Place.FLOOR]
        facts = []
        for probe in probes:
            fact = probe.fact()
            if since is not None and probe.tick < since:
                fact["temp_c"] = None
            facts.append(fact)
        return facts

    # -- Owner

    def describe(self, alarm: Alarm, tick: float) -> Description:
        """What the service said of it."""
        facts = self._facts.get(alarm.key, Facts()).copy()
        silence = alarm.rule.alarm is AlarmName.BROKER_LOST
        return Description(facts, Cause.SILENCE if silence else Cause.UNKNOWN)

    def closing(self, alarm: Alarm, tick: float) -> Facts:
        """What the service said last."""
        return self._facts.get(alarm.key, Facts()).copy()

    def resume(self) -> None:
        for name, subject in list(self._opened):
            self._alarm(AlarmName(name), subject)
        self._wrong = {k: v for k, v in self._wrong.items() if k in self._register.alarms}
