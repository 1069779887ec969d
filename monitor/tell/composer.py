"""From an incident to a Message: the words, whose phone it goes to, what it answers. Used by
`plan`, which decides when."""

from collections.abc import Callable, Container
from dataclasses import dataclass, replace

from monitor.brooding.ledger import Ledger
from monitor.brooding.night_hours import asleep
from monitor.events import AlarmName, Change, Entry, Priority
from monitor.kept import NEVER
from monitor.site import Site
from monitor.tell import incident_words
from monitor.tell.contact import Contact, first_told
from monitor.tell.incident import AlarmTold, AnswerGiven, ToldIncident
from monitor.tell.message import GOOD_NEWS, Message, MessageKind
from monitor.tell.wording import for_change
from monitor.tell.wording.life import batch_ended, watch_ended
from monitor.tell.wording.several_words import cold_nights_at_once
from monitor.tell.wording.words import Voice, Words
from monitor.watch.incidents import rank
from monitor.watch.status import SiteStatus


@dataclass(eq=False, repr=False)
class MessageComposer:
    """Makes the messages of what happened, each for its contacts; changes nothing."""

    site: Site
    contacts: tuple[Contact, ...]
    look: Callable[[], SiteStatus | None]

    def __post_init__(self) -> None:
        self._voice = Voice(self.site)

    def once(self, change: Change, at: float) -> Message:
        """Something that has happened: told, and that is all."""
        return _news(
            f"{change.occurrence}:raised",
            change.occurrence,
            for_change(change, self.site),
            change.priority,
            at,
            self.first(change.priority),
        )

    def watch_ended(self, box: str, entry: Entry) -> Message:
        """To every contact, whatever they want to hear of: a slip of the hand would silence all."""
        key = f"{box}/watch-ended/{entry.number}"
        words = watch_ended(box, entry, self._voice)
        return _news(key, key, words, Priority.WARNING, entry.at, self._all())

    def batch_ended(self, boxes: list[str], entry: Entry, ledger: Ledger) -> Message:
        """To every contact, as `watch_ended`."""
        key = f"batch-ended/{entry.number}"
        words = batch_ended(boxes, entry, ledger, self._voice)
        return _news(key, key, words, Priority.ADVICE, entry.at, self._all())

    def raised(self, incident: ToldIncident, untold: list[AlarmTold], at: float) -> Message:
        """New, or worse than told before: to those told at once, and to all who know of it."""
        worst = max(untold, key=lambda alarm: rank(alarm.change))
        lead = worst.change
        return self._message(
            incident,
            MessageKind.RAISED,
            key=f"{lead.occurrence}:raised"
            + (f":{worst.called_off}" if worst.called_off > 0 else ""),
            words=incident_words.raised(_to_list(incident, untold), self.site),
            told=self.first(lead.priority) + self.who_know(incident, lead),
            at=at,
            lead=lead,
        )

    def cold_nights(self, told: list[tuple[ToldIncident, list[AlarmTold]]], at: float) -> Message:
        """Of several boxes at once. Each goes on by itself, and no later one takes its place."""
        alarms = [alarm for _, untold in told for alarm in untold]
        changes = [alarm.change for alarm in alarms]
        lead, off = changes[0], alarms[0].called_off
        key = f"{lead.occurrence}:raised" + (f":{off}" if off > 0 else "")
        words = cold_nights_at_once([(c, for_change(c, self.site)) for c in changes], self._voice)
        knows = [name for incident, _ in told for name in self.who_know(incident, lead)]
        names = list(dict.fromkeys(self.first(lead.priority) + knows))
        message = _news(key, key, words, lead.priority, at, names)
        return replace(message, ack_for=tuple(change.occurrence for change in changes))

    def explained(self, incident: ToldIncident, alarm: AlarmTold, change: Change) -> Message:
        """Another cause than was told: to all who know of it."""
        lead = alarm.change
        return self._message(
            incident,
            MessageKind.RAISED,
            key=f"{lead.occurrence}:explained:{change.at:.0f}",
            words=for_change(change, self.site),
            told=self.who_know(incident, lead),
            at=change.at,
            lead=lead,
        )

    def again(self, incident: ToldIncident, alarm: AlarmTold, at: float) -> Message | None:
        """A scheduled repeat. Those of a warning wait for the morning in quiet hours; None where
        it would reach nobody for that reason."""
        lead = alarm.change
        told = self.who_know(incident, lead)
        if lead.priority is not Priority.URGENT:
            quiet = self._quiet(at)
            told = [name for name in told if name not in quiet]
            if quiet and not told:
                return None
        return self._message(
            incident,
            MessageKind.AGAIN,
            key=f"{incident.name}:again:{incident.repeats}",
            words=incident_words.again(incident, at, self.site, self.look()),
            told=told,
            at=at,
            lead=lead,
        )

    def asked_anew(
        self, incident: ToldIncident, alarm: AlarmTold, answer: AnswerGiven, at: float
    ) -> Message:
        """Answered, and no better an hour later: to all who know of it."""
        lead = alarm.change
        return self._message(
            incident,
            MessageKind.AGAIN,
            key=f"{incident.name}:anew:{answer.times}",
            words=incident_words.asked_anew(incident, answer, at, self.site, self.look()),
            told=self.who_know(incident, lead),
            at=at,
            lead=lead,
        )

    def passed_on(
        self,
        incident: ToldIncident,
        alarm: AlarmTold,
        contacts: list[Contact],
        at: float,
        unreached: Container[str],
    ) -> Message:
        """Nobody answered: to these, who wait the same minutes. Who is `unreached` could not."""
        asked = self.who_know(incident, alarm.change)
        return self._message(
            incident,
            MessageKind.PASSED_ON,
            key=f"{incident.name}:passed-on:{incident.times_passed_on + 1}",
            words=incident_words.passed_on(
                incident, at, self.site, self.look(), asked=asked, unreached=unreached
            ),
            told=[contact.name for contact in contacts],
            at=at,
            lead=alarm.change,
        )

    def by_somebody(self, incident: ToldIncident, kind: MessageKind, change: Change) -> Message:
        """Answered or put aside: to the others, so that two do not run."""
        return self._message(
            incident,
            kind,
            key=f"{change.occurrence}:{kind.value}",
            words=for_change(change, self.site),
            told=[name for name in incident.told_to if name != change.facts.get("by")],
            at=change.at,
        )

    def over(
        self,
        incident: ToldIncident,
        at: float,
        watched_from: float = NEVER,
        beside: AlarmName | None = None,
    ) -> Message:
        """To all who were told; to those told at once, if it came and went before that. Before
        `watched_from` nobody watched. `beside`: what else of that floor is not told as over."""
        told = incident.told_to
        if incident.last_told is None and incident.worst is not None:
            told = self.first(incident.worst.priority)
        return self._message(
            incident,
            MessageKind.OVER,
            key=f"{incident.name}:over"
            + (f":{incident.over_told}" if incident.over_told > 1 else ""),
            words=incident_words.over(
                incident,
                at,
                self.site,
                self.look(),
                watched_from=watched_from,
                beside=beside,
            ),
            told=told,
            at=at,
        )

    def called_off(self, incident: ToldIncident, at: float) -> Message:
        """What was only expected is expected no longer: as its end, but nobody is woken for it."""
        quiet, message = self._quiet(at), self.over(incident, at)
        return replace(message, contacts=tuple(n for n in message.contacts if n not in quiet))

    def wrong(self, incidents: list[ToldIncident]) -> list[str]:
        """What is wrong at this moment, in plain words. Whoever reads it is reached, whatever was
        said of them."""
        readers = {*self.first(Priority.ADVICE), *self.first(Priority.WARNING)}
        about_all = [one for one in incidents if one.unreached() >= readers > set()]
        told = [one for one in incidents if one.last_told is not None or _is_urgent(one)]
        left = [one for one in told if one not in about_all]
        return [line for one in left for line in incident_words.wrong(one, self.site)]

    def _message(
        self,
        incident: ToldIncident,
        kind: MessageKind,
        *,
        key: str,
        words: Words,
        told: list[str],
        at: float,
        lead: Change | None = None,
    ) -> Message:
        """`lead`: what asks for an answer; without one the message is calm news."""
        unreached = incident.unreached()
        return Message(
            key=key,
            thread=incident.id,
            also=tuple(incident.also),
            kind=kind,
            contacts=tuple(dict.fromkeys(name for name in told if name not in unreached)),
            priority=lead.priority if lead else Priority.WARNING,
            at=at,
            attach_brooder=incident_words.chart_of(incident, kind),
            ack_for=_answerable(incident) if lead else (),
            silent=kind in GOOD_NEWS and asleep(self._voice.local(at).hour),
            brief=words.brief if kind is MessageKind.AGAIN else "",
            title=words.title,
            body=words.body,
            short=words.short,
        )

    def _all(self) -> list[str]:
        return [contact.name for contact in self.contacts]

    def first(self, priority: Priority) -> list[str]:
        """Who is told at once."""
        return [contact.name for contact in first_told(self.contacts, priority)]

    def who_know(self, incident: ToldIncident, lead: Change) -> list[str]:
        """Those who were told, can be reached, and want what is so urgent."""
        want = {c.name for c in self.contacts if lead.priority in c.priorities}
        want -= incident.unreached()
        return [name for name in incident.told_to if name in want]

    def _quiet(self, at: float) -> set[str]:
        local = self._voice.local(at).time()
        return {contact.name for contact in self.contacts if contact.is_quiet(local)}


def _news(  # noqa: PLR0917
    key: str, thread: str, words: Words, priority: Priority, at: float, told: list[str]
) -> Message:
    return Message(
        key=key,
        thread=thread,
        kind=MessageKind.RAISED,
        contacts=tuple(told),
        priority=priority,
        at=at,
        title=words.title,
        body=words.body,
        short=words.short,
    )


def _answerable(incident: ToldIncident) -> tuple[str, ...]:
    """The occurrences that one answer is for."""
    return tuple(o for o, a in incident.alarms.items() if a.open and not a.acknowledged)


def _is_urgent(incident: ToldIncident) -> bool:
    return incident.worst is not None and incident.worst.priority is Priority.URGENT


def _to_list(incident: ToldIncident, untold: list[AlarmTold]) -> list[Change]:
    """Of a trouble shared by several boxes all are listed each time."""
    alarms = [a for a in incident.alarms.values() if a.open] if incident.shared else untold
    return [alarm.change for alarm in alarms]
