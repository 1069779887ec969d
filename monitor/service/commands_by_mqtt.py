"""Acknowledging over MQTT: a button board beside the box, or any client with the right to publish.

`brooder/acknowledge` with an empty payload answers every alarm; `porch` those of one brooder;
`porch/cold` one alarm; or JSON `{"brooder": "porch", "alarm": "cold", "by": "door button"}`."""

import json
import logging

from monitor.brooding.objection import Objection
from monitor.events import ALARM_NAMES, Entry, EntryKind, Moment
from monitor.intake.inbox import MqttMessage
from monitor.service.core import Core
from monitor.service.logs import facts

log = logging.getLogger(__name__)


def command_topics(prefix: str) -> tuple[str, ...]:
    """The topics that carry commands."""
    return (f"{prefix}/acknowledge",)


def obey(core: Core, prefix: str, delivery: MqttMessage, now: Moment) -> bool:
    """Carries out a command. False: the topic is none of ours. A command that cannot be carried
    out is counted with the refused messages, with the reason."""
    if delivery.topic not in command_topics(prefix):
        return False
    if delivery.retain or delivery.held:
        # An answer given while nobody listened was to an alarm of then, not to one of now.
        why = "an answer kept by the broker"
        core.hearing.refuse(delivery.topic, why, delivery.payload, now.at)
        return True
    try:
        core.enter(_entry(delivery.payload, now), now)
    except (Objection, ValueError) as refused:
        core.hearing.refuse(delivery.topic, str(refused), delivery.payload, now.at)
        log.warning("A command was refused.", extra=facts(topic=delivery.topic, why=refused))
    return True


def _entry(payload: bytes, now: Moment) -> Entry:
    text = payload.decode("utf-8", errors="strict").strip()
    by = "mqtt"
    brooder: str | None
    alarm: str | None
    if text.startswith("{"):
        try:
            said = json.loads(text)
        except (ValueError, RecursionError):
            raise ValueError("is not JSON") from None
        brooder, alarm, by = (
            _word(said, "brooder"),
            _word(said, "alarm"),
            _word(said, "by") or by,
        )
    else:
        brooder_text, _, alarm_text = text.partition("/")
        brooder, alarm = brooder_text or None, alarm_text or None
    if alarm is not None and alarm not in ALARM_NAMES:
        raise ValueError(f'"{alarm[:40]}" is no alarm; use one of {", ".join(sorted(ALARM_NAMES))}')
    return Entry(at=now.at, entry=EntryKind.ACKNOWLEDGE, brooder=brooder, alarm=alarm, by=by[:60])


def _word(said: object, key: str) -> str | None:
    value = said.get(key) if isinstance(said, dict) else None
    if value is not None and not isinstance(value, str):
        raise ValueError(f'"{key}" must be text')
    return value or None
