"""How others reach the service: the control socket for commands of this machine, and the page for
people. Started by `run`; neither may keep the watch from watching."""

import asyncio
import logging
from asyncio import AbstractServer
from typing import TYPE_CHECKING

from monitor.service import control
from monitor.service.live_service_api import LiveServiceApi
from monitor.service.logs import facts
from monitor.settings import Settings

if TYPE_CHECKING:
    from monitor.page.serve import Serving

log = logging.getLogger(__name__)


async def serve_commands(settings: Settings, answer: control.Answerer) -> AbstractServer | None:
    """Listens for commands. None: it cannot; they then say that no service answers."""
    try:
        return await control.serve(settings.control_paths, answer)
    except OSError as error:
        log.error("Commands cannot reach this service.", extra=facts(why=error.strerror))
        return None


async def serve_page(settings: Settings, api: LiveServiceApi) -> "Serving | None":
    """Serves the page. None: it cannot be shown."""
    # The page's libraries are loaded only where there is a page.
    from monitor.page.access import Access, AccessFault  # noqa: PLC0415
    from monitor.page.app import build_app  # noqa: PLC0415
    from monitor.page.serve import CannotListen, certificate_of, serve  # noqa: PLC0415

    wanted = settings.file.page
    try:
        # Its hashing takes half a second of a small board.
        access = await asyncio.to_thread(
            Access.prepare,
            folder=settings.state_folder,
            passphrase=wanted.passphrase.get_secret_value() if wanted.passphrase else None,
            listen=wanted.listen,
            hosts=wanted.hosts,
            public_url=wanted.public_url,
            behind_proxy=wanted.behind_proxy,
            proxy_address=str(wanted.proxy_address),
        )
        files = settings.page_certificate
        return await serve(
            build_app(api, access),
            wanted.listen,
            wanted.port,
            certificate=certificate_of(*files) if files is not None else None,
            proxies=access.proxies,
        )
    except (AccessFault, CannotListen, OSError) as error:
        log.error("There is no page.", extra=facts(why=error))
        return None
