"""The API of the running service: what the page and the control socket may ask. Runs in the
event loop; whatever touches the core is done in the watch thread and waited for."""

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import asdict
from datetime import time
from pathlib import Path
from typing import Any

from monitor.brooding.batch import Ledger
from monitor.brooding.objection import Objection
from monitor.events import Entry, Moment
from monitor.intake.listener import Listener
from monitor.intake.unclaimed import Unclaimed, suggest
from monitor.measures import length_shown
from monitor.service import core_answers
from monitor.service.core import Core
from monitor.service.delivery_side import DeliverySide
from monitor.service.live_set_up import LiveSetUp
from monitor.service.machine import machine_of
from monitor.service.people import contacts_of
from monitor.service.status_board import StatusBoard
from monitor.service.watch_calls import WatchCalls
from monitor.settings import Settings, masked
from monitor.site import Site
from monitor.tell.house_voice import HouseVoice
from monitor.tell.links import LinkAnswer, LinkFault, already_used
from monitor.tell.missing import Missing, missing
from monitor.tell.wording.meter_words import meter_line
from monitor.units import Unit, step_shown
from monitor.units import shown as unit_shown
from monitor.watch.status import SiteStatus

KEPT_WITHIN_S = 3.0
_TRIAL_USED = "This trial alarm was answered already, or is from before the last start."
LISTEN_S = 900.0  # what else is on the broker is heard for this long after somebody looked


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
        on_disk: Callable[[int], bool] = lambda _number: True,
        listener: Listener | None = None,
        reload: Callable[[], Awaitable[Mapping[str, Any]]],
        mirror_look_again: Callable[[], bool] = lambda: False,
    ) -> None:
        self._settings = settings  # those in force: a reload changes them
        self._journal_path = journal_path
        self._core = core
        self._calls = calls
        self._board = board
        self._unclaimed = unclaimed
        self._about = about
        self._reaching = reaching
        self._voice = voice
        self._on_disk = on_disk
        self._listener = listener
        self._reload = reload
        self._set_up = LiveSetUp(
            settings().source,
            unclaimed=unclaimed,
            site=lambda: self.site,
            status=self.status,
            listen=self._listen,
            reload=reload,
        )
        self._mirror_look_again = mirror_look_again
        self._listen_until = 0.0
        self._news = asyncio.Event()

    # -- page.service_api.ServiceApi

    @property
    def site(self) -> Site:
        """The site as configured now."""
        return self._core.site

    @property
    def set_up(self) -> LiveSetUp:
        """The guided set-up."""
        return self._set_up

    @property
    def journal_path(self) -> Path:
        """The journal's database file."""
        return self._journal_path

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
        said = await self._in_watch(
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
        kept: Ledger = await self._in_watch(lambda _now: self._core.ledger)
        return kept

    async def tonight(
        self, brooder: str, *, low_c: float | None, cover: str | None, extra_watts: float
    ) -> Mapping[str, Any]:
        """The outlook."""
        said: Mapping[str, Any] = await self._in_watch(
            lambda now: core_answers.tonight(
                self._core, now, brooder, low_c=low_c, cover=cover, extra_watts=extra_watts
            )
        )
        return said

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

    def heard(self) -> list[Mapping[str, Any]]:
        """Unclaimed topics. Looking begins the listening where the broker is not our own."""
        self._listen()
        only = [b.name for b in self.site.brooders]
        return [
            {
                "topic": heard.topic,
                "count": heard.count,
                "last_at": heard.last_at,
                "excerpt": heard.excerpt,
                "lines": suggest(heard, only[0] if len(only) == 1 else None),
            }
            for heard in self._unclaimed.latest()
        ]

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

    def linked(self, token: str) -> tuple[str, ...]:
        """What a link is for."""
        answer = self._signed(token, self.status().at)
        if answer.trial is not None and self._reaching.trials().get(answer.trial, 0.0) is not None:
            raise Objection(_TRIAL_USED)
        return answer.occurrences

    async def answer_link(self, token: str) -> list[str]:
        """Does what a link says, once."""

        def work(now: Moment) -> list[str]:
            core = self._core
            answer = self._read(token, now.at)
            if answer.trial is not None:
                if not self._reaching.answer_trial(answer.trial):
                    raise Objection(_TRIAL_USED)
                return []
            done: list[str] = []
            for entry in answer.entries(core.status(now), now.at):
                done += core_answers.enter(core, entry, now)["changes"]
            return done

        done: list[str] = await self._in_watch(work)
        return done

    def _signed(self, token: str, at: float) -> LinkAnswer:
        try:
            return self._reaching.links.read(token, at)
        except LinkFault as fault:
            raise Objection(str(fault)) from fault

    def _read(self, token: str, at: float) -> LinkAnswer:
        answer = self._signed(token, at)
        if already_used(answer, self._core.answers):
            raise Objection("This link was used already: the alarm is acknowledged.")
        return answer

    # -- the control socket

    async def answer(self, what: str, details: dict[str, Any]) -> Any:
        """One request of a command. Raises Objection."""
        core = self._core
        said: Any
        match what:
            case "entry":
                said = await self._in_watch(lambda now: core_answers.asked(core, details, now))
                said = {**said, "kept": await self.kept(int(said["number"]))}
            case "ledger":
                said = await self._in_watch(lambda _now: core_answers.ledger(core))
            case "tonight":
                said = await self._in_watch(lambda now: core_answers.tonight(core, now, **details))
            case "warm-up":
                said = await self._in_watch(lambda now: core_answers.warm_up(core, now, **details))
            case "contacts-try":
                said = await self.try_contacts(details.get("name"))
            case "trials":
                said = self._reaching.trials()
            case "reload":
                said = dict(await self.reload())
            case _ if what in (plain := self._plain()):
                said = plain[what]()
            case _:
                raise Objection(f"{what} is nothing this service knows")
        return said

    def _plain(self) -> dict[str, Callable[[], Any]]:
        """What takes no details."""
        return {
            "probes": self._probes,
            "missing": lambda: [one._asdict() for one in self.missing()],
            "heard": lambda: [asdict(one) for one in self.set_up.heard()],
            "settings": self.settings_shown,
            "mirror-look-again": self._mirror_look_again,
            "about": lambda: dict(self._about()),
        }

    def _probes(self) -> dict[str, Any]:
        status = self.status()
        probes = list(status.probes) + [p for b in status.brooders for p in b.probes]
        topics = {p.key: p.topic for p in self.site.all_probes}
        return {
            "probes": [
                {
                    "key": p.key,
                    "topic": topics.get(p.key, ""),
                    "place": p.place.value,
                    "temp_c": p.temp_c,
                    "age_s": p.age_s,
                    "fault": p.fault,
                    "silent": p.silent,
                }
                for p in probes
            ],
            "meters": [
                {
                    "key": m.key,
                    "place": box,
                    "line": meter_line(m),
                    "age_s": None if m.at is None else status.at - m.at,
                    "silent": m.silent,
                }
                for box, meters in (
                    (self.site.name, status.meters),
                    *((b.name, b.meters) for b in status.brooders),
                )
                for m in meters
            ],
            "heard": self.heard(),
            "refused": self.refused(),
        }

    # -- inside

    def news(self) -> None:
        """The watch thread has a newer status: wakes whoever waits. Called in the event loop."""
        self._news.set()
        self._news = asyncio.Event()

    async def _in_watch(self, work: Callable[[Moment], Any]) -> Any:
        return await asyncio.wrap_future(self._calls.call(work))

    def _listen(self) -> None:
        if self._listener is not None:
            self._listener.start()
            loop = asyncio.get_running_loop()
            self._listen_until = loop.time() + LISTEN_S
            loop.call_later(LISTEN_S + 1, self._end_listening)

    def _end_listening(self) -> None:
        if self._listener is not None and asyncio.get_running_loop().time() >= self._listen_until:
            self._listener.stop()


def shown(settings: Settings) -> list[tuple[str, str]]:
    """Every key in force and its value; secrets only as set or not set."""
    lines: list[tuple[str, str]] = []

    def walk(value: Any, path: str) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                walk(inner, f"{path}.{key}" if path else key)
        elif isinstance(value, list | tuple) and value and isinstance(value[0], dict):
            for index, inner in enumerate(value):
                walk(inner, f"{path}[{index}]")
        elif hasattr(value, "get_secret_value"):
            lines.append((path, masked(value)))
        elif value is not None:
            lines.append((path, _as_written(value)))

    walk(settings.file.model_dump(), "")
    return [_in_units(key, value, settings.site.units) for key, value in lines]


_DIFFERENCES = ("offset", "band", "harm", "dead_band")


def _in_units(path: str, value: str, unit: Unit) -> tuple[str, str]:
    """`length_m` and `band_c` as they are written with a unit."""
    plain, _, suffix = path.rpartition("_")
    if suffix == "m":
        return plain, length_shown(float(value), unit)
    if suffix == "c":
        step = plain.rpartition(".")[2] in _DIFFERENCES
        return plain, (step_shown if step else unit_shown)(float(value), unit)
    return path, value


def _as_written(value: object) -> str:
    """As it would stand in the file, without its quotes."""
    match value:
        case bool():
            return str(value).lower()
        case list() | tuple():
            return ", ".join(str(one) for one in value) or "none"
        case time():
            return f"{value:%H:%M}"
    return str(value)
