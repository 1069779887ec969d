"""One trial message to each contact, one after the other, with the result. Called by
`brooder contacts try`, `brooder check --send` and the running service, which alone can be answered:
its trials bear a link, as an urgent alarm does."""

import selectors
import time
from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

from monitor.events import Priority
from monitor.site import Site
from monitor.tell.contact import Contact
from monitor.tell.links import with_link
from monitor.tell.sender_process import SenderProcess
from monitor.tell.wording.life import trial
from monitor.tell.wording.words import Voice

_GRACE_S = 10.0  # for a slow board to start the sender


class Tried(NamedTuple):
    contact: str
    why: str | None  # it failed; None: it was taken
    took_s: float


def try_out(
    contacts: Iterable[Contact],
    site: Site,
    limit_s: float = 20.0,
    link: Callable[[str], str | None] = lambda _contact: None,
) -> Iterator[Tried]:
    """Sends for real, with an urgent alarm's urgency; each takes at most `limit_s` and a little."""
    sender = SenderProcess()
    try:
        with selectors.DefaultSelector() as selector:
            selector.register(sender.fd, selectors.EVENT_READ)
            for number, contact in enumerate(contacts, 1):
                answer = link(contact.name)
                voice = Voice(site)
                words = trial(voice, contact.name, time.time(), linked=answer is not None)
                begun = time.monotonic()
                sender.hand(
                    {
                        "id": number,
                        "url": contact.url,
                        "title": words.title,
                        "body": with_link(words.body, answer),
                        "kind": Priority.URGENT.value,
                        "limit_s": limit_s,
                    }
                )
                answers = sender.answers() if selector.select(limit_s + _GRACE_S) else None
                why = answers[0]["why"] if answers else "the sending broke off"
                yield Tried(contact.name, why, time.monotonic() - begun)
                if answers is None:
                    return
    finally:
        sender.end()
