"""When the evening message is due, and what is gathered for it. Used by `notification_plan`.
A cold night that is expected before bedtime is told in it, and so are chicks that come tomorrow: a
planned day wakes the watch of an empty site."""

from collections.abc import Callable, Iterable
from dataclasses import field, replace
from datetime import time

from monitor.events import Change, Priority
from monitor.kept import Kept, part
from monitor.site import Site
from monitor.tell.contact import Contact, first_told
from monitor.tell.daily_time import DailyTime
from monitor.tell.message import Message, MessageKind
from monitor.tell.present_facts import box_evening
from monitor.tell.wording import for_change
from monitor.tell.wording.evening import BoxEvening, Coming, coming, evening, with_coming
from monitor.tell.wording.words import Voice
from monitor.thermal.coming_night import CLEAR_CHANCE
from monitor.watch.status import BrooderStatus, SiteStatus

# Later than this it is no evening any more: what the board slept through is left out.
_LATE_S = 3 * 3600.0
_EVENING_S = 8 * 3600.0  # a cold night can be expected from the afternoon on
# A floor that leaves its band sooner than this after bedtime is not for the evening message.
_IN_TIME_S = 3600.0
_NIGHT_S = 12 * 3600.0  # so long whoever read it remembers what it said. Common practice


@part
class EveningCall(Kept):
    _daily: DailyTime
    # When a cold night was last held possible in it, by box.
    _possible: dict[str, float] = field(default_factory=dict)

    def __init__(self, site: Site, contacts: tuple[Contact, ...], at: time) -> None:
        self._site = site
        self._voice = Voice(site)
        self._contacts = contacts
        self._daily = DailyTime(site.timezone, at)
        self._possible = {}

    def begin(self, at: float) -> None:
        """Time is known from now on."""
        self._daily.begin(at)

    @property
    def next_at(self) -> float | None:
        """Unix time of the next one; None before the first `begin`."""
        return self._daily.next_at

    def can_wait(self, cold_night: Change) -> bool:
        """Is bedtime near, and early enough to do something about it?"""
        bedtime = self.next_at
        if bedtime is None or bedtime - cold_night.at > _EVENING_S:
            return False
        leaves_at = cold_night.facts.get("leaves_band_at")
        return leaves_at is None or leaves_at > bedtime + _IN_TIME_S

    def recall(self, cold_night: Change, at: float) -> Change:
        """A cold night that is told now, with when the evening message said that it might come."""
        said_at = self._possible.get(cold_night.brooder or "")
        if said_at is None or at - said_at > _NIGHT_S:
            return cold_night
        return replace(cold_night, facts={**cold_night.facts, "evening_at": said_at})

    def take_due(
        self,
        now_at: float,
        *,
        look: Callable[[], SiteStatus | None],
        still: Callable[[], list[str]],
        cold_nights: list[Change],
        called_off: list[Change],
        warns: bool,
    ) -> Message | None:
        """The message due by `now_at`, if there is one and somebody to tell. `called_off`: cold
        nights told before that should hold after all; `warns`: there is one not told before."""
        day = self._daily.take_due(now_at)
        if day is None:
            return None
        at = self._daily.moment(day)
        if now_at - at > _LATE_S and not cold_nights:
            return None
        status, needs_now = look(), still()
        off = {change.brooder: change.at for change in called_off}
        cold = {c.brooder: for_change(c, self._site) for c in cold_nights if c.brooder is not None}
        standing = status.brooders if status is not None else ()
        boxes = [
            box_evening(box, cold.get(box.name), off.get(box.name), self._voice, at)
            for box in standing
            if box.batch is not None or box.name in cold
        ]
        awaited = self._awaited(standing, at)
        if not boxes and not awaited:
            return None
        words = evening(boxes, needs_now, self._voice, at) if boxes else None
        if words is None or awaited:
            words = with_coming(words, awaited, self._voice)
        wrong = bool(needs_now) or any(one.unentered for one in awaited)
        told = self._told(at, warns=warns or wrong)
        self._possible = {box.brooder: at for box in boxes if told and _may_be_cold(box)}
        return Message(
            key=f"evening:{day.isoformat()}",
            thread="evening",
            kind=MessageKind.EVENING,
            contacts=tuple(told),
            priority=Priority.WARNING if cold or wrong else Priority.ADVICE,
            at=at,
            ack_for=tuple(change.occurrence for change in cold_nights),
            title=words.title,
            body=words.body,
            short=words.short,
        )

    def _awaited(self, standing: Iterable[BrooderStatus], at: float) -> list[Coming]:
        """Of the boxes to which birds are to come."""
        settings = {box.name: box for box in self._site.brooders}
        today = self._voice.local(at).date()
        found = [
            coming(box, settings[box.name], today, self._voice, at)
            for box in standing
            if box.expected is not None and box.name in settings and not box.out_of_service
        ]
        return [one for one in found if one is not None]

    def _told(self, at: float, *, warns: bool) -> list[str]:
        """Who wants advice and is not asleep; of a cold night all who want warnings."""
        local = self._voice.local(at).time()
        names = [
            contact.name
            for contact in first_told(self._contacts, Priority.ADVICE)
            if not contact.is_quiet(local)
        ]
        if warns:
            names += [contact.name for contact in first_told(self._contacts, Priority.WARNING)]
        return list(dict.fromkeys(names))


def _may_be_cold(box: BoxEvening) -> bool:
    return box.outlook is not None and box.outlook.chance >= CLEAR_CHANCE
