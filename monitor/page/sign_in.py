"""Signing in and out, how often the passphrase may be guessed, and the choice of paper. Called by
`app`."""

import logging
import time
from dataclasses import dataclass
from math import ceil

from anyio import CapacityLimiter, to_thread
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from monitor.bounded import Bounded
from monitor.doorway import household
from monitor.page.browser_session import COOKIE
from monitor.page.forms import FilledForm, read_form
from monitor.page.frame import PAPER_COOKIE, PAPERS, Frame
from monitor.page.screen import Screen, get, post

EACH_BURST, EACH_REFILL_S = 5, 60.0
ALL_BURST, ALL_REFILL_S = 40, 10.0
MOST_ADDRESSES = 512


@dataclass(slots=True)
class _Bucket:
    left: float
    at: float

    def fill(self, now: float, burst: int, refill_s: float) -> None:
        self.left = min(float(burst), self.left + max(0.0, now - self.at) / refill_s)
        self.at = now

    def wait_s(self, refill_s: float) -> float:
        return 0.0 if self.left >= 1 else (1 - self.left) * refill_s


class Throttle:
    """A bucket for each address, and one for all together, because one guesser may have many
    addresses. Each wrong guess takes one; they fill again slowly. Memory is bounded: the oldest
    address goes. An address from which the right one came before, and the board itself, count for
    themselves alone: whatever strangers guess, the grower is not locked out."""

    def __init__(self) -> None:
        self._each: Bounded[str, _Bucket] = Bounded(MOST_ADDRESSES)
        self._all = _Bucket(float(ALL_BURST), 0.0)
        self._growers: Bounded[str, None] = Bounded(MOST_ADDRESSES)

    def wait_s(self, address: str, now: float) -> float:
        """Seconds until this address may try again; 0: now."""
        self._all.fill(now, ALL_BURST, ALL_REFILL_S)
        bucket = self._bucket(address, now)
        own_s = bucket.wait_s(EACH_REFILL_S)
        return own_s if self._alone(address) else max(own_s, self._all.wait_s(ALL_REFILL_S))

    def wrong(self, address: str, now: float) -> None:
        """That was not the passphrase. Call it before the guess is looked at, and `right` after,
        so that many guesses at one time are counted all the same."""
        if not self._alone(address):
            self._all.fill(now, ALL_BURST, ALL_REFILL_S)
            self._all.left -= 1
        self._bucket(address, now).left -= 1

    def right(self, address: str) -> None:
        """It was the passphrase: what was counted for this try is given back."""
        if not self._alone(address):
            self._all.left += 1
        self._each.pop(household(address), None)
        self._growers[household(address)] = None

    def _alone(self, address: str) -> bool:
        key = household(address)
        return key in self._growers or key in ("127.0.0.1", "::1")

    def _bucket(self, address: str, now: float) -> _Bucket:
        key = household(address)
        bucket = self._each[key] = self._each.get(key) or _Bucket(float(EACH_BURST), now)
        bucket.fill(now, EACH_BURST, EACH_REFILL_S)
        return bucket


LONGEST_PASSPHRASE = 1024

log = logging.getLogger(__name__)


class SignIn(Screen):
    """The one passphrase. Guesses are checked one at a time, off the event loop."""

    def __init__(self, frame: Frame) -> None:
        super().__init__(frame)
        self._throttle = Throttle()
        self._one_at_a_time = CapacityLimiter(1)

    @get("/sign-in")
    async def ask(self, request: Request) -> Response:
        then = safe_path(request.query_params.get("next", "/"))
        if not self._frame.access.needs_sign_in or request.state.session.signed_in:
            return RedirectResponse(then, 303)
        return self._form(request, FilledForm(values={"next": then}))

    @post("/sign-in")
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

    @post("/sign-out")
    async def leave(self, request: Request) -> Response:
        """Signs out, for good: a copy of the cookie is worth nothing afterwards."""
        await read_form(request, self._frame.sessions)
        await to_thread.run_sync(self._frame.sessions.end, request.state.session, time.time())
        answer = RedirectResponse("/sign-in", 303)
        answer.delete_cookie(COOKIE, httponly=True, samesite="strict")
        return answer

    @post("/paper")
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
