"""What the Now screen says: one BoxView for each brooder, in sentences. Pure; called by the screen
and by the live stream, which so can never say different things."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple
from urllib.parse import quote

from monitor.brooding.flock import KINDS
from monitor.page.alarm_words import AlarmView, alarm_view, live_facts, told
from monitor.page.words import PLACES, Say, capital, counted, days_old
from monitor.site import Brooder, Site
from monitor.tell.wording import first_aid
from monitor.tell.wording.words import minutes_left
from monitor.watch.diagnosis import Outlook
from monitor.watch.events import AlarmName
from monitor.watch.status import BrooderStatus, ProbeStatus, SiteStatus

STEADY_C_PER_H = 0.3  # slower than this is holding; the messages use the same
STALE_S = 90.0  # the watch renews its picture far more often than this


class Mark(StrEnum):
    """The shape in the margin. Each also has its word, so that nothing hangs on shape or colour."""

    RIGHT = "right"
    FALLING = "falling"
    COLD = "cold"
    HOT = "hot"
    DANGER_COLD = "danger-cold"
    DANGER_HOT = "danger-hot"
    UNKNOWN = "unknown"
    EMPTY = "empty"


_WORDS = {
    Mark.RIGHT: "Right",
    Mark.FALLING: "In band, but falling",
    Mark.COLD: "Too cold",
    Mark.HOT: "Too hot",
    Mark.DANGER_COLD: "Dangerously cold",
    Mark.DANGER_HOT: "Dangerously hot",
    Mark.UNKNOWN: "Not known",
    Mark.EMPTY: "No chicks entered",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeView:
    """One row of the list of probes."""

    name: str
    place: str
    temp: str
    at: float | None
    note: str | None
    doubted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxView:
    """One brooder."""

    number: int
    name: str
    mark: Mark
    word: str
    temp: str | None
    against: str  # "should be 90.0, in band for 9 h"
    trend: str | None
    trend_is_bad: bool
    alarms: tuple[AlarmView, ...]
    tonight: tuple[str, ...]
    tonight_holds: bool | None
    night: str | None
    birds: str | None
    next_step: str | None
    probes: tuple[ProbeView, ...]
    cautions: tuple[str, ...] = ()
    put_aside_link: str = ""


class Call(NamedTuple):
    """An alarm that nobody has answered, and the part of the screen where it stands."""

    occurrence: str
    title: str
    part: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NowView:
    """The whole screen, apart from the watcher's own state."""

    summary: str  # one line: the document's title and the first thing read out
    boxes: tuple[BoxView, ...]
    alarms: tuple[AlarmView, ...]  # of the site and the watcher itself
    outside: tuple[ProbeView, ...]
    stale_since: float | None
    clock_sure: bool = True
    calls: tuple[Call, ...] = field(default=())  # unanswered


def view(status: SiteStatus, site: Site, say: Say) -> NowView:
    """The picture in words."""
    settings = {box.name: box for box in site.brooders}
    boxes = tuple(
        _box(number, box, settings.get(box.name), site, say)
        for number, box in enumerate(status.brooders)
    )
    alarms = tuple(alarm_view(a, site, say, None) for a in told(status.alarms))
    everywhere = [("watcher", alarms), *((f"box-{box.number}", box.alarms) for box in boxes)]
    unanswered = [
        Call(alarm.occurrence, alarm.title, part)
        for part, here in everywhere
        for alarm in here
        if alarm.answer_link and alarm.standing is None
    ]
    return NowView(
        summary=_summary(boxes, alarms, unanswered),
        boxes=boxes,
        alarms=alarms,
        outside=tuple(_probe(probe, say) for probe in status.probes),
        stale_since=status.at if say.now - status.at > STALE_S else None,
        clock_sure=status.clock_sure,
        calls=tuple(unanswered),
    )


