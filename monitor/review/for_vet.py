"""One page for a veterinarian or the hatchery: what the birds lived through and the losses by day,
over all boxes of the batch. No alarms, no contacts, none of the grower's notes but those on birds.
Called by the command and the Record screen's child."""

from collections.abc import Sequence
from datetime import tzinfo

from monitor.brooding.arrival import dead_on_arrival
from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.calendar import at_age, local_date
from monitor.brooding.entries import EntryKind, remark_words
from monitor.brooding.schedules import schedule_for
from monitor.measures import counted, span
from monitor.review.boxes import Night, nights_of
from monitor.review.chart import PAPER_PX, describe_boxes
from monitor.review.days import Cut
from monitor.review.draw import draw
from monitor.review.exposure import Exposure
from monitor.review.figure_text import dated, day_text, moment, span_text
from monitor.review.html_file import template
from monitor.review.loss_words import CANNOT
from monitor.review.record import NotFound, Record
from monitor.review.report import size_words, svg_address
from monitor.review.scenes import scenes_of_boxes
from monitor.tell.wording.words import listed
from monitor.units import from_celsius, shown, sign, step_shown

# It is to stay one page: of a longer batch, and of more notes, only how many more there are.
MOST_DAYS, MOST_NOTED = 56, 16
_PAPER_MM, _ROW_MM, _NOTE_MM, _LEAST_MM, _MOST_MM = 166.0, 3.4, 3.7, 45.0, 90.0  # of print
_TOLD_S = 60.0
_OF_BIRDS = (EntryKind.SEEN, EntryKind.WEIGHED, EntryKind.DEAD_ON_ARRIVAL)


