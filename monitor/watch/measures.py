"""How well the alarms themselves behave: the measures of the alarm standards over recorded changes.

Called by `brooder review --alarms` and the page. Definitions and limits, with where they stand:
- average rate, most frequent, chattering, stale, flood, priority shares: ANSI/ISA-18.2-2016 and
  IEC 62682:2022, clause on monitoring and assessment (limits from memory; quoted alike in trade
  articles on alarm self-audits and in EEMUA Publication 191's table of performance levels).
- chattering: the same alarm three times or more within 60 s ("occurs and clears three or more
  times in a minute", PAS, "Taming the Wild Alarm System", part 3, as a first criterion).
- flood: begins when ten alarms come within ten minutes, ends when fewer than five do. As quoted by
  ProSys, "What is an alarm flood?": begins above ten in any ten minutes, ends below five; we
  count the tenth already, as EEMUA 191's "10 in 10 minutes" does.
- stale: active for more than 24 hours without a break.
The published limits are meant for a manned control room; for one sleeping person far fewer are
right, so they are shown as the outer edge and not as an aim."""

from collections import Counter, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from monitor.events import Change, ChangeKind, Priority

DAY_S = 86400.0
CHATTER_COUNT, CHATTER_WINDOW_S = 3, 60.0
FLOOD_BEGINS, FLOOD_ENDS_BELOW, FLOOD_WINDOW_S = 10, 5, 600.0
STALE_S = DAY_S
# ANSI/ISA-18.2-2016: about 150 alarms a day are acceptable for one operator, 300 the most.
ACCEPTABLE_A_DAY, MOST_A_DAY = 150, 300
# ANSI/ISA-18.2-2016 and EEMUA 191: about 80 % low, 15 % medium, 5 % high priority.
WANTED_SHARES = {Priority.URGENT: 0.05, Priority.WARNING: 0.15, Priority.ADVICE: 0.80}
MOST_FLOOD_SHARE = 0.01  # ANSI/ISA-18.2-2016: less than 1 % of the time in a flood
SOURCE = (
    "ANSI/ISA-18.2-2016 and IEC 62682:2022, monitoring and assessment; EEMUA Publication 191, "
    "performance levels (limits from memory)"
)

Place = tuple[str | None, str, str | None]  # brooder, alarm, probe


@dataclass(frozen=True, slots=True, kw_only=True)
class Flood:
    """A stretch with more alarms than anybody can answer."""

    from_at: float
    to_at: float
    alarms: int
    most_in_10_min: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """Over `days`. An alarm here is one that was raised and told: folded ones are left out of the
    rates, as the standards leave out what is suppressed by design."""

    days: float
    alarms: int
    folded: int
    a_day: float
    most_in_10_min: int
    most_frequent: tuple[tuple[Place, int], ...]  # at most ten, the most frequent first
    chattering: tuple[Place, ...]
    floods: tuple[Flood, ...]
    flood_share: float  # of the time
    stale: tuple[tuple[Place, float], ...]  # and how long, seconds
    shares: dict[Priority, float]
    acknowledged: int
    median_answer_s: float | None  # raised to acknowledged


def measure(changes: Iterable[Change], from_at: float, to_at: float) -> Measures:
    """The measures of the changes with from_at <= at < to_at, in time order. An alarm still active
    at the end counts as active until then."""
    period = [c for c in changes if from_at <= c.at < to_at]
    raised = [c for c in period if c.change is ChangeKind.RAISED]
    told = [c for c in raised if not c.facts.get("folded")]
    times = [c.at for c in told]
    days = max(to_at - from_at, 1.0) / DAY_S
    frequent = Counter(map(_place, told)).most_common(10)
    floods = _floods(times)
    answers = _answers(period)
    return Measures(
        days=days,
        alarms=len(told),
        folded=len(raised) - len(told),
        a_day=len(told) / days,
        most_in_10_min=_most_within(times, FLOOD_WINDOW_S),
        most_frequent=tuple(frequent),
        chattering=_chattering(raised),
        floods=floods,
        flood_share=sum(f.to_at - f.from_at for f in floods) / (days * DAY_S),
        stale=_stale(period, to_at),
        shares={
            p: sum(c.priority is p for c in told) / len(told) if told else 0.0 for p in Priority
        },
        acknowledged=len(answers),
        median_answer_s=sorted(answers)[len(answers) // 2] if answers else None,
    )


def _place(change: Change) -> Place:
    return (change.brooder, change.alarm.value, change.probe)


def _most_within(times: Sequence[float], window_s: float) -> int:
    window: deque[float] = deque()
    most = 0
    for at in times:
        window.append(at)
        while window[0] <= at - window_s:
            window.popleft()
        most = max(most, len(window))
    return most


def _chattering(raised: list[Change]) -> tuple[Place, ...]:
    """Places where the same alarm came three times within a minute. Not folded ones only: a relay
    that flutters behind another alarm flutters all the same."""
    by_place: dict[Place, list[float]] = {}
    for change in raised:
        by_place.setdefault(_place(change), []).append(change.at)
    return tuple(
        place
        for place, times in by_place.items()
        if any(
            later - first <= CHATTER_WINDOW_S
            for first, later in zip(times, times[CHATTER_COUNT - 1 :], strict=False)
        )
    )


def _floods(times: Sequence[float]) -> tuple[Flood, ...]:
    """Sliding ten minutes: from the alarm that fills it with ten until it holds fewer than five."""
    floods = []
    window: deque[float] = deque()
    began: float | None = None
    count = most = 0

    def slide(until: float) -> None:
        nonlocal began
        while window and window[0] + FLOOD_WINDOW_S <= until:
            left = window.popleft()
            if began is not None and len(window) < FLOOD_ENDS_BELOW:
                ends = left + FLOOD_WINDOW_S
                floods.append(Flood(from_at=began, to_at=ends, alarms=count, most_in_10_min=most))
                began = None

    for at in times:
        slide(at)
        window.append(at)
        if began is None and len(window) >= FLOOD_BEGINS:
            began, count, most = window[0], len(window), len(window)
        elif began is not None:
            count += 1
            most = max(most, len(window))
    slide(float("inf"))
    return tuple(floods)


def _stale(period: list[Change], to_at: float) -> tuple[tuple[Place, float], ...]:
    open_: dict[str, Change] = {}
    stale = []
    for change in period:
        if change.change is ChangeKind.RAISED:
            open_[change.occurrence] = change
        elif change.change in (ChangeKind.CLEARED, ChangeKind.SHELVED):
            began = open_.pop(change.occurrence, None)
            if began is not None and change.at - began.at > STALE_S:
                stale.append((_place(began), change.at - began.at))
    stale += [(_place(c), to_at - c.at) for c in open_.values() if to_at - c.at > STALE_S]
    return tuple(stale)


def _answers(period: list[Change]) -> list[float]:
    """Seconds from raised to acknowledged, of those that were told and answered while active."""
    raised: dict[str, float] = {}
    answers = []
    for change in period:
        if change.change is ChangeKind.RAISED and not change.facts.get("folded"):
            raised[change.occurrence] = change.at
        elif change.change is ChangeKind.CLEARED:
            raised.pop(change.occurrence, None)
        elif change.change is ChangeKind.ACKNOWLEDGED and change.occurrence in raised:
            answers.append(change.at - raised.pop(change.occurrence))
    return answers
