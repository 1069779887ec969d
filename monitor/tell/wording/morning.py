"""The morning message: how the night was, and today. By its absence it tells that something is
wrong, and it says so. Called by the planner once a local day."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from monitor.measures import counted, span
from monitor.tell.wording.words import UNSEEN_S, Voice, Words, compose, once_each
from monitor.watch.status import NightStatus

FITS = 600  # characters of a message that is read at a glance
_MOST_TOLD = 3  # alarms of a night; of more some and the number of the others
_MOST_BOXES = 3  # of more only those that were not well


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxMorning:
    """One brooder's night and day; None where it is not known. Temperatures degC."""

    brooder: str
    night: NightStatus | None = None
    alarms: tuple[str, ...] = ()  # what was told in the night, in plain words
    now_c: float | None = None
    target_c: float | None = None
    head_count: int | None = None
    age_days: int | None = None
    next_target_c: float | None = None  # of tomorrow, where that is a step down
    needs: str | None = None  # feed and water of this day
    moving: str | None = None  # why birds that are old enough do not move out yet


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What came together since yesterday's message."""

    advice: list[tuple[str, str]] = field(default_factory=list)  # the brooder, and the advice
    still: list[str] = field(default_factory=list)  # what is wrong at this moment
    watch: list[str] = field(default_factory=list)  # what was told of the watch itself


def morning(boxes: list[BoxMorning], gathered: Gathered, voice: Voice, at: float) -> Words:
    """All brooders with birds, then the watch, then advice; what matters least gives way where it
    would be too long: what is to be done today never to what is read on the page."""
    well = [box for box in boxes if _is_well(box)]
    quiet = not (gathered.still or gathered.watch) and len(well) == len(boxes)
    title = f"{voice.where(None)}: good morning" + (", a quiet night" if quiet else "")
    listed_ = boxes if len(boxes) <= _MOST_BOXES else [box for box in boxes if box not in well]
    lines: list[tuple[int, str]] = []  # how readily it is left out, and what it says
    for box in listed_:
        lines += _night(box, voice, at) + _today(box)
    if len(listed_) < len(boxes):
        lines.append((0, f"{len(well)} boxes had a quiet night."))
    steps = [
        (box.brooder, f"Tomorrow the target goes down to {voice.temp(box.next_target_c)}.")
        for box in boxes
        if box.next_target_c is not None
    ]
    waits = [(box.brooder, box.moving) for box in boxes if box.moving is not None]
    lines += [(3, line) for line in once_each(steps, len(boxes)) + once_each(waits, len(boxes))]
    if gathered.watch:
        lines.append((1, f"The watch itself: {_last(gathered.watch)}."))
    lines += [(2, line) for line in once_each(gathered.advice)]
    lines.append((5, "No such message one morning? Then the watch is down: look at the board."))
    first = _headline(boxes, voice)
    if gathered.still:
        first = f"Needs attention now: {_few(gathered.still)}."
    return compose(title, first, *_fitting(lines, FITS - len(title) - len(first) - 2))


def _is_well(box: BoxMorning) -> bool:
    night = box.night
    return not box.alarms and (
        night is None or (night.below_s + night.above_s < 60 and night.unseen_s < UNSEEN_S)
    )


def _fitting(lines: list[tuple[int, str]], room: int) -> list[str]:
    """Without the last of what is left out most readily, until it fits."""
    kept = list(lines)
    more = "More: on the page."
    while kept and sum(len(line) + 1 for _, line in kept) > room - (
        len(more) if len(kept) < len(lines) else 0
    ):
        worst = max(weight for weight, _ in kept)
        del kept[max(i for i, (weight, _) in enumerate(kept) if weight == worst)]
    return [line for _, line in kept] + ([more] if len(kept) < len(lines) else [])


def _few(items: list[str]) -> str:
    """The first of many, and how many more."""
    if len(items) <= _MOST_TOLD:
        return "; ".join(items)
    return f"{'; '.join(items[: _MOST_TOLD - 1])}; and {len(items) - _MOST_TOLD + 1} more"


def _last(items: Sequence[str]) -> str:
    """How many there were before, and the last: those of the night."""
    few = items[1 - _MOST_TOLD :]
    return "; ".join(
        items if len(items) <= _MOST_TOLD else [f"{len(items) - len(few)} earlier", *few]
    )


def _headline(boxes: list[BoxMorning], voice: Voice) -> str:
    now = [box for box in boxes if box.now_c is not None]
    if len(now) > _MOST_BOXES:
        return f"{len(boxes)} boxes hold birds."
    parts = [
        f"{box.brooder} {voice.temp(box.now_c)}"
        + (f", should be {voice.temp(box.target_c)}" if box.target_c is not None else "")
        for box in now
        if box.now_c is not None
    ]
    return f"Now {'; '.join(parts)}." if parts else "No reading at this moment."


def _night(box: BoxMorning, voice: Voice, at: float) -> list[tuple[int, str]]:
    night = box.night
    if night is None or night.low_c is None or night.high_c is None:
        return [(0, f"{box.brooder}: no readings in the night.")]
    low = _extreme(voice, at, night.low_c, night.low_at)
    high = _extreme(voice, at, night.high_c, night.high_at)
    wrong = []
    if night.below_s >= 60:
        wrong.append(f"too cold for {span(night.below_s)}")
    if night.above_s >= 60:
        wrong.append(f"too hot for {span(night.above_s)}")
    unseen = night.unseen_s >= UNSEEN_S
    judged = " and ".join(wrong) if wrong else "never too cold or too hot"
    if unseen and not wrong:
        judged += " while it was watched"
    lines = [(0, f"{box.brooder}, the night: lowest {low}, highest {high}; {judged}.")]
    if unseen:
        why = "no reading to trust, or the watch was not running"
        lines.append((1, f"Not watched for {span(night.unseen_s)}: {why}."))
    if box.alarms:
        lines.append((1, f"Told since yesterday: {_last(box.alarms)}."))
    return lines


def _today(box: BoxMorning) -> list[tuple[int, str]]:
    parts = []
    if box.head_count is not None:
        parts.append(f"{box.head_count} chicks")
    if box.age_days is not None:
        parts.append(f"{counted(box.age_days, 'day')} old")
    if box.needs is not None:
        parts.append(box.needs)
    return [(4, f"Today: {', '.join(parts)}.")] if parts else []


def _extreme(voice: Voice, at: float, temp_c: float, when: float | None) -> str:
    said = voice.temp(temp_c)
    return said if when is None else f"{said} at {voice.clock(when, at)}"