def _summary(
    boxes: tuple[BoxView, ...], alarms: tuple[AlarmView, ...], unanswered: list[Call]
) -> str:
    if unanswered:
        one = len(unanswered) == 1
        return unanswered[0].title if one else f"{len(unanswered)} alarms to answer"
    wrong = [box for box in boxes if box.mark not in (Mark.RIGHT, Mark.EMPTY)]
    if wrong:
        return "; ".join(f"{box.name}: {box.word.lower()}" for box in wrong)
    if alarms:
        return alarms[0].title
    if all(box.mark is Mark.EMPTY for box in boxes):
        return "No chicks entered"
    return "All right"


def _box(number: int, box: BrooderStatus, setting: Brooder | None, site: Site, say: Say) -> BoxView:
    mark = _mark(box)
    alarms = tuple(alarm_view(a, site, say, box) for a in told(box.alarms))
    return BoxView(
        number=number,
        name=capital(box.name),
        mark=mark,
        word="Out of use" if box.out_of_service else _WORDS[mark],
        temp=None if box.temp_c is None else say.temp(box.temp_c),
        against=_against(box, say),
        trend=_trend(box, say),
        trend_is_bad=mark is Mark.FALLING or bool(box.minutes_to_chill),
        alarms=alarms,
        tonight=outlook_lines(box.outlook, say) if box.batch and box.outlook else (),
        tonight_holds=None if box.outlook is None else box.outlook.chance < 0.5,
        night=_night(box, say),
        birds=_birds(box, say),
        next_step=_next_step(box, say),
        probes=tuple(_probe(probe, say) for probe in box.probes),
        cautions=_cautions(setting, mark, alarms),
        put_aside_link=f"/do/put-aside?brooder={quote(box.name)}",
    )


def _mark(box: BrooderStatus) -> Mark:
    temp_c = box.temp_c
    if temp_c is not None and temp_c >= box.overheat_c and not box.out_of_service:
        return Mark.DANGER_HOT  # chicks or none: a fallen lamp burns an empty box as well
    if box.batch is None or box.out_of_service:
        return Mark.EMPTY
    if temp_c is None or box.low_c is None or box.high_c is None:
        return Mark.UNKNOWN
    if temp_c < box.low_c:
        harmful = box.chill_c is not None and temp_c <= box.chill_c
        return Mark.DANGER_COLD if harmful else Mark.COLD
    if temp_c > box.high_c:
        return Mark.HOT
    falling = any(a.alarm is AlarmName.HEAT_LOSS and a.active for a in box.alarms)
    return Mark.FALLING if falling or box.minutes_to_chill is not None else Mark.RIGHT


def _against(box: BrooderStatus, say: Say) -> str:
    if box.target_c is None or box.out_of_service:
        return _no_target(box)
    target = f"should be {say.figure(box.target_c)}"
    if box.temp_c is None:
        return f"no floor reading to believe; {target}"
    if box.in_band and box.in_band_since is not None:
        return f"{target}, in band for {say.span(say.now - box.in_band_since)}"
    if box.in_band:
        return f"{target}, in band"
    off_c = box.temp_c - box.target_c
    return f"{target}: {say.step(off_c)} too {'warm' if off_c > 0 else 'cold'}"


def _no_target(box: BrooderStatus) -> str:
    if box.out_of_service:
        return "taken out of use: not watched"
    if box.batch is None:
        return "no chicks entered, so nothing to hold it against"
    return "no target at this age"


def _trend(box: BrooderStatus, say: Say) -> str | None:
    if box.trend_c_per_h is None or box.temp_c is None:
        return None
    rate = box.trend_c_per_h
    if abs(rate) < STEADY_C_PER_H:
        moving = "Holding steady."
    else:
        way = "Falling" if rate < 0 else "Rising"
        moving = f"{way} {say.step(rate)} an hour."
    left = minutes_left(say.voice, live_facts(box)) if box.minutes_to_chill else None
    return f"{moving} {left}" if left else moving


