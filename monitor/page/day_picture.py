"""The picture of a box: on Now the last day and the night to come on one axis, in the record any
stretch of it. Band and chill limit as the target steps, the floor, the course that is expected with
its 80 % interval, outside under it, alarms and entries as marks, gaps open. Pure: places are
percent of the drawing, which the template `day_picture.html` turns into SVG; so it is as sharp and
its letters are as large on a phone as on a desk, light and dark paper need no other picture, and it
is there as soon as the readings are. Called by `screen_now` and `screen_record`."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from math import ceil
from typing import NamedTuple

from monitor.brooding.age_limits import AgeLimits, limits_at
from monitor.brooding.calendar import age_days, midnight
from monitor.brooding.schedules import schedule_for
from monitor.events import ChangeKind, EntryKind, Priority
from monitor.page.day_readings import BACK_S, COLUMN_S, DayFound, Reach
from monitor.page.phrases import Phrases
from monitor.site import Brooder, Place, Site
from monitor.thermal.coming_night import course
from monitor.thermal.diagnosis import Outlook
from monitor.watch.status import AlarmStatus, BrooderStatus

_AHEAD_S = 3600.0  # of empty paper where nothing is worked out of the night
_STEP_S = 900.0  # targets step on the quarter hour in every time zone
_HOLD_COLUMNS = 3  # a longer silence is a gap
_HOURS_UP_TO_S = 2.1 * BACK_S  # longer stretches have dates under them
_SIX_HOURLY_UP_TO_S = 1.6 * BACK_S
_MOST_DAYS = 4.5
_AIR_K = 1.5  # over and under what is drawn
_LEAST_K = 14.0  # from bottom to top: a floor that holds looks level
_BEYOND_K = 8.0  # further out of its limits a line is cut off
_LABEL_PERCENT = 9.0  # of the height: figures nearer than this would touch
_HOUR_PERCENT, _EDGE = 11.0, 6.0  # of the width of a phone: so do hours, and one at the edge is cut


class Label(NamedTuple):
    """Words at a place of the picture."""

    at: float
    text: str


class Bar(NamedTuple):
    """An alarm, from when to when."""

    left: float
    wide: float
    urgent: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPicture:
    """Paths are in a square of 1000 by 1000, the rest in percent."""

    words: str  # what it shows, for who cannot see it
    band: str
    target: str
    chill: str
    floor: str  # the area between the lowest and the highest
    outside: str
    outside_word: str
    scale: tuple[Label, ...]
    chill_figure: str
    outside_scale: tuple[Label, ...]
    fan: str = ""
    expected: str = ""
    now: float | None = None  # None: all of it is past
    dot: float | None = None  # height of the floor now
    ticks: tuple[Label, ...] = ()
    bars: tuple[Bar, ...] = ()
    entries: tuple[Label, ...] = ()


class _Span(NamedTuple):
    start: float
    stop: float

    def x(self, at: float) -> float:
        """0..1000."""
        return round(max(0.0, min(1.0, (at - self.start) / (self.stop - self.start))) * 1000, 1)


class _Scale(NamedTuple):
    low_c: float
    high_c: float

    def y(self, temp_c: float) -> float:
        """0..1000, the highest at 0."""
        share = (self.high_c - temp_c) / (self.high_c - self.low_c)
        return round(max(-0.05, min(1.05, share)) * 1000, 1)


class Birds(NamedTuple):
    """Whose target is drawn, and from when to when they were in the box."""

    kind: str
    hatched: date
    started_at: float
    ended_at: float | None = None


def day_picture(
    box: BrooderStatus, setting: Brooder, site: Site, day: DayFound, say: Phrases
) -> DayPicture:
    """Of what was read and what is expected, as of the beginning of this column."""
    now = say.now // COLUMN_S * COLUMN_S
    batch, warm = box.batch, box.warm_up if box.warm_up is not None and box.warm_up.waits else None
    outlook = box.outlook if warm is None else warm.outlook
    ahead = course(outlook) if outlook is not None and (warm or batch) is not None else ()
    ahead = tuple(point for point in ahead if point.at >= now - COLUMN_S)
    span = _Span(now - BACK_S, max(now + _AHEAD_S, ahead[-1].at if ahead else 0.0))
    birds = [] if batch is None else [Birds(batch.kind, batch.hatched, batch.started_at)]
    floor = _together(day, _floor_keys(box), now)
    treads = _treads(birds, setting, site, span)
    if warm is not None:
        treads = [(span.start, warm.limits)]
    sheet = _Sheet(span, treads, floor, day, say)
    extremes = [p.low_c for p in ahead] + ([] if box.temp_c is None else [box.temp_c])
    scale = _scale(sheet.treads, floor.values(), extremes)
    drawn = _drawn(sheet, scale, now)
    return replace(
        drawn,
        words=_words(box, outlook, floor, say, now),
        fan=_area([(span.x(p.at), scale.y(p.high_c), scale.y(p.low_c)) for p in ahead]),
        expected=_line([(span.x(p.at), scale.y(p.mid_c)) for p in ahead]),
        now=span.x(now) / 10,
        dot=None if box.temp_c is None else round(scale.y(box.temp_c) / 10),
        ticks=_hours(span, say, span.x(now) / 10),
        bars=_bars(box.name, box.alarms, day, span, say.now),
        entries=_entries(box.name, day, span),
    )


def span_picture(
    setting: Brooder,
    birds: Sequence[Birds],
    day: DayFound,
    span: tuple[float, float],
    *,
    say: Phrases,
) -> DayPicture:
    site = say.site
    whole = _Span(*span)
    floor = _together(day, [p.key for p in setting.probes if p.place is Place.FLOOR], whole.stop)
    sheet = _Sheet(whole, _treads(birds, setting, site, whole), floor, day, say)
    drawn = _drawn(sheet, _scale(sheet.treads, floor.values(), []), whole.stop)
    long = whole.stop - whole.start > _HOURS_UP_TO_S
    since = f"from {say.moment(whole.start)} to {say.moment(whole.stop)}"
    return replace(
        drawn,
        words=_extremes(floor, day.wide_s, say, say.moment, since),
        ticks=_days(whole, say) if long else _hours(whole, say, None),
        bars=_bars(setting.name, (), day, whole, min(say.now, whole.stop)),
        entries=_entries(setting.name, day, whole),
    )


class _Sheet(NamedTuple):
    span: _Span
    treads: list[tuple[float, AgeLimits | None]]
    floor: dict[int, Reach]
    day: DayFound
    say: Phrases


def _drawn(sheet: _Sheet, scale: _Scale, until: float) -> DayPicture:
    span, treads, say, wide_s = sheet.span, sheet.treads, sheet.say, sheet.day.wide_s
    out_keys = [p.key for p in say.site.all_probes if p.place is Place.OUTSIDE]
    outside = _together(sheet.day, out_keys, until)
    out_scale = _spread([c for reach in outside.values() for c in reach] or [0.0], 6.0)
    latest = next((limits for _, limits in reversed(treads) if limits is not None), None)
    runs = _runs(treads, span)

    def edge(name: str) -> str:
        return "".join(
            _line([(span.x(at), scale.y(getattr(limits, name))) for at, limits in run])
            for run in runs
        )

    return DayPicture(
        words="",
        band="".join(
            _area([(span.x(at), scale.y(t.high_c), scale.y(t.low_c)) for at, t in run])
            for run in runs
        ),
        target=edge("target_c"),
        chill=edge("chill_c"),
        floor="".join(_reach_area(p, span, scale, wide_s) for p in _pieces(sheet.floor)),
        outside="".join(_reach_area(p, span, out_scale, wide_s) for p in _pieces(outside)),
        outside_word="outside" if outside else _no_outside(out_keys),
        scale=() if latest is None else _scale_labels(latest, scale, say),
        chill_figure="" if latest is None else say.figure(latest.chill_c),
        outside_scale=_outside_labels(outside, out_scale, say),
    )


def _no_outside(keys: list[str]) -> str:
    return "no reading from the probe outside" if keys else "no probe outside"


def _floor_keys(box: BrooderStatus) -> list[str]:
    """Those believed; where none is, all that lie there."""
    floor = [p for p in box.probes if p.place is Place.FLOOR]
    good = [p.key for p in floor if p.fault is None and not p.out_of_service]
    return good or [p.key for p in floor]


def _together(day: DayFound, keys: Iterable[str], now: float) -> dict[int, Reach]:
    """The columns of several probes: the lowest and the highest of them."""
    found: dict[int, Reach] = {}
    last = int(now // day.wide_s)
    for key in keys:
        for column, reach in day.columns.get(key, {}).items():
            if column <= last:
                other = found.get(column, reach)
                low_c, high_c = min(reach.low_c, other.low_c), max(reach.high_c, other.high_c)
                found[column] = Reach(low_c, high_c)
    return dict(sorted(found.items()))


def _treads(
    birds: Sequence[Birds], setting: Brooder, site: Site, span: _Span
) -> list[tuple[float, AgeLimits | None]]:
    """The limits from a time on; None: no birds then."""
    step_s = _STEP_S if span.stop - span.start <= _HOURS_UP_TO_S else 2 * _STEP_S
    found: list[tuple[float, AgeLimits | None]] = []
    at = span.start
    while at < span.stop:
        limits = None
        for batch in birds:
            if batch.started_at - step_s < at < (batch.ended_at or span.stop):
                age = age_days(batch.hatched, at, site.timezone)
                schedule = schedule_for(setting, batch.kind)
                limits = limits_at(schedule, age, setting.steps, Place.FLOOR, setting.limits)
        if not found or found[-1][1] != limits:
            found.append((at, limits))
        at = (at // step_s + 1) * step_s
    return found


def _runs(
    treads: Sequence[tuple[float, AgeLimits | None]], span: _Span
) -> list[list[tuple[float, AgeLimits]]]:
    """Both ends of each tread, so that a line through them steps; cut where there were no birds."""
    runs: list[list[tuple[float, AgeLimits]]] = [[]]
    ends = [at for at, _ in treads[1:]] + [span.stop]
    for (begins, limits), end in zip(treads, ends, strict=False):
        if limits is None:
            runs.append([])
        else:
            runs[-1] += [(begins, limits), (end, limits)]
    return [run for run in runs if run]


def _scale(
    treads: Sequence[tuple[float, AgeLimits | None]],
    floor: Iterable[Reach],
    more: Sequence[float],
) -> _Scale:
    limits = [t for _, t in treads if t is not None]
    inner = [t.chill_c for t in limits] + [t.high_c for t in limits]
    drawn = [c for reach in floor for c in reach] + list(more)
    if inner:
        least, most = min(inner) - _BEYOND_K, max(inner) + _BEYOND_K
        drawn = [max(least, min(most, c)) for c in drawn]
    return _spread([*inner, *drawn] or [20.0], _LEAST_K)


def _spread(temps: Sequence[float], least_k: float) -> _Scale:
    low_c, high_c = min(temps) - _AIR_K, max(temps) + _AIR_K
    more = max(0.0, least_k - (high_c - low_c)) / 2
    return _Scale(low_c - more, high_c + more)


def _pieces(columns: dict[int, Reach]) -> list[list[tuple[int, Reach]]]:
    """Cut where nothing was heard for a while."""
    pieces: list[list[tuple[int, Reach]]] = []
    for column, reach in columns.items():
        if not pieces or column - pieces[-1][-1][0] > _HOLD_COLUMNS:
            pieces.append([])
        pieces[-1].append((column, reach))
    return pieces


def _reach_area(piece: list[tuple[int, Reach]], span: _Span, scale: _Scale, wide_s: float) -> str:
    middle = [(span.x((n + 0.5) * wide_s), reach) for n, reach in piece]
    if len(piece) == 1:
        n, reach = piece[0]
        middle = [(span.x(n * wide_s), reach), (span.x((n + 1) * wide_s), reach)]
    return _area([(x, scale.y(reach.high_c), scale.y(reach.low_c)) for x, reach in middle])


def _area(columns: Sequence[tuple[float, float, float]]) -> str:
    """Along the upper edge and back along the lower."""
    if not columns:
        return ""
    there = [(x, upper) for x, upper, _ in columns]
    back = [(x, lower) for x, _, lower in reversed(columns)]
    return _line([*there, *back]) + "Z"


def _line(points: Sequence[tuple[float, float]]) -> str:
    return "" if not points else "M" + "L".join(f"{x:g},{y:g}" for x, y in points)


def _scale_labels(limits: AgeLimits, scale: _Scale, say: Phrases) -> tuple[Label, ...]:
    """The band's edges, the target and the chill limit, where there is room for them."""
    found: list[Label] = []
    for temp_c in (limits.target_c, limits.chill_c, limits.low_c, limits.high_c):
        at = scale.y(temp_c) / 10
        if all(abs(at - other.at) >= _LABEL_PERCENT for other in found):
            found.append(Label(at, say.figure(temp_c)))
    return tuple(found)