def for_vet(records: Sequence[Record], *, now: float) -> str:
    """The file: HTML that needs nothing else. Raises NotFound where no birds were placed, and
    NotDrawn."""
    batch = records[0].batch
    if batch is None:
        raise NotFound("no birds were placed in that time, so there is nothing to show a vet")
    zone, unit = records[0].site.timezone, records[0].site.units
    days = [night for week in nights_of(records, Cut.MIDNIGHT) for night in week.nights]
    kept, noted = days[:MOST_DAYS], _noted(records)
    degrees = sign(unit)
    floors = [f"{record.brooder.name} {degrees}" for record in records]
    picture = draw(describe_boxes(scenes_of_boxes(records), wide_px=PAPER_PX), "svg")
    spans = ["too cold", "too hot"]
    if any(day.gap_s >= _TOLD_S for day in kept):
        spans.append("not read")  # a blank day would look like a good one
    half = (len(kept) + 1) // 2 if len(kept) > 8 else len(kept)
    return template("for_vet.html").render(
        title=f"{KINDS[batch.kind].many.capitalize()} hatched {batch.hatched.isoformat()}",
        site=records[0].site.name,
        made=dated(now, zone),
        facts=_facts(records),
        picture=svg_address(picture),
        heads=["date", "day", "lost", "alive", f"target {degrees}", *floors, *spans],
        halves=[
            [_cells(day, records, len(spans)) for day in part]
            for part in (kept[:half], kept[half:])
        ],
        picture_mm=min(
            max(_PAPER_MM - _ROW_MM * half - _NOTE_MM * ((len(noted) + 1) // 2), _LEAST_MM),
            _MOST_MM,
        ),
        later=_later(days[MOST_DAYS:], zone),
        noted=noted,
        method=_method(records[0]),
        cannot=CANNOT,
    )


def _later(days: Sequence[Night], zone: tzinfo) -> str | None:
    if not days:
        return None
    lost = sum(day.lost for day in days)
    return f"From {day_text(days[0].day.start, zone)} on: {len(days)} more days, {lost} more lost."


def _cells(day: Night, records: Sequence[Record], spans: int) -> list[str]:
    zone, unit = records[0].site.timezone, records[0].site.units
    first = day.first
    floors = []
    for row in day.rows:
        low, high = (None, None) if row is None else (row.exposure.low_c, row.exposure.high_c)
        floors.append(
            ""
            if low is None or high is None
            else f"{from_celsius(low, unit):.0f}-{from_celsius(high, unit):.0f}"
        )
    return [
        day_text(day.day.start, zone),
        "" if first.age_days is None else str(first.age_days),
        str(day.lost) if day.lost else "",
        str(day.placed - day.lost_so_far),
        "/".join(f"{from_celsius(level, unit):.0f}" for level in first.targets_c),
        *floors,
        *(
            span_text(seconds) if seconds >= _TOLD_S else ""
            for seconds in (day.below_s, day.above_s, day.gap_s)[:spans]
        ),
    ]


def _facts(records: Sequence[Record]) -> list[tuple[str, str]]:
    first, batch, ledger = records[0], records[0].batch, records[0].ledger
    if batch is None:
        return []
    zone, family = first.site.timezone, ledger.family(batch)
    start, stop = min(one.start for one in records), max(one.stop for one in records)
    placed, lost = ledger.family_count(batch, to_at=stop)
    _, in_week = ledger.family_count(batch, to_at=at_age(batch.hatched, 7, zone))
    age = (local_date(batch.started_at, zone) - batch.hatched).days
    birds = f"{placed} placed {dated(batch.started_at, zone)}, {counted(age, 'day')} old"
    if dead := sum(dead_on_arrival(ledger, each) for each in family):
        birds += f"; {dead} more were dead on arrival"
    facts = [
        ("birds", birds),
        (
            "lost",
            f"{lost} of {placed} ({100.0 * lost / placed:.1f} %), {in_week} of them in the first "
            "week",
        ),
    ]
    if all(each.ended_at for each in family):
        left = max(each.ended_at or 0.0 for each in family)
        facts.append(("left", f"the other {placed - lost}, {dated(left, zone)}"))
    for one in records:
        heat = ", ".join(f"{source.name} {source.watts:g} W" for source in one.brooder.heat)
        words = f"{size_words(one.brooder, one.site.units)}; {heat}"
        if one.start > start + 86400.0 and one.batch is not None:
            words = f"{one.batch.placed} of them from {day_text(one.start, zone)}; {words}"
        facts.append((one.brooder.name, words))
        facts.append((f"{one.brooder.name}, floor", _lived(one.exposure(one.start, one.stop), one)))
    return facts


def _lived(told: Exposure, record: Record) -> str:
    unit, zone = record.site.units, record.site.timezone
    if told.low_c is None or told.low_at is None or told.high_c is None or told.high_at is None:
        return "not read"
    said = [
        f"coldest {shown(told.low_c, unit)} ({moment(told.low_at, zone)}), "
        f"hottest {shown(told.high_c, unit)} ({moment(told.high_at, zone)})"
    ]
    for seconds, words in (
        (told.below_s, "too cold"),
        (told.chill_s, "of it dangerously"),
        (told.above_s, "too hot"),
        (told.overheat_s, "of it dangerously"),
        (told.gap_s, "not read"),
    ):
        if seconds >= _TOLD_S or words in ("too cold", "too hot"):
            said.append(f"{span(seconds) if seconds >= _TOLD_S else 'never'} {words}")
    return ", ".join(said)


def _noted(records: Sequence[Record]) -> list[str]:
    """What was written of the birds: how they lay, what they weighed, how the dead were found."""
    found = {}
    for record in records:
        where = f"{record.brooder.name}: " if len(records) > 1 else ""
        for entry in record.entries:
            words = remark_words(entry) if entry.entry in _OF_BIRDS else None
            if entry.entry is EntryKind.LOSS and entry.note:
                words = f"{entry.count} lost: {entry.note}"
            if words and record.start <= entry.at <= record.stop:
                when = moment(entry.at, record.site.timezone)
                found[entry.number] = (entry.at, f"{when}  {where}{words}")
    lines = [words for _at, words in sorted(found.values())]
    if len(lines) <= MOST_NOTED:
        return lines
    return [*lines[: MOST_NOTED - 1], f"and {len(lines) - MOST_NOTED + 1} more, in the record"]


def _method(record: Record) -> str:
    unit, limits = record.site.units, record.brooder.limits
    kind = record.batch.kind if record.batch else "broiler"
    schedule = schedule_for(record.brooder, kind)
    boxes = listed(sorted({probe.name for probe in record.floor_probes})) or "none"
    return (
        f"Floor: thermometers at chick height at the edge of the heat ({boxes} in "
        f"{record.brooder.name}), lowest to highest of the day. Targets: {schedule.title}. "
        f"Too cold, too hot (hours:minutes, in the box where it was longest): more than "
        f"{step_shown(limits.band_c, unit)} from the target; dangerously: more than "
        f"{step_shown(limits.harm_c, unit)}."
    )
