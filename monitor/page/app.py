"""The page as one ASGI application: screens, static files, what an error looks like. Given to the
service by `brooder watch`; the tests have one of their own."""

import asyncio
import logging
import time
from collections.abc import Callable
from typing import cast

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from monitor.page.access import Access, AccessFault
from monitor.page.browser_session import BrowserSessions
from monitor.page.frame import ASSETS, Frame
from monitor.page.gate import Gate
from monitor.page.screen_alarm import AlarmScreen
from monitor.page.screen_answer import AnswerScreen
from monitor.page.screen_arrival import ArrivalScreen
from monitor.page.screen_do import DoScreen
from monitor.page.screen_now import NowScreen
from monitor.page.screen_plan import PlanScreen
from monitor.page.screen_record import RecordScreen
from monitor.page.screen_setup import SetUpScreen
from monitor.page.screen_steps import StepsScreen
from monitor.page.screen_tonight import TonightScreen
from monitor.page.serve import CannotListen, Serving, certificate_of, serve
from monitor.page.sign_in import SignIn
from monitor.service.logs import facts
from monitor.service.service_api import ServiceApi
from monitor.settings import Settings

log = logging.getLogger(__name__)


async def serve_page(settings: Settings, api: ServiceApi) -> Serving | None:
    """Serves the page. None: it cannot be shown."""
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


def build_app(
    api: ServiceApi, access: Access, *, clock: Callable[[], float] = time.time
) -> Starlette:
    """The page over this service. `app.state.end()` ends what goes on by itself; `serve` calls
    it."""
    sessions = BrowserSessions(access)
    frame = Frame(api, access, sessions, clock)
    now, record, steps = NowScreen(frame), RecordScreen(frame), StepsScreen(frame)
    set_up = SetUpScreen(frame, steps)
    others = (AlarmScreen, ArrivalScreen, PlanScreen, TonightScreen, DoScreen, AnswerScreen, SignIn)
    screens = (now, record, steps, set_up, *(screen(frame) for screen in others))

    async def end() -> None:
        now.live.close()
        set_up.end()
        await record.end()

    async def http_fault(request: Request, fault: Exception) -> Response:
        known = cast(HTTPException, fault)
        words = _FAULTS.get(known.status_code, known.detail)
        return frame.screen(request, "fault.html", status=known.status_code, words=words)

    def our_fault(request: Request) -> Response:
        return frame.screen(request, "fault.html", status=500, words=_FAULTS[500])

    app = Starlette(
        routes=[
            *(route for screen in screens for route in screen.routes()),
            Route("/static/{name}", static, methods=["GET"]),
        ],
        middleware=[Middleware(Gate, access=access, sessions=sessions, our_fault=our_fault)],
        exception_handlers={HTTPException: http_fault},
    )
    app.state.live = now.live
    app.state.end = end
    return app


_FAULTS = {
    404: "There is nothing at this address.",
    405: "That cannot be done at this address.",
    500: "The page could not do that, which is a fault of ours and in the log. The watch is not "
    "touched by it.",
}


async def static(request: Request) -> Response:
    """One of our own files, by name; no folder can be listed."""
    name = request.path_params["name"]
    if name not in ASSETS:
        raise HTTPException(404)
    folder, kind = ASSETS[name]
    return FileResponse(
        folder / name,
        media_type=kind,
        headers={"Cache-Control": "public, max-age=31536000, immutable"},
    )
