"""What the Now screen says: one BoxView for each brooder, in sentences, the worst first. Pure;
called by the screen and by the live stream, which so can never say different things."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from typing import NamedTuple
from urllib.parse import quote

from monitor.events import AlarmName, Cause, Change, ChangeKind, Priority
from monitor.measures import counted
from monitor.page.alarm_words import (
    AlarmView,
    AsideView,
    OverView,
    alarm_view,
    aside,
    first_line,
    link,
    over,
    to_answer,
    told,
)
from monitor.page.box_plan import BoxPlan, box_plan
from monitor.page.day_readings import DayFound
from monitor.page.judgement import Judgement, MarginMark, Side, judge
from monitor.page.now_lines import (
    ProbeView,
    against_line,
    birds_line,
    estimate_line,
    first_thing,
    heat_lines,
    next_step_line,
    night_line,
    probe_view,
    probes_line,
    trend_line,
)
from monitor.page.phrases import Phrases, capital
from monitor.site import Brooder, Place, Site
from monitor.tell.missing import Missing
from monitor.tell.present_facts import live_facts
from monitor.tell.wording import first_aid, for_change, meter_words
from monitor.tell.wording.tonight_words import tonight
from monitor.tell.wording.warm_up_words import Verdict, warm_up_verdict
from monitor.thermal.coming_night import CLEAR_CHANCE
from monitor.watch.box_facts import cold_ahead
from monitor.watch.status import AlarmStatus, BrooderStatus, SiteStatus
from monitor.watch.switched_off import own_falls

STALE_S = 90.0  # the watch renews its status far more often than this


class Act(NamedTuple):
    """The one button of a box."""

    label: str
    link: str
    of: str  # said to who listens instead of looks


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxView:
    number: int
    name: str
    mark: MarginMark
    word: str
    rank: int  # 0: the worst there is
    temp: str | None
    against: str  # "should be 90.0, in band for 9 h"
    trend: str | None
    is_bad: bool  # red ink
    instruction: str
    act: Act | None
    calls: tuple["UnansweredAlarm", ...]
    without_estimate: str | None
    alarms: tuple[AlarmView, ...]
    aside: tuple[AsideView, ...]
    over: tuple[OverView, ...]
    tonight: tuple[str, ...]
    night: str | None
    birds: str | None
    next_step: str | None
    probes: tuple[ProbeView, ...]
    probes_line: str
    heat: tuple[str, ...] = ()  # what the plugs say, in a line, and what that foretells
    others: str = ""  # humidity, cover
    cautions: tuple[str, ...] = ()
    put_aside_link: str = ""
    what_if_link: str = ""
    arrival_link: str = ""
    plan: BoxPlan | None = None
    warm_up: Verdict | None = None  # of an empty box that waits for chicks


class UnansweredAlarm(NamedTuple):
    """An alarm that nobody has answered, and where that is done. Advice calls nobody."""

    occurrence: str
    title: str
    link: str
    urgent: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NowView:
    """The whole screen, apart from the watcher's own state."""

    summary: str  # one line: the document's title and the first thing read out
    boxes: tuple[BoxView, ...]  # the worst first
    alarms: tuple[AlarmView, ...]  # of the site and the watcher itself
    aside: tuple[AsideView, ...]
    over: tuple[OverView, ...]
    outside: tuple[ProbeView, ...]  # of the site; a box says its own
    boxes_have_outside: bool
    meters: str  # of the site: mains, battery
    stale_since: float | None
    clock_sure: bool = True
    calls: tuple[UnansweredAlarm, ...] = field(default=())  # unanswered
    missing: tuple[Missing, ...] = ()  # for tonight, but for what an alarm says


