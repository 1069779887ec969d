"""The morning message: how the night was, and today. By its absence it tells that something is
wrong, and it says so. Called by the planner once a local day."""

from dataclasses import dataclass, field

from monitor.tell.wording.words import UNSEEN_S, Voice, Words, compose, listed, span

_QUIET_UNSEEN_S = 600.0  # a restart or an update; longer is not a quiet night. Common practice
_NEXT_NIGHT_S = 6 * 3600.0  # an outlook for earlier than this is still for the night that ends


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxMorning:
    """One brooder's night and day; None where it is not known. Temperatures degC."""

    brooder: str
    lowest_c: float | None = None
    lowest_at: float | None = None
    lowest_target_c: float | None = None  # what it should have been then
    highest_c: float | None = None
    highest_at: float | None = None
    highest_target_c: float | None = None
    too_cold_s: float = 0.0
    too_hot_s: float = 0.0
    unseen_s: float = 0.0
    alarms: tuple[str, ...] = ()  # what was told in the night, in plain words
    running: bool = True  # a batch is in the box
    now_c: float | None = None
    target_c: float | None = None
    head_count: int | None = None
    age_days: int | None = None
    step_at: float | None = None
    step_target_c: float | None = None
    outlook_lowest_c: float | None = None
    outlook_at: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What came together since yesterday's message."""

    advice: list[str] = field(default_factory=list)
    still: list[str] = field(default_factory=list)  # what is wrong at this moment
    watch: list[str] = field(default_factory=list)  # what was told of the watch itself


def morning(boxes: list[BoxMorning], gathered: Gathered, voice: Voice, at: float) -> Words:
    """All brooders, then the watch, then advice."""
    quiet = not (gathered.still or gathered.watch) and all(
        not box.alarms and box.too_cold_s + box.too_hot_s < 60 and box.unseen_s < _QUIET_UNSEEN_S
        for box in boxes
    )
    title = f"{voice.where(None)}: good morning" + (", a quiet night" if quiet else "")
    lines: list[str] = []
    for box in boxes:
        lines += _night(box, voice, at)
        lines += _today(box, voice, at)
    if gathered.watch:
        lines.append(f"The watch itself: {'; '.join(gathered.watch)}.")
    if gathered.advice:
        lines += ["Advice:", *(f"- {line}" for line in gathered.advice)]
    lines.append(
        "This message comes every morning. On a morning without it, something is wrong with the "
        "watch: look at the board."
    )
    first = _headline(boxes, voice)
    if gathered.still:
        first = f"Not well now: {listed(gathered.still)}."
    return compose(title, first, *lines)


def _headline(boxes: list[BoxMorning], voice: Voice) -> str:
    parts = [
        f"{box.brooder} {voice.temp(box.now_c)}"
        + (f" (target {voice.temp(box.target_c)})" if box.target_c is not None else "")
        for box in boxes
        if box.now_c is not None
    ]
    return f"Now {', '.join(parts)}." if parts else "No reading at this moment."


def _night(box: BoxMorning, voice: Voice, at: float) -> list[str]:
    if not box.running:
        return [f"{box.brooder}: no batch in the box."]
    if box.lowest_c is None or box.highest_c is None:
        return [f"{box.brooder}: no readings in the night."]
    low = _extreme(voice, at, (box.lowest_c, box.lowest_at, box.lowest_target_c))
    high = _extreme(voice, at, (box.highest_c, box.highest_at, box.highest_target_c))
    lines = [f"{box.brooder}, the night: lowest {low}, highest {high}."]
    wrong = []
    if box.too_cold_s >= 30:
        wrong.append(f"too cold for {span(box.too_cold_s)}")
    if box.too_hot_s >= 30:
        wrong.append(f"too hot for {span(box.too_hot_s)}")
    unseen = box.unseen_s >= UNSEEN_S
    if wrong:
        lines.append(f"It was {' and '.join(wrong)}.")
    elif unseen:
        lines.append("While it was watched it was never too cold or too hot.")
    else:
        lines.append("It was never too cold or too hot.")
    if unseen:
        why = "no reading that could be trusted, or the watch was not running"
        lines.append(f"Not watched for {span(box.unseen_s)}: {why}.")
    lines.append(f"Alarms: {'; '.join(box.alarms) if box.alarms else 'none'}.")
    return lines


def _today(box: BoxMorning, voice: Voice, at: float) -> list[str]:
    if not box.running:
        return []
    parts = []
    if box.target_c is not None:
        parts.append(f"target {voice.temp(box.target_c)}")
    if box.head_count is not None:
        parts.append(f"{box.head_count} chicks")
    if box.age_days is not None:
        parts.append(f"{box.age_days} {'day' if box.age_days == 1 else 'days'} old")
    lines = [f"Today: {', '.join(parts)}."] if parts else []
    if box.step_at is not None and box.step_target_c is not None:
        within = box.step_at - at
        when = voice.clock(box.step_at, at) if within < 36 * 3600 else f"in {span(within)}"
        lines.append(f"Next step: {voice.temp(box.step_target_c)}, {when}.")
    ahead = box.outlook_at is not None and box.outlook_at - at > _NEXT_NIGHT_S
    if box.outlook_lowest_c is not None and box.outlook_at is not None and ahead:
        when = voice.clock(box.outlook_at, at)
        lines.append(
            f"Coming night: lowest likely {voice.temp(box.outlook_lowest_c)} about {when}."
        )
    return lines


def _extreme(voice: Voice, at: float, seen: tuple[float, float | None, float | None]) -> str:
    temp_c, when, target_c = seen
    said = voice.temp(temp_c)
    if when is not None:
        said += f" at {voice.clock(when, at)}"
    return said if target_c is None else f"{said} (target {voice.temp(target_c)})"
