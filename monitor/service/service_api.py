"""The running service as page and commands may use it. Runs in the event loop; whatever touches the
core is done in the watch thread and waited for."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from monitor import __version__
from monitor.brooding.ledger import Ledger
from monitor.brooding.objection import Objection
from monitor.events import Entry, Moment
from monitor.service import core_answers
from monitor.service.configured import contacts_of, machine_of
from monitor.service.live_set_up import LiveSetUp
from monitor.service.parts import Parts
from monitor.service.reloading import Reloading
from monitor.settings.shown import shown
from monitor.site import Site
from monitor.tell.links import LinkAnswer, LinkFault, already_used
from monitor.tell.missing import Missing, missing
from monitor.watch.status import SiteStatus

_TRIAL_USED = "This trial alarm was answered already, or is from before the last start."


@dataclass(eq=False, repr=False)
class LinkAnswers:
    """What is done by tapping a link in a message: an alarm is acknowledged, or a trial answered.
    `at`: the time of the newest status."""

    parts: Parts
    at: Callable[[], float]

    def occurrences(self, token: str) -> tuple[str, ...]:
        """The occurrences that a signed link is for: of alarms, or one of a trial message
        (`tell.links.TRIAL`). Raises Objection when it is wrong or old, or its trial answered."""
        answer = self._signed(token, self.at())
        if (
            answer.trial is not None
            and self.parts.delivery.trials().get(answer.trial, 0.0) is not None
        ):
            raise Objection(_TRIAL_USED)
        return answer.occurrences

    async def answer(self, token: str) -> list[str]:
        """Does it, once: the alarms that were acknowledged. Raises Objection as `occurrences` does,
        and when it was used before."""
        return await self.parts.calls.ask(lambda now: self._do(token, now))

    def _do(self, token: str, now: Moment) -> list[str]:
        """Does what the link says; called in the watch thread."""
        answer = self._signed(token, now.at)
        if already_used(answer, self.parts.core.answers):
            raise Objection("This link was used already: the alarm is acknowledged.")
        if answer.trial is not None:
            if not self.parts.delivery.answer_trial(answer.trial):
                raise Objection(_TRIAL_USED)
            return []
        done: list[str] = []
        for entry in answer.entries(self.parts.core.status(now), now.at):
            done += core_answers.enter(self.parts.core, entry, now)["changes"]
        return done

    def _signed(self, token: str, at: float) -> LinkAnswer:
        try:
            return self.parts.delivery.links.read(token, at)
        except LinkFault as fault:
            raise Objection(str(fault)) from fault


KEPT_WITHIN_S = 3.0


@dataclass(eq=False, repr=False)
class ServiceApi:
    """Everything a person can look at or do."""

    parts: Parts
    reloading: Reloading
    journal_path: Path
    started_at: float  # Unix seconds

    def __post_init__(self) -> None:
        self.links = LinkAnswers(self.parts, lambda: self.status().at)
        self.set_up = LiveSetUp(
            self.reloading.settings.source,
            unclaimed=self.parts.broker.unclaimed,
            site=lambda: self.site,
            status=self.status,
            listen=self.parts.broker.listen_for_a_while,
            reload=self.reloading.answer,
        )
        self._news = asyncio.Event()

    @property
    def site(self) -> Site:
        return self.parts.core.site

    def status(self) -> SiteStatus:
        """The newest status of everything, immutable. Never waits."""
        return self.parts.board.status

    async def changed(self, wait_s: float) -> bool:
        """True as soon as there is a newer status, False after `wait_s` without one."""
        try:
            async with asyncio.timeout(wait_s):
                await self._news.wait()
        except TimeoutError:
            return False
        return True

    async def submit(self, entry: Entry) -> int:
        """Keeps a ledger entry or an act on an alarm; its number. The page has asked whether it is
        right. Raises Objection."""
        said = await self.parts.calls.ask(
            lambda now: core_answers.enter(self.parts.core, entry, now, sure=True)
        )
        return int(said["number"])

    def on_disk(self, number: int) -> bool:
        """Is that entry on the disk by now? Else it is in memory only. Never waits."""
        return self.parts.writer.has(number)

    async def kept(self, number: int) -> bool:
        """Waits for the disk, but not for long: whoever wrote it must know if it is in memory
        alone."""
        loop = asyncio.get_running_loop()
        deadline = loop.time() + KEPT_WITHIN_S
        while not self.on_disk(number) and loop.time() < deadline:
            await asyncio.sleep(0.02)
        return self.on_disk(number)

    async def ledger(self) -> Ledger:
        """The flock ledger as it stands, what was submitted just now included."""
        return await self.parts.calls.ask(lambda _now: self.parts.core.ledger)

    async def tonight(
        self, brooder: str, *, low_c: float | None, cover: str | None, extra_watts: float
    ) -> Mapping[str, Any]:
        """The outlook for the coming night, as `brooder tonight` prints it. Raises Objection."""
        return await self.parts.calls.ask(
            lambda now: core_answers.tonight(
                self.parts.core, now, brooder, low_c=low_c, cover=cover, extra_watts=extra_watts
            )
        )

    async def try_contacts(self, name: str | None) -> list[Mapping[str, Any]]:
        """Really sends a trial alarm (to all, it is said aloud in the house too): per contact
        `contact`, `ok`, `why`, `took_s`, and `trial` where its link can be answered. Raises
        Objection."""
        known = [c.name for c in contacts_of(self.reloading.settings)]
        if not known:
            raise Objection("There is no contact in the configuration: add a [[contacts]].")
        if name is not None and name not in known:
            raise Objection(f"No contact is called {name!r}; they are {', '.join(known)}.")
        if name is None:
            self.parts.voice.say("Brooder alarm. This is only a trial. ")
        return await self.parts.delivery.try_contacts(name)

    def refused(self) -> list[Mapping[str, Any]]:
        """Refused messages: `topic`, `reason`, `count`, `last_at`, `excerpt`."""
        return [asdict(kind) for kind in self.parts.core.hearing.refused.latest()]

    def watcher(self) -> Mapping[str, Any]:
        """The watcher itself. Of the estimate that failed, the brooders; of mirror and forecast,
        words (None: none is wanted); lows of the coming nights in degC."""
        broker, status = self.parts.broker.state, self.status()
        return {
            "started_at": self.started_at,
            "broker": broker.words if broker is not None else "none",
            "broker_connected": broker is not None and broker.connected,
            "without_estimate": [
                box.name for box in status.brooders if box.estimate_fault is not None
            ],
            "journal_ok": not self.parts.writer.failing,
            "journal_why": self.parts.writer.why_failing,
            "last_commit_at": self.parts.writer.last_kept_at,
            "mirror": self.parts.copying.words(),
            "mirror_well": self.parts.copying.well(),
            "contacts": self.parts.delivery.about(),
            "voice_trouble": self.parts.voice.trouble,
            "forecast": self.parts.forecaster.words(),
            "forecast_learned": forecast_learned(status),
            "forecast_lows": self.parts.forecaster.lows(),
            "version": __version__,
        }

    def missing(self) -> list[Missing]:
        """What is still missing for tonight, what is essential first."""
        settings = self.reloading.settings
        machine = machine_of(settings, self.watcher()["contacts"])
        return missing(self.site, contacts_of(settings), self.status(), machine)

    def settings_shown(self) -> list[tuple[str, str]]:
        """The configuration in force, key and value, secrets masked."""
        return shown(self.reloading.settings)

    # -- inside

    def news(self) -> None:
        """The watch thread has a newer status: wakes whoever waits. Called in the event loop."""
        self._news.set()
        self._news = asyncio.Event()


def forecast_learned(status: SiteStatus) -> dict[str, float]:
    """The night's lowest at each box's own place, by what its outside probe has taught about the
    forecast, degC."""
    return {
        box.name: box.outlook.outside_low_c
        for box in status.brooders
        if box.outlook is not None and box.outlook.outside_from.startswith("forecast")
    }