def view(
    status: SiteStatus,
    site: Site,
    say: Phrases,
    missing: Iterable[Missing] = (),
    day: DayFound | None = None,
) -> NowView:
    """The status, what is missing for tonight, and what the last day showed, in words."""
    settings = {box.name: box for box in site.brooders}
    boxes = tuple(
        _box(number, box, _Whose(settings.get(box.name), site, say), day)
        for number, box in enumerate(status.brooders)
    )
    alarms = tuple(alarm_view(a, site, say, None) for a in told(status.alarms))
    boxes = tuple(sorted(boxes, key=lambda box: (box.rank, box.number)))
    of_boxes = [call for box in boxes for call in box.calls]
    unanswered = [*of_boxes, *_calls(status.alarms, site, say, None)]  # the birds come first
    unsaid = tuple(one for one in missing if not one.alarmed)
    unanswered.sort(key=lambda call: not call.urgent)
    return NowView(
        missing=unsaid,
        summary=_summary(boxes, alarms, unanswered, unsaid),
        boxes=boxes,
        alarms=alarms,
        aside=aside(status.alarms, say),
        over=over(status.alarms, say),
        outside=tuple(probe_view(probe, say) for probe in status.probes),
        boxes_have_outside=any(
            probe.place is Place.OUTSIDE for box in site.brooders for probe in box.probes
        ),
        meters=", ".join(meter_words.other_lines(status.meters)),
        stale_since=status.at if say.now - status.at > STALE_S else None,
        clock_sure=status.clock_sure,
        calls=tuple(unanswered),
    )


