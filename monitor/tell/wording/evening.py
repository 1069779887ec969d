"""The evening message: how it stands, what the night will bring, and the one thing to do, or that
there is nothing to do. Called by `tell.evening_call` once a local day, at bedtime."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from monitor.brooding.bird_kinds import kind_of
from monitor.site import Brooder
from monitor.tell.wording.first_aid import LAMP_CARE, less_heat, names_a_lamp
from monitor.tell.wording.several_words import cold_nights
from monitor.tell.wording.temperature import COOL_FIRST
from monitor.tell.wording.tonight_words import how_sure
from monitor.tell.wording.warm_up_words import warm_up_verdict
from monitor.tell.wording.words import Voice, Words, compose, listed, once_each
from monitor.thermal.coming_night import CLEAR_CHANCE, NOTHING_CHANCE, UNSURE_CHANCE, WARN_CHANCE
from monitor.thermal.diagnosis import Outlook
from monitor.watch.status import BrooderStatus

_SAME_K = 0.5  # less is not worth a figure
_MOST_BOXES = 3  # of more only those that will not hold
_NOTHING_TO_DO, _HOLD = "nothing to do", "hold"  # end the title of a calm evening
_NOTHING = "Nothing to do."
_UNFORESEEN = (
    "Nothing measures the outside: sudden cold comes unforeseen. "
    "A probe outside in the shade would show it sooner."
)
_NOT_KNOWN = "How cold tonight gets is not known here: look at a forecast."


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxEvening:
    """One brooder with birds; None where it is not known. Temperatures degC."""

    brooder: str
    now_c: float | None = None
    too_hot: bool = False
    target_c: float | None = None
    low_c: float | None = None  # the band's lower edge
    outlook: Outlook | None = None
    next_target_c: float | None = None  # of tomorrow, where that is a step down
    cold: Words | None = None  # what is said of the cold night ahead
    called_off_at: float | None = None  # when one was told that is not expected any more


def evening(boxes: list[BoxEvening], still: list[str], voice: Voice, at: float) -> Words:
    """A cold night leads; then what is wrong now; then what holds."""
    cold = [box for box in boxes if box.cold is not None]
    doubtful = [box for box in boxes if box not in cold and not _holds(box)]
    calm = [box for box in boxes if box not in cold and box not in doubtful]
    lines = [_stands(box, voice, at) for box in doubtful]
    if len(calm) <= _MOST_BOXES:
        lines += [_stands(box, voice, at) for box in calm]
    else:
        lines.append(f"{len(calm)} boxes should hold.")
    by_floor = any(box.outlook is not None and box.outlook.by_floor for box in boxes)
    steps = [(box.brooder, line) for box in boxes if (line := _step(box, voice)) is not None]
    ends = (*once_each(steps, len(boxes)), _UNFORESEEN if by_floor else None)
    wrong = f"Needs attention now: {listed(still)}. See to that first." if still else None
    if len(cold) == 1 and cold[0].cold is not None:
        said = cold[0].cold
        first, *more = said.body.split("\n")
        last = _last(cold[0].outlook, voice)
        return compose(said.title, first, wrong, last, *more, *lines)
    if cold:
        said = cold_nights([(box.brooder, box.cold) for box in cold if box.cold], voice)
        first, *firsts = said.body.split("\n")
        return compose(said.title, first, wrong, *firsts, *lines)
    where = voice.where(None)
    if wrong is not None:
        return compose(f"{where}: tonight", wrong, *lines)
    ready = [clause for box in calm if (clause := _to_have_ready(box)) is not None]
    care = LAMP_CARE if names_a_lamp(ready) else None
    head = _head(doubtful, calm, ready)
    if head is not None:
        return compose(f"{where}: tonight, {head}", *lines, care, *ends)
    first = f"{lines[0]} {_NOTHING}" if len(lines) == 1 else f"{_NOTHING} {lines[0]}"
    return compose(f"{where}: tonight, {_NOTHING_TO_DO}", first, *lines[1:], *ends)


def _head(doubtful: list[BoxEvening], calm: list[BoxEvening], ready: list[str]) -> str | None:
    """What leads an evening without a cold night; None: there is nothing to do."""
    if any(_is_probably_cold(box.outlook) for box in doubtful if box.outlook and not box.too_hot):
        return "add cover or heat"
    if doubtful:
        return "look once more"
    if any(box.target_c is not None and box.outlook is None for box in calm):
        return "look at a forecast"
    if ready:
        return "be ready for cold"
    outlooks = [box.outlook for box in calm if box.outlook is not None]
    likeliest = max(outlooks, key=lambda outlook: outlook.chance, default=None)
    if likeliest is None or not _may_leave(likeliest):
        return None
    return f"it {how_sure(likeliest)} {_HOLD}"


def _holds(box: BoxEvening) -> bool:
    """Or is it not known, which is no reason to call anybody?"""
    outlook = box.outlook
    if box.now_c is None or (box.low_c is not None and box.now_c < box.low_c):
        return False
    return outlook is None or (
        outlook.chance < UNSURE_CHANCE and not outlook.below_now and not _as_last(outlook)
    )


def _may_leave(outlook: Outlook) -> bool:
    """Does what is not known of the night reach beyond the band's edge?"""
    return outlook.chance >= NOTHING_CHANCE or outlook.first_night


