"""One alarm on a screen of its own: the place, the floor now against its target, what to do, who
has answered, and what the watch expects next. Pure; called by the alarm screen and by the one that
a message's link opens."""

from dataclasses import dataclass

from monitor.events import AlarmName, Priority
from monitor.page.alarm_words import alarm_view, over
from monitor.page.judgement import MarginMark, Motion, judge
from monitor.page.now_lines import against_line, trend_line
from monitor.page.phrases import Phrases, capital
from monitor.site import Site
from monitor.tell.open_incidents import SHARED, STORM_S, kin_of
from monitor.tell.policy import Policy
from monitor.tell.wording.life import person
from monitor.watch.alarm_table import TABLE, Family
from monitor.watch.incidents import rank
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import AlarmStatus, BrooderStatus, SiteStatus

_LOOK_AGAIN_MIN = 20.0  # long enough to dress, go out and see the floor turn. Common practice
_SOONEST_MIN = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmCard:
    occurrence: str
    title: str
    waits: bool  # for an answer
    is_over: bool
    mark: MarginMark | None
    word: str
    temp: str | None
    against: str | None
    trend: str | None
    first: str
    more: tuple[str, ...]
    state: str | None  # who has answered, or from when to when it was
    expects: tuple[str, ...]  # once somebody has answered


def card(alarm: AlarmStatus, status: SiteStatus, site: Site, say: Phrases) -> AlarmCard:
    box = None if alarm.brooder is None else status.brooder(alarm.brooder)
    seen = alarm_view(alarm, site, say, box)
    is_over = alarm.state is AlarmState.RETURNED
    answered = alarm.state is AlarmState.ACKNOWLEDGED
    judged = None if box is None else judge(box)
    ended = over((alarm,), say) if is_over else ()
    return AlarmCard(
        occurrence=alarm.occurrence,
        title=capital(f"{say.where(alarm.brooder)}: over by itself") if is_over else seen.title,
        waits=alarm.state is AlarmState.UNACKNOWLEDGED,
        is_over=is_over,
        mark=None if judged is None else judged.mark,
        word="" if judged is None else judged.word,
        temp=None if box is None or box.temp_c is None else say.temp(box.temp_c),
        against=None if box is None or judged is None else against_line(box, judged, say),
        trend=None if box is None or judged is None else trend_line(box, judged, say),
        first="" if is_over else seen.first,
        more=() if is_over else seen.more,
        state=ended[0].words if ended else _answered(alarm, say) if answered else seen.standing,
        expects=_expects(alarm, box, say) if answered else (),
    )


def same_trouble(alarm: AlarmStatus, status: SiteStatus) -> list[AlarmStatus]:
    """The worst of each box of what the messages count as one trouble, the alarm's own box first:
    one answer is for all of them, so it must silence the siren for all of them too."""
    kin = kin_of(alarm.alarm)
    if alarm.brooder is None or kin not in SHARED or not _calls(alarm):
        return [alarm]
    worst: dict[str | None, AlarmStatus] = {alarm.brooder: alarm}
    for one in status.all_alarms:
        same = one.brooder is not None and kin_of(one.alarm) == kin and _calls(one)
        if same and abs(one.raised_at - alarm.raised_at) <= STORM_S:
            worst[one.brooder] = max(worst.get(one.brooder, one), one, key=rank)
    return list(worst.values())


def _calls(alarm: AlarmStatus) -> bool:
    return alarm.priority is Priority.URGENT and alarm.state is AlarmState.UNACKNOWLEDGED


def _answered(alarm: AlarmStatus, say: Phrases) -> str:
    when = f" at {say.clock(alarm.acknowledged_at)}" if alarm.acknowledged_at else ""
    return f"{person(alarm.by)} answered{when}. No more repeats."


def _expects(alarm: AlarmStatus, box: BrooderStatus | None, say: Phrases) -> tuple[str, ...]:
    """When to look again, and when the watch asks again. Both from when it was answered, so that
    they stay where they are while one looks."""
    at = alarm.acknowledged_at or say.now
    lines = []
    if alarm.alarm is not AlarmName.COLD_NIGHT and TABLE[alarm.alarm].family is Family.COLD:
        lines.append(
            f"Look again at {say.clock(_look_at(at, box))}: the floor should rise by then."
        )
    elif TABLE[alarm.alarm].family is Family.HOT:
        lines.append(
            f"Look again at {say.clock(_look_at(at, box))}: the floor should fall by then."
        )
    if alarm.priority is Priority.URGENT:
        again = at + Policy().ask_anew_s
        lines.append(f"If it is still so at {say.clock(again)}, you are asked again.")
    return (*lines, "You hear at once if it gets worse, and when it is over.")


def _look_at(at: float, box: BrooderStatus | None) -> float:
    """Well before the chill limit where one is near; on a full five minutes."""
    minutes = _LOOK_AGAIN_MIN
    if box is not None and judge(box).motion is Motion.FALLING and box.minutes_to_chill is not None:
        minutes = min(minutes, max(_SOONEST_MIN, box.minutes_to_chill.low / 2))
    return round((at + minutes * 60.0) / 300.0) * 300.0
