"""What every request passes before a screen sees it, and every answer on its way out.

In: is it asked by a name of ours, from our own pages, by somebody signed in? Out: the headers that
keep a browser from doing anything but show the page. Plain ASGI, so that the live stream is not
held up by it."""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import quote, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from monitor.doorway import household
from monitor.page.access import Access
from monitor.page.browser_session import COOKIE, LASTS_S, BrowserSession, BrowserSessions

LONGEST_PATH = 2000  # characters; a link of an alert with every alarm there is has some hundred
OPEN_WITHOUT_SIGN_IN = ("/sign-in", "/static/", "/answer/")
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; manifest-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # a one-use link must not be told to anybody else
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
    "Cache-Control": "no-store",
    "X-Robots-Tag": "noindex, nofollow",
}
CALLER = "brooder.caller"  # in a request's scope: its connection, as the doorway has it
_FORWARDED = ("x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "forwarded")

log = logging.getLogger(__name__)


@dataclass(eq=False, repr=False)
class Gate:
    """The outermost layer of the page."""

    app: ASGIApp
    access: Access
    sessions: BrowserSessions
    our_fault: Callable[[Request], Response]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return  # no web sockets here
        headers = Headers(scope=scope)
        if household((scope.get("client") or ("",))[0]) in self.access.proxies:
            _believe_the_proxy(scope, headers)
        state = scope.setdefault("state", {})
        cookie = Request(scope).cookies.get(COOKIE)
        session = self.sessions.read(cookie, time.time()) or self.sessions.begin(signed_in=False)
        state["session"] = session
        if CALLER in scope and (session.signed_in or not self.access.needs_sign_in):
            scope[CALLER].is_known()

        begun = False

        async def out(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                self._dress(MutableHeaders(scope=message), scope)
            await send(message)

        answer = self._refusal(scope, headers, session)
        try:
            await (answer or self.app)(scope, receive, out)
        except Exception:
            log.exception("The page could not answer %s %s.", scope["method"], scope["path"])
            if not begun:
                await self.our_fault(Request(scope))(scope, receive, out)

    def _refusal(  # noqa: PLR0911 - one reason a line
        self, scope: Scope, headers: Headers, session: BrowserSession
    ) -> Response | None:
        """Why this request goes no further, or None."""
        host = scope["host"] if "host" in scope else headers.get("host", "")
        if not self.access.answers_to(host):
            return _plain(421, "This page does not answer to that name. See page.hosts.")
        if not self.access.needs_sign_in and any(name in headers for name in _FORWARDED):
            return _plain(403, "A proxy passed this on. See page.behind_proxy.")
        if scope["method"] not in ("GET", "HEAD") and not _from_our_own_page(headers, host):
            return _plain(403, "This was sent from another web page.")
        path = scope["path"]
        if len(path) > LONGEST_PATH:
            return _plain(414, "No address of this page is that long.")
        open_to_all = any(path.startswith(start) for start in OPEN_WITHOUT_SIGN_IN)
        if self.access.needs_sign_in and not session.signed_in and not open_to_all:
            if scope["method"] == "GET" and "text/html" in headers.get("accept", ""):
                return RedirectResponse(f"/sign-in?next={quote(path)}", 303)
            return _plain(401, "Sign in first.")
        return None

    def _dress(self, headers: MutableHeaders, scope: Scope) -> None:
        for name, value in _HEADERS.items():
            if name not in headers:
                headers[name] = value
        session: BrowserSession = scope["state"]["session"]  # the sign-in may have begun another
        # A message's link is its own proof. Opened out of another program it comes without the
        # cookie, and a new one would sign out whoever has the page open elsewhere.
        if session.fresh and not scope["path"].startswith(("/static/", "/answer/")):
            secure = "; Secure" if scope["scheme"] == "https" else ""
            headers.append(
                "Set-Cookie",
                f"{COOKIE}={self.sessions.written(session)}; Path=/; Max-Age={LASTS_S}; "
                # Lax: the page opened from a message knows who is signed in. Forms from elsewhere
                # are refused by their origin and by the form's own token.
                f"HttpOnly; SameSite=Lax{secure}",
            )


def _believe_the_proxy(scope: Scope, headers: Headers) -> None:
    """Takes over what the nearest proxy says: the last of each list is its own word."""
    caller = headers.get("x-forwarded-for", "").rpartition(",")[2].strip()
    if caller:
        scope["client"] = (caller, 0)
    scheme = headers.get("x-forwarded-proto", "").rpartition(",")[2].strip().lower()
    if scheme in ("http", "https"):
        scope["scheme"] = scheme
    host = headers.get("x-forwarded-host", "").rpartition(",")[2].strip()
    if host:
        scope["host"] = host


def _from_our_own_page(headers: Headers, host: str) -> bool:
    """Every browser of today says where a form was sent from."""
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc.lower() == host.lower()


def _plain(status: int, words: str) -> Response:
    return PlainTextResponse(words + "\n", status)
