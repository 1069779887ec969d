"""Alarms as the screens show them: the messages' words, with the figures of now. Pure."""

from dataclasses import dataclass
from urllib.parse import quote

from monitor.events import AlarmName, Change, ChangeKind, Facts, Priority
from monitor.page.judgement import Judgement, Motion, Side, judge
from monitor.page.phrases import Phrases, capital
from monitor.site import Site
from monitor.tell.present_facts import live_facts, overheat_anew, put_extreme
from monitor.tell.wording import for_change
from monitor.tell.wording.life import TROUBLE
from monitor.tell.wording.over import was_words
from monitor.tell.wording.temperature import now_and_target
from monitor.tell.wording.words import Words, listed, sentence
from monitor.thermal.coming_night import CLEAR_CHANCE, WARN_CHANCE
from monitor.watch.alarm_table import OF_HEAT, TOO_COLD
from monitor.watch.box_facts import cold_ahead, outlook_facts
from monitor.watch.incidents import rank
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import AlarmStatus, BrooderStatus

_PRIORITY_WORDS = {
    Priority.URGENT: "Urgent",
    Priority.WARNING: "Warning",
    Priority.ADVICE: "Advice",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmView:
    """One alarm that is not over."""

    occurrence: str
    priority: str
    urgent: bool
    advice: bool
    title: str
    first: str  # what to do at once
    more: tuple[str, ...]
    since: str  # "since 01:45"
    standing: str | None  # who has answered, until when it is put aside
    answer_link: str | None
    shelve_link: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OverView:
    """One that is over and that nobody answered: a quiet line until somebody has seen it."""

    words: str  # "was too cold 02:17 to 04:00, nobody answered"
    seen_link: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AsideView:
    """What is put aside together."""

    words: str  # "put aside until 02:30 by page: cold, heat, silence. Cleaning out."
    again_link: str


_QUIET = (AlarmState.NORMAL, AlarmState.RETURNED, AlarmState.SHELVED)
_HARM = {AlarmName.CHILL: "dangerous cold", AlarmName.OVERHEAT: "dangerous heat"}


def told(alarms: tuple[AlarmStatus, ...]) -> list[AlarmStatus]:
    """Those that are not over, nor put aside, the worst first. What follows from another alarm is
    not shown as one of its own, unless it is worse."""
    shown = sorted((a for a in alarms if a.state not in _QUIET), key=rank, reverse=True)
    return [a for a in shown if not a.folded] or shown


def to_answer(alarms: tuple[AlarmStatus, ...]) -> list[AlarmStatus]:
    """Of each trouble the worst that nobody has answered: an answer to it is one to the rest."""
    worst: dict[str, AlarmStatus] = {}
    shown = {alarm.incident for alarm in told(alarms)}
    for alarm in alarms:
        waits = alarm.state is AlarmState.UNACKNOWLEDGED and alarm.priority is not Priority.ADVICE
        if waits and alarm.incident in shown:
            worst[alarm.incident] = max(worst.get(alarm.incident, alarm), alarm, key=rank)
    return sorted(worst.values(), key=rank, reverse=True)


def aside(alarms: tuple[AlarmStatus, ...], say: Phrases) -> tuple[AsideView, ...]:
    """Whoever cleans out puts all aside that it sets off: nothing says that any of it is so."""
    found: dict[tuple[str, str, str], dict[str, None]] = {}
    for alarm in alarms:
        if alarm.state is AlarmState.SHELVED:
            name = _HARM.get(alarm.alarm, TROUBLE[alarm.alarm].removeprefix("the "))
            together = (alarm.brooder or "", *_put_aside(alarm, say))
            found.setdefault(together, {})[name] = None
    return tuple(
        AsideView(
            words=f"{until}: {listed(list(names))}.{why}",
            again_link=f"/do/watch-again?brooder={quote(box)}",
        )
        for (box, until, why), names in found.items()
    )


def over(alarms: tuple[AlarmStatus, ...], say: Phrases) -> tuple[OverView, ...]:
    """Those that ended unanswered. One trouble is one line."""
    ended = [a for a in alarms if a.state is AlarmState.RETURNED]
    heads = [a for a in ended if not a.folded] or ended
    return tuple(
        OverView(words=capital(_over_words(alarm, say)), seen_link=link(alarm, "acknowledge"))
        for alarm in heads
    )


def _over_words(alarm: AlarmStatus, say: Phrases) -> str:
    when = say.clock(alarm.since)
    if alarm.ended_at is not None and say.clock(alarm.ended_at) != when:
        ended = say.clock(alarm.ended_at)
        day = ended.partition(" on ")[2]  # said once
        when = f"{when.removesuffix(f' on {day}')} to {ended}"
    seen = "not seen yet" if alarm.alarm is AlarmName.WAS_DOWN else "nobody answered"
    return f"{was_words(alarm.alarm)} {when}, {seen}."


def link(alarm: AlarmStatus, act: str) -> str:
    return f"/alarm/{quote(alarm.occurrence, safe='')}/{act}"


def alarm_view(
    alarm: AlarmStatus, site: Site, say: Phrases, box: BrooderStatus | None
) -> AlarmView:
    """An alarm in the messages' words, with the figures of now in place of those it began with."""
    judged = None if box is None else judge(box)
    facts = _facts_now(alarm, box)
    told = for_change(
        Change(
            at=say.now,
            brooder=alarm.brooder,
            alarm=alarm.alarm,
            change=ChangeKind.RAISED,
            priority=alarm.priority,
            cause=alarm.cause,
            probe=alarm.probe,
            occurrence=alarm.occurrence,
            facts=facts,
        ),
        site,
    )
    lines = [line.strip() for line in told.body.splitlines()]
    if alarm.alarm is AlarmName.COLD_NIGHT and alarm.told and _should_hold(box, CLEAR_CHANCE):
        lines.insert(1, _SHOULD_HOLD)
    title, first = told.title, first_line(told, say, facts)
    if judged is not None:
        no_longer = _no_longer(alarm, box, judged)
        if no_longer is not None:
            title, first = f"{say.where(alarm.brooder)}: {no_longer[0]}", no_longer[1]
            lines = []
    shelved = alarm.state is AlarmState.SHELVED
    return AlarmView(
        occurrence=alarm.occurrence,
        priority=_PRIORITY_WORDS[alarm.priority],
        urgent=alarm.priority is Priority.URGENT,
        advice=alarm.priority is Priority.ADVICE,
        title=capital(title),
        first=first,
        more=tuple(line for line in lines[1:] if line),
        since=f"since {say.clock(alarm.since)}",
        standing=_standing(alarm, say),
        answer_link=None if shelved or alarm.acknowledged else link(alarm, "acknowledge"),
        shelve_link=None if shelved else link(alarm, "shelve"),
    )


_SHOULD_HOLD = "As of now it should hold after all: called off once that has lasted for two hours."
_OF_NOW = (*TOO_COLD, *OF_HEAT, AlarmName.HEAT_LOSS)


def first_line(told: Words, say: Phrases, facts: Facts) -> str:
    """What to do, without the figures before it: the head of the box says those."""
    first = told.body.partition("\n")[0]
    return first.removeprefix(now_and_target(say, facts)).strip()


def _facts_now(alarm: AlarmStatus, box: BrooderStatus | None) -> Facts:
    """What the words are made from: nothing in it is as old as the alarm that is otherwise now."""
    facts: Facts = {**alarm.facts, **(live_facts(box) if box else {})}
    facts.setdefault("since", alarm.since)
    if alarm.contact is not None:
        facts.setdefault("contact", alarm.contact)
    if alarm.alarm is not AlarmName.OVERHEAT:
        facts.pop("temp_c", None)  # the head of the box says these, and as they are now
        facts.pop("target_c", None)
    temp_c = None if box is None else box.judged_c(alarm.alarm)
    if box is not None and temp_c is not None and alarm.alarm in _OF_NOW:
        facts["temp_c"] = temp_c
        put_extreme(facts, box, alarm.alarm)
    facts.pop("probes", None)
    facts.pop("age_days", None)
    facts.pop("minutes_to_chill", None)  # the trend line of the box says how long is left
    if box is not None and alarm.alarm in OF_HEAT:
        overheat_anew(facts, box)
        facts.pop("lowest_c", None)  # without it nothing is said of the night
        cold_ahead(box.outlook, facts)
    if box is not None and alarm.alarm is AlarmName.STEP_DOWN:
        cold_ahead(box.outlook, facts)
    if box is not None and alarm.alarm is AlarmName.COLD_NIGHT:
        if box.temp_c is not None and box.high_c is not None:  # too hot now: first let it cool
            facts["temp_c"], facts["high_c"] = box.temp_c, box.high_c
        if box.outlook is not None:
            facts.pop("leaves_band_at", None)
            outlook_facts(box.outlook, facts)
    return facts


def _no_longer(
    alarm: AlarmStatus, box: BrooderStatus | None, judged: Judgement
) -> tuple[str, str] | None:
    """Of an alarm that has not ended yet, though what it was raised for is no longer so: what is,
    and what to do."""
    was = was_words(alarm.alarm)
    if alarm.alarm is AlarmName.COLD_NIGHT:
        # What is likely goes to and fro with each look: what the phone has said stands here too.
        holds = not alarm.told and _should_hold(
            box, CLEAR_CHANCE if alarm.told is None else WARN_CHANCE
        )
        return ("it should hold tonight after all", "Nothing to do for it now.") if holds else None
    if alarm.alarm is AlarmName.CHILL and judged.side is Side.COLD:
        return f"{was}, still too cold", "Stay with it until it is right."
    if judged.bears_out(alarm):
        return None
    if alarm.alarm is AlarmName.HEAT_LOSS:
        return f"{was}, rising again", "See that all heat is on, and stays on."
    then, do = f", {judged.word.lower()} now", "See what was done last, and undo some of it."
    if judged.side in (Side.UNKNOWN, Side.EMPTY, Side.OUT):
        then, do = " when it was last judged", "Look at the chicks yourself."
    elif judged.side is Side.RIGHT:
        falling = judged.motion is Motion.FALLING
        then = ", right but falling now" if falling else ", right again now"
        do = "Look in once more: it counts as over when it has held."
    return was + then, do


def _should_hold(box: BrooderStatus | None, unless: float) -> bool:
    outlook = None if box is None else box.outlook
    return outlook is not None and outlook.chance < unless and not outlook.below_now


def _standing(alarm: AlarmStatus, say: Phrases) -> str | None:
    match alarm.state:
        case AlarmState.ACKNOWLEDGED:
            when = f" at {say.clock(alarm.acknowledged_at)}" if alarm.acknowledged_at else ""
            return f"Acknowledged{_by(alarm)}{when}. It is not repeated."
        case AlarmState.SHELVED:
            return ".".join(_put_aside(alarm, say))
        case AlarmState.OUT_OF_SERVICE:
            return "Taken out of use."
        case _:
            return None


def _by(alarm: AlarmStatus) -> str:
    return f" by {alarm.by}" if alarm.by else ""


def _put_aside(alarm: AlarmStatus, say: Phrases) -> tuple[str, str]:
    """Until when and by whom, and why."""
    until = f" until {say.clock(alarm.shelved_until)}" if alarm.shelved_until else ""
    why = f" {sentence(alarm.shelved_note)}" if alarm.shelved_note else ""
    return f"Put aside{until}{_by(alarm)}", why
