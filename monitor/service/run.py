"""The service: wires the parts, starts them, waits, stops them. Called by `brooder watch` and by
the rehearsal."""

import asyncio
import contextlib
import logging
import signal
import threading
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Protocol

from monitor.events import AlarmName, Entry, Facts, Moment
from monitor.intake.inbox import Inbox
from monitor.intake.inbox import MqttMessage as Heard
from monitor.journal.pacing import CommitAllowance, Pacing
from monitor.journal.records import StorageFault
from monitor.service import commands_by_mqtt, control
from monitor.service.annunciator import Annunciator
from monitor.service.broker_side import BrokerSide
from monitor.service.chart_attachments import ChartAttachments
from monitor.service.clock import Clock
from monitor.service.commit_queue import CommitQueue
from monitor.service.control_requests import ControlRequests
from monitor.service.copying import Copying
from monitor.service.core import Core
from monitor.service.delivery_side import DeliverySide
from monitor.service.forecast import Forecaster
from monitor.service.logs import facts
from monitor.service.mains_reading import MainsReading
from monitor.service.parts import Parts
from monitor.service.readiness import Pulse, Readiness
from monitor.service.reloading import Reloading
from monitor.service.second_copy import SecondCopy
from monitor.service.service_api import ServiceApi
from monitor.service.startup import Opened, open_all, open_journal
from monitor.service.status_board import StatusBoard
from monitor.service.watch_calls import WatchCalls
from monitor.service.watch_thread import WatchThread
from monitor.service.writer import Writer
from monitor.settings import Settings
from monitor.settings.load import MAINS_TOPIC
from monitor.tell.heartbeat import Heartbeat
from monitor.tell.house_voice import HouseVoice
from monitor.tell.message import Message

log = logging.getLogger(__name__)

DRAIN_S = 10.0
PAGE_MOVES_AFTER_S = 1.0
FAILED = 70  # EX_SOFTWARE of sysexits.h: the watch ended by a fault of its own


@dataclass(slots=True, kw_only=True)
class Places:
    """Where the running service can be reached; filled once everything listens."""

    broker: str = ""
    broker_port: int | None = None  # of the built-in broker
    page: str | None = None
    heard_at: Callable[[], float | None]  # when the watch last heard something


class Page(Protocol):
    """The page while it is served."""

    port: int

    async def stop(self) -> None:
        """Ends it, and frees the port."""
        ...


@dataclass(slots=True, kw_only=True)
class Hooks:
    """What a caller may want to hear or replace."""

    clock: Clock | None = None
    show: Callable[[Message], None] | None = None
    on_ready: Callable[[Places], None] = lambda _places: None
    page: Callable[[Settings, ServiceApi], Awaitable[Page | None]] | None = None
    mark: str = ""  # before each title that goes to a contact
    reload: Callable[[], Settings] | None = None
    reload_asked: Callable[[], bool] = lambda: False  # while it starts
    stop: asyncio.Event = field(default_factory=asyncio.Event)


async def run(settings: Settings, hooks: Hooks) -> int:
    """Runs until SIGTERM, SIGINT or `hooks.stop`. Returns the exit code. Raises StorageFault where
    another service writes the same journal, OSError or SettingsFault where it cannot listen."""
    service = Service(settings, hooks, open_all(settings, hooks.clock))
    try:
        await service.start()
        await hooks.stop.wait()  # somebody wants it to end, or the watch has failed
    finally:
        await service.stop()
    return FAILED if service.failed else 0


