"""One cause and the alarms that belong to it: what is active, told and answered. Used by
`notification_plan`.

Which alarms belong together, and which of them need a message, the watch says with each change."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from monitor.events import AlarmName, Cause, Change, ChangeKind, Priority
from monitor.kept import Tick
from monitor.watch.alarm_table import TABLE, Family
from monitor.watch.incidents import BACK_S, SWING_S, SWINGING, rank


@dataclass(slots=True)
class AlarmTold:
    """One occurrence within an incident."""

    change: Change  # as it was raised
    open: bool = True  # active and not put aside
    acknowledged: bool = False
    told: bool = False
    called_off: int = 0  # so often told as no longer expected, and may be told anew
    ended_at: float | None = None  # wall time


@dataclass(slots=True)
class AnswerGiven:
    """The newest answer to an incident. What it is about may go on all the same."""

    at: float  # wall time
    by: str | None
    asked: Tick  # : when it was given, later when it was last asked whether it still helps
    times: int = 0  # asked so


@dataclass(slots=True)
class ToldIncident:
    """Times are ticks unless they end in `_at`."""

    id: str
    place: str
    family: str
    since_at: float
    alarms: dict[str, AlarmTold] = field(default_factory=dict)
    told_to: list[str] = field(default_factory=list)
    answered_rank: int = -1
    last_told: Tick | None = None
    gather_due: Tick | None = None  # untold alarms are told then, together
    over_due: Tick | None = None  # nothing is open any more: over then, if nothing new comes
    over_told: int = 0  # so often
    is_over: bool = False  # told; kept for a while, for it may come back
    answer_given: AnswerGiven | None = None
    asked: Tick | None = None  # since when an urgent alarm waits for an answer
    repeats: int = 0
    repeats_before: int = 0  # of these, until it was last told as over
    times_passed_on: int = 0
    extreme_c: float | None = None
    told_c: dict[str, float] = field(default_factory=dict)  # by box: the coldest that was repeated
    worst: Change | None = None  # the worst that was ever raised in it
    last: Change | None = None  # the latest clearing
    changed: Tick = 0.0  # when a change last touched it: nothing is done before that
    also: list[str] = field(default_factory=list)  # ids of other boxes' troubles that joined
    # The occurrence it began with: one that was put aside comes again under the id it had.
    begun_by: str = ""

    @property
    def shared(self) -> bool:
        """Is it the same trouble in several boxes?"""
        return bool(self.also)

    @property
    def name(self) -> str:
        """By which its messages are known: no two troubles ever have the same."""
        return self.begun_by or self.id

    def boxes(self) -> set[str | None]:
        """The boxes in which an alarm of it is open."""
        return {alarm.change.brooder for alarm in self.alarms.values() if alarm.open}

    def unreached(self) -> set[str]:
        """Contacts that it is about: they do not hear of it."""
        facts = [alarm.change.facts for alarm in self.alarms.values()]
        return {told["contact"] for told in facts if "contact" in told}

    def lead(self) -> AlarmTold | None:
        """The worst open alarm; None: none is open."""
        return _worst([alarm for alarm in self.alarms.values() if alarm.open])

    def unanswered(self) -> AlarmTold | None:
        """The worst open alarm that nobody answered. An answer to the worst answers the lesser
        alarms of the same cause in that box: who has gone out to the chill need not answer for
        the cold. Of another box with the same trouble, whose siren sounds on, it says nothing."""
        seen_to = {alarm.change.brooder for alarm in self.alarms.values() if alarm.acknowledged}
        return _worst(
            [
                alarm
                for alarm in self.alarms.values()
                if alarm.open
                and not alarm.acknowledged
                and (rank(alarm.change) > self.answered_rank or alarm.change.brooder not in seen_to)
            ]
        )

    def answered(self) -> AlarmTold | None:
        """The worst open alarm of an urgent trouble that somebody has answered. It is open also
        where its worst is over: a floor that stays below its band is not mended."""
        urgent = self.worst is not None and self.worst.priority is Priority.URGENT
        return self.lead() if urgent and self.unanswered() is None else None

    @property
    def told(self) -> bool:
        """So far; False while a message of it waits."""
        return self.last_told is not None and self.gather_due is None

    def untold(self) -> list[AlarmTold]:
        """Open alarms waiting in the gathering window."""
        return [alarm for alarm in self.alarms.values() if alarm.open and not alarm.told]

    def one_place(self) -> str | None:
        """The one brooder it is about; None: several, or the site."""
        boxes = {alarm.change.brooder for alarm in self.alarms.values()}
        return boxes.pop() if len(boxes) == 1 else None

    def add(self, change: Change, tick: float) -> AlarmTold:
        """Takes an alarm that was raised into the incident."""
        alarm = AlarmTold(change)
        if self.worst is not None and self.worst.alarm is AlarmName.COLD_NIGHT:
            self.since_at = change.facts.get("since", change.at)  # until now it was only expected
            self.extreme_c = None
        self.alarms[change.occurrence] = alarm
        if not self._is_only_expected(change):  # else each night would make its cold a new one
            self.over_due, self.is_over, self.changed = None, False, tick
        if self.worst is None or rank(change) > rank(self.worst):
            self.worst = change
        self.note_extreme(change)
        return alarm

    def note_extreme(self, change: Change) -> None:
        """Keeps how far it went, over all alarms of the cause."""
        value = change.facts.get("extreme_c", change.facts.get("temp_c"))
        if value is None:
            return
        if self.extreme_c is None:
            self.extreme_c = value
        elif self.family == Family.HOT.value:
            self.extreme_c = max(self.extreme_c, value)
        else:
            self.extreme_c = min(self.extreme_c, value)

    def close(self, change: Change, tick: float) -> None:
        """One of its alarms is over or put aside."""
        closed = self.alarms[change.occurrence]
        closed.open = False
        closed.ended_at = change.ended_at
        self.note_extreme(change)
        if not self.untold():
            self.gather_due = None
        if not self._is_only_expected(change):
            self.changed = tick
            self.last = change
            if self._is_mended():
                self.over_due = tick + (0.0 if self._tells_its_end_at_once() else self.back_s)
        elif self.over_due is None and self.lead() is None:
            self.over_due = tick
        self._stop_asking()

    def _is_only_expected(self, change: Change) -> bool:
        """A cold night beside heat that was lost, or that a dangerously cold floor was put down to:
        it keeps the end of that back from nobody."""
        worst = self.worst
        real = worst is not None and (
            worst.cause is not Cause.COLD_NIGHT or worst.priority is Priority.URGENT
        )
        return real and change.alarm is AlarmName.COLD_NIGHT

    def _is_mended(self) -> bool:
        return all(self._is_only_expected(a.change) for a in self.alarms.values() if a.open)

    def cold_night(self) -> AlarmTold | None:
        """The cold night that is still expected when the rest is over."""
        return self.lead() if self._is_mended() else None

    def _tells_its_end_at_once(self) -> bool:
        """Else the all-clear waits until it holds: who sleeps is not woken for a pause, and none
        is given for a floor that wavers. Who has answered waits for it, once."""
        answered = self.answer_given is not None and not self.over_told
        return answered or not self.may_come_back

    @property
    def back_s(self) -> float:
        """How long it must be over until it is, as `watch.incidents` has it."""
        worst = self.worst
        mild = worst is not None and worst.priority is not Priority.URGENT
        return SWING_S if worst is not None and mild and worst.alarm in SWINGING else BACK_S

    @property
    def may_come_back(self) -> bool:
        """As the same trouble. A box that was emptied has none; faults of the watcher and what
        stands alone are each a trouble of their own."""
        last = self.last
        stands_alone = last is not None and TABLE[last.alarm].family is None
        return not stands_alone and (last is None or "reason" not in last.facts)

    def explain(self, change: Change, tick: float) -> AlarmTold:
        """What is behind one of its alarms is another thing than was told."""
        alarm = self.alarms[change.occurrence]
        told = replace(change, change=ChangeKind.RAISED, at=alarm.change.at)
        if self.worst is not None and self.worst.occurrence == change.occurrence:
            self.worst = told
        alarm.change, self.changed = told, tick
        return alarm

    def answer(self, change: Change, tick: float) -> None:
        """Somebody acknowledged one of its alarms."""
        alarm = self.alarms[change.occurrence]
        alarm.acknowledged = True
        self.answered_rank = max(self.answered_rank, rank(alarm.change))
        self.changed = tick
        times = 0 if self.answer_given is None else self.answer_given.times
        self.answer_given = AnswerGiven(change.at, change.facts.get("by"), tick, times)
        self._stop_asking()

    def _stop_asking(self) -> None:
        alarm = self.unanswered()
        if alarm is None or alarm.change.priority is not Priority.URGENT:
            self.asked = None

    def tell(self, untold: list[AlarmTold], tick: float) -> None:
        """Notes that these alarms are told now."""
        for alarm in untold:
            alarm.told = True
            self.ask(alarm, tick)
        self.last_told = tick

    def ask(self, alarm: AlarmTold, tick: float) -> None:
        """From now on this alarm waits for an answer, if it is urgent and none does already."""
        if self.asked is None and alarm.change.priority is Priority.URGENT:
            self.asked = tick

    def reach(self, names: Iterable[str]) -> None:
        """These contacts know of it from now on, and hear its end."""
        self.told_to += [name for name in names if name not in self.told_to]


def _worst(alarms: list[AlarmTold]) -> AlarmTold | None:
    return max(alarms, key=lambda a: (rank(a.change), -a.change.at), default=None)
