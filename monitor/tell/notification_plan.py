"""Who is told what, and when: alarm changes in, messages out. Pure; owned by the service's watch
thread, by `replay` and by `rehearse`.

One cause is one incident and one message; the watch says which (watch.incidents). A worse form
of it is told at once, or with the next repeat where an urgent one is repeated already. A lesser
form is not told; another cause is told at once. Urgent messages repeat until somebody answers
and go on to the next contact; warnings repeat less; advice waits for the morning message. Times
are discrete events: whatever is due is done at its due time, so that the messages do not depend
on how often `advance` is called, and a restored state goes on exactly where it was."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import groupby
from math import inf

from monitor.brooding.ledger import Ledger
from monitor.events import AlarmName, Change, ChangeKind, ClockStep, Entry, Moment, Priority
from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Site
from monitor.tell import incident_words
from monitor.tell.composer import MessageComposer
from monitor.tell.contact import Contact
from monitor.tell.evening_call import EveningCall
from monitor.tell.gaps_told import GapsTold
from monitor.tell.incident import AlarmTold, ToldIncident
from monitor.tell.incident_times import Due, IncidentTimes, floors_hold, nearly_back
from monitor.tell.message import Message, MessageKind
from monitor.tell.morning_call import MorningCall
from monitor.tell.open_incidents import (
    CALLED_OFF_S,
    but_nights,
    clock_set,
    expected_nights,
    has_come_again,
    incident_for,
    is_called_off,
    nights_left,
    out_of_band,
    says_nothing_new,
    shared_by_boxes,
    storm_wait_s,
    told_beside,
    told_together,
    unreached,
    with_occurrence,
)
from monitor.tell.policy import Policy
from monitor.tell.present_facts import night_now
from monitor.thermal.coming_night import WARN_CHANCE
from monitor.watch.alarm_table import TABLE, Lasting
from monitor.watch.incidents import rank
from monitor.watch.silence import NO_BIRDS
from monitor.watch.status import SiteStatus
from monitor.watch.suppression import BY_DAY_S
from monitor.watch.watcher import SET_WITHIN_S, back_by

# What is worse than was told, by the same cause and with the same to do, waits for so long at most.
_WORSE_WAITS_S = 600.0
_LOOK_AGAIN_S = 60.0  # at a floor that is out of its band again: by then it may be told


@part
class NotificationPlan(Kept):
    """See the module. `look` is the engine's status, asked only when a text is written."""

    _incidents: list[ToldIncident]  # open ones, oldest first
    _escalated: list[Change]
    _offset_s: Tick = NEVER  # tick minus at
    _watched_from: Tick = NEVER  # nobody watched before
    _back_by: Tick = NEVER  # after a gap: by then the readings are back, and what is due is said
    _gaps: GapsTold
    _morning: MorningCall
    _evening: EveningCall

    def __init__(
        self,
        site: Site,
        contacts: tuple[Contact, ...] = (),
        policy: Policy | None = None,
        *,
        look: Callable[[], SiteStatus | None] = lambda: None,
    ) -> None:
        self._site = site
        self._contacts = contacts
        self._policy = policy or Policy()
        self._times = IncidentTimes(self._policy, contacts, lambda: unreached(self._incidents))
        self._look = look
        self._composer = MessageComposer(site, contacts, look)
        self._incidents, self._escalated = [], []
        self._gaps = GapsTold()
        self._morning = MorningCall(site, contacts, self._policy.morning_at)
        self._evening = EveningCall(site, contacts, self._policy.evening_at)

    def changes(self, changes: list[Change], now: Moment) -> list[Message]:
        """Takes what the engine handed over at `now` and says what is to be told."""
        self.see_clock(now)
        said: list[Message] = []
        for at, together in groupby(changes, key=lambda change: change.at):
            tick = min(at + self._offset_s, now.tick)
            said += self._until(tick, including=False)
            for change in together:
                said += self._take(change, tick)
            for incident in self._incidents:
                if incident.gather_due is not None and incident.gather_due <= tick:
                    said += self._tell(incident, tick)
        return _newest(said + list(self._until(now.tick, including=True)))

    def nobody_watched(self, for_s: float, tick: float) -> None:
        """Until `tick`. What became due meanwhile is said once, and not in the first minutes, in
        which the readings come back: before that the numbers are old. Nobody could hear or answer
        meanwhile: who was asked while it last ran has the rest of their time before the next is
        told. Where the power goes again and again that counts once, for somebody must be told."""
        for incident in self._incidents:
            if incident.asked is not None and incident.asked > self._watched_from:
                incident.asked += for_s
        self._back_by = self._times.not_before = back_by(self._back_by, tick - for_s, tick)
        self._watched_from = tick

    def watch_ended(self, box: str, entry: Entry) -> Message:
        """An entry has left a box without birds, so that cold is no longer watched for there."""
        message = self._composer.watch_ended(box, entry)
        self._morning.note(message.at, box, message.title)
        return message

    def batch_ended(self, boxes: list[str], entry: Entry, ledger: Ledger) -> Message:
        """The grower has closed the batch: the last word, where no box holds birds any more."""
        return self._composer.batch_ended(boxes, entry, ledger)

    def take_escalated(self) -> list[Change]:
        """The alarms passed on to the next contact since the last time, to be kept like any other
        change: it is here that it is known whether somebody else was there to be told."""
        taken, self._escalated = self._escalated, []
        return taken

    def nights_told(self) -> dict[str, bool]:
        """The cold nights that stand as told, or as called off, by occurrence. Of one that only
        went with lost heat nobody has heard a word."""
        return {
            occurrence: alarm.told
            for incident in self._incidents
            for occurrence, alarm in incident.alarms.items()
            if alarm.change.alarm is AlarmName.COLD_NIGHT
            and (alarm.called_off or (alarm.told and not _is_folded(alarm)))
        }

    def advance(self, now: Moment) -> list[Message]:
        """Does everything that is due by `now`, in order."""
        self.see_clock(now)
        return _newest(list(self._until(now.tick, including=True)))

    @property
    def next_due(self) -> float:
        """The tick of the next thing to do without any change; endless: there is none."""
        times = [due for incident in self._incidents for due, _ in self._times.due(incident)]
        times.append(max(self._gaps.due, self._back_by))
        for daily in (self._morning, self._evening):
            if daily.next_at is not None:
                times.append(daily.next_at + self._offset_s)
        return min(times, default=inf)

    # -- time

    def see_clock(self, now: Moment, step: ClockStep | None = None) -> None:
        """Was the wall clock set since it was last seen? `step` knows what that makes of times."""
        set_by_s, self._offset_s = self._offset_s - (now.tick - now.at), now.tick - now.at
        if abs(set_by_s) >= 1.0:
            step = step or ClockStep(set_by_s, set_by_s, NEVER)
            for incident in self._incidents:  # before the first time there are none
                clock_set(incident, step)
        self._morning.begin(now.at)
        self._evening.begin(now.at)

    def _until(self, tick: float, *, including: bool) -> Iterator[Message]:
        while True:
            due = [
                (when, what, i)
                for i, incident in enumerate(self._incidents)
                for when, what in self._times.due(incident)
            ]
            first = min(due, default=None)
            ends = tick if first is None else min(tick, first[0])
            gaps_due = max(self._gaps.due, self._back_by)
            if gaps_due <= ends and (gaps_due < tick or including):
                yield self._once(self._gaps.take_due(gaps_due), gaps_due)
                continue
            morning_at = self._morning.next_at
            if morning_at is not None and morning_at + self._offset_s <= ends:
                now_at = max(morning_at, tick - self._offset_s)
                yield from self._morning.take_due(
                    now_at,
                    look=self._look,
                    still=lambda: self._composer.wrong(but_nights(self._incidents)),
                )
                continue
            evening_at = self._evening.next_at
            if evening_at is not None and evening_at + self._offset_s <= ends:
                yield from self._say_evening(max(evening_at, tick - self._offset_s))
                continue
            if first is None or first[0] > tick or (first[0] == tick and not including):
                return
            when, what, index = first
            incident = self._incidents[index]
            when += self._times.skip_missed_s(incident, what, when, tick, including=including)
            yield from self._do(what, incident, when)

    def _say_evening(self, now_at: float) -> list[Message]:
        """With the cold nights that stand, as they are foretold now."""
        status = self._look()
        nights = [
            (incident, alarm, night_now(alarm.change, status))
            for incident, alarm in expected_nights(self._incidents)
        ]
        rest = but_nights(self._incidents)
        stand = [(incident, alarm, now) for incident, alarm, now in nights if now is not None]
        off = [(incident, alarm) for incident, alarm, now in nights if now is None]
        told = self._evening.take_due(
            now_at,
            look=lambda: status,
            still=lambda: self._composer.wrong(rest),
            cold_nights=[now for _, _, now in stand],
            called_off=[alarm.change for _, alarm in off if alarm.told and not _is_folded(alarm)],
            warns=any(not alarm.told for _, alarm, _ in stand),
        )
        if told is None:
            return []
        tick = now_at + self._offset_s
        for incident, alarm in off:
            _call_off(incident, alarm, tick)
        for incident, alarm, now in stand:
            _say_now(alarm, now)
            incident.gather_due = None
            incident.tell(incident.untold(), tick)
            incident.reach(told.contacts)
            self._morning.note(told.at, incident.one_place(), told.title)
        return [told]

    def _do(self, what: Due, incident: ToldIncident, tick: float) -> list[Message]:
        match what:
            case Due.TELL:
                return self._tell(incident, tick)
            case Due.OVER:
                return self._over(incident, tick)
            case Due.PASS_ON:
                return self._pass_on(incident, tick)
            case Due.AGAIN:
                return self._again(incident, tick)
            case Due.ASK_ANEW:
                return self._ask_anew(incident, tick)

    # -- a change comes

    def _take(self, change: Change, tick: float) -> list[Message]:
        if change.change is ChangeKind.RAISED:
            return self._raised(change, tick)
        if change.change is ChangeKind.CLEARED:
            self._morning.withdraw(change.occurrence)
        incident = with_occurrence(self._incidents, change.occurrence)
        if incident is None:
            return []
        match change.change:
            case ChangeKind.CLEARED:
                incident.close(change, tick)
                if incident.over_due == tick:
                    incident.over_due += self._policy.gather_s
            case ChangeKind.ACKNOWLEDGED:
                return self._acknowledged(incident, change, tick)
            case ChangeKind.SHELVED:
                return self._shelved(incident, change, tick)
            case ChangeKind.EXPLAINED:
                return self._explained(incident, change, tick)
        # An alarm taken up again whose condition holds is raised anew right after; an escalation is
        # our own.
        return []

    def _raised(self, change: Change, tick: float) -> list[Message]:
        if change.priority is Priority.ADVICE:
            self._morning.advise(change)
            return []
        if TABLE[change.alarm].lasting is Lasting.MOMENT:
            gap = self._gaps.take(change, tick, self._look())
            return [] if gap is None else [self._once(gap, tick)]
        incident = incident_for(self._incidents, change)
        if change.occurrence in incident.alarms:
            return []
        before = incident.worst
        alarm = incident.add(change, tick)
        worse = incident.worst is not before
        for one in [one for one in self._incidents if has_come_again(one, incident)]:
            incident.reach(one.told_to)  # they hear how it goes on
            self._incidents.remove(one)
        incident = shared_by_boxes(self._incidents, incident, change, tick)
        if change.facts.get("folded") and change.alarm is AlarmName.PROBE_FAULT and before is None:
            # told as what is behind the cold of its box: repeated for itself
            incident.tell([alarm], tick)
            incident.reach(self._composer.first(change.priority))
            return []
        folded = change.facts.get("folded") and incident.told
        if folded or (incident.shared and says_nothing_new(incident, change)):
            alarm.told = True
            incident.ask(alarm, tick)
            if worse and incident.last_told is not None:  # the next repeat says it, and soon
                every_s = self._policy.urgent_repeat_s
                incident.last_told = min(incident.last_told, tick + _WORSE_WAITS_S - every_s)
            return []
        incident.answered_rank = min(incident.answered_rank, rank(change) - 1)
        wait_s = self._policy.gather_s
        others = len(self._site.brooders) > 1 and change.brooder is not None
        if change.alarm is AlarmName.NO_READINGS and others:
            wait_s = self._policy.silence_gather_s
        elif change.alarm is AlarmName.CLOCK_FAULT and "jump_s" not in change.facts:
            wait_s = SET_WITHIN_S  # of a board without a battery the clock is set by itself
        elif change.priority is Priority.URGENT:
            wait_s = storm_wait_s(incident)
        due = tick + wait_s
        if change.alarm is AlarmName.COLD_NIGHT and self._evening.can_wait(change):
            bedtime = self._evening.next_at
            due = tick if bedtime is None else bedtime + self._offset_s
        if incident.gather_due is None or due < incident.gather_due:
            incident.gather_due = due
        return []

    def _explained(self, incident: ToldIncident, change: Change, tick: float) -> list[Message]:
        alarm = incident.explain(change, tick)
        if not alarm.told or change.facts.get("folded"):
            return []
        incident.last_told = tick
        message = self._composer.explained(incident, alarm, change)
        self._morning.note(message.at, change.brooder, message.title)
        return [message]

    def _acknowledged(self, incident: ToldIncident, change: Change, tick: float) -> list[Message]:
        before = incident.unanswered()
        incident.answer(change, tick)
        if before is None or incident.unanswered() is not None:
            return []
        alone = len(self._contacts) > 0 and len(incident.told_to) < 2
        if before.change.priority is not Priority.URGENT or alone:
            return []  # whoever is alone knows that it was them
        if len(incident.boxes()) > 1:  # one answer was for all of them
            change = replace(change, brooder=None)
        return [self._composer.by_somebody(incident, MessageKind.ANSWERED, change)]

    def _shelved(self, incident: ToldIncident, change: Change, tick: float) -> list[Message]:
        incident.close(change, tick)
        if incident.lead() is not None:
            return []
        self._incidents.remove(incident)
        return [self._composer.by_somebody(incident, MessageKind.SHELVED, change)]

    # -- something is told

    def _once(self, change: Change, tick: float) -> Message:
        message = self._composer.once(change, tick - self._offset_s)
        self._morning.note(message.at, change.brooder, message.title)
        return message

    def _tell(self, incident: ToldIncident, tick: float) -> list[Message]:
        at = tick - self._offset_s
        due = told_together(self._incidents, incident, tick + self._policy.gather_s)
        status = self._look()
        told = [(one, untold) for one in due if (untold := _to_tell(one, status, tick))]
        if not told:
            return []
        for alarm in (alarm for _, untold in told for alarm in untold):
            if alarm.change.alarm is AlarmName.COLD_NIGHT:
                stands = night_now(alarm.change, status) or alarm.change
                alarm.change = self._evening.recall(stands, at)
        one, untold = told[0]
        if len(told) == 1:
            message = self._composer.raised(one, untold, at)
        else:
            message = self._composer.cold_nights(told, at)
        boxes = {alarm.change.brooder for _, untold in told for alarm in untold}
        self._morning.note(message.at, boxes.pop() if len(boxes) == 1 else None, message.title)
        for one, untold in told:
            one.tell(untold, tick)
            one.reach(message.contacts)
        return [message]

    def _again(self, incident: ToldIncident, tick: float) -> list[Message]:
        incident.last_told = tick
        alarm = incident.unanswered()
        if alarm is None or floors_hold(incident, self._look()):
            return []
        incident.repeats += 1
        message = self._composer.again(incident, alarm, tick - self._offset_s)
        return [] if message is None else [message]

    def _ask_anew(self, incident: ToldIncident, tick: float) -> list[Message]:
        alarm, answer = incident.answered(), incident.answer_given
        if alarm is None or answer is None:
            return []
        answer.asked = tick
        if nearly_back(incident, self._look(), self._policy.ask_anew_s):
            return []
        answer.times += 1
        return [self._composer.asked_anew(incident, alarm, answer, tick - self._offset_s)]

    def _pass_on(self, incident: ToldIncident, tick: float) -> list[Message]:
        alarm = incident.unanswered()
        if alarm is None:
            return []
        waiting = self._times.waiting(incident, alarm)
        least = min(contact.after_minutes for contact in waiting)
        next_ones = [contact for contact in waiting if contact.after_minutes == least]
        at = tick - self._offset_s
        message = self._composer.passed_on(
            incident, alarm, next_ones, at, unreached(self._incidents)
        )
        incident.times_passed_on += 1
        self._escalated.append(
            incident_words.escalated(incident, alarm, next_ones, at, self._look())
        )
        incident.reach(contact.name for contact in next_ones)
        return [message]

    def _over(self, incident: ToldIncident, tick: float) -> list[Message]:
        due = max(incident.changed + incident.back_s, self._back_by)
        held = not incident.is_over and tick < due + BY_DAY_S
        if held and out_of_band(incident, self._look()):
            incident.over_due = tick + _LOOK_AGAIN_S
            return []
        told_before = incident.is_over
        incident.is_over = True
        incident.repeats_before = incident.repeats
        incident.over_due = incident.changed + incident.back_s
        rests = nights_left(incident)
        if rests:
            index = self._incidents.index(incident)
            self._incidents[index : index + 1] = rests
        elif incident.over_due <= tick or not incident.may_come_back:
            self._incidents.remove(incident)
        at = tick - self._offset_s
        emptied = incident.last is not None and incident.last.facts.get("reason") == NO_BIRDS
        if incident.worst is None or told_before or emptied:
            return []
        incident.over_told += 1
        for rest in rests:
            if rest.worst is not None:  # who wants urgent news alone has heard the end of it
                rest.told_to = self._composer.who_know(rest, rest.worst)
            rest.over_told = incident.over_told
            _goes_on(rest, self._look(), tick)
        if TABLE[incident.worst.alarm].told_once:
            if not is_called_off(incident, at, self._site.timezone):
                return []
            message = self._composer.called_off(incident, at)
            if incident.told_to and not message.contacts:
                return []
        else:
            message = self._composer.over(
                incident,
                at,
                self._watched_from - self._offset_s,
                told_beside(self._incidents, incident),
            )
        self._morning.note(message.at, incident.one_place(), message.title)
        return [message]

    def resume(self) -> None:
        """Contacts that are no longer configured drop out. Where nobody is left of those who know
        of a trouble, who would be told now hears how it goes on; an urgent one that waits for an
        answer is passed on to them at once. What was about a box that is gone the watch ends."""
        self._times.not_before = self._back_by
        names = {contact.name for contact in self._contacts}
        for incident in self._incidents:
            incident.told_to = [name for name in incident.told_to if name in names]
            if incident.last_told is None or incident.worst is None:
                continue
            asks, lead = incident.unanswered(), incident.lead()
            change = incident.worst if lead is None else lead.change
            urgent = asks is not None and asks.change.priority is Priority.URGENT
            if not urgent and not self._composer.who_know(incident, change):
                incident.reach(self._composer.first(change.priority))


