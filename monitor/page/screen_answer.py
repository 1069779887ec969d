"""One-use links from a message: acknowledge without signing in, and nothing else. Called by `app`.

Mail scanners and previews open every link, so opening one only asks; the button acknowledges."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from monitor.brooding.objection import Objection
from monitor.events import Entry, EntryKind
from monitor.page.forms import read_open_form
from monitor.page.frame import Frame
from monitor.page.phrases import capital
from monitor.page.service_api import TRIAL_ALARM
from monitor.tell.wording.words import listed

LONGEST_TOKEN = 1024


class AnswerScreen:
    """Shows no figures and no names beyond what the message itself said."""

    def __init__(self, frame: Frame) -> None:
        self._frame = frame

    def routes(self) -> list[Route]:
        """Its addresses."""
        return [
            Route("/answer/{token}", self.ask, methods=["GET"]),
            Route("/answer/{token}", self.answer, methods=["POST"]),
        ]

    async def ask(self, request: Request) -> Response:
        """Is somebody really on the way?"""
        try:
            entries = self._redeemed(request)
        except Objection as words:
            return self._screen(request, str(words), status=410)
        return self._screen(request, None, what=_what(entries), trial=_is_trial(entries))

    async def answer(self, request: Request) -> Response:
        """Acknowledges. The token is its own proof; there is no session to protect."""
        await read_open_form(request)
        try:
            trial = _is_trial(self._redeemed(request))
            done = await self._frame.api.answer_link(request.path_params["token"])
        except Objection as words:
            return self._screen(request, str(words), status=410)
        what = listed(done) if done else "Noted"
        return self._screen(request, None, what=what, done=True, trial=trial)

    def _redeemed(self, request: Request) -> list[Entry]:
        token = request.path_params["token"]
        if len(token) > LONGEST_TOKEN:
            raise Objection("This link is not one of ours.")
        entries = self._frame.api.redeem(token)
        if not entries or any(entry.entry is not EntryKind.ACKNOWLEDGE for entry in entries):
            raise Objection("This link is not one of ours.")
        return entries

    def _screen(
        self,
        request: Request,
        fault: str | None,
        *,
        what: str = "",
        done: bool = False,
        trial: bool = False,
        status: int = 200,
    ) -> Response:
        return self._frame.screen(
            request, "answer.html", status=status, fault=fault, what=what, done=done, trial=trial
        )


def _is_trial(entries: list[Entry]) -> bool:
    return any(entry.alarm == TRIAL_ALARM for entry in entries)


def _what(entries: list[Entry]) -> str:
    return listed(
        [
            f"{capital(entry.brooder) if entry.brooder else 'the site'}: "
            f"{entry.alarm or 'every alarm'}"
            for entry in entries
        ]
    )
