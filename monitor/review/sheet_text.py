"""The record sheet as a table of text cells: for the terminal (rich) and for the report's template.

One list of columns, so that paper and screen agree. On a narrow terminal the columns that are
least missed are left out, and the foot says so."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.table import Table

from monitor.review.boxes import Night, nights_of
from monitor.review.days import Cut
from monitor.review.energy import energy_line
from monitor.review.exposure import Exposure
from monitor.review.figure_text import (
    area_sign,
    day_text,
    degree_hours,
    degree_hours_sign,
    moment,
    night_text,
    span_text,
)
from monitor.review.record import Record
from monitor.review.sheet import LEAST_GAP_S, DayRow, LossComparison, Note, Sheet, Week
from monitor.tell.wording.words import listed
from monitor.units import Unit, area_figure, from_celsius, sign

NARROW = 96
# Heads of the columns that each box of a batch has, and those that a narrow terminal leaves out.
_OF_A_BOX = ("low", "high", "below\nh:min", "above\nh:min", "birds")
_OF_HEAT = ("high", "above\nh:min")
BOXES_FOOT = "below, above: hours:minutes out of the band; lost: over all boxes of the batch"
MOST_BAD = 5  # kinds of values that no floor can have; the most frequent tell which probe is ill


@dataclass(frozen=True, slots=True)
class Column:
    """A heading of two lines, and how a day and a week fill it. `wide` may be left out."""

    head: str
    day: Callable[[DayRow], str]
    week: Callable[[Week], str]
    wide: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """The sheet as text: headings, then by week its days, each with its notes, and its total."""

    heads: list[str]
    weeks: list[tuple[list[tuple[list[str], tuple[Note, ...]]], list[str]]]


def cells(sheet: Sheet, filled: list[Column]) -> Cells:
    return Cells(
        heads=[column.head for column in filled],
        weeks=[
            (
                [([c.day(row) for c in filled], row.notes) for row in week.rows],
                [c.week(week) for c in filled],
            )
            for week in sheet.weeks
        ],
    )


def cells_of_boxes(records: Sequence[Record], cut: Cut, *, narrow: bool = False) -> Cells:
    """The sheet of a batch in several boxes: each box's floor beside the other, one count."""
    shared = columns(records[0], cut)[:3]
    names = [name for name in _OF_A_BOX if not (narrow and name in _OF_HEAT)]
    by_head = [{c.head: c for c in columns(record, cut)} for record in records]
    each = [[columns_[name] for name in names] for columns_ in by_head]
    heads = [column.head for column in shared]
    for record in records:
        boxed = [name.partition("\n")[0] for name in names]
        heads += [f"{record.brooder.name}\n{boxed[0]}", *(f"\n{name}" for name in boxed[1:])]

    def day(night: Night) -> list[str]:
        found = [column.day(night.first) for column in shared]
        for columns_, row in zip(each, night.rows, strict=True):
            found += ["" if row is None else column.day(row) for column in columns_]
        return [*found, _count(night.lost), _share(night.lost_so_far, night.placed)]

    weeks = []
    for part in nights_of(records, cut):
        there = next(week for week in part.weeks if week)
        total = [column.week(there) for column in shared]
        for columns_, week in zip(each, part.weeks, strict=True):
            total += ["" if week is None else column.week(week) for column in columns_]
        last = part.nights[-1]
        total += [_count(part.lost), _share(last.lost_so_far, last.placed)]
        weeks.append(([(day(night), night.notes) for night in part.nights], total))
    return Cells(heads=[*heads, "lost", "lost\nso far"], weeks=weeks)


def _share(lost: int, placed: int) -> str:
    return f"{lost} {100.0 * lost / placed:.1f}%" if placed else ""


