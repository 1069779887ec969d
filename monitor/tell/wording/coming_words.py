"""Chicks that are to come: the evening before, whether their box is ready; on the evening of the
day, where nobody has entered them, that nothing watches for cold. Called by `tell.evening_call`."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from monitor.brooding.bird_kinds import kind_of
from monitor.site import Brooder
from monitor.tell.wording.evening import NOTHING_TO_DO
from monitor.tell.wording.warm_up_words import warm_up_verdict
from monitor.tell.wording.words import Voice, Words, compose
from monitor.watch.status import BrooderStatus


@dataclass(frozen=True, slots=True)
class Coming:
    """What is said of one box. `unentered`: they may be in it, and are not watched."""

    title: str
    line: str
    unentered: bool


def coming(
    box: BrooderStatus, setting: Brooder, today: date, voice: Voice, at: float
) -> Coming | None:
    """None: nobody is to come today or tomorrow, or they are entered."""
    expected = box.expected
    if expected is None:
        return None
    kind = "chicks" if expected.kind is None else kind_of(expected.kind).many
    birds = f"{expected.count} {kind}"
    if expected.day == today:
        return Coming(
            "are the chicks in?",
            f"{box.name}: {birds} were to come today. If they are in the box, enter them now: "
            "until then nothing watches for cold. If they come later, enter the new day.",
            unentered=True,
        )
    if expected.day != today + timedelta(days=1):
        return None
    verdict = warm_up_verdict(box, setting, voice, at)
    if verdict is None:
        stands = "Warm the box now."
    elif verdict.ready:
        floor, tonight = verdict.checks[0].words, verdict.checks[1].words
        stands = f"{verdict.answer}: {_lowered(floor)} {tonight}"
    else:
        missing = _lowered(verdict.first).replace("more below", "more on the page")
        stands = f"{verdict.answer}: {missing} Let it warm all night, its heat as it will hang."
    return Coming(
        "chicks come tomorrow",
        f"{box.name}: {birds} come tomorrow. {stands} In the morning fill the drinkers: their "
        "water should be lukewarm.",
        unentered=False,
    )


def _lowered(clause: str) -> str:
    """After a colon."""
    return clause[:1].lower() + clause[1:]


def with_coming(said: Words | None, coming: Iterable[Coming], voice: Voice) -> Words:
    """Leads the evening message where nothing else does. `said` None: no birds are in."""
    first, *more = sorted(coming, key=lambda one: not one.unentered)
    lines = [one.line for one in more]
    if said is not None and not said.title.endswith(NOTHING_TO_DO):
        return compose(said.title, *said.body.split("\n"), first.line, *lines)
    told = [] if said is None else said.body.split("\n")
    return compose(f"{voice.where(None)}: {first.title}", first.line, *lines, *told)
