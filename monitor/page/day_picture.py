"""The picture of a box on Now: the last day and the night to come on one axis. Band and chill limit
as the target steps, the floor, the course that is expected with its 80 % interval, outside under
it, alarms and entries as marks, gaps open. Pure: places are percent of the drawing, which the
template `day_picture.html` turns into SVG; so it is as sharp and its letters are as large on a
phone as on a desk, and light and dark paper need no other picture. Called by `screen_now`."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

from monitor.brooding.age_limits import AgeLimits, limits_at
from monitor.brooding.calendar import age_days
from monitor.brooding.schedules import schedule_for
from monitor.events import ChangeKind, EntryKind, Priority
from monitor.page.day_readings import BACK_S, COLUMN_S, Day, Reach
from monitor.page.phrases import Phrases
from monitor.site import Brooder, Place, Site
from monitor.watch.status import BrooderStatus

_AHEAD_S = 3600.0  # of empty paper where nothing is worked out of the night
_STEP_S = 900.0  # targets step on the quarter hour in every time zone
_HOLD_COLUMNS = 3  # a longer silence is a gap
_AIR_K = 1.5  # over and under what is drawn
_LEAST_K = 14.0  # from bottom to top: a floor that holds looks level
_BEYOND_K = 8.0  # further out of its limits a line is cut off
_LABEL_PERCENT = 9.0  # of the height: figures nearer than this would touch
_HOUR_PERCENT, _EDGE = 11.0, 6.0  # of the width of a phone: so do hours, and one at the edge is cut


class Label(NamedTuple):
    """Words at a place."""

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
    fan: str
    expected: str
    outside: str
    now: float
    dot: float | None  # height of the floor now
    scale: tuple[Label, ...]
    chill_figure: str
    outside_scale: tuple[Label, ...]
    hours: tuple[Label, ...]
    bars: tuple[Bar, ...]
    entries: tuple[Label, ...]


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


def day_picture(
    box: BrooderStatus, setting: Brooder, site: Site, day: Day, say: Phrases
) -> DayPicture:
    """Of what was read and what is expected, as of the beginning of this column."""
    now = say.now // COLUMN_S * COLUMN_S
    course = box.outlook.course if box.outlook is not None and box.batch is not None else ()
    course = tuple(point for point in course if point.at >= now - COLUMN_S)
    span = _Span(now - BACK_S, max(now + _AHEAD_S, course[-1].at if course else 0.0))
    treads = _treads(box, setting, site, span)
    floor = _together(day, _floor_keys(box), now)
    outside = _together(day, [p.key for p in site.all_probes if p.place is Place.OUTSIDE], now)
    scale = _scale(box, treads, floor.values(), [p.low_c for p in course])
    out_scale = _out_scale(outside.values())
    known = [t for t in treads if t[1] is not None]
    latest = known[-1][1] if known else None
    return DayPicture(
        words=_words(box, floor, say, now),
        band=_area(
            [(span.x(a), scale.y(t.high_c), scale.y(t.low_c)) for a, t in _edges(treads, span)]
        ),
        target=_line([(span.x(a), scale.y(t.target_c)) for a, t in _edges(treads, span)]),
        chill=_line([(span.x(a), scale.y(t.chill_c)) for a, t in _edges(treads, span)]),
        floor="".join(_reach_area(piece, span, scale) for piece in _pieces(floor)),
        fan=_area([(span.x(p.at), scale.y(p.high_c), scale.y(p.low_c)) for p in course]),
        expected=_line([(span.x(p.at), scale.y(p.mid_c)) for p in course]),
        outside="".join(_reach_area(piece, span, out_scale) for piece in _pieces(outside)),
        now=span.x(now) / 10,
        dot=None if box.temp_c is None else round(scale.y(box.temp_c) / 10),
        scale=() if latest is None else _scale_labels(latest, scale, say),
        chill_figure="" if latest is None else say.figure(latest.chill_c),
        outside_scale=_outside_labels(outside, out_scale, say),
        hours=_hours(span, now, say),
        bars=_bars(box, day, span, say.now),
        entries=_entries(box, day, span),
    )


def _floor_keys(box: BrooderStatus) -> list[str]:
    """Those believed; where none is, all that lie there."""
    floor = [p for p in box.probes if p.place is Place.FLOOR]
    good = [p.key for p in floor if p.fault is None and not p.out_of_service]
    return good or [p.key for p in floor]


def _together(day: Day, keys: Iterable[str], now: float) -> dict[int, Reach]:
    """The columns of several probes: the lowest and the highest of them."""
    found: dict[int, Reach] = {}
    last = int(now // COLUMN_S)
    for key in keys:
        for column, reach in day.columns.get(key, {}).items():
            if column <= last:
                other = found.get(column, reach)
                low_c, high_c = min(reach.low_c, other.low_c), max(reach.high_c, other.high_c)
                found[column] = Reach(low_c, high_c)
    return dict(sorted(found.items()))


def _treads(
    box: BrooderStatus, setting: Brooder, site: Site, span: _Span
) -> list[tuple[float, AgeLimits | None]]:
    """The limits from a time on; None: no birds then."""
    batch = box.batch
    if batch is None:
        return []
    schedule = schedule_for(setting, batch.kind)
    found: list[tuple[float, AgeLimits | None]] = []
    at = span.start
    while at < span.stop:
        limits = None
        if at + _STEP_S > batch.started_at:
            age = age_days(batch.hatched, at, site.timezone)
            limits = limits_at(schedule, age, setting.steps, Place.FLOOR, setting.limits)
        if not found or found[-1][1] != limits:
            found.append((at, limits))
        at = (at // _STEP_S + 1) * _STEP_S
    return found


def _edges(
    treads: Sequence[tuple[float, AgeLimits | None]], span: _Span
) -> list[tuple[float, AgeLimits]]:
    """Both ends of each tread, so that a line through them steps."""
    ends = [at for at, _ in treads[1:]] + [span.stop]
    return [
        (at, limits)
        for (begins, limits), end in zip(treads, ends, strict=False)
        if limits is not None
        for at in (begins, end)
    ]


def _scale(
    box: BrooderStatus,
    treads: Sequence[tuple[float, AgeLimits | None]],
    floor: Iterable[Reach],
    expected: Sequence[float],
) -> _Scale:
    limits = [t for _, t in treads if t is not None]
    inner = [t.chill_c for t in limits] + [t.high_c for t in limits]
    drawn = [c for reach in floor for c in reach] + list(expected)
    if box.temp_c is not None:
        drawn.append(box.temp_c)
    if inner:
        least, most = min(inner) - _BEYOND_K, max(inner) + _BEYOND_K
        drawn = [max(least, min(most, c)) for c in drawn]
    return _spread([*inner, *drawn] or [20.0], _LEAST_K)


def _out_scale(outside: Iterable[Reach]) -> _Scale:
    return _spread([c for reach in outside for c in reach] or [0.0], 6.0)


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


def _reach_area(piece: list[tuple[int, Reach]], span: _Span, scale: _Scale) -> str:
    middle = [(span.x((n + 0.5) * COLUMN_S), reach) for n, reach in piece]
    if len(piece) == 1:
        n, reach = piece[0]
        middle = [(span.x(n * COLUMN_S), reach), (span.x((n + 1) * COLUMN_S), reach)]
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


def _hours(span: _Span, now: float, say: Phrases) -> tuple[Label, ...]:
    """Every sixth hour of the local clock that does not touch the word for now."""
    here = span.x(now) / 10
    at = datetime.fromtimestamp(span.start, UTC).replace(minute=0, second=0)
    found = []
    while (at := at + timedelta(minutes=30)).timestamp() < span.stop:
        local = say.local(at.timestamp())
        x = span.x(at.timestamp()) / 10
        round_hour = local.minute == 0 and local.hour % 6 == 0
        if round_hour and abs(x - here) > _HOUR_PERCENT and _EDGE < x < 100 - _EDGE:
            found.append(Label(x, f"{local:%H:%M}"))
    return tuple(found)


def _bars(box: BrooderStatus, day: Day, span: _Span, now: float) -> tuple[Bar, ...]:
    """Alarms that call somebody, from raised to over."""
    open_now = {a.occurrence for a in box.alarms if a.active}
    began: dict[str, tuple[float, bool]] = {
        a.occurrence: (a.raised_at, a.priority is Priority.URGENT)
        for a in box.alarms
        if a.active and a.priority is not Priority.ADVICE
    }
    ends: dict[str, float] = {}
    for change in day.changes:
        if change.brooder != box.name or change.priority is Priority.ADVICE:
            continue
        if change.change is ChangeKind.RAISED:
            began.setdefault(change.occurrence, (change.at, change.priority is Priority.URGENT))
        elif change.change in (ChangeKind.CLEARED, ChangeKind.SHELVED):
            ends[change.occurrence] = change.at
    bars = []
    for occurrence, (at, urgent) in sorted(began.items(), key=lambda one: one[1]):
        over = now if occurrence in open_now else ends.get(occurrence, at)
        left = span.x(at) / 10
        bars.append(Bar(left, max(0.8, round(span.x(over) / 10 - left, 1)), urgent))
    return tuple(bars)


_SIGNS = {
    EntryKind.LOSS: "◆",
    EntryKind.NOTE: "▲",
    EntryKind.PLACED: "■",
    EntryKind.MOVED: "□",
}


def _entries(box: BrooderStatus, day: Day, span: _Span) -> tuple[Label, ...]:
    return tuple(
        Label(span.x(entry.at) / 10, _SIGNS[entry.entry])
        for entry in day.entries
        if entry.brooder == box.name and entry.entry in _SIGNS
    )


def _words(box: BrooderStatus, floor: dict[int, Reach], say: Phrases, now: float) -> str:
    lines = []
    if floor:
        low = min(floor.items(), key=lambda one: one[1].low_c)
        high = max(floor.items(), key=lambda one: one[1].high_c)
        lines.append(
            f"The floor since {say.clock(now - BACK_S)}: lowest "
            f"{say.temp(low[1].low_c)} at {say.clock(low[0] * COLUMN_S)}, highest "
            f"{say.temp(high[1].high_c)} at {say.clock(high[0] * COLUMN_S)}."
        )
    else:
        lines.append("No floor reading of the last day.")
    if box.outlook is not None and box.outlook.course and box.batch is not None:
        low_c = box.outlook.lowest_c
        lines.append(
            f"Expected tonight: down to {say.temp(low_c.mid)} about "
            f"{say.clock(box.outlook.lowest_at)}, likely {say.figure(low_c.low)} to "
            f"{say.figure(low_c.high)}."
        )
    return " ".join(lines)