class Service:
    """All parts of one running service, on what `open_all` has opened."""

    def __init__(self, settings: Settings, hooks: Hooks, opened: Opened) -> None:
        self._settings = settings  # as it was at the start; `_reloading` has what is in force
        self._hooks = hooks
        self._opened = opened
        self._stop = hooks.stop
        self._loop = asyncio.get_running_loop()
        self._readiness = Readiness()
        self._pulse = Pulse()
        self._places = Places(heard_at=lambda: self._watch.heard_at)
        self._cleanup = contextlib.AsyncExitStack()
        self._inbox = Inbox()
        core, clock = opened.core, opened.clock
        self._core = core
        self._calls = calls = WatchCalls(core, self._inbox.wake)
        self._pacing = Pacing(longest_s=settings.file.journal.commit_s)
        self._writer = self._made_writer()
        self._charts = ChartAttachments(
            settings.journal_path,
            lambda: core.site,
            settings.state_folder / "pictures",
            self._wall,
        )
        self._delivery = DeliverySide(
            settings,
            clock,
            on_outcome=calls.note_outcome,
            fault=calls.fault,
            chart=self._charts.newest,
            mark=hooks.mark,
        )
        self._voice = HouseVoice(lambda: self._reloading.settings.file.tell.voice)
        self._broker = BrokerSide(
            settings, inbox=self._inbox, clock=clock, fault=calls.fault, pacing=self._pacing
        )
        self._annunciator = Annunciator(
            self._delivery.send,
            link=lambda: self._broker.link,
            prefix=settings.file.tell.topic_prefix,
            show=hooks.show,
            # With nobody to send it to, or in a rehearsal, nothing is drawn.
            draw=self._charts.want if settings.file.contacts else lambda _brooder: None,
            aloud=self._voice.tell,
        )
        self._board = StatusBoard(core, clock, self._annunciator)
        self._commits = self._made_commits()
        self._forecaster = self._made_forecaster()
        self._mains = MainsReading(settings.file.mains, self._mains_said)
        self._watch = self._made_watch()
        self._copying = Copying(settings, self._writer.keep_cursor, calls.fault)
        self._parts = Parts(
            core=core,
            calls=calls,
            board=self._board,
            annunciator=self._annunciator,
            writer=self._writer,
            broker=self._broker,
            delivery=self._delivery,
            voice=self._voice,
            forecaster=self._forecaster,
            copying=self._copying,
            mains=self._mains,
        )
        self._reloading = Reloading(settings, hooks.reload, self._parts, self._page_changed)
        self._api: ServiceApi | None = None
        self._serving: Page | None = None
        self._moving: asyncio.Task[None] | None = None
        self._one_page_at_a_time = asyncio.Lock()
        self._served_settings = settings

    def _made_writer(self) -> Writer:
        return Writer(
            self._opened.journal,
            reopen=lambda: open_journal(self._settings),
            on_settled=self._calls.note_settled,
            on_fault=self._storage,
            on_other_journal=self._other_journal,
            wall=self._wall,
            on_end=self._part_ended,
            second_copy=SecondCopy(self._settings.state_folder),
            known_number=max((e.number for e in self._core.ledger.entries), default=0),
        )

    def _made_forecaster(self) -> Forecaster:
        settings = self._settings
        wanted, folder = settings.file.forecast, settings.state_folder
        return Forecaster(wanted, settings.site, folder, self._wall, self._forecast_came)

    def _made_commits(self) -> CommitQueue:
        return CommitQueue(
            self._core,
            clock=self._opened.clock,
            writer=self._writer,
            told=self._annunciator,
            memory=self._opened.rebuilt.memory,
            pacing=self._pacing,
            # With the slow pace together: eight probes every ten seconds stay below 4 MB an hour.
            allowance=CommitAllowance(regain_s=self._settings.file.journal.commit_s),
            inbox=self._inbox,
            calls=self._calls,
            board=self._board,
            link=lambda: self._broker.link,
        )

    def _made_watch(self) -> WatchThread:
        return WatchThread(
            self._core,
            clock=self._opened.clock,
            inbox=self._inbox,
            calls=self._calls,
            commits=self._commits,
            board=self._board,
            writer=self._writer,
            link=lambda: self._broker.link,
            memory=self._opened.rebuilt.memory,
            held=self._opened.rebuilt.held,
            readiness=self._readiness,
            commands=self._command,
            clock_sure=self._opened.clock_sure,
            on_end=self._part_ended,
        )

    @property
    def failed(self) -> bool:
        """Did the watch, or what keeps its records, end by a fault of its own?"""
        return self._watch.failed is not None or self._writer.failed is not None

    # -- start

    async def start(self) -> None:
        """Brings everything up; returns when probes and people can reach it."""
        started_at = self._wall()
        self._charts.start()
        self._cleanup.callback(self._charts.stop)
        self._voice.start()
        self._cleanup.callback(self._voice.stop)
        self._writer.start()
        if self._opened.trouble is not None:
            self._storage(self._opened.trouble)
        await self._broker.start()
        self._places.broker, self._places.broker_port = self._broker.place, self._broker.port
        self._delivery.start(self._opened.rebuilt.unsent, self._opened.rebuilt.reached)
        self._forecaster.start()
        self._cleanup.callback(self._forecaster.stop)
        self._pulse.begin(self._loop)
        self._readiness.needs("What keeps the records", self._writer.alive)
        self._readiness.needs("What tells people", self._delivery.alive)
        self._readiness.needs("What serves page and commands", self._pulse.alive)
        self._watch.start()
        self._mains.start()
        self._cleanup.callback(self._mains.stop)
        self._start_heartbeat()
        self._copying.start()
        self._cleanup.callback(self._copying.stop)
        await self._open_to_others(started_at)
        await self._broker.wait_to_hear()
        for number in (signal.SIGTERM, signal.SIGINT):
            self._loop.add_signal_handler(number, self._stop.set)
        self._loop.add_signal_handler(signal.SIGHUP, self._reloading.begin)
        if self._hooks.reload_asked():
            self._reloading.begin()
        self._say_ready()

    def _start_heartbeat(self) -> None:
        tell = self._settings.file.tell
        if tell.heartbeat_url is not None:
            heart = Heartbeat(
                tell.heartbeat_url.get_secret_value(),
                tell.heartbeat_minutes * 60,
                alive=self._watch.alive,
            )
            heart.start()
            self._cleanup.callback(heart.stop)

    async def _open_to_others(self, started_at: float) -> None:
        journal = self._settings.journal_path
        api = ServiceApi(self._parts, self._reloading, journal, started_at)
        requests = ControlRequests(api)
        try:
            commands = await control.serve(self._settings.control_paths, requests.answer)
            self._cleanup.callback(commands.close)
        except OSError as error:
            log.error("Commands cannot reach this service.", extra=facts(why=error.strerror))
        self._api = api
        self._cleanup.push_async_callback(self._close_page)
        await self._open_page(self._settings)
        news = threading.Thread(target=self._pass_news_on, args=(api,), name="news", daemon=True)
        news.start()

    async def _open_page(self, settings: Settings) -> None:
        page = settings.file.page
        if self._hooks.page is None or not page.enabled or self._api is None:
            return
        self._serving = await self._hooks.page(settings, self._api)
        if self._serving is not None:
            scheme = "https" if page.cert_file is not None else "http"
            self._places.page = f"{scheme}://{page.listen}:{self._serving.port}/"

    async def _close_page(self) -> None:
        if self._moving is not None and self._moving is not asyncio.current_task():
            self._moving.cancel()
        serving, self._serving = self._serving, None
        if serving is not None:
            await serving.stop()

    def _page_changed(self) -> None:
        """Whoever changed it on the page is answered by the page as it was."""

        async def move(before: Settings) -> None:
            await asyncio.sleep(PAGE_MOVES_AFTER_S)
            async with self._one_page_at_a_time:
                await self._close_page()
                await self._open_page(self._reloading.settings)
                if self._serving is None and self._reloading.settings.file.page.enabled:
                    log.error("The page stays where it was.")
                    await self._open_page(before)
            log.info("The page has moved.", extra=facts(page=self._places.page or "-"))

        self._moving = asyncio.ensure_future(move(self._served_settings))
        self._served_settings = self._reloading.settings

    def _say_ready(self) -> None:
        site = self._settings.site
        self._readiness.say("READY=1", "STATUS=Watching.")
        log.info(
            "Watching.",
            extra=facts(
                site=site.name,
                brooders=len(site.brooders),
                probes=len(site.all_probes),
                broker=self._places.broker,
                page=self._places.page or "-",
            ),
        )
        self._hooks.on_ready(self._places)

    # -- while it runs

    def _wall(self) -> float:
        return self._opened.clock.now().at

    def _part_ended(self) -> None:
        with contextlib.suppress(RuntimeError):  # the loop has ended before
            self._loop.call_soon_threadsafe(self._stop.set)

    def _command(self, core: Core, heard: Heard, now: Moment) -> bool:
        """In the watch thread: is it no reading, but something to do?"""
        file = self._reloading.settings.file
        topic = file.forecast.topic if file.forecast is not None else None
        if heard.topic == topic:
            self._forecaster.hear(heard.payload)
            return True
        return commands_by_mqtt.obey(core, file.tell.topic_prefix, heard, now)

    def _mains_said(self, payload: bytes) -> None:
        def hear(now: Moment) -> None:
            self._core.hear(MAINS_TOPIC, payload, now)

        self._calls.post("What the mains says could not be taken.", hear)

    def _forecast_came(self) -> None:
        newest = self._forecaster.newest
        if newest is not None:
            self._calls.post(
                "The forecast could not be taken.",
                lambda now: self._core.forecast_is(newest.pairs, newest.got_at, now),
            )

    def _other_journal(self, kept: list[Entry]) -> None:
        self._calls.post(
            "The ledger of the new journal was not compared.",
            lambda now: self._core.reconcile(kept, now),
        )

    def _storage(self, fault: StorageFault | None) -> None:
        about = Facts() if fault is None else Facts(reason=fault.words)
        self._calls.fault(AlarmName.STORAGE_FAULT, fault is not None, about)

    def _pass_news_on(self, api: ServiceApi) -> None:
        """Wakes the event loop's waiters when the watch thread has a newer status."""
        seen = self._board.status
        while not self._stop.is_set():
            if self._board.wait_for_news(seen, 1.0):
                seen = self._board.status
                with contextlib.suppress(RuntimeError):
                    self._loop.call_soon_threadsafe(api.news)

    # -- stop

    async def stop(self) -> None:
        """Ends everything in the order of a reading's way; nothing taken is lost."""
        self._stop.set()
        self._readiness.say("STOPPING=1")
        self._broker.end_patience()
        await self._cleanup.aclose()
        if self._watch.started and not await asyncio.to_thread(self._watch.stop, 10.0):
            log.error("The watch thread did not end within 10 s.")
        if not await asyncio.to_thread(self._writer.stop, 15.0):
            log.error(
                "The journal did not take everything. What was not acknowledged comes again; what"
                " was acknowledged from memory is lost.",
                extra=facts(readings_lost=self._commits.only_in_memory),
            )
        self._commits.acknowledge_settled()
        await self._broker.stop()
        unsent = await asyncio.to_thread(self._delivery.stop, DRAIN_S)
        if unsent:
            log.warning(
                "Stopped with messages unsent; they go out at the next start.",
                extra=facts(unsent=unsent),
            )
        control.forget(self._settings.control_paths)
        log.info("Stopped.")