def _outside_labels(columns: dict[int, Reach], scale: _Scale, say: Phrases) -> tuple[Label, ...]:
    if not columns:
        return ()
    last = columns[max(columns)]
    return (Label(scale.y(last.low_c) / 10, say.figure(last.low_c)),)


def _hours(span: _Span, say: Phrases, here: float | None) -> tuple[Label, ...]:
    """Every sixth hour of the local clock that does not touch the word for now."""
    every = 6 if span.stop - span.start <= _SIX_HOURLY_UP_TO_S else 12
    at = datetime.fromtimestamp(span.start, UTC).replace(minute=0, second=0)
    found = []
    while (at := at + timedelta(minutes=30)).timestamp() < span.stop:
        local = say.local(at.timestamp())
        x = span.x(at.timestamp()) / 10
        free = here is None or abs(x - here) > _HOUR_PERCENT
        if local.minute == 0 and local.hour % every == 0 and free and _EDGE < x < 100 - _EDGE:
            found.append(Label(x, f"{local:%H:%M}"))
    return tuple(found)


def _days(span: _Span, say: Phrases) -> tuple[Label, ...]:
    """Local midnights, as many as there is room for on a phone."""
    day = say.local(span.start).date()
    every = ceil((span.stop - span.start) / BACK_S / _MOST_DAYS)
    found = []
    while (at := midnight(day := day + timedelta(days=every), say.site.timezone)) < span.stop:
        x = span.x(at) / 10
        if _EDGE < x < 100 - _EDGE:
            found.append(Label(x, f"{day.day} {day:%b}"))
    return tuple(found)


