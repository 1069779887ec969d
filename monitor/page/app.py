"""The page as one ASGI application: screens, static files, what an error looks like. Called by the
service (`build_app`, then `serve.serve`) and by the tests, with a desk of their own."""

import time
from collections.abc import Callable
from typing import cast

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from monitor.page.access import Access
from monitor.page.desk import Desk
from monitor.page.frame import STATIC, Frame
from monitor.page.gate import Gate
from monitor.page.screen_now import NowScreen
from monitor.page.session import Sessions
from monitor.page.sign_in import SignIn

_ASSETS = {
    "sheet.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8",
    "mark.svg": "image/svg+xml",
}


def build_app(desk: Desk, access: Access, *, clock: Callable[[], float] = time.time) -> Starlette:
    """The page for this desk. `app.state.live` ends its streams when the service stops."""
    sessions = Sessions(access)
    frame = Frame(desk, access, sessions, clock)
    now = NowScreen(frame)

    async def http_fault(request: Request, fault: Exception) -> Response:
        known = cast(HTTPException, fault)
        words = _FAULTS.get(known.status_code, known.detail)
        return frame.screen(request, "fault.html", status=known.status_code, words=words)

    def our_fault(request: Request) -> Response:
        return frame.screen(request, "fault.html", status=500, words=_FAULTS[500])

    app = Starlette(
        routes=[
            *now.routes(),
            *SignIn(frame).routes(),
            Route("/static/{name}", static, methods=["GET"]),
        ],
        middleware=[Middleware(Gate, access=access, sessions=sessions, our_fault=our_fault)],
        exception_handlers={HTTPException: http_fault},
    )
    app.state.live = now.live
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
    if name not in _ASSETS:
        raise HTTPException(404)
    return FileResponse(
        STATIC / name,
        media_type=_ASSETS[name],
        headers={"Cache-Control": "public, max-age=31536000, immutable"},
    )