def columns(record: Record, cut: Cut) -> list[Column]:
    unit, zone = record.site.units, record.site.timezone
    dates = night_text if cut is Cut.NOON else day_text
    mark = degree_hours_sign(unit)

    def temp(temp_c: float | None) -> str:
        return "" if temp_c is None else f"{from_celsius(temp_c, unit):.1f}"

    def date(row: DayRow) -> str:
        begins = row.day.start if cut is Cut.MIDNIGHT else row.day.noon(zone)
        return dates(begins, zone) + ("" if row.day.whole else "*")

    return [
        Column("night" if cut is Cut.NOON else "date", date, _week_name),
        Column("age\nd", lambda r: "" if r.age_days is None else str(r.age_days), _nothing),
        Column(f"target\n{sign(unit)}", lambda r: _targets(r, unit), _nothing),
        Column("low", lambda r: temp(r.exposure.low_c), lambda w: temp(w.exposure.low_c)),
        Column("high", lambda r: temp(r.exposure.high_c), lambda w: temp(w.exposure.high_c)),
        Column("mean", lambda r: temp(r.exposure.average_c), lambda w: temp(w.exposure.average_c)),
        *(_pair(head, wide, pick) for head, wide, pick in _durations(unit, mark)),
        Column(
            "lost", lambda r: _count(r.flock.lost if r.flock else None), lambda w: _count(w.lost)
        ),
        Column("lost\nso far", _so_far, lambda w: _so_far(w.rows[-1])),
        Column("birds", lambda r: "" if r.flock is None else str(r.flock.heads), _nothing),
        Column(f"{area_sign(unit)}\na bird", lambda r: _area(r, unit), _nothing, wide=True),
    ]


def _durations(unit: Unit, mark: str) -> list[tuple[str, bool, Callable[[Exposure], str]]]:
    def degrees(exposure: Exposure) -> str:
        hours = degree_hours(exposure.below_ks, unit)
        return f"{hours:.1f}" if hours >= 0.05 else ""

    def longest(exposure: Exposure) -> str:
        spell = exposure.longest_below
        return "" if spell is None else span_text(spell.lasted_s)

    return [
        ("below\nh:min", False, lambda e: _span(e.below_s)),
        ("above\nh:min", False, lambda e: _span(e.above_s)),
        (f"below\n{mark}", False, degrees),
        ("longest\nbelow", True, longest),
        ("silent\nh:min", False, lambda e: _span(e.gap_s)),
    ]


def _pair(head: str, wide: bool, pick: Callable[[Exposure], str]) -> Column:
    return Column(head, lambda r: pick(r.exposure), lambda w: pick(w.exposure), wide)


def _span(seconds: float) -> str:
    return span_text(seconds) if seconds >= 30 else ""


def _count(count: int | None) -> str:
    return str(count) if count else ""


def _so_far(row: DayRow) -> str:
    if row.flock is None:
        return ""
    return _share(row.flock.lost_so_far, row.flock.placed)


def _targets(row: DayRow, unit: Unit) -> str:
    return "/".join(f"{from_celsius(level, unit):.0f}" for level in row.targets_c)


def _area(row: DayRow, unit: Unit) -> str:
    if row.area_per_bird_m2 is None:
        return ""
    return area_figure(row.area_per_bird_m2, unit) + ("!" if row.crowded else "")


def _week_name(week: Week) -> str:
    name = "all" if week.number is None else f"week {week.number}"
    return name if week.whole else f"{name}*"


def _nothing(_week: Week) -> str:
    return ""


