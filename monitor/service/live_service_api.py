"""The API of the running service: what the page may ask. Runs in the event loop; whatever touches
the core is done in the watch thread and waited for."""

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from monitor.brooding.ledger import Ledger
from monitor.brooding.objection import Objection
from monitor.events import Entry, Moment
from monitor.intake.unclaimed import Unclaimed
from monitor.service import core_answers
from monitor.service.configured import contacts_of, machine_of
from monitor.service.core import Core
from monitor.service.delivery_side import DeliverySide
from monitor.service.live_set_up import LiveSetUp
from monitor.service.status_board import StatusBoard
from monitor.service.watch_calls import WatchCalls
from monitor.settings import Settings
from monitor.settings.shown import shown
from monitor.site import Site
from monitor.tell.house_voice import HouseVoice
from monitor.tell.links import LinkAnswer, LinkFault, already_used
from monitor.tell.missing import Missing, missing
from monitor.watch.status import SiteStatus

_TRIAL_USED = "This trial alarm was answered already, or is from before the last start."


class LinkAnswers:
    """What is done by tapping a link in a message: an alarm is acknowledged, or a trial answered.
    Fulfils `page.service_api.LinksApi`. `at`: the time of the newest status."""

    def __init__(
        self, core: Core, calls: WatchCalls, reaching: DeliverySide, at: Callable[[], float]
    ) -> None:
        self._core = core
        self._calls = calls
        self._reaching = reaching
        self._at = at

    def occurrences(self, token: str) -> tuple[str, ...]:
        """What a link is for. Raises Objection."""
        answer = self._signed(token, self._at())
        if answer.trial is not None and self._reaching.trials().get(answer.trial, 0.0) is not None:
            raise Objection(_TRIAL_USED)
        return answer.occurrences

    async def answer(self, token: str) -> list[str]:
        """Does what a link says, once. Raises Objection."""
        return await self._calls.ask(lambda now: self._do(token, now))

    def _do(self, token: str, now: Moment) -> list[str]:
        """In the watch thread."""
        answer = self._signed(token, now.at)
        if already_used(answer, self._core.answers):
            raise Objection("This link was used already: the alarm is acknowledged.")
        if answer.trial is not None:
            if not self._reaching.answer_trial(answer.trial):
                raise Objection(_TRIAL_USED)
            return []
        done: list[str] = []
        for entry in answer.entries(self._core.status(now), now.at):
            done += core_answers.enter(self._core, entry, now)["changes"]
        return done

    def _signed(self, token: str, at: float) -> LinkAnswer:
        try:
            return self._reaching.links.read(token, at)
        except LinkFault as fault:
            raise Objection(str(fault)) from fault


KEPT_WITHIN_S = 3.0


class LiveServiceApi:
    """Fulfils `page.service_api.ServiceApi`."""

    def __init__(
        self,
        settings: Callable[[], Settings],
        journal_path: Path,
        *,
        core: Core,
        calls: WatchCalls,
        board: StatusBoard,
        unclaimed: Unclaimed,
        about: Callable[[], Mapping[str, Any]],
        reaching: DeliverySide,
        voice: HouseVoice,
        on_disk: Callable[[int], bool],
        listen: Callable[[], None],
        reload: Callable[[], Awaitable[Mapping[str, Any]]],
    ) -> None:
        self._settings = settings  # those in force: a reload changes them
        self.journal_path = journal_path
        self._core = core
        self._calls = calls
        self._board = board
        self._about = about
        self._reaching = reaching
        self._voice = voice
        self._on_disk = on_disk
        self._reload = reload
        self.links = LinkAnswers(core, calls, reaching, lambda: self.status().at)
        self.set_up = LiveSetUp(
            settings().source,
            unclaimed=unclaimed,
            site=lambda: self.site,
            status=self.status,
            listen=listen,
            reload=reload,
        )
        self._news = asyncio.Event()

    @property
    def site(self) -> Site:
        """The site as configured now."""
        return self._core.site

    def status(self) -> SiteStatus:
        """The newest status."""
        return self._board.status

    async def changed(self, wait_s: float) -> bool:
        """True once there is a newer status."""
        try:
            async with asyncio.timeout(wait_s):
                await self._news.wait()
        except TimeoutError:
            return False
        return True

    async def submit(self, entry: Entry) -> int:
        """Keeps an entry; its number. The page has asked whether it is right."""
        said = await self._calls.ask(
            lambda now: core_answers.enter(self._core, entry, now, sure=True)
        )
        return int(said["number"])

    def on_disk(self, number: int) -> bool:
        """Is that entry on the disk by now?"""
        return self._on_disk(number)

    async def kept(self, number: int) -> bool:
        """Waits for the disk, but not for long: whoever wrote it must know if it is in memory
        alone."""
        loop = asyncio.get_running_loop()
        deadline = loop.time() + KEPT_WITHIN_S
        while not self._on_disk(number) and loop.time() < deadline:
            await asyncio.sleep(0.02)
        return self._on_disk(number)

    async def ledger(self) -> Ledger:
        """The flock ledger as it stands."""
        return await self._calls.ask(lambda _now: self._core.ledger)

    async def tonight(
        self, brooder: str, *, low_c: float | None, cover: str | None, extra_watts: float
    ) -> Mapping[str, Any]:
        """The outlook."""
        return await self._calls.ask(
            lambda now: core_answers.tonight(
                self._core, now, brooder, low_c=low_c, cover=cover, extra_watts=extra_watts
            )
        )

    async def try_contacts(self, name: str | None) -> list[Mapping[str, Any]]:
        """Really sends a trial alarm; to all, it is said aloud in the house too."""
        known = [c.name for c in contacts_of(self._settings())]
        if not known:
            raise Objection("There is no contact in the configuration: add a [[contacts]].")
        if name is not None and name not in known:
            raise Objection(f"No contact is called {name!r}; they are {', '.join(known)}.")
        if name is None:
            self._voice.say("Brooder alarm. This is only a trial. ")
        return await self._reaching.try_contacts(name)

    def refused(self) -> list[Mapping[str, Any]]:
        """Refused messages."""
        return [asdict(kind) for kind in self._core.hearing.refused.latest()]

    def watcher(self) -> Mapping[str, Any]:
        """The watcher itself."""
        return self._about()

    def missing(self) -> list[Missing]:
        """What is still missing for tonight."""
        settings = self._settings()
        machine = machine_of(settings, self._about()["contacts"])
        return missing(self.site, contacts_of(settings), self.status(), machine)

    def settings_shown(self) -> list[tuple[str, str]]:
        """The configuration in force."""
        return shown(self._settings())

    async def reload(self) -> Mapping[str, Any]:
        """Takes the file anew: `wrong` line by line, empty where it is in force, and whether
        something in it `waits_for_a_start`."""
        return await self._reload()

    # -- inside

    def news(self) -> None:
        """The watch thread has a newer status: wakes whoever waits. Called in the event loop."""
        self._news.set()
        self._news = asyncio.Event()
