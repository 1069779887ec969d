"""What every screen shares: the API, the clock, the templates and the frame around a screen."""

import hashlib
import secrets
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from monitor.bounded import Bounded
from monitor.page.access import Access
from monitor.page.browser_session import BrowserSession, BrowserSessions
from monitor.page.phrases import Phrases, capital
from monitor.service.service_api import ServiceApi

_MOST = 500


class SingleUse:
    """So that a thumb that taps twice writes once: hands out marks for confirmation forms, and
    knows what became of each."""

    def __init__(self) -> None:
        self._used: Bounded[str, str] = Bounded(_MOST)

    def mark(self) -> str:
        return secrets.token_urlsafe(12)

    def used(self, mark: str) -> str | None:
        """Where its first use led to; None: it is new, and is used from now on."""
        if mark in self._used:
            return self._used[mark]
        self._used[mark] = ""
        return None

    def led_to(self, mark: str, address: str) -> None:
        """The form with this mark was used, and this is the page that answered."""
        if mark in self._used:
            self._used[mark] = address

    def free(self, mark: str) -> None:
        """The use of the form came to nothing: it may be used again."""
        self._used.pop(mark, None)


_HERE = Path(__file__).parent
_REVIEW = _HERE.parent / "review" / "static"  # by path: importing the review would bring numpy
ASSETS = {
    "sheet.css": (_HERE / "static", "text/css; charset=utf-8"),
    "page.js": (_HERE / "static", "text/javascript; charset=utf-8"),
    "bedside.js": (_HERE / "static", "text/javascript; charset=utf-8"),
    "mark.svg": (_HERE / "static", "image/svg+xml"),
    "brooder.webmanifest": (_HERE / "static", "application/manifest+json"),
    "icon-180.png": (_HERE / "static", "image/png"),  # drawn from icon.svg
    "icon-192.png": (_HERE / "static", "image/png"),
    "icon-512.png": (_HERE / "static", "image/png"),
    "chart.css": (_REVIEW, "text/css; charset=utf-8"),
    "chart.js": (_REVIEW, "text/javascript; charset=utf-8"),
}
PAPER_COOKIE = "brooder_paper"
PAPERS = ("hours", "light", "dark")


@dataclass(eq=False, repr=False)
class Frame:
    api: ServiceApi
    access: Access
    sessions: BrowserSessions
    clock: Callable[[], float] = time.time

    def __post_init__(self) -> None:
        self.once = SingleUse()
        self._templates = Environment(
            loader=FileSystemLoader(_HERE / "templates"),
            autoescape=True,  # every name, note and payload is somebody else's text
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._templates.filters["capital"] = capital
        self._templates.globals["asset"] = asset

    def say(self, *, live: bool = False) -> Phrases:
        return Phrases(self.api.site, self.clock(), live=live)

    @property
    def boxes(self) -> tuple[str, ...]:
        return tuple(box.name for box in self.api.site.brooders)

    def box_of(self, name: str | None) -> str:
        """The named box, or the only one there is."""
        if not name and len(self.boxes) == 1:
            return self.boxes[0]
        if name not in self.boxes:
            raise HTTPException(404)
        return name

    def sure(
        self,
        request: Request,
        title: str,
        words: Sequence[str],
        *,
        status: int = 200,
        at: float | None = None,
        action: str | None = None,
        values: Mapping[str, str] | None = None,
        yes: str = "",
        back: str = "/",
        can_change: bool = False,
    ) -> Response:
        """Asks whether it is right; without an action only says what stands against it."""
        return self.screen(
            request, "sure.html", status=status, title=title, words=words, at=at, action=action,
            values=values or {}, yes=yes, back=back, can_change=can_change,
        )  # fmt: skip

    def part(self, template: str, **context: Any) -> str:
        return self._templates.get_template(template).render(**context)

    def screen(
        self, request: Request, template: str, *, status: int = 200, **context: Any
    ) -> Response:
        session: BrowserSession = request.state.session
        say = self.say()
        paper = request.cookies.get(PAPER_COOKIE, "")
        paper = paper if paper in PAPERS else PAPERS[0]
        dark_now = paper == "dark" or (paper == "hours" and say.is_night)
        return HTMLResponse(
            self.part(
                template,
                say=say,
                site=self.api.site,
                form_token=self.sessions.form_token(session),
                may_look=session.signed_in or not self.access.needs_sign_in,
                may_sign_out=session.signed_in and self.access.needs_sign_in,
                paper=paper,
                ink="dark" if dark_now else "light" if paper == "light" else "",
                here=request.url.path,
                **context,
            ),
            status,
        )


@cache
def asset(name: str) -> str:
    """A static file's address. It changes with the content, so a browser may keep it for ever."""
    digest = hashlib.sha256((ASSETS[name][0] / name).read_bytes()).hexdigest()[:12]
    return f"/static/{name}?v={digest}"
