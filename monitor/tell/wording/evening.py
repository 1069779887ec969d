"""The evening message: how it stands, what the night will bring, and the one thing to do, or that
there is nothing to do. Called by `tell.evening_call` once a local day, at bedtime."""

from dataclasses import dataclass

from monitor.tell.wording.temperature import COOL_FIRST
from monitor.tell.wording.words import Voice, Words, compose, listed
from monitor.thermal.coming_night import CLEAR_CHANCE, WARN_CHANCE
from monitor.thermal.diagnosis import Outlook

_SAME_K = 0.5  # less is not worth a figure
_MOST_BOXES = 3  # of more only those that will not hold
NOTHING_TO_DO = "nothing to do"  # ends such a title
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
    ends = (_step(boxes, voice), _UNFORESEEN if by_floor else None)
    wrong = f"Not well now: {listed(still)}. See to that first." if still else None
    if len(cold) == 1 and cold[0].cold is not None:
        said = cold[0].cold
        first, *more = said.body.split("\n")
        return compose(said.title, first, wrong, *more, *lines)
    if cold:
        firsts = [
            f"{box.brooder}: {box.cold.body.partition(chr(10))[0]}" for box in cold if box.cold
        ]
        names = listed([box.brooder for box in cold])
        title = f"{voice.where(None)}: cold night ahead in {len(cold)} boxes"
        return compose(title, f"Add cover or heat in time in {names}.", wrong, *firsts, *lines)
    where = voice.where(None)
    if wrong is not None:
        return compose(f"{where}: tonight", wrong, *lines)
    if doubtful:
        return compose(f"{where}: tonight, look once more", *lines, *ends)
    first = f"{lines[0]} {_NOTHING}" if len(lines) == 1 else f"{_NOTHING} {lines[0]}"
    return compose(f"{where}: tonight, {NOTHING_TO_DO}", first, *lines[1:], *ends)


def _holds(box: BoxEvening) -> bool:
    """Or is it not known, which is no reason to call anybody?"""
    outlook = box.outlook
    return box.now_c is not None and (
        outlook is None or (outlook.chance < WARN_CHANCE and not outlook.below_now)
    )


def _stands(box: BoxEvening, voice: Voice, at: float) -> str:
    if box.now_c is None:
        return f"{box.brooder}: no reading at this moment. Look at the chicks before bed."
    should = f", should be {voice.temp(box.target_c)}" if box.target_c is not None else ""
    now = f"{box.brooder} {voice.temp(box.now_c)}{should}"
    outlook = box.outlook
    if outlook is None:
        return f"{now}. {_NOT_KNOWN}" if box.target_c is not None else f"{now}."
    low = (
        f"tonight likely down to {voice.temp(outlook.lowest_c.mid)} about "
        f"{voice.clock(outlook.lowest_at, at)}"
        if outlook.lowest_c.mid < box.now_c - _SAME_K
        else "tonight hardly colder"
    )
    if outlook.below_now:
        return f"{now}; {low}. It is too cold now: add cover or heat before bed."
    if outlook.chance >= WARN_CHANCE:
        do = COOL_FIRST if box.too_hot else "It may not hold: add cover or heat before bed."
        return f"{now}; {low}. {do}"
    if box.called_off_at is not None:
        told = voice.clock(box.called_off_at, at)
        return (
            f"{now}; {low}. It should hold after all: the cold night told at {told} is no longer "
            "expected."
        )
    return (
        f"{now}; {low}. It {'should' if outlook.chance < CLEAR_CHANCE else 'will probably'} hold."
    )


def _step(boxes: list[BoxEvening], voice: Voice) -> str | None:
    steps = {box.next_target_c for box in boxes if box.next_target_c is not None}
    if len(steps) != 1:
        return None
    return (
        f"Tomorrow the target goes down to {voice.temp(steps.pop())}: raise the lamps in the "
        "morning, not tonight."
    )
