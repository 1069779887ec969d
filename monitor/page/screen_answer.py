"""Signed links from a message: see the alarm and answer it without signing in, and nothing else.
Called by `app`.

Mail scanners and previews open every link, so opening one only shows; the button answers, once. A
link shows the boxes of its own alarms, as its message did, for as long as it is good."""

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from monitor.brooding.objection import Objection
from monitor.page.alarm_card import card
from monitor.page.forms import read_open_form
from monitor.page.screen import Screen, get, post
from monitor.page.screen_alarm import TAKEN_WITHIN_S
from monitor.tell.links import TRIAL
from monitor.watch.status import AlarmStatus

LONGEST_TOKEN = 1024


class AnswerScreen(Screen):
    """The alarm screen for who has the link."""

    @get("/answer/{token}")
    async def ask(self, request: Request) -> Response:
        """How its alarms stand: to be answered, answered, over."""
        try:
            named = self._named(request)
        except Objection as words:
            return self._fault(request, str(words))
        if _is_trial(named):
            return self._frame.screen(request, "answer_trial.html", done=False)
        alarms = self._alarms(named)
        if not alarms:
            return self._frame.screen(request, "answer_over.html", fault=None)
        status, say = self._frame.api.status(), self._frame.say()
        return self._frame.screen(
            request,
            "alarm_screen.html",
            cards=[card(alarm, status, self._frame.api.site, say) for alarm in alarms],
            action=request.url.path,
            once="",
            signed=False,
            memory=False,
        )

    @post("/answer/{token}")
    async def answer(self, request: Request) -> Response:
        """Acknowledges. The token is its own proof; there is no session to protect."""
        await read_open_form(request)
        try:
            named = self._named(request)
            if _is_trial(named) or self._alarms(named):
                await self._frame.api.links.answer(request.path_params["token"])
        except Objection as words:
            return self._fault(request, str(words))
        if _is_trial(named):
            return self._frame.screen(request, "answer_trial.html", done=True)
        await self._frame.api.changed(TAKEN_WITHIN_S)
        return RedirectResponse(request.url.path, 303)

    def _named(self, request: Request) -> tuple[str, ...]:
        token = request.path_params["token"]
        if len(token) > LONGEST_TOKEN:
            raise Objection("This link is not one of ours.")
        return self._frame.api.links.occurrences(token)

    def _alarms(self, named: tuple[str, ...]) -> list[AlarmStatus]:
        """Those of its alarms that are open, or that ended unanswered. What follows from another of
        them needs no card of its own."""
        found = [a for a in self._frame.api.status().all_alarms if a.occurrence in named]
        return [alarm for alarm in found if not alarm.folded] or found

    def _fault(self, request: Request, words: str) -> Response:
        return self._frame.screen(request, "answer_over.html", status=410, fault=words)


def _is_trial(named: tuple[str, ...]) -> bool:
    return any(one.startswith(TRIAL) for one in named)
