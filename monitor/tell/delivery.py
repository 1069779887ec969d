"""Carries messages from the outbox to people. Owned by the service: `send` returns at once from
any thread, everything else happens in one thread of its own and in the sender's children.

Each contact is a lane: one sending at a time, its own back-off and time limit, so a server that
hangs delays nobody else. What becomes of a message is reported as Outcomes for the journal, and
trouble with a contact by `trouble`, so that the others can be told."""

import contextlib
import logging
import os
import selectors
import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import KW_ONLY, dataclass
from pathlib import Path
from typing import Any

from monitor.contact_form import found_before
from monitor.events import Moment
from monitor.journal.records import OutboxRow, Outcome
from monitor.tell.contact import Contact
from monitor.tell.links import with_link
from monitor.tell.message import GOOD_NEWS, Message
from monitor.tell.outbox import TROUBLE_AFTER, Outbox
from monitor.tell.sender_process import SenderProcess

log = logging.getLogger(__name__)

_GRACE_S = 10.0  # beyond a contact's limit before the sender itself is taken for dead
_RESTART_S = 5.0  # between two starts of a sender that dies at once


@dataclass(slots=True)
class _Sending:
    contact: str
    until: float  # tick; later than this the sender is dead


@dataclass(eq=False, repr=False)
class Delivery:
    """What it calls is called from its own thread, and must return quickly."""

    contacts: Sequence[Contact]
    _: KW_ONLY
    now: Callable[[], Moment]
    record: Callable[[list[Outcome]], None]  # for the journal
    trouble: Callable[[str, bool, str], None]  # contact, begins or ends, why: delivery-fault
    chart: Callable[[str], Path | None] = lambda _brooder: None  # a finished one, never awaited
    link: Callable[[Message, str], str | None] = lambda _message, _contact: None
    limit_s: float = 20.0  # for one sending; more where a contact answers late
    most_pending: int = 50
    mark: str = ""  # before each title, where nothing that is told is true

    def __post_init__(self) -> None:
        self._contacts = {contact.name: contact for contact in self.contacts}
        self._outbox = Outbox(self._contacts, most_pending=self.most_pending)
        self._troubled: set[str] = set()
        # An earlier run may have told of trouble: the first success of each contact ends that.
        self._unsure = set(self._contacts)
        self._inbox: list[Message] = []
        self._lock = threading.Lock()
        self._idle = threading.Event()
        self._idle.set()
        self._stopping = False
        self._stumbled = threading.Event()  # set at the end, so that a stumble's rest ends too
        self._wake_in, self._wake_out = os.pipe()
        os.set_blocking(self._wake_out, False)
        os.set_blocking(self._wake_in, False)
        self._sender: SenderProcess | None = None
        self._no_start_before = float("-inf")
        self._sending: dict[int, _Sending] = {}
        self._number = 0
        self._selector = selectors.DefaultSelector()
        self._thread = threading.Thread(target=self._run, name="delivery", daemon=True)

    def start(self, pending: Iterable[OutboxRow] = ()) -> None:
        """Starts, with what the journal says is unsent. The sender warms up meanwhile, so that
        the first urgent alert is quick. Raises RuntimeError after `stop`."""
        if self._stopping:
            raise RuntimeError("a delivery that was stopped cannot be started")
        now = self.now()
        self._record(self._outbox.restore(pending, now))
        if self._outbox.pending():
            self._idle.clear()
        self._thread.start()

    def alive(self) -> bool:
        """Has its thread not ended by itself?"""
        return self._thread.ident is None or self._thread.is_alive() or self._stopping

    def send(self, messages: Iterable[Message]) -> None:
        """Takes messages that are safe in the journal's outbox. Returns at once."""
        with self._lock:
            self._inbox += messages
            self._idle.clear()
        self._wake()

    def drain(self, within_s: float) -> int:
        """Waits until all is sent or given up, at most `within_s`. Returns how many are unsent;
        they go out at the next start."""
        self._idle.wait(within_s)
        return self._outbox.pending()

    def stop(self) -> None:
        """Ends the thread and the sender; what was being sent is tried again at the next start."""
        self._stopping = True
        self._stumbled.set()
        self._wake()
        if self._thread.ident is not None:
            self._thread.join(5.0)
        if self._sender is not None:
            self._sender.end()
            self._sender = None
        self._selector.close()
        os.close(self._wake_in)
        os.close(self._wake_out)

    def unsent(self) -> list[OutboxRow]:
        """After `stop`: what another delivery is to go on with."""
        self._take_in()
        return self._outbox.unsent()

    def pending(self, contact: str) -> int:
        """How many messages wait for this contact."""
        return self._outbox.pending(contact)

    def _wake(self) -> None:
        with contextlib.suppress(OSError):  # it is awake already, or has ended
            os.write(self._wake_out, b"x")

    # -- the delivery thread

    def _run(self) -> None:
        self._selector.register(self._wake_in, selectors.EVENT_READ)
        while not self._stopping:
            try:
                self._turn()
            except Exception as fault:  # goes on whatever happens; its text might hold a URL
                log.error("Delivery stumbled (%s) and goes on.", type(fault).__name__)
                self._stumbled.wait(1.0)
                self._lose_sender("the sending broke off")

    def _turn(self) -> None:
        self._take_in()
        self._start_sender()
        self._hand_out()
        with self._lock:
            if not self._inbox and not self._outbox.pending():
                self._idle.set()
        for key, _ in self._selector.select(self._wait_s()):
            if key.fd == self._wake_in:
                os.read(self._wake_in, 4096)
            else:
                self._hear()
        now = self.now()
        if any(sending.until <= now.tick for sending in self._sending.values()):
            self._lose_sender("no answer in time")

    def _take_in(self) -> None:
        with self._lock:
            inbox, self._inbox = self._inbox, []
        now = self.now()
        for message in inbox:
            self._record(self._outbox.add(message, now))

    def _start_sender(self) -> None:
        now = self.now()
        if self._sender is not None or not self._contacts or now.tick < self._no_start_before:
            return
        self._no_start_before = now.tick + _RESTART_S
        self._sender = SenderProcess()
        self._selector.register(self._sender.fd, selectors.EVENT_READ)
        urls = [contact.url for contact in self._contacts.values()]
        self._sender.hand({"warm": urls, "found": found_before(urls)})

    def _hand_out(self) -> None:
        if self._sender is None:
            return
        for name in self._outbox.contacts:
            now = self.now()
            message = self._outbox.take(name, now)
            if message is None:
                continue
            self._number += 1
            limit_s = self.limit_s * self._outbox.patience(name)
            self._sending[self._number] = _Sending(name, now.tick + limit_s + _GRACE_S)
            self._sender.hand(self._job(self._number, message, name, limit_s))

    def _job(self, number: int, message: Message, contact: str, limit_s: float) -> dict[str, Any]:
        chart = self.chart(message.attach_brooder) if message.attach_brooder else None
        link = self.link(message, contact) if message.ack_for else None
        body = with_link(message.body, link)
        return {
            "id": number,
            "url": self._contacts[contact].url,
            "title": f"{self.mark}{message.title}",
            "body": body,
            "kind": "calm" if message.kind in GOOD_NEWS else message.priority.value,
            "silent": message.silent,
            "attach": str(chart) if chart else None,
            "limit_s": limit_s,
        }

    def _hear(self) -> None:
        if self._sender is None:
            return
        answers = self._sender.answers()
        if answers is None:
            self._lose_sender("the sending broke off")
            return
        for answer in answers:
            sending = self._sending.pop(answer.get("id", 0), None)
            if sending is not None:
                self._ended(sending.contact, answer["why"], late=answer.get("late", False))

    def _ended(self, contact: str, why: str | None, *, late: bool = False) -> None:
        self._record(self._outbox.done(contact, why, self.now(), late=late))
        if why is None:
            if contact in self._troubled | self._unsure:
                self._troubled.discard(contact)
                self._unsure.discard(contact)
                self.trouble(contact, False, "")
            return
        log.warning("A message to %s did not get through: %s.", contact, why)
        if self._outbox.failures(contact) >= TROUBLE_AFTER and contact not in self._troubled:
            self._troubled.add(contact)
            self.trouble(contact, True, why)

    def _lose_sender(self, why: str) -> None:
        sender, self._sender = self._sender, None
        if sender is not None:
            self._selector.unregister(sender.fd)
            sender.end()
        lost, self._sending = self._sending, {}
        for sending in lost.values():
            self._ended(sending.contact, why)

    def _record(self, outcomes: list[Outcome]) -> None:
        if outcomes:
            self.record(outcomes)

    def _wait_s(self) -> float | None:
        """Until something is due; None: until somebody wakes us."""
        due = [sending.until for sending in self._sending.values()]
        if self._sender is None and self._contacts:
            due.append(self._no_start_before)
        elif self._outbox.next_due is not None:
            due.append(self._outbox.next_due)
        return max(0.0, min(due) - self.now().tick) if due else None
