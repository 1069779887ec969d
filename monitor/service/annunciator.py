"""Where a message goes: contacts, log, MQTT, terminal. Called by the watch thread."""

import json
import logging
from collections.abc import Callable, Iterable
from dataclasses import KW_ONLY, dataclass

from monitor.events import Change, ChangeKind, Priority
from monitor.intake.link import BrokerLink
from monitor.service.logs import facts
from monitor.tell.message import Message
from monitor.tell.status_topics import cleared_topics, topics_of
from monitor.watch.status import SiteStatus

log = logging.getLogger(__name__)


@dataclass(eq=False, repr=False)
class Annunciator:
    """Takes messages to people. Called in the watch thread, once for each
    message; returns at once."""

    send: Callable[[list[Message]], None]
    _: KW_ONLY
    link: Callable[[], BrokerLink | None]
    prefix: str
    show: Callable[[Message], None] | None = None
    draw: Callable[[str], None] = lambda _brooder: None
    aloud: Callable[[list[Message]], None] = lambda _messages: None

    def __post_init__(self) -> None:
        self._said: dict[str, str] = {}

    def tell(self, messages: list[Message]) -> None:
        """To everybody a message is for; to the log and MQTT in any case."""
        link = self.link()
        for message in messages:
            log.warning(
                message.short,
                extra=facts(priority=message.priority.value, to=", ".join(message.contacts) or "-"),
            )
            if self.show is not None:
                self.show(message)
            if link is not None:
                said = {
                    "at": message.at,
                    "priority": message.priority.value,
                    "title": message.title,
                    "text": message.body,
                }
                link.publish(f"{self.prefix}/told", json.dumps(said), qos=1)
        self.aloud(messages)
        self.send([message for message in messages if message.contacts])

    def changed(self, changes: list[Change], status: SiteStatus) -> None:
        """Alarm state on retained topics, so that a board that joins later knows it too."""
        for change in changes:
            begins = change.change is ChangeKind.RAISED and change.priority is Priority.URGENT
            if begins and change.brooder is not None:
                self.draw(change.brooder)
            log.info(
                "Alarm change.",
                extra=facts(
                    alarm=change.alarm.value,
                    change=change.change.value,
                    brooder=change.brooder or "-",
                    cause=change.cause.value,
                    priority=change.priority.value,
                ),
            )
        self.say_status(status)

    def say_status(self, status: SiteStatus) -> None:
        """The state of every alarm and of the siren, retained."""
        link = self.link()
        if link is None:
            return
        for topic, payload, retain in topics_of(status, self.prefix):
            if self._said.get(topic) != payload:
                self._said[topic] = payload
                link.publish(topic, payload, qos=1, retain=retain)

    def forget(self, gone: Iterable[str]) -> None:
        """Takes the retained state of brooders that are no longer configured off the broker."""
        link = self.link()
        for topic, payload, retain in cleared_topics(gone, self.prefix):
            self._said.pop(topic, None)
            if link is not None:
                link.publish(topic, payload, qos=1, retain=retain)
