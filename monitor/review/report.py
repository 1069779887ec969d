"""The report: one HTML file that opens offline, needs no script and prints on paper. Called by the
command. Figures and words come from the same parts as on the terminal.

No PDF is made here. The libraries that could were weighed: one that lays out this very HTML adds
70 MB and a system text-layout library to a board that wants to stay small; the other adds 55 MB and
a second layout to keep in step by hand. Every browser prints this file to PDF, so the command says
that instead."""

import base64
from collections.abc import Sequence

from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.envelope import made_of
from monitor.brooding.harm_known import OVERHEAT_CAP
from monitor.brooding.schedules import schedule_for
from monitor.measures import length_shown, span
from monitor.review import loss_words
from monitor.review.alarm_text import HEADS, rows, told_words
from monitor.review.chart import PAPER_PX, describe, describe_boxes
from monitor.review.days import Cut
from monitor.review.draw import draw_all
from monitor.review.exposure import Exposure
from monitor.review.figure_text import dated, moment
from monitor.review.html_file import template
from monitor.review.loss_review import LossReview, losses
from monitor.review.record import Record
from monitor.review.scene import Scene, Stretch
from monitor.review.scenes import scene, scenes_of_boxes, story
from monitor.review.sheet import Sheet, sheet
from monitor.review.sheet_text import (
    Cells,
    cells_of_boxes,
    columns,
    comparison_words,
    foot,
    foot_of_boxes,
)
from monitor.review.sheet_text import cells as sheet_cells
from monitor.site import Brooder, Limits
from monitor.tell.wording.words import listed
from monitor.units import Unit, shown, step_shown

MOST_NIGHTS = 12  # pictures of single nights; a report of 40 pages is not read
_LEAD_S = 6 * 3600.0  # a night's picture goes on for this long after the loss was found


