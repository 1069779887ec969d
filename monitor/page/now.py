"""What the Now screen says: one BoxView for each brooder, in sentences. Pure; called by the screen
and by the live stream, which so can never say different things."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple
from urllib.parse import quote

from monitor.events import AlarmName
from monitor.page.alarm_words import AlarmView, alarm_view, told
from monitor.page.first_thing import first_thing
from monitor.page.now_lines import (
    STEADY_C_PER_H,
    ProbeView,
    against_line,
    birds_line,
    estimate_line,
    next_step_line,
    night_line,
    probe_view,
    trend_line,
)
from monitor.page.phrases import Phrases, capital, counted
from monitor.site import Brooder, Site
from monitor.tell.missing import Missing
from monitor.tell.wording import first_aid
from monitor.tell.wording.tonight_words import tonight
from monitor.watch.status import BrooderStatus, SiteStatus

NEAR_MIN = 180.0  # a fall that takes longer to the chill limit is an evening. Common practice.
STALE_S = 90.0  # the watch renews its status far more often than this


class MarginShape(StrEnum):
    """The shape in the margin. Each also has its word, so that nothing hangs on shape or colour."""

    RIGHT = "right"
    FALLING = "falling"
    COLD = "cold"
    HOT = "hot"
    DANGER_COLD = "danger-cold"
    DANGER_HOT = "danger-hot"
    UNKNOWN = "unknown"
    EMPTY = "empty"


_COOLING = (MarginShape.FALLING, MarginShape.COLD, MarginShape.DANGER_COLD)
_WORDS = {
    MarginShape.RIGHT: "Right",
    MarginShape.FALLING: "In band, but falling",
    MarginShape.COLD: "Too cold",
    MarginShape.HOT: "Too hot",
    MarginShape.DANGER_COLD: "Dangerously cold",
    MarginShape.DANGER_HOT: "Dangerously hot",
    MarginShape.UNKNOWN: "Not known",
    MarginShape.EMPTY: "No chicks entered",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxView:
    """One brooder."""

    number: int
    name: str
    mark: MarginShape
    word: str
    temp: str | None
    against: str  # "should be 90.0, in band for 9 h"
    trend: str | None
    trend_is_bad: bool
    first: str | None  # to do at once, where no alarm says it
    without_estimate: str | None
    alarms: tuple[AlarmView, ...]
    tonight: tuple[str, ...]
    night: str | None
    birds: str | None
    next_step: str | None
    probes: tuple[ProbeView, ...]
    cautions: tuple[str, ...] = ()
    put_aside_link: str = ""


class UnansweredAlarm(NamedTuple):
    """An alarm that nobody has answered, and the part of the screen where it stands. Advice calls
    nobody."""

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
    calls: tuple[UnansweredAlarm, ...] = field(default=())  # unanswered
    missing: tuple[Missing, ...] = ()  # for tonight, but for what an alarm says


def view(status: SiteStatus, site: Site, say: Phrases, missing: Iterable[Missing] = ()) -> NowView:
    """The status, and what is missing for tonight, in words."""
    settings = {box.name: box for box in site.brooders}
    boxes = tuple(
        _box(number, box, settings.get(box.name), site, say)
        for number, box in enumerate(status.brooders)
    )
    alarms = tuple(alarm_view(a, site, say, None) for a in told(status.alarms))
    everywhere = [("watcher", alarms), *((f"box-{box.number}", box.alarms) for box in boxes)]
    unanswered = [
        UnansweredAlarm(alarm.occurrence, alarm.title, part)
        for part, here in everywhere
        for alarm in here
        if alarm.answer_link and alarm.standing is None and not alarm.advice
    ]
    unsaid = tuple(one for one in missing if not one.alarmed)
    return NowView(
        missing=unsaid,
        summary=_summary(boxes, alarms, unanswered, unsaid),
        boxes=boxes,
        alarms=alarms,
        outside=tuple(probe_view(probe, say) for probe in status.probes),
        stale_since=status.at if say.now - status.at > STALE_S else None,
        clock_sure=status.clock_sure,
        calls=tuple(unanswered),
    )


def _summary(
    boxes: tuple[BoxView, ...],
    alarms: tuple[AlarmView, ...],
    unanswered: list[UnansweredAlarm],
    missing: tuple[Missing, ...],
) -> str:
    if unanswered:
        one = len(unanswered) == 1
        return unanswered[0].title if one else f"{len(unanswered)} alarms to answer"
    wrong = [box for box in boxes if box.mark not in (MarginShape.RIGHT, MarginShape.EMPTY)]
    if wrong:
        return "; ".join(f"{box.name}: {box.word.lower()}" for box in wrong)
    if alarms:
        return alarms[0].title
    unaided = [box.name for box in boxes if box.without_estimate]
    if unaided:
        return f"{', '.join(unaided)}: dead lamps are not recognised"
    return _calm(boxes, [one for one in missing if one.essential])


def _calm(boxes: tuple[BoxView, ...], lacking: list[Missing]) -> str:
    if len(lacking) > 1:
        return f"{len(lacking)} things are missing for tonight"
    if lacking:
        return capital(f"{lacking[0].subject}: {lacking[0].words}")
    if all(box.mark is MarginShape.EMPTY for box in boxes):
        return "No chicks entered"
    advice = sum(alarm.advice for box in boxes for alarm in box.alarms)
    more = f". {counted(advice, 'piece of advice', 'pieces of advice')}" if advice else ""
    return f"All right{more}"


def _box(
    number: int, box: BrooderStatus, setting: Brooder | None, site: Site, say: Phrases
) -> BoxView:
    mark = _mark(box)
    alarms = tuple(alarm_view(a, site, say, box) for a in told(box.alarms))
    said = {line for alarm in alarms for line in alarm.more}
    outlook = _tonight(box, say, said)
    return BoxView(
        number=number,
        name=capital(box.name),
        mark=mark,
        word="Out of use" if box.out_of_service else _WORDS[mark],
        temp=None if box.temp_c is None else say.temp(box.temp_c),
        against=against_line(box, say),
        trend=trend_line(box, say),
        trend_is_bad=mark is MarginShape.FALLING or mark is MarginShape.DANGER_COLD,
        without_estimate=estimate_line(box),
        first=first_thing(box, setting, say) if mark in _COOLING else None,
        alarms=alarms,
        tonight=outlook,
        night=night_line(box, say),
        birds=birds_line(box, say),
        next_step=next_step_line(box, say),
        probes=tuple(probe_view(probe, say) for probe in box.probes),
        cautions=_cautions(setting, mark, said.union(outlook)),
        put_aside_link=f"/do/put-aside?brooder={quote(box.name)}",
    )


def _tonight(box: BrooderStatus, say: Phrases, above: Collection[str]) -> tuple[str, ...]:
    """What tonight will bring; how to hang a lamp is said once."""
    if not box.batch or not box.outlook:
        return ()
    lines = tonight(box.outlook, say.voice, say.now, box.temp_at)
    return tuple(line for line in lines if line != first_aid.LAMP_CARE or line not in above)


def _mark(box: BrooderStatus) -> MarginShape:
    temp_c = box.temp_c
    if temp_c is not None and temp_c >= box.overheat_c and not box.out_of_service:
        return MarginShape.DANGER_HOT  # chicks or none: a fallen lamp burns an empty box as well
    if box.batch is None or box.out_of_service:
        return MarginShape.EMPTY
    if temp_c is None or box.low_c is None or box.high_c is None or box.in_band is None:
        return MarginShape.UNKNOWN
    if temp_c < box.low_c:
        harmful = box.chill_c is not None and temp_c <= box.chill_c
        return MarginShape.DANGER_COLD if harmful else MarginShape.COLD
    if temp_c > box.high_c:
        return MarginShape.HOT
    return MarginShape.FALLING if _falls_towards_harm(box) else MarginShape.RIGHT


def _falls_towards_harm(box: BrooderStatus) -> bool:
    if any(a.alarm is AlarmName.HEAT_LOSS and a.active for a in box.alarms):
        return True
    left = box.minutes_to_chill
    falling = box.trend_c_per_h is not None and box.trend_c_per_h <= -STEADY_C_PER_H
    return falling and left is not None and left.mid <= NEAR_MIN


def _cautions(
    setting: Brooder | None, mark: MarginShape, above: Collection[str]
) -> tuple[str, ...]:
    """A lamp over litter is the other danger of the night: said where somebody may touch one,
    unless a line above says it already."""
    if setting is None or not any(source.kind == "lamp" for source in setting.heat):
        return ()
    caution = None
    if mark is MarginShape.DANGER_HOT:
        caution = first_aid.FALLEN_LAMP
    elif mark in _COOLING:
        caution = first_aid.LAMP_CARE
    return () if caution is None or caution in above else (caution,)
