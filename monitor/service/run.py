"""The service: wires the parts, starts them, waits, stops them. Called by `brooder watch` and by
the rehearsal."""

import asyncio
import contextlib
import logging
import signal
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from monitor import __version__
from monitor.intake.inbox import Delivery as Heard
from monitor.intake.inbox import Inbox
from monitor.intake.link import BrokerState, Link
from monitor.intake.listener import Listener
from monitor.intake.rights import Rights
from monitor.intake.session import Session
from monitor.intake.unclaimed import Unclaimed
from monitor.journal.allowance import CommitAllowance
from monitor.journal.pacing import Pacing
from monitor.journal.records import StorageFault
from monitor.service import commands_by_mqtt, control
from monitor.service.broker_address import broker_address
from monitor.service.clock import Clock
from monitor.service.core import Core
from monitor.service.forecast import Forecaster
from monitor.service.live_desk import LiveDesk
from monitor.service.logs import facts
from monitor.service.opening import Opened, open_all, open_journal
from monitor.service.people import contacts_of, policy_of
from monitor.service.pictures import Pictures
from monitor.service.reaching import Reaching
from monitor.service.readiness import Readiness
from monitor.service.telling import Telling
from monitor.service.watch_thread import WatchThread
from monitor.service.writer import Submission, Writer
from monitor.settings import Settings, SettingsFault, load_settings
from monitor.tell.heartbeat import Heartbeat
from monitor.tell.message import Message
from monitor.tell.status_topics import is_ours
from monitor.watch.events import AlarmName, Facts, Moment

if TYPE_CHECKING:
    from monitor.intake.builtin import BuiltInBroker
    from monitor.service.copying import Copying

log = logging.getLogger(__name__)

BROKER_PATIENCE_S = 30.0  # a broker that restarts is back sooner; longer is worth telling
DRAIN_S = 10.0
HEAR_WITHIN_S = 2.0
FAILED = 70  # EX_SOFTWARE of sysexits.h: the watch ended by a fault of its own


@dataclass(slots=True, kw_only=True)
class Places:
    """Where the running service can be reached; filled once everything listens."""

    broker: str = ""
    broker_port: int | None = None  # of the built-in broker
    page: str | None = None
    page_port: int | None = None


@dataclass(slots=True, kw_only=True)
class Hooks:
    """What a caller may want to hear or replace."""

    clock: Clock | None = None
    show: Callable[[Message], None] | None = None
    on_ready: Callable[[Places], None] = lambda _places: None
    page: bool = True
    reload: Callable[[], Settings] | None = None
    stop: asyncio.Event = field(default_factory=asyncio.Event)


async def run(settings: Settings, hooks: Hooks) -> int:
    """Runs until SIGTERM, SIGINT or `hooks.stop`. Returns the exit code. Raises StorageFault where
    another service writes the same journal, OSError or SettingsFault where it cannot listen."""
    service = Service(settings, hooks)
    try:
        await service.start()
        await service.wait()
    finally:
        await service.stop()
    return FAILED if service.failed else 0


