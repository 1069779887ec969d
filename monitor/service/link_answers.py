"""What is done by tapping a link in a message: an alarm is acknowledged, or a trial answered. Used
by the live service API, in the event loop. Fulfils `page.service_api.LinksApi`."""

from collections.abc import Callable

from monitor.brooding.objection import Objection
from monitor.events import Moment
from monitor.service import core_answers
from monitor.service.core import Core
from monitor.service.delivery_side import DeliverySide
from monitor.service.watch_calls import WatchCalls
from monitor.tell.links import LinkAnswer, LinkFault, already_used

_TRIAL_USED = "This trial alarm was answered already, or is from before the last start."


class LinkAnswers:
    """See the module. `at`: the time of the newest status."""

    def __init__(
        self, core: Core, calls: WatchCalls, reaching: DeliverySide, at: Callable[[], float]
    ) -> None:
        self._core = core
        self._calls = calls
        self._reaching = reaching
        self._at = at

    def occurrences(self, token: str) -> tuple[str, ...]:
        """What a link is for. Raises Objection."""
        answer = self._signed(token, self._at())
        if answer.trial is not None and self._reaching.trials().get(answer.trial, 0.0) is not None:
            raise Objection(_TRIAL_USED)
        return answer.occurrences

    async def answer(self, token: str) -> list[str]:
        """Does what a link says, once. Raises Objection."""
        return await self._calls.ask(lambda now: self._do(token, now))

    def _do(self, token: str, now: Moment) -> list[str]:
        """In the watch thread."""
        answer = self._signed(token, now.at)
        if already_used(answer, self._core.answers):
            raise Objection("This link was used already: the alarm is acknowledged.")
        if answer.trial is not None:
            if not self._reaching.answer_trial(answer.trial):
                raise Objection(_TRIAL_USED)
            return []
        done: list[str] = []
        for entry in answer.entries(self._core.status(now), now.at):
            done += core_answers.enter(self._core, entry, now)["changes"]
        return done

    def _signed(self, token: str, at: float) -> LinkAnswer:
        try:
            return self._reaching.links.read(token, at)
        except LinkFault as fault:
            raise Objection(str(fault)) from fault
