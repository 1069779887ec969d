"""When the morning message is due, and what is gathered for it. Used by `notification_plan`.
It comes while there are birds: an empty box has had no night."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from monitor.events import Change, Priority
from monitor.kept import Kept, part
from monitor.site import SITE_WIDE, Site
from monitor.tell.contact import Contact, first_told
from monitor.tell.daily_time import DailyTime
from monitor.tell.message import Message, MessageKind
from monitor.tell.present_facts import box_morning, nobody_in
from monitor.tell.wording import for_change
from monitor.tell.wording.morning import Gathered, morning
from monitor.tell.wording.words import Voice
from monitor.watch.status import BrooderStatus, SiteStatus

_LOG_MAX = 40  # lines of a bad night; more than a person reads


@part
class MorningCall(Kept):
    """Owned by the planner. All its times are wall time."""

    _daily: DailyTime
    _advice: dict[str, Change]  # by occurrence
    _log: list[tuple[float, str, str]]  # at, brooder or SITE_WIDE, what
    _held: list[tuple[float, Message]]  # until a contact's quiet hours end

    def __init__(self, site: Site, contacts: tuple[Contact, ...], at: time) -> None:
        self._site = site
        self._voice = Voice(site)
        self._contacts = {contact.name: contact for contact in contacts}
        self._daily = DailyTime(site.timezone, at)
        self._advice, self._log, self._held = {}, [], []

    # -- gathered

    def advise(self, change: Change) -> None:
        """Keeps advice until the morning."""
        self._advice[change.occurrence] = change

    def withdraw(self, occurrence: str) -> None:
        self._advice.pop(occurrence, None)

    def note(self, at: float, brooder: str | None, title: str) -> None:
        """Something was told in the night; None: about the site. In the same words only once."""
        place, what = brooder or SITE_WIDE, title.partition(": ")[2] or title
        if self._log and self._log[-1][1:] == (place, what):
            return
        self._log = [*self._log, (at, place, what)][-_LOG_MAX:]

    # -- when

    def begin(self, at: float) -> None:
        """Time is known from now on."""
        self._daily.begin(at)

    @property
    def next_at(self) -> float | None:
        """Unix time of the next thing to do; None before the first `begin`."""
        morning_at = self._daily.next_at
        if morning_at is None:
            return None
        return min([morning_at, *(release for release, _ in self._held)])

    def take_due(
        self,
        now_at: float,
        *,
        look: Callable[[], SiteStatus | None],
        still: Callable[[], list[str]],
    ) -> list[Message]:
        """The messages due by `now_at`. A morning missed is told late; older ones are left out."""
        said = [message for release, message in self._held if release <= now_at]
        self._held = [(r, m) for r, m in self._held if r > now_at]
        day = self._daily.take_due(now_at)
        if day is not None:
            said += self._say(day, look(), still())
        return said

    def _say(self, day: date, status: SiteStatus | None, still: list[str]) -> list[Message]:
        at = self._daily.moment(day)
        if nobody_in(status):
            self._advice, self._log = {}, []
            return []
        boxes = [
            box_morning(
                box.name,
                tuple(self._said_at(entry, at) for entry in self._log if entry[1] == box.name),
                status.brooder(box.name) if status else None,
                self._voice,
                at,
            )
            for box in self._site.brooders
            if status is None or _has_birds(status.brooder(box.name))
        ]
        advice = [self._advised(_as_now(change, status)) for change in self._advice.values()]
        site_log = [self._said_at(entry, at) for entry in self._log if entry[1] == SITE_WIDE]
        words = morning(
            boxes, Gathered(advice=advice, still=still, watch=site_log), self._voice, at
        )
        self._advice, self._log = {}, []
        message = Message(
            key=f"morning:{day.isoformat()}",
            thread="morning",
            kind=MessageKind.MORNING,
            contacts=(),
            priority=Priority.ADVICE,
            at=at,
            attach_brooder=boxes[0].brooder if len(boxes) == 1 else None,
            title=words.title,
            body=words.body,
            short=words.short,
        )
        return self.release(message)

    def release(self, message: Message) -> list[Message]:
        """Advice to those who want it: now, or when their quiet hours end."""
        told = first_told(tuple(self._contacts.values()), Priority.ADVICE)
        local = self._voice.local(message.at)
        now: list[str] = []
        for contact in told:
            if contact.is_quiet(local.time()):
                until = self._quiet_end(contact, local)
                self._held.append((until, replace(message, contacts=(contact.name,))))
            else:
                now.append(contact.name)
        return [replace(message, contacts=tuple(now))] if now or not told else []

    def _advised(self, change: Change) -> tuple[str, str]:
        """The box, and what is said of it: several may be told the same."""
        where = self._voice.where(change.brooder)
        return where, for_change(change, self._site).short.removeprefix(f"{where}: ")

    def _said_at(self, entry: tuple[float, str, str], at: float) -> str:
        return f"{self._voice.clock(entry[0], at)} {entry[2]}"

    def resume(self) -> None:
        """What no longer fits the configuration drops out."""
        names = {None, *(box.name for box in self._site.brooders)}
        self._advice = {o: c for o, c in self._advice.items() if c.brooder in names}
        self._held = [(at, m) for at, m in self._held if m.contacts[0] in self._contacts]

    def _quiet_end(self, contact: Contact, local: datetime) -> float:
        end = datetime.combine(local.date(), contact.quiet_to or time(0), self._site.timezone)
        if end.timestamp() <= local.timestamp():
            end = datetime.combine(
                local.date() + timedelta(days=1), contact.quiet_to or time(0), end.tzinfo
            )
        return end.timestamp()


def _has_birds(box: BrooderStatus | None) -> bool:
    """Or is it not known?"""
    return box is None or box.batch is not None


def _as_now(advice: Change, status: SiteStatus | None) -> Change:
    """With the figures of now: since it came up birds may have died or been moved."""
    standing = status.all_alarms if status is not None else ()
    for alarm in standing:
        if alarm.occurrence == advice.occurrence:
            return replace(advice, facts=alarm.facts)
    return advice