def outlook_lines(outlook: Outlook, say: Say) -> tuple[str, ...]:
    """Will it hold, how cold at worst, what is missing, what would help."""
    low = outlook.lowest_c
    lines = [
        f"Lowest on the floor about {say.temp(low.mid)} at {say.clock(outlook.lowest_at)}, "
        f"likely {say.figure(low.low)} to {say.figure(low.high)}. Outside down to "
        f"{say.temp(outlook.outside_low_c)} ({outlook.outside_from})."
    ]
    chance = round(outlook.chance * 10) * 10
    if outlook.chance >= 0.5:
        leaves = (
            f" It leaves the band about {say.clock(outlook.leaves_band_at)}."
            if outlook.leaves_band_at is not None
            else ""
        )
        lines.insert(0, f"It will not hold.{leaves}")
    else:
        often = f"about {chance} in 100" if chance else "less than 5 in 100"
        lines.insert(0, f"It should hold. Chance of getting too cold: {often}.")
    if outlook.missing_watts >= 1:
        lines.append(f"About {round(outlook.missing_watts / 5) * 5} W are missing.")
    if outlook.mend and outlook.chance >= 0.2:
        lines.append("What would help: " + "; ".join(outlook.mend).rstrip(".") + ".")
    if outlook.learned < 0.5:
        lines.append("Reckoned from the box's measures so far; it gets surer as it watches.")
    return tuple(lines)


def _night(box: BrooderStatus, say: Say) -> str | None:
    night = box.night
    if night.low_c is None or night.high_c is None or box.target_c is None:
        return None
    said = [
        f"Lowest {say.temp(night.low_c)}"
        + (f" at {say.clock(night.low_at)}" if night.low_at else "")
        + f", highest {say.temp(night.high_c)}"
        + (f" at {say.clock(night.high_at)}." if night.high_at else ".")
    ]
    if night.below_s >= 60:
        said.append(f"Too cold for {say.span(night.below_s)}.")
    if night.above_s >= 60:
        said.append(f"Too hot for {say.span(night.above_s)}.")
    if box.in_band and not night.below_s and not night.above_s:
        said.append("Never out of band.")
    return f"Since {say.clock(night.from_at)}: " + " ".join(said)


def _birds(box: BrooderStatus, say: Say) -> str | None:
    batch = box.batch
    if batch is None:
        return None
    kind = KINDS.get(batch.kind)
    heads = counted(
        batch.head_count, kind.one if kind else batch.kind, kind.many if kind else batch.kind
    )
    lost = f"; {batch.lost} of {batch.placed} lost" if batch.lost else "; none lost"
    return f"{heads}, {days_old(batch.age_days)}{lost}."


def _next_step(box: BrooderStatus, say: Say) -> str | None:
    step = box.next_step
    if step is None:
        return None
    if step.gradual:
        return f"A little less every day, to {say.temp(step.to_c)} {say.soon(step.at)}."
    return f"Down to {say.temp(step.to_c)} {say.soon(step.at)}."


def _probe(probe: ProbeStatus, say: Say) -> ProbeView:
    note = None
    if probe.out_of_service:
        note = "taken out of use"
    elif probe.fault is not None:
        note = f"not believed: {probe.fault}"
    elif probe.silent:
        note = "silent"
    elif probe.at is None:
        note = "nothing heard yet"
    return ProbeView(
        name=probe.name,
        place=PLACES[probe.place],
        temp=say.temp(probe.temp_c),
        at=probe.at,
        note=note,
        doubted=note is not None,
    )


def _cautions(
    setting: Brooder | None, mark: Mark, alarms: tuple[AlarmView, ...]
) -> tuple[str, ...]:
    """A lamp over litter is the other danger of the night: said where somebody may touch one,
    unless an alarm above says it already."""
    if setting is None or not any(source.kind == "lamp" for source in setting.heat):
        return ()
    if any(line in (first_aid.LAMP_CARE, first_aid.FALLEN_LAMP) for a in alarms for line in a.more):
        return ()
    if mark is Mark.DANGER_HOT:
        return (first_aid.FALLEN_LAMP,)
    if mark in (Mark.COLD, Mark.DANGER_COLD, Mark.FALLING):
        return (first_aid.LAMP_CARE,)
    return ()
