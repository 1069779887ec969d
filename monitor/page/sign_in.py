"""Signing in and out, and the choice of paper. Called by `app`."""

import logging
import time
from math import ceil

from anyio import CapacityLimiter, to_thread
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from monitor.page.browser_session import COOKIE
from monitor.page.forms import FilledForm, read_form
from monitor.page.frame import PAPER_COOKIE, PAPERS, Frame
from monitor.page.throttle import Throttle

LONGEST_PASSPHRASE = 1024

log = logging.getLogger(__name__)


class SignIn:
    """The one passphrase. Guesses are checked one at a time, off the event loop."""

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._throttle = Throttle()
        self._one_at_a_time = CapacityLimiter(1)

    def routes(self) -> list[Route]:
        return [
            Route("/sign-in", self.ask, methods=["GET"]),
            Route("/sign-in", self.answer, methods=["POST"]),
            Route("/sign-out", self.leave, methods=["POST"]),
            Route("/paper", self.choose_paper, methods=["POST"]),
        ]

    async def ask(self, request: Request) -> Response:
        then = safe_path(request.query_params.get("next", "/"))
        if not self._frame.access.needs_sign_in or request.state.session.signed_in:
            return RedirectResponse(then, 303)
        return self._form(request, FilledForm(values={"next": then}))

    async def answer(self, request: Request) -> Response:
        form = await read_form(request, self._frame.sessions)
        if request.state.session.signed_in:  # there is nothing to guess, nor to wait for
            return RedirectResponse(safe_path(form["next"]), 303)
        address = request.client.host if request.client else "unknown"
        wait_s = self._throttle.wait_s(address, time.monotonic())
        if wait_s > 0:
            form.wrong["passphrase"] = (
                f"Too many wrong tries. Wait {ceil(wait_s)} s, then try again."
            )
            answer = self._form(request, form, status=429)
            answer.headers["Retry-After"] = str(ceil(wait_s))
            return answer
        said = form.values.pop("passphrase", "")
        self._throttle.wrong(address, time.monotonic())
        is_right = len(said) <= LONGEST_PASSPHRASE and await to_thread.run_sync(
            self._frame.access.is_passphrase, said, limiter=self._one_at_a_time
        )
        if not is_right:
            log.warning("A wrong passphrase was given from %s.", address)
            form.wrong |= {"passphrase": "That is not the passphrase."}
            return self._form(request, form, status=403)
        self._throttle.right(address)
        request.state.session = self._frame.sessions.begin(signed_in=True)
        return RedirectResponse(safe_path(form["next"]), 303)

    async def leave(self, request: Request) -> Response:
        """Signs out, for good: a copy of the cookie is worth nothing afterwards."""
        await read_form(request, self._frame.sessions)
        await to_thread.run_sync(self._frame.sessions.end, request.state.session, time.time())
        answer = RedirectResponse("/sign-in", 303)
        answer.delete_cookie(COOKIE, httponly=True, samesite="strict")
        return answer

    async def choose_paper(self, request: Request) -> Response:
        """Light, dark, or by the hour."""
        form = await read_form(request, self._frame.sessions)
        answer = RedirectResponse(safe_path(form["next"]), 303)
        if form["paper"] in PAPERS:
            answer.set_cookie(
                PAPER_COOKIE,
                form["paper"],
                max_age=400 * 86400,
                httponly=True,
                samesite="strict",
                secure=request.url.scheme == "https",
            )
        return answer

    def _form(self, request: Request, form: FilledForm, status: int = 200) -> Response:
        return self._frame.screen(request, "sign_in.html", status=status, form=form)


def safe_path(said: str) -> str:
    """Where to go next: only within this page."""
    inside = said.startswith("/") and not said.startswith("//") and said.isprintable()
    return said if inside and "\\" not in said else "/"
