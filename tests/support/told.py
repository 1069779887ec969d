"""Invented courses of alarms for the planner: what happened when, and what was told. Used by the
property tests of the plan."""

from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from monitor.events import AlarmName, Cause, Change, ChangeKind, Facts, Moment
from monitor.site import Brooder, Site
from monitor.tell.contact import Contact
from monitor.tell.message import Message
from monitor.tell.notification_plan import NotificationPlan
from monitor.units import Unit
from monitor.watch.alarm_table import TABLE

ZONE = ZoneInfo("America/Chicago")
START = datetime(2026, 2, 10, 18, tzinfo=ZONE).timestamp()
ME = Contact(name="me", url="json://nowhere")
ANN = Contact(name="ann", url="json://nowhere", after_minutes=15)
WHICH = (
    ("porch", AlarmName.COLD),
    ("porch", AlarmName.CHILL),
    ("porch", AlarmName.HEAT_LOSS),
    ("shed", AlarmName.CHILL),
    ("shed", AlarmName.OVERHEAT),
    ("porch", AlarmName.NO_READINGS),
)
_KIND = {
    "raise": ChangeKind.RAISED,
    "clear": ChangeKind.CLEARED,
    "answer": ChangeKind.ACKNOWLEDGED,
}


class Course:
    """Steps (which alarm, what, seconds later) made into possible changes; what cannot happen
    (an answer to nothing, a second raising) is left out."""

    def __init__(self, steps: Iterable[tuple[int, str, int]]) -> None:
        self.start = START
        self.site = Site(
            name="Hillside",
            timezone=ZONE,
            units=Unit.CELSIUS,
            brooders=tuple(
                Brooder(name=name, length_m=1, width_m=1, height_m=0.5)
                for name in ("porch", "shed")
            ),
        )
        self.changes: list[Change] = []
        self.end = START
        open_ones: dict[int, str] = {}
        answered: set[str] = set()
        for which, what, later_s in steps:
            self.end += later_s
            if what == "wait" or (what == "raise") == (which in open_ones):
                continue
            brooder, alarm = WHICH[which]
            if what == "raise":
                open_ones[which] = f"{brooder}/{alarm.value}/{int(self.end)}"
            occurrence = open_ones[which]
            if what == "answer":
                if occurrence in answered:
                    continue
                answered.add(occurrence)
            if what == "clear":
                del open_ones[which]
            self.changes.append(
                Change(
                    at=self.end,
                    brooder=brooder,
                    alarm=alarm,
                    change=_KIND[what],
                    priority=TABLE[alarm].priority,
                    cause=Cause.UNKNOWN,
                    occurrence=occurrence,
                    facts=Facts(temp_c=30.0, target_c=35.0),
                )
            )
        self.end += 3 * 3600.0

    def raise_of(self, occurrence: str) -> Change | None:
        """The change that began it."""
        return next((c for c in self.changes if c.occurrence == occurrence), None)

    def _at(self, occurrence: str, kind: ChangeKind) -> float:
        times = (c.at for c in self.changes if c.occurrence == occurrence and c.change is kind)
        return next(times, float("inf"))

    def open_at(self, occurrence: str, at: float) -> bool:
        """Raised by then and not over before."""
        began = self._at(occurrence, ChangeKind.RAISED)
        return began <= at <= self._at(occurrence, ChangeKind.CLEARED)

    def answered_at(self, occurrence: str, at: float) -> bool:
        """Somebody had answered before."""
        return self._at(occurrence, ChangeKind.ACKNOWLEDGED) < at

    def related(self, thread: str) -> set[str]:
        """All alarms that may belong to the cause that began with this one."""
        began = self.raise_of(thread)
        if began is None:
            return set()
        family = TABLE[began.alarm].family
        return {
            c.occurrence
            for c in self.changes
            if c.brooder == began.brooder and TABLE[c.alarm].family is family
        }


def course_changes(course: Course) -> list[Change]:
    """In order."""
    return course.changes


def told_by(
    course: Course, *, every_s: float, restarts: Iterable[int] = (), shift_s: float = 0.0
) -> list[Message]:
    """What a plan says of the course when it is advanced every so often. `restarts`: after these
    changes (by number) the plan is made anew from its state, its ticks moved by `shift_s`."""
    plan = NotificationPlan(course.site, (ME, ANN))
    offset_s = 0.0
    said = plan.advance(Moment(course.start, course.start))
    at = course.start
    for number, change in enumerate([*course.changes, None]):
        until = course.end if change is None else change.at
        while at + every_s < until:
            at += every_s
            said += plan.advance(Moment(at, at + offset_s))
        at = until
        if change is not None:
            said += plan.changes([change], Moment(at, at + offset_s))
        if number in restarts:
            state = plan.kept()
            plan = NotificationPlan(course.site, (ME, ANN))
            plan.restore(state, shift_s)
            offset_s += shift_s
    return said + plan.advance(Moment(at, at + offset_s))
