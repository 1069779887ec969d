"""One message as the planner makes it: what is said, to whom, and how it stands to the earlier
ones. Written to the outbox as it is; sent by `delivery`."""

from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any

from monitor.events import Priority


class MessageKind(StrEnum):
    """Why a message is sent. In falling order of haste within one priority."""

    RAISED = "raised"  # new, or worse than told before
    PASSED_ON = "passed-on"  # nobody answered: to the next contact
    AGAIN = "again"  # a scheduled repeat
    OVER = "over"
    ANSWERED = "answered"  # somebody else is seeing to it
    SHELVED = "shelved"
    MORNING = "morning"
    EVENING = "evening"


# Who answered, or that it is over: worth knowing, not worth waking for.
GOOD_NEWS = (MessageKind.OVER, MessageKind.ANSWERED, MessageKind.SHELVED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """`key` is the same whenever the same happening is told, also after a restart; the outbox
    keeps (`key`, contact) unique, so nothing is told twice."""

    key: str
    thread: str  # one cause: an undelivered older message of it is replaced by the newest
    also: tuple[str, ...] = ()  # other boxes' threads that have become this one
    kind: MessageKind
    contacts: tuple[str, ...]  # names; empty: nobody wants it, it goes to log and MQTT alone
    priority: Priority
    title: str
    body: str
    short: str  # one line
    at: float  # wall time of what is told
    brief: str = ""  # for whom an earlier message of the thread has reached; empty: the same body
    attach_brooder: str | None = None  # whose last 12 hours to attach as a picture
    ack_for: tuple[str, ...] = ()  # occurrences that the acknowledge link answers
    silent: bool = False  # good news of the night: no sound where the contact can do without

    def as_row(self) -> dict[str, Any]:
        """JSON-able, for the outbox; `from_row` is its inverse."""
        return {name: getattr(self, name) for name in _IN_ROW}


# The rest are columns of their own in the outbox.
_IN_ROW = [f.name for f in fields(Message) if f.name not in {"key", "contacts", "priority", "at"}]


def from_row(
    key: str, contact: str, at: float, priority: str, row: dict[str, Any] | Any
) -> Message:
    """A message to one contact as it was kept, perhaps by another version."""
    said = {name: row[name] for name in _IN_ROW if name in row}
    said |= {name: tuple(row.get(name, ())) for name in ("also", "ack_for")}
    said["kind"] = MessageKind(row["kind"])
    return Message(key=key, contacts=(contact,), priority=Priority(priority), at=at, **said)
