"""The configuration in force, and how another takes its place while the watch runs (SIGHUP). Owned
by `run`, in the event loop."""

import asyncio
import logging
from collections.abc import Callable

from monitor.brooding.objection import Objection
from monitor.child import ChildFailed
from monitor.events import Moment
from monitor.service.annunciator import LiveAnnunciator
from monitor.service.broker_side import BrokerSide
from monitor.service.core import Core
from monitor.service.delivery_side import DeliverySide
from monitor.service.logs import facts
from monitor.service.people import contacts_of, policy_of
from monitor.service.watch_thread import WatchThread
from monitor.service.writer import Writer
from monitor.settings import Settings, SettingsFault, load_settings

log = logging.getLogger(__name__)


class Reloading:
    """Hands a new configuration to every part that can take one. A wrong one changes nothing."""

    def __init__(
        self,
        settings: Settings,
        load: Callable[[], Settings] | None,
        *,
        reaching: DeliverySide,
        watch: WatchThread,
        telling: LiveAnnunciator,
        writer: Writer,
        broker: BrokerSide,
    ) -> None:
        self._settings = settings
        self._load = load or (lambda: load_settings(settings.source))
        self._reaching = reaching
        self._watch = watch
        self._telling = telling
        self._writer = writer
        self._broker = broker
        self._one_at_a_time = asyncio.Lock()
        self._under_way: set[asyncio.Task[None]] = set()  # the loop itself may let a task go

    @property
    def settings(self) -> Settings:
        """The configuration in force."""
        return self._settings

    def begin(self) -> None:
        """Takes the configuration anew; returns at once."""
        task = asyncio.ensure_future(self._reload())
        self._under_way.add(task)
        task.add_done_callback(self._under_way.discard)

    async def _reload(self) -> None:
        async with self._one_at_a_time:
            try:
                fresh = await asyncio.to_thread(self._load)
            except SettingsFault as fault:
                for line in str(fault).splitlines():
                    log.error("Not reloaded.", extra=facts(why=line))
                return
            except ChildFailed as error:
                log.error("Not reloaded.", extra=facts(why=f"reading the configuration {error}"))
                return
            except Exception as error:  # its text may hold a secret
                log.error("Not reloaded.", extra=facts(why=f"a fault: {type(error).__name__}"))
                return
            try:
                await asyncio.wrap_future(
                    self._watch.call(lambda now: self._reconfigure(self._watch.core, fresh, now))
                )
            except Objection as refused:
                log.error("Not reloaded.", extra=facts(why=refused))
                return
            except Exception:
                log.exception("Not reloaded; the watch goes on with what was in force.")
                return
            self._take(fresh)
            log.info("Reloaded.", extra=facts(brooders=len(fresh.site.brooders)))

    def _reconfigure(self, core: Core, fresh: Settings, now: Moment) -> None:
        """In the watch thread, the core first: where it cannot, nothing has changed."""
        lost = core.lost_by(fresh.site)
        if lost:
            raise Objection(". ".join(lost))
        before = {box.name for box in core.site.brooders}
        core.reconfigured(fresh.site, contacts_of(fresh), policy_of(fresh), now)
        self._reaching.reconfigure(fresh)  # before anything is told to a contact that is new
        self._telling.forget(sorted(before - {box.name for box in fresh.site.brooders}))

    def _take(self, fresh: Settings) -> None:
        old, new = self._settings.file, fresh.file
        if (new.broker, new.built_in_broker, new.page) != (
            old.broker,
            old.built_in_broker,
            old.page,
        ):
            log.warning("A changed broker or page takes effect at the next start.")
        self._settings = fresh
        self._writer.know(fresh.site)
        self._broker.take(fresh)
