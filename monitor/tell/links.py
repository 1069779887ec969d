"""Signed links in urgent messages: "I am seeing to it". Made when a message is sent, redeemed by
the page (GET shows a button, POST answers: mail scanners open links by themselves).

A link is for the alarms of one message and no others, for one contact, for twelve hours and for
one use. The key lies in the state folder, readable by the service alone; a link holds no secret
but its signature. Its use is the journal's business: the ACKNOWLEDGE entries carry its id."""

import os
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from itsdangerous import BadSignature, URLSafeSerializer

from monitor.events import Entry, EntryKind
from monitor.tell.message import Message
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import SiteStatus

VALID_S = 12 * 3600.0  # a night
_CLOCK_SLACK_S = 300.0  # a link from a little ahead is a clock that was set back
_KEY_FILE, _KEY_BYTES = "links.key", 32


TRIAL = "trial/"  # an occurrence that begins so is a trial message's, and no alarm's


class LinkFault(Exception):
    """A link that answers nothing; its text is one line for the grower."""


def load_key(folder: Path, name: str = _KEY_FILE) -> bytes:
    """The signing key of this service; made at the first call. Raises OSError."""
    path = folder / name
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        key = path.read_bytes()
        if len(key) == _KEY_BYTES:
            return key
        path.unlink()  # cut short by a power cut: links already sent are void
        return load_key(folder, name)
    with os.fdopen(descriptor, "wb") as file:
        key = secrets.token_bytes(_KEY_BYTES)
        file.write(key)
        file.flush()
        os.fsync(file.fileno())
    return key


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkAnswer:
    """What a good link says."""

    id: str  # names this link in the journal
    contact: str
    occurrences: tuple[str, ...]

    @property
    def trial(self) -> str | None:
        """The trial message that it answers; None: it answers alarms."""
        first = next(iter(self.occurrences), "")
        return first if first.startswith(TRIAL) else None

    def entries(self, status: SiteStatus, now_at: float) -> list[Entry]:
        """The acknowledgements to enter: for those of its alarms that are still open. An alarm
        that came back since is another occurrence, which this link does not answer."""
        return [
            Entry(
                at=now_at,
                entry=EntryKind.ACKNOWLEDGE,
                brooder=alarm.brooder,
                alarm=alarm.alarm.value,
                by=self.contact,
                note=f"link {self.id}",
            )
            for alarm in status.all_alarms
            if alarm.occurrence in self.occurrences
            and alarm.state in (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED)
        ]


def with_link(body: str, link: str | None) -> str:
    """An urgent message's body with the way to answer it."""
    return f"{body}\nI am seeing to it: {link}" if link else body


def already_used(answer: LinkAnswer, entries: Iterable[Entry]) -> bool:
    """Is this link's use in the journal? Ask before `Answer.entries` are entered, in the thread
    that enters them."""
    return any(
        entry.entry is EntryKind.ACKNOWLEDGE and entry.note == f"link {answer.id}"
        for entry in entries
    )


class Links:
    """Makes the links of messages, and reads those that come back."""

    def __init__(self, key: bytes, public_url: str | None) -> None:
        """`public_url`: where a phone finds the page; None: no links."""
        self._signer = URLSafeSerializer(
            key, salt="acknowledge", signer_kwargs={"digest_method": sha256}
        )
        self.found_at(public_url)

    def found_at(self, public_url: str | None) -> None:
        """The page has another address from now on."""
        self._base = public_url.rstrip("/") + "/answer/" if public_url else None

    def link(self, message: Message, contact: str, now_at: float) -> str | None:
        """The link for this message to this contact; None where there is nothing to answer."""
        return self._made(contact, now_at, message.ack_for) if message.ack_for else None

    def trial_link(self, contact: str, now_at: float) -> tuple[str, str] | None:
        """A trial message's name and its link; None: no phone finds the page."""
        trial = f"{TRIAL}{secrets.token_hex(6)}"
        link = self._made(contact, now_at, (trial,))
        return None if link is None else (trial, link)

    def _made(self, contact: str, now_at: float, occurrences: Iterable[str]) -> str | None:
        if self._base is None:
            return None
        said = [int(now_at), contact, secrets.token_hex(6), *occurrences]
        return self._base + self._signer.dumps(said)

    def read(self, token: str, now_at: float) -> LinkAnswer:
        """What a link says that somebody opened. Raises LinkFault."""
        try:
            made_at, contact, number, *occurrences = self._signer.loads(token)
        except (BadSignature, ValueError, TypeError):
            raise LinkFault("This link is not whole. Open it again from the message.") from None
        age_s = now_at - made_at
        if age_s > VALID_S:
            raise LinkFault("This link is too old: it is good for 12 hours.")
        if age_s < -_CLOCK_SLACK_S:
            raise LinkFault("This link is from a time still to come: look at the board's clock.")
        return LinkAnswer(id=number, contact=contact, occurrences=tuple(occurrences))
