"""The record sheet: one row per day of age, week totals, and what is usual. Called by the command,
the report and the page. Figures only; `sheet_text` and the report's template show them."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.brooding import losses, space
from monitor.brooding.calendar import at_age, local_date, week_of_age
from monitor.brooding.entries import EntryKind, remark_words
from monitor.review.days import Cut, RecordDay, days
from monitor.review.exposure import Exposure
from monitor.review.figure_text import span_text
from monitor.review.joining import joined
from monitor.review.record import Record

LEAST_GAP_S = 30.0  # silence that is told
_BEFORE_S = 0.0005  # before a row's end and after its last entry: these have whole milliseconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """Something written or counted that day, in words."""

    at: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadCounts:
    """Head counts at the end of a row or week. None of it without a batch."""

    lost: int  # within the row
    lost_so_far: int
    placed: int
    heads: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DayRow:
    """One day. `age_days` is that of the date on which it begins."""

    day: RecordDay
    age_days: int | None
    targets_c: tuple[float, ...]  # in order; two when the target stepped within the day
    exposure: Exposure
    flock: HeadCounts | None
    area_per_bird_m2: float | None
    crowded: bool
    urgent: int  # urgent alarms that were told
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """A week of age, as far as it is recorded."""

    number: int | None
    rows: tuple[DayRow, ...]
    exposure: Exposure
    lost: int
    whole: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LossComparison:
    """Losses up to an age, over all boxes of the batch, beside the usual figure."""

    age_days: int
    lost: int
    placed: int
    usual_percent: float
    source: str
    aim_percent: float | None  # breeders' aim, for the first week
    aim_source: str
    complete: bool  # False: the age is not reached yet
    boxes: tuple[str, ...] = ()

    @property
    def percent(self) -> float:
        """Lost, of those placed."""
        return 100.0 * self.lost / self.placed if self.placed else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    cut: Cut
    weeks: tuple[Week, ...]
    total: Exposure
    comparisons: tuple[LossComparison, ...]

    @property
    def rows(self) -> list[DayRow]:
        return [row for week in self.weeks for row in week.rows]


def sheet(record: Record, cut: Cut) -> Sheet:
    zone = record.site.timezone
    rows = [_row(record, day) for day in days(record.start, record.stop, zone, cut)]
    grouped: dict[int | None, list[DayRow]] = {}
    for row in rows:
        number = None if row.age_days is None else week_of_age(row.age_days)
        grouped.setdefault(number, []).append(row)
    weeks = tuple(_week(number, group) for number, group in grouped.items())
    return Sheet(
        cut=cut,
        weeks=weeks,
        total=joined([week.exposure for week in weeks]),
        comparisons=_comparisons(record),
    )


def _row(record: Record, day: RecordDay) -> DayRow:
    batch, brooder = record.batch, record.brooder
    age = None if batch is None else (day.day - batch.hatched).days
    flock = area = None
    crowded = False
    if batch is not None:
        last = day.stop - _BEFORE_S
        flock = HeadCounts(
            lost=batch.lost(day.start, day.stop),
            lost_so_far=batch.lost(None, day.stop),
            placed=batch.placed_until(last),
            heads=batch.head_count(last),
        )
        if flock.heads:
            area = brooder.floor_area_m2 / flock.heads
            crowded = space.is_crowded(
                batch.kind, age or 0, area_m2=brooder.floor_area_m2, head_count=flock.heads
            )
    exposed = record.exposure(day.start, day.stop)
    levels = record.target.between(day.start, day.stop).target_c.tolist()
    return DayRow(
        day=day,
        age_days=age,
        targets_c=_steps(levels),
        exposure=exposed,
        flock=flock,
        area_per_bird_m2=area,
        crowded=crowded,
        urgent=sum(
            day.start <= alarm.raised < day.stop and alarm.priority == "urgent" and alarm.told
            for alarm in record.alarms
        ),
        notes=_notes(record, day, exposed),
    )


def _steps(levels: Sequence[float]) -> tuple[float, ...]:
    """First and last target of a day, once when they are the same."""
    real = [level for level in levels if level == level]  # noqa: PLR0124 - NaN is no target
    if not real:
        return ()
    return (real[0],) if real[0] == real[-1] else (real[0], real[-1])


def _notes(record: Record, day: RecordDay, exposed: Exposure) -> tuple[Note, ...]:
    found = []
    for entry in record.entries:
        if not day.start <= entry.at < day.stop:
            continue
        many = "all" if entry.count is None else str(entry.count)
        said = f": {entry.note}" if entry.note else ""
        if entry.entry is EntryKind.NOTE and entry.note:
            found.append(Note(at=entry.at, text=entry.note))
        elif remark := remark_words(entry):
            found.append(Note(at=entry.at, text=remark))
        elif entry.entry is EntryKind.LOSS:
            found.append(Note(at=entry.at, text=f"{many} lost{said}"))
        elif entry.entry in (EntryKind.PLACED, EntryKind.MOVED):
            found.append(Note(at=entry.at, text=f"{many} {entry.entry}{said}"))
        elif entry.entry in (EntryKind.OUT_OF_SERVICE, EntryKind.IN_SERVICE):
            what = entry.probe or "brooder"
            found.append(Note(at=entry.at, text=f"{what} {entry.entry.replace('-', ' ')}{said}"))
    for probe in record.floor_probes:
        for start, stop in record.doubted(probe.key):
            if start < day.stop and stop > day.start and len(record.floor_probes) > 1:
                text = f"{probe.name} misled (probe-fault); its readings do not count meanwhile"
                found.append(Note(at=max(start, day.start), text=text))
    if exposed.some_silent_s >= record.hold_s:
        silent = span_text(exposed.some_silent_s)
        found.append(
            Note(at=day.start, text=f"not every floor probe was heard and trusted, for {silent} h")
        )
    return tuple(sorted(found, key=lambda note: note.at))


def _week(number: int | None, rows: list[DayRow]) -> Week:
    return Week(
        number=number,
        rows=tuple(rows),
        exposure=joined([row.exposure for row in rows]),
        lost=sum(row.flock.lost for row in rows if row.flock),
        whole=len(rows) == 7 and all(row.day.whole for row in rows),
    )


def _comparisons(record: Record) -> tuple[LossComparison, ...]:
    """By the end of the first week, and up to the end of the record: a batch that was split has one
    mortality."""
    batch, zone, ledger = record.batch, record.site.timezone, record.ledger
    if batch is None:
        return ()
    family = ledger.family(batch)
    boxes = tuple(dict.fromkeys(each.brooder for each in family))
    week_ends = at_age(batch.hatched, 7, zone)
    age = (local_date(record.stop - _BEFORE_S, zone) - batch.hatched).days
    days = {7: min(week_ends, record.stop)} | ({age: record.stop} if age > 7 else {})
    found = []
    for day, until in days.items():
        placed, lost = ledger.family_count(batch, to_at=until)
        if not placed:
            continue  # of birds that came older nobody knows their first week
        week = day == 7
        found.append(
            LossComparison(
                age_days=day,
                boxes=boxes,
                lost=lost,
                placed=placed,
                usual_percent=losses.usual_percent(day),
                source=str(losses.usual_source(day)),
                aim_percent=losses.FIRST_WEEK_AIM_PERCENT if week else None,
                aim_source=str(losses.FIRST_WEEK_AIM_SOURCE) if week else "",
                complete=not week
                or record.stop >= week_ends
                or all(each.ended_at for each in family),
            )
        )
    return tuple(found)