class Service:
    """All parts of one running service."""

    def __init__(self, settings: Settings, hooks: Hooks) -> None:
        self._settings = settings
        self._hooks = hooks
        self._readiness = Readiness()
        self._places = Places()
        self._inbox = Inbox()
        prefix = settings.file.tell.topic_prefix
        self._unclaimed = Unclaimed(ours=lambda topic: is_ours(topic, prefix))
        self._stop = hooks.stop
        self._opened: Opened | None = None
        self._link: Session | BuiltInBroker | None = None
        self._built_in: BuiltInBroker | None = None
        self._cleanup = contextlib.AsyncExitStack()
        self._broker_lost_timer: asyncio.TimerHandle | None = None
        self._told_broker_lost = False

    @property
    def failed(self) -> bool:
        """Did the watch end by a fault of its own?"""
        return self._opened is not None and self._watch.failed is not None

    # -- start

    async def start(self) -> None:
        """Brings everything up; returns when probes and people can reach it."""
        settings = self._settings
        self._loop = asyncio.get_running_loop()
        self._opened = opened = open_all(settings, self._hooks.clock)
        self._clock = opened.clock
        self._started_at = opened.clock.now().at
        prefix = settings.file.tell.topic_prefix
        self._writer = Writer(
            opened.journal,
            reopen=lambda: open_journal(settings),
            on_settled=self._settled,
            on_fault=self._storage,
            wall=lambda: self._clock.now().at,
        )
        pictures = Pictures(
            settings.journal_path,
            lambda: opened.core.site,
            settings.state_folder / "pictures",
            lambda: opened.clock.now().at,
        )
        self._reaching = Reaching(settings, opened.clock, pictures.newest)
        self._telling = Telling(
            self._reaching.send,
            prefix=prefix,
            show=self._hooks.show,
            # With nobody to send it to, or in a rehearsal, nothing is drawn.
            draw=pictures.want if settings.file.contacts else lambda _brooder: None,
        )
        pictures.start()
        self._cleanup.callback(pictures.stop)
        self._watch = WatchThread(
            opened.core,
            clock=opened.clock,
            inbox=self._inbox,
            writer=self._writer,
            told=self._telling,
            memory=opened.rebuilt.memory,
            held=opened.rebuilt.held,
            pacing=Pacing(longest_s=settings.file.journal.commit_s),
            # With the slow pace together: eight probes every ten seconds stay below 1.5 MB an hour.
            allowance=CommitAllowance(regain_s=settings.file.journal.commit_s),
            readiness=self._readiness,
            commands=self._command,
            clock_sure=opened.clock_sure,
            on_end=self._watch_ended,
        )
        self._reaching.attach(self._watch)
        self._writer.start()
        if opened.trouble is not None:
            self._storage(opened.trouble)
        await self._start_broker(prefix)
        self._reaching.start(opened.rebuilt.unsent)
        self._start_forecast()
        self._watch.start()
        self._start_heartbeat()
        self._start_copying()
        self._desk = LiveDesk(
            settings,
            self._watch,
            unclaimed=self._unclaimed,
            about=self._about,
            try_contacts=self._reaching.try_contacts,
            links=self._reaching.links,
            listener=self._listener(),
        )
        await self._start_control()
        if self._hooks.page and settings.file.page.enabled:
            await self._start_page()
        self._news = threading.Thread(target=self._pass_news_on, name="news", daemon=True)
        self._news.start()
        await self._wait_to_hear()
        for number in (signal.SIGTERM, signal.SIGINT):
            self._loop.add_signal_handler(number, self._stop.set)
        self._loop.add_signal_handler(signal.SIGHUP, self._reload)
        self._readiness.say("READY=1", "STATUS=Watching.")
        log.info(
            "Watching.",
            extra=facts(
                site=settings.site.name,
                brooders=len(settings.site.brooders),
                probes=len(settings.site.all_probes),
                broker=self._places.broker,
                page=self._places.page or "-",
            ),
        )
        self._hooks.on_ready(self._places)

    async def _start_broker(self, prefix: str) -> None:
        file = self._settings.file
        topics = self._topics()
        link: Session | BuiltInBroker
        address = broker_address(self._settings)
        if address is not None:
            link = Session(
                address,
                client_id=self._settings.client_id,
                topics=topics,
                inbox=self._inbox,
                clock=self._clock.now,
                on_state=self._broker_said,
                prefix=prefix,
            )
            link.start()
            self._places.broker = str(address)
        else:
            own = file.built_in_broker
            rights = None
            if own.accounts_file is not None:
                base = self._settings.source.parent
                rights = Rights.from_files(
                    base / own.accounts_file,
                    base / own.rights_file if own.rights_file else None,
                )
            # Ten megabytes that a board with a broker of its own need not carry.
            from monitor.intake import builtin  # noqa: PLC0415

            link = self._built_in = builtin.BuiltInBroker(
                topics=topics,
                inbox=self._inbox,
                clock=self._clock.now,
                host=own.listen,
                port=own.port,
                on_state=self._broker_said,
                prefix=prefix,
                guarded=commands_by_mqtt.command_topics(prefix),
                rights=rights,
                unclaimed=self._unclaimed,
                cert_file=own.cert_file,
                key_file=own.key_file,
            )
            await link.start()
            self._places.broker_port = link.port
            self._places.broker = f"{own.listen}:{link.port}"
        self._link = link
        self._watch.attach(link)
        self._telling.link = link

    async def _wait_to_hear(self) -> None:
        """Nobody is told that we watch before the broker hears us, if it is there at all: a first
        reading said in between would be heard by nobody."""
        link = self._link
        until = self._loop.time() + HEAR_WITHIN_S
        while isinstance(link, Session) and not link.hears and self._loop.time() < until:
            if link.state.link in (Link.UNREACHABLE, Link.REFUSED):
                return
            await asyncio.sleep(0.01)

    def _topics(self) -> tuple[str, ...]:
        file = self._settings.file
        extra = [file.forecast.topic] if file.forecast and file.forecast.topic else []
        probes = {probe.topic: None for probe in self._settings.site.all_probes}
        return (*probes, *commands_by_mqtt.command_topics(file.tell.topic_prefix), *extra)

    def _listener(self) -> Listener | None:
        address = broker_address(self._settings)
        if address is None:
            return None
        return Listener(
            address,
            unclaimed=self._unclaimed,
            claimed=lambda topic: topic in self._topics(),
            now=lambda: self._clock.now().at,
        )

    def _start_forecast(self) -> None:
        self._forecaster: Forecaster | None = None
        wanted = self._settings.file.forecast
        if wanted is not None:
            self._forecaster = Forecaster(
                wanted,
                self._settings.site,
                self._settings.state_folder / "forecast.json",
                lambda: self._clock.now().at,
                self._forecast_came,
            )
            self._forecaster.start()

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

    def _start_copying(self) -> None:
        self._copying: Copying | None = None
        if self._settings.file.influx is None:
            return
        from monitor.service import copying  # noqa: PLC0415 - a large library

        self._copying = copying.Copying(self._settings, self._writer.keep_cursor)
        self._copying.start()
        self._cleanup.callback(self._copying.stop)

    async def _start_control(self) -> None:
        try:
            server = await control.serve(self._settings.control_path, self._desk.answer)
        except OSError as error:
            # Commands then say that no service answers; the watch itself needs no socket.
            log.error("Commands cannot reach this service.", extra=facts(why=error.strerror))
            return
        self._cleanup.callback(server.close)

    async def _start_page(self) -> None:
        # The page's libraries are loaded only where there is a page.
        from monitor.page.access import Access, AccessFault  # noqa: PLC0415
        from monitor.page.app import build_app  # noqa: PLC0415
        from monitor.page.serve import CannotListen, serve  # noqa: PLC0415

        wanted = self._settings.file.page
        try:
            access = Access.prepare(
                folder=self._settings.state_folder,
                passphrase=wanted.passphrase.get_secret_value() if wanted.passphrase else None,
                listen=wanted.listen,
                hosts=wanted.hosts,
                public_url=wanted.public_url,
                behind_proxy=wanted.behind_proxy,
            )
            serving = await serve(build_app(self._desk, access), wanted.listen, wanted.port)
        except (AccessFault, CannotListen, OSError) as error:
            # A page that cannot be shown must not keep the watch from watching.
            log.error("There is no page.", extra=facts(why=error))
            return
        self._cleanup.push_async_callback(serving.stop)
        self._places.page_port = serving.port
        self._places.page = f"http://{wanted.listen}:{serving.port}/"

    # -- while it runs

    async def wait(self) -> None:
        """Until somebody wants it to end, or the watch has failed."""
        await self._stop.wait()

    def _watch_ended(self) -> None:
        with contextlib.suppress(RuntimeError):  # the loop has ended before
            self._loop.call_soon_threadsafe(self._stop.set)

    def _command(self, core: Core, heard: Heard, now: Moment) -> bool:
        prefix = self._settings.file.tell.topic_prefix
        if self._forecaster is not None and heard.topic == self._forecast_topic():
            self._forecaster.hear(heard.payload)
            return True
        return commands_by_mqtt.obey(core, prefix, heard, now)

    def _forecast_topic(self) -> str | None:
        wanted = self._settings.file.forecast
        return wanted.topic if wanted is not None else None

    def _forecast_came(self) -> None:
        newest = self._forecaster.newest if self._forecaster is not None else None
        if newest is not None:
            self._watch.call(
                lambda now: self._watch.core.forecast_is(newest.pairs, newest.got_at, now)
            )

    def _settled(self, submission: Submission) -> None:
        self._watch.note_settled(submission)

    def _storage(self, fault: StorageFault | None) -> None:
        about = Facts() if fault is None else Facts(reason=fault.words, detail=fault.kind)
        self._watch.fault(AlarmName.STORAGE_FAULT, fault is not None, about)

    def _broker_said(self, state: BrokerState) -> None:
        """From the network thread."""
        with contextlib.suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(self._broker_is, state)

    def _broker_is(self, state: BrokerState) -> None:
        log.info("Broker.", extra=facts(state=state.link.value, words=state.words))
        if state.connected:
            if self._broker_lost_timer is not None:
                self._broker_lost_timer.cancel()
                self._broker_lost_timer = None
            if self._told_broker_lost:
                self._told_broker_lost = False
                self._watch.fault(AlarmName.BROKER_LOST, False, Facts())
            if self._link is not None:
                self._watch.set_window(self._link.window)
            return
        if self._broker_lost_timer is None and not self._told_broker_lost:
            self._broker_lost_timer = self._loop.call_later(
                BROKER_PATIENCE_S / self._clock.speed, self._broker_stays_away
            )

    def _broker_stays_away(self) -> None:
        self._broker_lost_timer = None
        if self._link is None or self._link.state.connected or self._stop.is_set():
            return
        self._told_broker_lost = True
        self._watch.fault(AlarmName.BROKER_LOST, True, Facts(reason=self._link.state.words))

    def _pass_news_on(self) -> None:
        """Wakes the event loop's waiters when the watch thread has a newer status."""
        seen = self._watch.status
        while not self._stop.is_set():
            if self._watch.wait_for_news(seen, 1.0):
                seen = self._watch.status
                with contextlib.suppress(RuntimeError):
                    self._loop.call_soon_threadsafe(self._desk.news)

    def _about(self) -> Mapping[str, Any]:
        link = self._link
        return {
            "started_at": self._started_at,
            "broker": link.state.words if link is not None else "none",
            "broker_connected": link is not None and link.state.connected,
            "journal_ok": not self._writer.failing,
            "last_commit_at": self._writer.last_kept_at,
            "mirror": "no copy is configured" if self._copying is None else self._copying.words(),
            "contacts": self._reaching.about(),
            "forecast": self._forecast_words(),
            "version": __version__,
        }

    def _forecast_words(self) -> str:
        if self._forecaster is None:
            return "none is configured"
        if self._forecaster.trouble is not None:
            return self._forecaster.trouble
        return "fetched" if self._forecaster.newest is not None else "not fetched yet"

    def _reload(self) -> None:
        """SIGHUP: takes the configuration anew. A wrong one changes nothing."""
        self._reloading = asyncio.ensure_future(self._reloaded())

    async def _reloaded(self) -> None:
        try:
            # Asking Apprise about the contacts takes a second, which probes need not wait.
            fresh = await asyncio.to_thread(
                self._hooks.reload or (lambda: load_settings(self._settings.source))
            )
        except SettingsFault as fault:
            for line in str(fault).splitlines():
                log.error("Not reloaded.", extra=facts(why=line))
            return
        old = self._settings.file
        if (fresh.file.broker, fresh.file.built_in_broker, fresh.file.page) != (
            old.broker,
            old.built_in_broker,
            old.page,
        ):
            log.warning("A changed broker or page takes effect at the next start.")
        self._settings = fresh
        self._reaching.reconfigure(fresh)
        self._watch.call(lambda now: self._reconfigured(fresh, now))
        self._writer.know(fresh.site.all_probes)
        if self._link is not None:
            self._link.set_topics(self._topics())
        log.info("Reloaded.", extra=facts(brooders=len(fresh.site.brooders)))

    def _reconfigured(self, fresh: Settings, now: Moment) -> None:
        """In the watch thread."""
        core = self._watch.core
        before = {box.name for box in core.site.brooders}
        core.reconfigured(fresh.site, contacts_of(fresh), policy_of(fresh), now)
        self._telling.forget(sorted(before - {box.name for box in fresh.site.brooders}))

    # -- stop

    async def stop(self) -> None:
        """Ends everything in the order of a reading's way; nothing taken is lost."""
        if self._opened is None:
            return
        self._stop.set()
        self._readiness.say("STOPPING=1")
        if self._broker_lost_timer is not None:
            self._broker_lost_timer.cancel()
        await self._cleanup.aclose()
        if not hasattr(self, "_watch"):
            return
        if self._watch.started and not await asyncio.to_thread(self._watch.stop, 10.0):
            log.error("The watch thread did not end within 10 s.")
        if not await asyncio.to_thread(self._writer.stop, 15.0):
            log.error("The journal did not take everything; the broker still has what is missing.")
        self._watch.acknowledge_settled()
        if self._built_in is not None:
            await asyncio.sleep(0.05)  # the acknowledgements just given leave first
            await self._built_in.stop()
        elif isinstance(self._link, Session):
            await asyncio.to_thread(self._link.stop)
        unsent = await asyncio.to_thread(self._reaching.stop, DRAIN_S)
        if unsent:
            log.warning(
                "Stopped with messages unsent; they go out at the next start.",
                extra=facts(unsent=unsent),
            )
        self._settings.control_path.unlink(missing_ok=True)
        log.info("Stopped.")