def _is_folded(alarm: AlarmTold) -> bool:
    """No message of its own told it."""
    return bool(alarm.change.facts.get("folded"))


def _goes_on(night: ToldIncident, status: SiteStatus | None, tick: float) -> None:
    """What ended has said that the night is cold, if it still is to be."""
    for alarm in night.alarms.values():
        if (now := night_now(alarm.change, status)) is not None:
            _say_now(alarm, now)
        elif _is_folded(alarm):
            _call_off(night, alarm, tick)


def _say_now(alarm: AlarmTold, now: Change) -> None:
    """A cold night is told with the figures of now, in a message of others."""
    alarm.change = replace(now, facts=now.facts.copy())
    alarm.change.facts.pop("folded", None)


def _call_off(incident: ToldIncident, alarm: AlarmTold, tick: float) -> None:
    """A cold night that should hold after all counts as not told: it ends within the hour, or is
    told then."""
    alarm.called_off += alarm.told
    alarm.told, incident.last_told = False, None
    incident.gather_due = tick + CALLED_OFF_S


def _to_tell(incident: ToldIncident, status: SiteStatus | None, tick: float) -> list[AlarmTold]:
    """What is told of it now."""
    untold = [alarm for alarm in incident.untold() if not _holds_after_all(alarm, status)]
    incident.gather_due = None
    if not untold and incident.untold():  # it ends within the hour, or is told then
        incident.gather_due = tick + CALLED_OFF_S
    return untold


def _holds_after_all(alarm: AlarmTold, status: SiteStatus | None) -> bool:
    """A cold night that was called off is told at the chance at which a new one is: nobody is woken
    for less, and nobody is told the old figures."""
    if not alarm.called_off:
        return False
    now = night_now(alarm.change, status)
    return now is None or now.facts.get("chance", 1.0) < WARN_CHANCE


def _newest(said: list[Message]) -> list[Message]:
    """Without repeats that are overtaken already: after a night without power nobody needs the
    thirty repeats that would have come, only the last."""
    return [
        message
        for i, message in enumerate(said)
        if message.kind is not MessageKind.AGAIN
        or not any(later.thread == message.thread for later in said[i + 1 :])
    ]
