"""What the page and the commands may ask of the running service. The service implements it.

Kept apart from the service so that the page can be built and tested without one."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Protocol

from monitor.brooding.ledger import Ledger
from monitor.events import Entry
from monitor.page.set_up_api import SetUpApi
from monitor.site import Site
from monitor.tell.missing import Missing
from monitor.watch.status import SiteStatus


class LinksApi(Protocol):
    """What the links in messages do."""

    def occurrences(self, token: str) -> tuple[str, ...]:
        """The occurrences that a signed link is for: of alarms, or one of a trial message
        (`tell.links.TRIAL`). Raises Objection when it is wrong or old, or its trial answered."""
        ...

    async def answer(self, token: str) -> list[str]:
        """Does it, once: the alarms that were acknowledged. Raises Objection as `occurrences` does,
        and when it was used before."""
        ...


class ServiceApi(Protocol):
    """Everything a person can look at or do. Awaitables are answered by the watch thread."""

    @property
    def site(self) -> Site:
        """The site as configured now."""
        ...

    @property
    def set_up(self) -> SetUpApi:
        """The guided set-up."""
        ...

    @property
    def links(self) -> LinksApi:
        """The links in messages."""
        ...

    @property
    def journal_path(self) -> Path:
        """The journal's database file, for readers of their own."""
        ...

    def status(self) -> SiteStatus:
        """The newest status of everything, immutable. Never waits."""
        ...

    async def changed(self, wait_s: float) -> bool:
        """Returns True as soon as there is a newer status, False after `wait_s` without one."""
        ...

    async def submit(self, entry: Entry) -> int:
        """Keeps a ledger entry or an act on an alarm; its number. Raises Objection."""
        ...

    def on_disk(self, number: int) -> bool:
        """Is that entry on the disk by now? Else it is in memory only. Never waits."""
        ...

    async def kept(self, number: int) -> bool:
        """The same, after waiting for the disk for some seconds."""
        ...

    async def ledger(self) -> Ledger:
        """The flock ledger as it stands, what was submitted just now included."""
        ...

    async def tonight(
        self, brooder: str, *, low_c: float | None, cover: str | None, extra_watts: float
    ) -> Mapping[str, Any]:
        """The outlook for the coming night, as `brooder tonight` prints it. Raises Objection."""
        ...

    async def try_contacts(self, name: str | None) -> list[Mapping[str, Any]]:
        """Really sends a trial alarm: per contact `contact`, `ok`, `why`, `took_s`, and `trial`
        where its link can be answered. Raises Objection."""
        ...

    def refused(self) -> list[Mapping[str, Any]]:
        """Refused messages: `topic`, `reason`, `count`, `last_at`, `excerpt`."""
        ...

    def watcher(self) -> Mapping[str, Any]:
        """The watcher itself: `started_at`, `broker`, `broker_connected`, `without_estimate`
        (brooders whose thermal estimate has failed), `journal_ok`, `last_commit_at`, `mirror`
        (words), `mirror_well`, `forecast` (words; None: none is wanted), `forecast_learned` (lowest
        of the night at each box's own place, degC), `forecast_lows` (of the coming nights, degC),
        `contacts` (list of `name`, `last_ok_at`, `last_try_at`, `last_why`, `pending` and
        `trial_answered_s`), `version`."""
        ...

    def missing(self) -> list[Missing]:
        """What is still missing for tonight, what is essential first."""
        ...

    def settings_shown(self) -> list[tuple[str, str]]:
        """The configuration in force, key and value, secrets masked."""
        ...