def _is_probably_cold(outlook: Outlook) -> bool:
    return outlook.below_now or outlook.chance >= WARN_CHANCE


def _as_last(outlook: Outlook) -> bool:
    """Was it too cold last night, and may it be so again?"""
    return outlook.was_cold_c is not None and outlook.chance >= NOTHING_CHANCE


def _stands(box: BoxEvening, voice: Voice, at: float) -> str:
    if box.now_c is None:
        return f"{box.brooder}: no reading at this moment. Look at the chicks before bed."
    should = f", should be {voice.temp(box.target_c)}" if box.target_c is not None else ""
    now = f"{box.brooder} {voice.temp(box.now_c)}{should}"
    outlook = box.outlook
    if outlook is None:
        return f"{now}. {_NOT_KNOWN}" if box.target_c is not None else f"{now}."
    lowest = outlook.lowest_c
    worst = f", perhaps {voice.figure(lowest.low)}," if _may_leave(outlook) else ""
    low = (
        f"tonight likely down to {voice.temp(lowest.mid)}{worst} about "
        f"{voice.clock(outlook.lowest_at, at)}"
        if lowest.mid < box.now_c - _SAME_K
        else "tonight hardly colder"
    )
    if outlook.below_now:
        return f"{now}; {low}. It is too cold now: add cover or heat before bed."
    if outlook.chance >= UNSURE_CHANCE or _as_last(outlook):
        add = f"It {how_sure(outlook)} hold: add" if outlook.chance >= UNSURE_CHANCE else "Add"
        do = COOL_FIRST if box.too_hot else f"{add} cover or heat before bed."
        return " ".join(filter(None, (f"{now}; {low}.", _last(outlook, voice), do)))
    if box.called_off_at is not None:
        told = voice.clock(box.called_off_at, at)
        return (
            f"{now}; {low}. It should hold after all: the cold night told at {told} is no longer "
            "expected."
        )
    ready = _to_have_ready(box)
    more = "" if ready is None else f" Be ready to {ready}."
    return f"{now}; {low}. It {how_sure(outlook)} hold.{more}"


def _last(outlook: Outlook | None, voice: Voice) -> str | None:
    if outlook is None or outlook.was_cold_c is None:
        return None
    return f"Last night it went down to about {voice.temp(outlook.was_cold_c)}."


def _to_have_ready(box: BoxEvening) -> str | None:
    """The first thing that would help in a night that will probably hold; None: it surely will,
    or it is not for this evening."""
    outlook = box.outlook
    if outlook is None or box.too_hot or box.called_off_at is not None or _as_last(outlook):
        return None
    if not CLEAR_CHANCE <= outlook.chance < UNSURE_CHANCE or outlook.below_now:
        return None
    return outlook.mend[0].rstrip(".") if outlook.mend else "add cover or heat"


def _step(box: BoxEvening, voice: Voice) -> str | None:
    if box.next_target_c is None:
        return None
    target = voice.temp(box.next_target_c)
    do = less_heat(voice.site.brooder(box.brooder))
    return f"Tomorrow the target goes down to {target}: {do} in the morning, not tonight."


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
        stands = (
            f"{verdict.answer}: {missing} Let it warm all night with the heat hung as it will stay."
        )
    return Coming(
        "chicks come tomorrow",
        f"{box.name}: {birds} come tomorrow. {stands} In the morning fill the drinkers: their "
        "water should be lukewarm.",
        unentered=False,
    )


def _lowered(clause: str) -> str:
    """The clause with a small first letter, to stand after a colon."""
    return clause[:1].lower() + clause[1:]


def with_coming(said: Words | None, coming: Iterable[Coming], voice: Voice) -> Words:
    """Leads the evening message where nothing else does. `said` None: no birds are in."""
    first, *more = sorted(coming, key=lambda one: not one.unentered)
    lines = [one.line for one in more]
    if said is not None and not said.title.endswith((_NOTHING_TO_DO, _HOLD)):
        return compose(said.title, *said.body.split("\n"), first.line, *lines)
    told = [] if said is None else said.body.split("\n")
    return compose(f"{voice.where(None)}: {first.title}", first.line, *lines, *told)