def _bars(
    name: str, alarms: Sequence[AlarmStatus], day: DayFound, span: _Span, now: float
) -> tuple[Bar, ...]:
    """Alarms that call somebody, from raised to over."""
    going_on = [a for a in alarms if a.active and a.priority is not Priority.ADVICE]
    began = {a.occurrence: (a.raised_at, a.priority is Priority.URGENT) for a in going_on}
    ends = dict.fromkeys(began, now)
    for change in day.changes:
        if change.brooder != name or change.priority is Priority.ADVICE:
            continue
        if change.change is ChangeKind.RAISED:
            began.setdefault(change.occurrence, (change.at, change.priority is Priority.URGENT))
        elif change.change in (ChangeKind.CLEARED, ChangeKind.SHELVED):
            ends.setdefault(change.occurrence, change.at)
            began.setdefault(change.occurrence, (span.start, change.priority is Priority.URGENT))
    bars = []
    for occurrence, (at, urgent) in sorted(began.items(), key=lambda one: one[1]):
        left = round(span.x(at) / 10, 1)
        over = span.x(ends.get(occurrence, now)) / 10
        bars.append(Bar(left, max(0.8, round(over - left, 1)), urgent))
    return tuple(bars)


_SIGNS = {
    EntryKind.LOSS: "◆",
    EntryKind.NOTE: "▲",
    EntryKind.PLACED: "■",
    EntryKind.MOVED: "□",
}