def _calls(
    alarms: tuple[AlarmStatus, ...], site: Site, say: Phrases, box: BrooderStatus | None
) -> tuple[UnansweredAlarm, ...]:
    return tuple(
        UnansweredAlarm(
            alarm.occurrence,
            alarm_view(alarm, site, say, box).title,
            link(alarm, "acknowledge"),
            alarm.priority is Priority.URGENT,
        )
        for alarm in to_answer(alarms)
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
    wrong = [box for box in boxes if box.mark not in (MarginMark.RIGHT, MarginMark.EMPTY)]
    if wrong:
        return "; ".join(f"{box.name}: {box.word.lower()}" for box in wrong)
    going_on = [a for a in (*(a for b in boxes for a in b.alarms), *alarms) if not a.advice]
    if going_on:
        return going_on[0].title
    unaided = [box.name for box in boxes if box.without_estimate]
    if unaided:
        return f"{', '.join(unaided)}: dead lamps are not recognised"
    return _calm(boxes, [one for one in missing if one.essential])


def _calm(boxes: tuple[BoxView, ...], lacking: list[Missing]) -> str:
    if len(lacking) > 1:
        return f"{len(lacking)} things are missing for tonight"
    if lacking:
        return capital(f"{lacking[0].subject}: {lacking[0].words}")
    if all(box.mark is MarginMark.EMPTY for box in boxes):
        if len(boxes) == 1 and boxes[0].warm_up is not None:
            return boxes[0].warm_up.answer
        awaited = [f"{box.name}: {box.warm_up.answer.lower()}" for box in boxes if box.warm_up]
        return "; ".join(awaited) or "No chicks entered"
    advice = sum(alarm.advice for box in boxes for alarm in box.alarms)
    more = f". {counted(advice, 'piece of advice', 'pieces of advice')}" if advice else ""
    return f"All right{more}"


def _box(number: int, box: BrooderStatus, whose: "_Whose", day: DayFound | None) -> BoxView:
    setting, site, say = whose
    judged = judge(box)
    verdict = _warm_up(box, whose, day)
    alarms = tuple(alarm_view(a, site, say, box) for a in told(box.alarms))
    said = {line for alarm in alarms for line in alarm.more}
    outlook = _tonight(box, judged, say, said)
    calls = _calls(box.alarms, site, say, box)
    return BoxView(
        number=number,
        name=capital(box.name),
        mark=judged.mark,
        word=judged.word,
        rank=judged.rank,
        temp=None if box.temp_c is None else say.temp(box.temp_c),
        against=against_line(box, judged, say),
        trend=trend_line(box, judged, say),
        is_bad=judged.mark not in (MarginMark.RIGHT, MarginMark.EMPTY),
        instruction=_instruction(box, judged, alarms, whose)
        if verdict is None
        else f"{verdict.first} {_OTHERWISE[Side.EMPTY]}".strip(),
        warm_up=verdict,
        act=Act("I am seeing to it", calls[0].link, calls[0].title) if calls else None,
        calls=calls,
        without_estimate=estimate_line(box),
        alarms=alarms,
        aside=aside(box.alarms, say),
        over=over(box.alarms, say),
        tonight=outlook,
        night=night_line(box, judged, say),
        birds=birds_line(box),
        next_step=next_step_line(box, say),
        probes=tuple(probe_view(probe, say) for probe in box.probes),
        probes_line=probes_line(box),
        heat=heat_lines(box, say),
        others=", ".join(meter_words.other_lines(box.meters)),
        cautions=_cautions(setting, judged, said.union(outlook)),
        put_aside_link=f"/do/put-aside?brooder={quote(box.name)}",
        what_if_link=f"/do/tonight?brooder={quote(box.name)}",
        arrival_link=f"/do/arrival?brooder={quote(box.name)}",
        plan=None if setting is None or not box.probes else box_plan(box, setting, say),
    )


_OTHERWISE = {
    Side.UNKNOWN: "Look at the chicks yourself, then at the probe.",
    Side.EMPTY: "Nothing watches for cold until chicks are entered.",
    Side.OUT: "Nothing is watched here.",
}


def _instruction(
    box: BrooderStatus, judged: Judgement, alarms: tuple[AlarmView, ...], whose: "_Whose"
) -> str:
    """The one thing to do. Where no alarm says it yet (a delay is still running), as the message
    would that is to come."""
    leading = next((a for a in alarms if not a.advice), None)
    if leading is not None and leading.first:
        return leading.first
    if judged.cools:
        return first_thing(box, whose.setting, whose.say) or "Go and look."
    if judged.is_hot:
        burns = judged.side is Side.BURNING
        told = _would_say(AlarmName.OVERHEAT if burns else AlarmName.HOT, box, whose)
        return told if burns else f"Go and look. {told}"
    if any(alarm.advice for alarm in alarms) and judged.side is Side.RIGHT:
        return "Nothing to do now; there is advice below."
    if judged.side is Side.RIGHT and box.outlook and box.outlook.chance >= CLEAR_CHANCE:
        return "Nothing to do now; for tonight see below."
    return _OTHERWISE.get(judged.side, "Nothing to do.")


class _Whose(NamedTuple):
    setting: Brooder | None
    site: Site
    say: Phrases


def _warm_up(box: BrooderStatus, whose: _Whose, day: DayFound | None) -> Verdict | None:
    """None where no chicks are to come, or something else comes first."""
    setting, _, say = whose
    if setting is None or box.out_of_service or box.warm_up is None or not box.warm_up.waits:
        return None
    falls = () if day is None else own_falls(setting, day.columns, day.wide_s)
    return warm_up_verdict(box, setting, say, say.now, falls)


def _would_say(name: AlarmName, box: BrooderStatus, whose: _Whose) -> str:
    """The first line of an alarm that is about to come, without the figures: they stand above."""
    facts = live_facts(box)
    if name is AlarmName.HOT:
        cold_ahead(box.outlook, facts)
    elif box.temp_c is not None:
        facts["temp_c"] = box.temp_c
    coming = Change(
        at=whose.say.now,
        brooder=box.name,
        alarm=name,
        change=ChangeKind.RAISED,
        priority=Priority.URGENT,
        cause=Cause.UNKNOWN,
        facts=facts,
    )
    return first_line(for_change(coming, whose.site), whose.say, facts)


def _tonight(
    box: BrooderStatus, judged: Judgement, say: Phrases, above: Collection[str]
) -> tuple[str, ...]:
    """What tonight will bring; how to hang a lamp is said once. An outlook is some minutes old: one
    that began below the band says nothing of a floor that is back, and the other way round."""
    if not box.batch or not box.outlook:
        return ()
    if judged.side is Side.UNKNOWN or box.outlook.below_now != judged.is_cold:
        at = f" at {say.clock(box.outlook_at)}" if box.outlook_at else ""
        return (f"Worked out{at}, before the floor changed; it will soon be worked out again.",)
    lines = tonight(box.outlook, say, say.now, box.temp_at)
    return tuple(line for line in lines if line != first_aid.LAMP_CARE or line not in above)


def _cautions(
    setting: Brooder | None, judged: Judgement, above: Collection[str]
) -> tuple[str, ...]:
    """A lamp over litter is the other danger of the night: said where somebody may touch one,
    unless a line above says it already."""
    if setting is None or not any(source.kind == "lamp" for source in setting.heat):
        return ()
    caution = None
    if judged.side is Side.BURNING:
        caution = first_aid.FALLEN_LAMP
    elif judged.cools:
        caution = first_aid.LAMP_CARE
    return () if caution is None or caution in above else (caution,)
