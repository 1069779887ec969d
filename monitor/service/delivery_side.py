"""How people are reached: the delivery with its clock, journal and signs of trouble; trial
messages; the outgoing sign of life. Owned by `run`."""

import asyncio
import logging
import secrets
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import KW_ONLY, InitVar, dataclass
from pathlib import Path
from typing import Any

from monitor.events import AlarmName, Facts
from monitor.journal.records import OutboxRow, Outcome
from monitor.service.clock import Clock, LiveClock
from monitor.service.configured import contacts_of
from monitor.service.logs import facts
from monitor.settings import Settings
from monitor.tell.contact import Contact
from monitor.tell.delivery import Delivery
from monitor.tell.links import Links, load_key
from monitor.tell.message import Message
from monitor.tell.try_contacts import try_out

log = logging.getLogger(__name__)

MOST_TRIALS = 100  # of which it is known whether they were answered
HAND_OVER_S = 2.0  # so long an old delivery may still send


@dataclass(eq=False, repr=False)
class DeliverySide:
    """See the module. `send` may be called from any thread."""

    settings: Settings
    clock: InitVar[Clock]
    _: KW_ONLY
    on_outcome: Callable[[Outcome], None]
    fault: Callable[[AlarmName, bool, Facts], None]
    chart: Callable[[str], Path | None] = lambda _brooder: None
    mark: str = ""

    def __post_init__(self, clock: Clock) -> None:
        # People's servers answer in real seconds, also in a rehearsal at speed.
        self._clock = clock if clock.speed == 1.0 else LiveClock()
        self._last: dict[str, tuple[float, str | None]] = {}  # contact -> tried at, why not
        self._last_ok: dict[str, float] = {}  # also of an earlier run
        # Trial messages: contact, tick of sending, seconds to the answer.
        self._trials: dict[str, tuple[str, float, float | None]] = {}
        self.links = Links(_key(self.settings.state_folder), self.settings.file.page.public_url)
        self._delivery = self._make()
        self._handing_over: threading.Thread | None = None

    def start(self, unsent: Iterable[OutboxRow], reached: Mapping[str, float]) -> None:
        """Starts, with what an earlier run left unsent, and when it reached whom."""
        self._last_ok.update(reached)
        self._delivery.start(unsent)

    def send(self, messages: list[Message]) -> None:
        """Takes messages; returns at once."""
        self._delivery.send(messages)

    def stop(self, drain_s: float) -> int:
        """Waits for what is under way; how many are unsent."""
        if self._handing_over is not None:
            self._handing_over.join(drain_s)
        unsent = self._delivery.drain(drain_s)
        self._delivery.stop()
        return unsent

    def alive(self) -> bool:
        """Has the delivery not ended by itself?"""
        return self._delivery.alive()

    def about(self) -> list[Mapping[str, Any]]:
        """Each contact and how the last try went."""
        return [
            {
                "name": contact.name,
                "last_try_at": self._last.get(contact.name, (None, None))[0],
                "last_why": self._last.get(contact.name, (None, None))[1],
                "last_ok_at": self._last_ok.get(contact.name),
                "pending": self._delivery.pending(contact.name),
                "trial_answered_s": next(
                    (s for c, _, s in reversed(list(self._trials.values())) if c == contact.name),
                    None,
                ),
            }
            for contact in contacts_of(self.settings)
        ]

    def reconfigure(self, settings: Settings) -> None:
        """Other contacts from now on; returns at once. What the old delivery cannot send within
        two seconds the new one goes on with."""
        self.settings = settings
        self.links.found_at(settings.file.page.public_url)
        old, new = self._delivery, self._make()
        self._delivery = new
        before = self._handing_over

        def hand_over() -> None:
            if before is not None:
                before.join()  # the old one may itself have begun a moment ago only
            old.drain(HAND_OVER_S)
            old.stop()
            try:
                new.start(old.unsent())
            except RuntimeError:
                log.warning("Stopped while contacts were changed; the next start sends what waits.")

        self._handing_over = threading.Thread(target=hand_over, name="hand-over", daemon=True)
        self._handing_over.start()

    def _make(self) -> Delivery:
        tell = self.settings.file.tell
        return Delivery(
            contacts_of(self.settings),
            now=self._clock.now,
            record=self._record,
            trouble=self._trouble,
            chart=self.chart,
            link=lambda message, contact: self.links.link(message, contact, self._clock.now().at),
            limit_s=tell.contact_time_limit_s,
            most_pending=tell.most_pending,
            mark=self.mark,
        )

    def _record(self, outcomes: list[Outcome]) -> None:
        for outcome in outcomes:
            if outcome.state != "superseded" or outcome.failure is not None:
                self._last[outcome.contact] = (outcome.tried_at, outcome.failure)
            if outcome.state == "sent":
                self._last_ok[outcome.contact] = outcome.tried_at
            self.on_outcome(outcome)

    def _trouble(self, contact: str, begins: bool, why: str) -> None:
        self.fault(AlarmName.DELIVERY_FAULT, begins, Facts(contact=contact, reason=why))

    async def try_contacts(self, name: str | None) -> list[Mapping[str, Any]]:
        """Really sends a trial message to one contact or to all."""
        wanted: tuple[Contact, ...] = tuple(
            c for c in contacts_of(self.settings) if name in (None, c.name)
        )
        trials: dict[str, str] = {}

        def link(contact: str) -> str | None:
            made = self.links.trial_link(contact, self._clock.now().at)
            if made is None:
                return None
            trials[contact] = made[0]
            self._trials[made[0]] = (contact, self._clock.now().tick, None)
            return made[1]

        limit_s = self.settings.file.tell.contact_time_limit_s
        tried = await asyncio.to_thread(
            lambda: list(try_out(wanted, self.settings.site, limit_s, link))
        )
        for old in list(self._trials)[:-MOST_TRIALS]:
            del self._trials[old]
        at = self._clock.now().at
        self._record(  # who was reached is known after a restart too
            [
                Outcome(
                    key=f"trial:{at:.0f}",
                    contact=one.contact,
                    tried_at=at,
                    state="sent" if one.why is None else "given-up",
                    tries=1,
                    failure=one.why,
                )
                for one in tried
            ]
        )
        return [
            {
                "contact": t.contact,
                "ok": t.why is None,
                "why": t.why,
                "took_s": t.took_s,
                "trial": trials.get(t.contact),
            }
            for t in tried
        ]

    def answer_trial(self, trial: str) -> bool:
        """Somebody tapped its link. False: it was answered before, or is from before a start."""
        contact, sent, answered_s = self._trials.get(trial, ("", 0.0, 0.0))
        if answered_s is not None:
            return False
        self._trials[trial] = (contact, sent, self._clock.now().tick - sent)
        return True

    def trials(self) -> dict[str, float | None]:
        """After how many seconds each of the latest trial messages was answered; None: not yet."""
        return {trial: answered_s for trial, (_, _, answered_s) in list(self._trials.items())}


def _key(folder: Path) -> bytes:
    """The links' key; where the disk refuses, one that lasts as long as this run."""
    try:
        return load_key(folder)
    except OSError as error:
        log.error("The key of the links cannot be kept.", extra=facts(why=error.strerror))
        return secrets.token_bytes(32)
