"""The report: one HTML file that opens offline, needs no script and prints on paper. Called by the
command. Figures and words come from the same parts as on the terminal.

No PDF is made here. The libraries that could were weighed: one that lays out this very HTML adds
70 MB and a system text-layout library to a board that wants to stay small; the other adds 55 MB and
a second layout to keep in step by hand. Every browser prints this file to PDF, so the command says
that instead."""

import base64
from dataclasses import dataclass

from jinja2 import Environment, PackageLoader, select_autoescape

from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.envelope import COVERS, WALLS
from monitor.brooding.harm_known import OVERHEAT_CAP
from monitor.brooding.schedules import schedule_for
from monitor.measures import length_shown
from monitor.review import loss_words
from monitor.review.alarm_text import HEADS, cells, told_words
from monitor.review.chart import PAPER_PX, describe
from monitor.review.days import Cut
from monitor.review.draw import draw_all
from monitor.review.exposure import Exposure
from monitor.review.figure_text import dated, moment
from monitor.review.loss_review import LossReview, losses
from monitor.review.record import Record
from monitor.review.scene import Scene, Stretch
from monitor.review.scenes import scene
from monitor.review.sheet import Sheet, sheet
from monitor.review.sheet_text import columns, comparison_words, foot
from monitor.review.verdict import verdict
from monitor.site import Brooder, Limits
from monitor.tell.wording.words import span
from monitor.units import Unit, shown, step_shown

MOST_NIGHTS = 12  # pictures of single nights; a report of 40 pages is not read
_LEAD_S = 6 * 3600.0  # a night's picture goes on for this long after the loss was found


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnChart:
    """A drawn scene: `data` is a data: address, `words` says the same without eyes."""

    title: str
    words: str
    data: str


def report(record: Record, cut: Cut, *, now: float) -> str:
    """The whole file. Raises NotDrawn."""
    sheet_ = sheet(record, cut)
    found = losses(record)
    whole = scene(record, record.start, record.stop)
    # A record of one night is its own picture.
    nights = [] if whole.stretch is Stretch.NIGHT else _nights(record, sheet_, found)
    scenes = [whole, *nights]
    drawn = draw_all([describe(one, wide_px=PAPER_PX) for one in scenes], "svg")
    pictures = [_picture(one, svg) for one, svg in zip(scenes, drawn, strict=True)]
    filled = columns(record, cut)
    template = Environment(
        loader=PackageLoader("monitor.review"),
        autoescape=select_autoescape(),
        trim_blocks=True,
        lstrip_blocks=True,
    ).get_template("report.html")
    return template.render(
        title=f"{record.site.name}, {record.brooder.name}: {_what(record)}",
        made=dated(now, record.site.timezone),
        facts=_facts(record),
        summary=whole.summary,
        comparisons=[comparison_words(one) for one in sheet_.comparisons],
        whole=pictures[0],
        heads=[column.head.split("\n") for column in filled],
        weeks=[
            (
                [([c.day(row) for c in filled], row.notes) for row in week.rows],
                [c.week(week) for c in filled],
            )
            for week in sheet_.weeks
        ],
        foot=foot(record, sheet_, []),
        note_when=lambda note: moment(note.at, record.site.timezone),
        losses=[_loss(loss, record) for loss in found],
        causes=loss_words.other_causes(found),
        cannot=loss_words.CANNOT,
        matter=loss_words.FIGURES_THAT_MATTER,
        ask=loss_words.ASK,
        nights=pictures[1:],
        alarm_heads=HEADS,
        alarms=[cells(alarm, record) for alarm in record.alarms],
        told=told_words(record),
        method=_method(record),
    )


def _what(record: Record) -> str:
    if record.batch is None:
        return "without a batch"
    kind = KINDS[record.batch.kind].many
    return f"batch {record.ordinal}, {kind} hatched {record.batch.hatched.isoformat()}"


def _facts(record: Record) -> list[tuple[str, str]]:
    zone, box = record.site.timezone, record.brooder
    heat = ", ".join(f"{source.name} {source.watts:g} W" for source in box.heat) or "none entered"
    probes = ", ".join(f"{probe.name} ({probe.place})" for probe in record.probes) or "none"
    facts = [
        ("recorded", f"{dated(record.start, zone)} to {dated(record.stop, zone)}, {zone.key}"),
        ("box", _size(box, record.site.units)),
        ("heat", heat),
        ("probes", probes),
    ]
    if record.batch is not None:
        batch = record.batch
        heads = batch.head_count(record.stop)
        lost = batch.lost(None, record.stop)
        gone = batch.placed_until(record.stop) - heads - lost
        moved = f", {gone} moved" if gone else ""
        facts.insert(
            0,
            ("birds", f"{batch.placed} placed, {lost} lost{moved}, {heads} in the box at the end"),
        )
    return facts


def _size(box: Brooder, unit: Unit) -> str:
    sides = [length_shown(side, unit) for side in (box.length_m, box.width_m, box.height_m)]
    wind = ", in the wind" if box.in_wind else ""
    return f"{' x '.join(sides)}, {WALLS[box.walls].title}, cover: {COVERS[box.cover].title}{wind}"


def _nights(record: Record, sheet_: Sheet, found: list[LossReview]) -> list[Scene]:
    """A picture for the night before each loss, then for the worst other nights."""
    spans: list[tuple[float, float]] = []
    for loss in found:
        if any(start < loss.at <= stop for start, stop in spans):
            continue
        stop = min(loss.at + _LEAD_S, record.stop)
        spans.append((max(loss.at - 86400.0, record.start), stop))
    worst = sorted(sheet_.rows, key=lambda row: -_harm(row.exposure))
    for row in worst:
        if len(spans) >= MOST_NIGHTS or _harm(row.exposure) == 0:
            break
        if not any(a < row.day.stop and b > row.day.start for a, b in spans):
            spans.append((row.day.start, row.day.stop))
    return [scene(record, *span) for span in sorted(spans)[:MOST_NIGHTS]]


def _harm(exposure: Exposure) -> float:
    return exposure.below_ks + exposure.above_ks


def _picture(one: Scene, svg: bytes) -> DrawnChart:
    data = "data:image/svg+xml;base64," + base64.b64encode(svg).decode()
    return DrawnChart(title=one.title, words=". ".join([one.title, *one.summary]) + ".", data=data)


def _loss(loss: LossReview, record: Record) -> dict[str, object]:
    return {
        "heading": loss_words.heading(loss, record),
        "figures": [
            row[: len(loss_words.heads(loss)) + 1] for row in loss_words.figures(loss, record)
        ],
        "heads": loss_words.heads(loss),
        "alarms": loss_words.alarm_words(loss.two_days, record),
        "verdict": verdict(loss, record),
    }


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
