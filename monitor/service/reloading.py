"""The configuration in force, and how another takes its place while the watch runs (SIGHUP). Owned
by `run`, in the event loop."""

import asyncio
import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from monitor.brooding.objection import Objection
from monitor.child import ChildFailed
from monitor.events import Moment
from monitor.intake.rights import Rights, RightsFault
from monitor.service.configured import contacts_of, policy_of, rights_of
from monitor.service.core import Core
from monitor.service.entry_rules import lost_by
from monitor.service.logs import facts
from monitor.service.parts import Parts
from monitor.settings import Settings, SettingsFault, load_settings

log = logging.getLogger(__name__)


class _NotTaken(Exception):
    """The new configuration is not taken: why, line by line."""

    def __init__(self, *lines: str) -> None:
        super().__init__(*lines)
        self.lines = list(lines)


@dataclass(eq=False, repr=False)
class Reloading:
    """Hands a new configuration to every part that can take one. A wrong one changes nothing."""

    settings: Settings  # in force
    load: Callable[[], Settings] | None
    parts: Parts
    on_page: Callable[[], None] = lambda: None  # its settings have changed

    def __post_init__(self) -> None:
        self._load = self.load or (lambda: load_settings(self.settings.source))
        # Is something changed in the file that only a start brings into force?
        self.waits_for_a_start = False
        self._one_at_a_time = asyncio.Lock()
        self._under_way: set[asyncio.Task[list[str]]] = set()  # the loop itself may let a task go

    def begin(self) -> None:
        """Takes the configuration anew; returns at once, and says in the log how it went."""
        task = asyncio.ensure_future(self.take())
        self._under_way.add(task)
        task.add_done_callback(self._under_way.discard)

    async def answer(self) -> dict[str, Any]:
        """`take`, for who asked for it: what is `wrong`, line by line, and whether something in the
        file `waits_for_a_start`."""
        wrong = await self.take()
        return {"wrong": wrong, "waits_for_a_start": self.waits_for_a_start}

    async def take(self) -> list[str]:
        """Takes the configuration anew. What is wrong with it, line by line; empty: it is in
        force, but for what only a start can change (`waits_for_a_start`)."""
        async with self._one_at_a_time:
            try:
                fresh, rights = await asyncio.to_thread(self._loaded)
                await self._reconfigured(fresh)
            except _NotTaken as wrong:
                for line in wrong.lines:
                    log.error("Not reloaded.", extra=facts(why=line))
                return wrong.lines
            self._take(fresh, rights)
        log.info("Reloaded.", extra=facts(brooders=len(fresh.site.brooders)))
        return []

    def _loaded(self) -> tuple[Settings, Rights | None]:
        try:
            fresh = self._load()
        except SettingsFault as fault:
            raise _NotTaken(*str(fault).splitlines()) from fault
        except ChildFailed as error:
            raise _NotTaken(f"reading the configuration {error}") from error
        except Exception as error:  # its text may hold a secret
            raise _NotTaken(f"a fault: {type(error).__name__}") from error
        try:
            return fresh, rights_of(fresh) if fresh.file.broker is None else None
        except (RightsFault, OSError) as error:
            raise _NotTaken(f"the built-in broker's accounts: {error}") from error

    async def _reconfigured(self, fresh: Settings) -> None:
        try:
            await self.parts.calls.ask(lambda now: self._reconfigure(self.parts.core, fresh, now))
        except Objection as refused:
            raise _NotTaken(str(refused)) from refused
        except Exception as error:
            log.exception("The watch goes on with what was in force.")
            raise _NotTaken(f"a fault: {type(error).__name__}") from error

    def _reconfigure(self, core: Core, fresh: Settings, now: Moment) -> None:
        """In the watch thread, the core first: where it cannot, nothing has changed."""
        lost = lost_by(core.ledger, core.site, fresh.site)
        if lost:
            raise Objection(". ".join(lost))
        before = {box.name for box in core.site.brooders}
        core.reconfigured(fresh.site, contacts_of(fresh), policy_of(fresh), now)
        self.parts.delivery.reconfigure(fresh)  # before anything is told to a contact that is new
        self.parts.annunciator.forget(sorted(before - {box.name for box in fresh.site.brooders}))

    def _take(self, fresh: Settings, rights: Rights | None) -> None:
        self.waits_for_a_start = self.waits_for_a_start or _needs_a_start(self.settings, fresh)
        if self.waits_for_a_start:
            log.warning("A changed broker takes effect at the next start.")
        moved = fresh.file.page != self.settings.file.page
        self.settings = fresh
        if moved:
            self.on_page()
        self.parts.writer.know(fresh.site)
        self.parts.broker.take(fresh, rights)
        self.parts.forecaster.take(fresh.file.forecast, fresh.site)
        self.parts.copying.take(fresh)
        self.parts.mains.take(fresh.file.mains)


def _needs_a_start(old: Settings, new: Settings) -> bool:
    """Where it listens, or what it connects to, is settled at a start. Accounts are not."""
    accounts = {"accounts_file": None, "rights_file": None}
    before, after = (
        (s.file.broker, s.file.built_in_broker.model_copy(update=accounts)) for s in (old, new)
    )
    return before != after