def report(records: Sequence[Record], cut: Cut, *, now: float) -> str:
    """The whole file; of a batch in several boxes their records beside each other. Raises
    NotDrawn."""
    record = records[-1]
    sheets = [sheet(one, cut) for one in records]
    found = [losses(one) for one in records]
    wholes = [scene(one, one.start, one.stop) for one in records]
    nights = [
        night
        for one, sheet_, lost, whole in zip(records, sheets, found, wholes, strict=True)
        # A record of one night is its own picture.
        if whole.stretch is not Stretch.NIGHT
        for night in _nights(one, sheet_, lost, most=MOST_NIGHTS // len(records))
    ]
    specs = [describe(one, wide_px=PAPER_PX) for one in [*wholes, *nights]]
    if len(records) > 1:  # first of all, both in one picture
        specs.insert(0, describe_boxes(scenes_of_boxes(records), wide_px=PAPER_PX))
    drawn = draw_all(specs, "svg")
    together = drawn.pop(0) if len(records) > 1 else None
    pictures = [_picture(one, svg) for one, svg in zip([*wholes, *nights], drawn, strict=True)]
    each_loss = sorted(
        ((loss, one) for one, lost in zip(records, found, strict=True) for loss in lost),
        key=lambda pair: pair[0].at,
    )
    alarms = {
        (raised, row): _boxed(records, one, row) for one in records for raised, row in rows(one)
    }
    return template("report.html").render(
        title=heading(records),
        made=dated(now, record.site.timezone),
        facts=_facts(records),
        summary=in_short(records),
        comparisons=[comparison_words(one) for one in sheets[-1].comparisons],
        together=None if together is None else svg_address(together),
        wholes=pictures[: len(wholes)],
        sheet=_sheet_cells(records, sheets),
        foot=(
            foot_of_boxes(list(zip(records, sheets, strict=True)))
            if len(records) > 1
            else foot(record, sheets[0], [])
        ),
        note_when=lambda note: moment(note.at, record.site.timezone),
        losses=[_loss(loss, one, boxed=len(records) > 1) for loss, one in each_loss],
        causes=loss_words.other_causes([loss for loss, _ in each_loss]),
        cannot=loss_words.CANNOT,
        matter=loss_words.FIGURES_THAT_MATTER,
        ask=loss_words.ASK,
        nights=pictures[len(wholes) :],
        alarm_heads=_boxed(records, None, HEADS),
        alarms=[alarms[key] for key in sorted(alarms)],
        told=[_of_box(records, one, told_words(one)) for one in records],
        method=list(dict.fromkeys(line for one in records for line in _method(one))),
    )


def heading(records: Sequence[Record]) -> str:
    """`Hillside, porch and shed: meat chicks hatched 2026-04-01`."""
    boxes = listed(list(dict.fromkeys(one.brooder.name for one in records)))
    return f"{records[0].site.name}, {boxes}: {_what(records)}"


def in_short(records: Sequence[Record]) -> list[str]:
    """The story of each box in figures, and one count of the lost."""
    return [
        _of_box(records, one, line)
        for one in records
        for line in story(one, one.start, one.stop)[1:]
    ]


def _of_box(records: Sequence[Record], one: Record, words: str) -> str:
    return words if len(records) == 1 else f"{one.brooder.name}: {words}"


def _boxed(records: Sequence[Record], one: Record | None, row: tuple[str, ...]) -> tuple[str, ...]:
    """With the box in front, where there are several."""
    if len(records) == 1:
        return row
    return ("box" if one is None else one.brooder.name, *row)


def _sheet_cells(records: Sequence[Record], sheets: Sequence[Sheet]) -> Cells:
    if len(records) > 1:
        return cells_of_boxes(records, sheets[0].cut)
    return sheet_cells(sheets[0], columns(records[0], sheets[0].cut))


def _what(records: Sequence[Record]) -> str:
    batch = records[0].batch
    if batch is None:
        return "without a batch"
    number = f"batch {records[0].ordinal}, " if len(records) == 1 else ""
    return f"{number}{KINDS[batch.kind].many} hatched {batch.hatched.isoformat()}"


def _facts(records: Sequence[Record]) -> list[tuple[str, str]]:
    zone = records[0].site.timezone
    start, stop = min(one.start for one in records), max(one.stop for one in records)
    facts = [("recorded", f"{dated(start, zone)} to {dated(stop, zone)}, {zone.key}")]
    for one in records:
        box = one.brooder
        heat = ", ".join(f"{source.name} {source.watts:g} W" for source in box.heat)
        probes = ", ".join(f"{probe.name} ({probe.place})" for probe in one.probes) or "none"
        facts += [
            (_of_box(records, one, "box"), size_words(box, one.site.units)),
            (_of_box(records, one, "heat"), heat or "none entered"),
            (_of_box(records, one, "probes"), probes),
        ]
    batch = records[0].batch
    if batch is None:
        return facts
    parts = [one.batch for one in records if one.batch is not None]
    placed, lost = records[0].ledger.family_count(batch, to_at=stop)
    if len(records) == 1:
        placed, lost = batch.placed, batch.lost(None, stop)
    heads = sum(part.head_count(stop) for part in parts)
    gone = placed - heads - lost
    moved = f", {gone} moved" if gone else ""
    where = "in the box" if len(records) == 1 else "in the boxes"
    birds = ("birds", f"{placed} placed, {lost} lost{moved}, {heads} {where} at the end")
    return [birds, *facts]


def size_words(box: Brooder, unit: Unit) -> str:
    """A box in a line: its sides, walls and cover."""
    sides = [length_shown(side, unit) for side in (box.length_m, box.width_m, box.height_m)]
    wind = ", in the wind" if box.in_wind else ""
    return f"{' x '.join(sides)}, {made_of(box.walls, box.cover)}{wind}"


def _nights(record: Record, sheet_: Sheet, found: list[LossReview], *, most: int) -> list[Scene]:
    """A picture for the night before each loss, then for the worst other nights."""
    spans: list[tuple[float, float]] = []
    for loss in found:
        if any(start < loss.at <= stop for start, stop in spans):
            continue
        stop = min(loss.at + _LEAD_S, record.stop)
        spans.append((max(loss.at - 86400.0, record.start), stop))
    worst = sorted(sheet_.rows, key=lambda row: -_harm(row.exposure))
    for row in worst:
        if len(spans) >= most or _harm(row.exposure) == 0:
            break
        if not any(a < row.day.stop and b > row.day.start for a, b in spans):
            spans.append((row.day.start, row.day.stop))
    return [scene(record, *span) for span in sorted(spans)[:most]]


def _harm(exposure: Exposure) -> float:
    return exposure.below_ks + exposure.above_ks


def _picture(one: Scene, svg: bytes) -> dict[str, str]:
    """`data` is an address that holds the drawing, `words` says the same without eyes."""
    words = ". ".join([one.title, *one.summary]) + "."
    return {"title": one.title, "words": words, "data": svg_address(svg)}


def svg_address(svg: bytes) -> str:
    return "data:image/svg+xml;base64," + base64.b64encode(svg).decode()


def _loss(loss: LossReview, record: Record, *, boxed: bool) -> dict[str, object]:
    said = loss_words.in_parts(loss, record)
    return said | ({"heading": f"{record.brooder.name}, {said['heading']}"} if boxed else {})


def _method(record: Record) -> list[str]:
    """How the figures were made, and what they rest on."""
    unit, limits = record.site.units, record.brooder.limits
    lines = [
        "A reading holds until the next one of its probe, for "
        f"{span(record.hold_s)} at most. "
        "Time in which no floor probe was heard is given as silent and counted nowhere else.",
        "With several floor probes the coldest counts for cold and the hottest for heat; the mean "
        "is that of all of them. Readings of a probe that was out of service, of one "
        "that misled (probe-fault) where there is another floor probe, and those taken before the "
        "board knew the time are left out.",
        f"Band: target +/- {step_shown(limits.band_c, unit)}. Chill limit: "
        f"{step_shown(limits.harm_c, unit)} below target; overheat limit: as far above, "
        f"and {_overheat_at_most(limits, unit)}. For half a day after a step down the upper edges "
        "are still those of the old target. Degree-hours: how far below, times how long.",
        "Pictures keep the first, lowest, highest and last reading of each column of dots; the "
        "figures use every reading.",
    ]
    if record.batch is not None:
        schedule = schedule_for(record.brooder, record.batch.kind)
        lines.append(f"Targets: {schedule.title}, measured at {schedule.measured}.")
        sources = list(dict.fromkeys(str(row.source) for row in schedule.rows))
        lines += [f"Source of targets: {source}." for source in sources]
        first = schedule.rows[0]
        lines.append(f"First target: {shown(first.target_c, unit)} from day {first.from_day:g}.")
    return lines


def _overheat_at_most(limits: Limits, unit: Unit) -> str:
    if limits.overheat_c is not None:
        return f"{shown(limits.overheat_c, unit)} at most"
    (_, young_c, _), (from_day, old_c, _) = OVERHEAT_CAP
    return f"{shown(young_c, unit)} at most ({shown(old_c, unit)} from day {from_day:g} on)"