def foot(record: Record, sheet: Sheet, left_out: list[Column]) -> list[str]:
    lines = []
    if (energy := energy_line(record, record.start, record.stop)) is not None:
        lines.append(energy)
    if any(not row.day.whole for row in sheet.rows):
        lines.append("* part of a day or week only")
    if any(row.crowded for row in sheet.rows) and not left_out:
        lines.append("! less floor than the tightest published figure for the age")
    if sheet.total.gap_s >= LEAST_GAP_S:
        lines.append("silent: no floor probe was heard; that time is counted nowhere else")
    for bad in record.bad_values()[:MOST_BAD]:
        when = moment(bad.first_at, record.site.timezone)
        if bad.count > 1:
            when = f"{bad.count} times, {when} to {moment(bad.last_at, record.site.timezone)}"
        lines.append(f"left out of {bad.probe}, {when}: {bad.reason}")
    if not record.floor_probes:
        lines.append(f"{record.brooder.name} has no floor probe, so nothing can be judged")
    if left_out:
        names = ", ".join(column.head.replace("\n", " ") for column in left_out)
        lines.append(_left_out(names))
    return lines


def _left_out(names: str) -> str:
    return f"left out here: {names}; {NARROW} columns show them"


def comparison_words(comparison: LossComparison) -> str:
    until = "in the first week" if comparison.age_days == 7 else f"by day {comparison.age_days}"
    if len(comparison.boxes) > 1:
        until += f", {listed(list(comparison.boxes))} together"
    so_far = "" if comparison.complete else " (the week is not over)"
    text = (
        f"Lost {until}: {comparison.lost} of {comparison.placed}, {comparison.percent:.1f} %"
        f"{so_far}. Usual: about {comparison.usual_percent:.1f} %. Source: {comparison.source}."
    )
    if comparison.aim_percent is not None:
        text += f" Aim: below {comparison.aim_percent:g} %. Source: {comparison.aim_source}."
    return text


def print_sheet(console: Console, record: Record, sheet: Sheet) -> None:
    """The sheet on a terminal, in as many columns as there is room for."""
    every = columns(record, sheet.cut)
    shown = [c for c in every if console.width >= NARROW or not c.wide]
    filled = cells(sheet, shown)
    _print_cells(console, filled)
    left_out = [c for c in every if c not in shown]
    _print_below(console, filled, [(record, sheet)], foot(record, sheet, left_out))


def print_boxes(console: Console, records: Sequence[Record], sheets: Sequence[Sheet]) -> None:
    """The sheet of a batch in several boxes on a terminal."""
    narrow = console.width < NARROW
    filled = cells_of_boxes(records, sheets[0].cut, narrow=narrow)
    _print_cells(console, filled)
    sides = list(zip(records, sheets, strict=True))
    names = ", ".join(head.partition("\n")[0] for head in _OF_HEAT)
    left_out = [_left_out(names)] if narrow else []
    _print_below(console, filled, sides, foot_of_boxes(sides) + left_out)


def foot_of_boxes(sides: Sequence[tuple[Record, Sheet]]) -> list[str]:
    lines = [BOXES_FOOT]
    for record, sheet in sides:
        drawn = energy_line(record, record.start, record.stop)
        lines += [
            f"{record.brooder.name}: {line}" if line == drawn else line
            for line in foot(record, sheet, [])
            if not line.startswith(("!", "silent:"))  # columns of one box alone
        ]
    return list(dict.fromkeys(lines))


def _print_cells(console: Console, cells: Cells) -> None:
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    for number, head in enumerate(cells.heads):
        table.add_column(head, justify="left" if number == 0 else "right", no_wrap=True)
    for rows, total in cells.weeks:
        for row, _notes in rows:
            table.add_row(*row)
        table.add_row(*total, style="bold", end_section=True)
    console.print(table)


def _print_below(
    console: Console, cells: Cells, sides: Sequence[tuple[Record, Sheet]], lines: list[str]
) -> None:
    for line in lines:
        console.print(line, style="dim")
    record, sheet = sides[-1]
    noted = [note for rows, _total in cells.weeks for _row, notes in rows for note in notes]
    if noted:
        console.print()
        console.print("Notes", style="bold")
        for note in noted:
            console.print(f"{moment(note.at, record.site.timezone)}  {note.text}")
    if sheet.comparisons:
        console.print()
        for comparison in sheet.comparisons:
            console.print(comparison_words(comparison))