def _entries(name: str, day: DayFound, span: _Span) -> tuple[Label, ...]:
    return tuple(
        Label(span.x(entry.at) / 10, _SIGNS[entry.entry])
        for entry in day.entries
        if entry.brooder == name and entry.entry in _SIGNS
    )


def _words(
    box: BrooderStatus, outlook: Outlook | None, floor: dict[int, Reach], say: Phrases, now: float
) -> str:
    said = _extremes(floor, COLUMN_S, say, say.clock, f"since {say.clock(now - BACK_S)}")
    if outlook is None or not outlook.ways or (box.batch is None and box.warm_up is None):
        return said
    low_c = outlook.lowest_c
    return (
        f"{said} Expected tonight: down to {say.temp(low_c.mid)} about "
        f"{say.clock(outlook.lowest_at)}, likely {say.figure(low_c.low)} to "
        f"{say.figure(low_c.high)}."
    )


def _extremes(
    floor: dict[int, Reach], wide_s: float, say: Phrases, when: Callable[[float], str], since: str
) -> str:
    if not floor:
        return f"No floor reading {since}."
    low_c, low = min((reach.low_c, column) for column, reach in floor.items())
    high_c, high = max((reach.high_c, -column) for column, reach in floor.items())
    return (
        f"The floor {since}: lowest {say.temp(low_c)} at {when(low * wide_s)}, highest "
        f"{say.temp(high_c)} at {when(-high * wide_s)}."
    )
