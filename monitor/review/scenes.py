"""From a record to the scenes worth a picture: a night, a week, the batch, the hours before a
loss. Called by the command, the report, the page and the alert's attachment."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from monitor.brooding.calendar import local_date, midnight
from monitor.brooding.entries import remark_words
from monitor.events import Entry, EntryKind, Priority
from monitor.measures import counted, span
from monitor.quantities import BATTERY_LEFT
from monitor.review.energy import energy_line
from monitor.review.exposure import Exposure, Trace, exposure
from monitor.review.figure_text import clock, clock_after, day_text, moment
from monitor.review.record import Record
from monitor.review.scene import Event, Measure, ProbeLine, Scene
from monitor.review.thinning import pieces
from monitor.site import SITE_WIDE, Place
from monitor.units import shown

_ORDER = (Place.FLOOR, Place.UNDER_HEAT, Place.COOL_END, Place.OUTSIDE)
_LEAST_TOLD_S = 30.0
_LEAST_GAP_S = 300.0  # a batch begins some minutes before its first reading
DAY_S = 86400.0


def scene(record: Record, start: float, stop: float) -> Scene:
    """The picture of start <= time < stop of the record's box."""
    probes = sorted(record.probes, key=lambda probe: _ORDER.index(probe.place))
    traces = _traces(record, [probe.key for probe in probes], start, stop)
    hold_s = record.hold_s
    return Scene(
        title=_title(record, start, stop),
        box=record.brooder.name,
        summary=_summary(record, _told(record, start, stop), start, stop),
        start=start,
        stop=stop,
        zone=record.site.timezone,
        units=record.site.units,
        target=record.target_between(start, stop),
        hold_s=hold_s,
        lines=tuple(
            ProbeLine(
                name=probe.name,
                place=probe.place,
                pieces=tuple(pieces(traces[probe.key].between(start, stop), hold_s=hold_s)),
            )
            for probe in probes
        ),
        measures=_measures(record, start, stop),
        alarms=tuple(
            alarm
            for alarm in record.alarms
            if alarm.priority is not Priority.ADVICE and alarm.overlaps(start, stop)
        ),
        events=tuple(
            event
            for entry in record.entries
            if start <= entry.at < stop and (event := _event(entry)) is not None
        ),
        ages=_ages(record, start),
    )


def scenes_of_boxes(records: Sequence[Record]) -> list[Scene]:
    """The same whole days of one batch in each of its boxes, each while there were birds in it."""
    zone = records[0].site.timezone
    start = midnight(local_date(min(record.start for record in records), zone), zone)
    last = local_date(max(record.stop for record in records) - 1.0, zone)
    stop = midnight(last + timedelta(days=1), zone)
    return [_with_birds(scene(record, start, stop), record) for record in records]


def _with_birds(shown: Scene, record: Record) -> Scene:
    lines = (
        replace(line, pieces=tuple(p.between(record.start, record.stop) for p in line.pieces))
        for line in shown.lines
    )
    return replace(shown, lines=tuple(lines))


def story(record: Record, start: float, stop: float) -> list[str]:
    """The picture's title and summary, without its curves."""
    summary = _summary(record, _told(record, start, stop), start, stop)
    return [_title(record, start, stop), *summary]


def _measures(record: Record, start: float, stop: float) -> tuple[Measure, ...]:
    """A switch that was not moved in the span stands as it was left before."""
    found = []
    for place, meters in (
        (record.brooder.name, record.brooder.meters),
        (SITE_WIDE, record.site.meters),
    ):
        for meter in meters:
            if meter.quantity is BATTERY_LEFT:
                continue
            back_s = 7 * DAY_S if meter.quantity.is_state else record.hold_s
            times, values = record.kept.samples(place, meter.series, start - back_s, stop)
            if times.size:
                found.append(
                    Measure(title=meter.title, quantity=meter.quantity, times=times, values=values)
                )
    return tuple(found)


def _long(start: float, stop: float) -> bool:
    """Longer than is worth reading apart from the rest of the record."""
    return stop - start > 2 * DAY_S


def _traces(record: Record, keys: list[str], start: float, stop: float) -> dict[str, Trace]:
    """A night shows every reading, also of a probe in doubt: that is how one sees why. A long span
    shares what the record has read for its figures."""
    if not _long(start, stop) or start < record.start or stop > record.stop:
        return record.readings_of(keys, start, stop)
    others = [key for key in keys if key not in record.traces]
    return {**record.traces, **record.readings_of(others, start, stop)}


def _told(record: Record, start: float, stop: float) -> Exposure:
    """The figures of that part of the span which is on record; where birds were in the box for some
    of it, of that: the empty box was as cold as the shed."""
    start, stop = max(start, record.start), min(stop, record.stop)
    if (batch := record.batch) is not None:
        ended = stop if batch.ended_at is None else min(stop, batch.ended_at)
        if max(start, batch.started_at) < ended:
            start, stop = max(start, batch.started_at), ended
    if _long(start, stop):
        return record.exposure(start, stop)
    floor = record.floor_readings(start, stop)
    target = record.target_between(start, stop)
    return exposure(list(floor.values()), target, start=start, stop=max(start, stop),
                    hold_s=record.hold_s)  # fmt: skip


def _title(record: Record, start: float, stop: float) -> str:
    zone, name = record.site.timezone, f"{record.site.name}, {record.brooder.name}"
    when = f"{moment(start, zone)} to {moment(round(stop / 60) * 60, zone)}"
    if stop - start > 2 * 86400:
        when = f"{day_text(start, zone)} to {day_text(stop - 1, zone)}"
    if record.batch is None:
        return f"{name}: {when}"
    first = (local_date(start, zone) - record.batch.hatched).days
    last = (local_date(stop - 1, zone) - record.batch.hatched).days
    age = f"day {first}" if first == last else f"days {first}-{last}"
    return f"{name}: {when}, {age}"


def _summary(record: Record, told: Exposure, start: float, stop: float) -> tuple[str, ...]:
    """The story in two or three short lines that fit a phone's width."""
    zone, unit = record.site.timezone, record.site.units
    lines = []
    if told.low_c is None or told.low_at is None:
        lines.append("no floor probe was heard")
    else:
        target_c = record.target_between(start, stop).at(told.low_at)
        asked = "" if target_c != target_c else f", target {shown(target_c, unit)}"  # noqa: PLR0124
        when = clock if stop - start <= DAY_S else moment
        lines.append(f"coldest floor {shown(told.low_c, unit)} at {when(told.low_at, zone)}{asked}")
    outside = []
    if told.below_s >= _LEAST_TOLD_S:
        chilled = told.chill_s >= _LEAST_TOLD_S
        depth = f", {span(told.chill_s)} of it below chill" if chilled else ""
        outside.append(f"{span(told.below_s)} below the band{depth}")
    if told.above_s >= _LEAST_TOLD_S:
        outside.append(f"{span(told.above_s)} above the band")
    if not outside and told.judged_s >= _LEAST_TOLD_S:
        outside.append("in the band whenever it was read")
    lines += outside
    if told.gap_s >= _LEAST_GAP_S:
        lines.append(f"{span(told.gap_s)} without readings")
    if (energy := energy_line(record, start, stop)) is not None:
        lines.append(energy)
    lines += _answered(record, start, stop)
    if record.batch is not None and (lost := record.batch.lost(start, stop)):
        lines.append(f"{counted(lost, 'bird')} lost")
    return tuple(lines)


def _answered(record: Record, start: float, stop: float) -> list[str]:
    """The first urgent alarm of the span and when somebody answered."""
    zone = record.site.timezone
    for alarm in record.alarms:
        if alarm.priority is Priority.URGENT and start <= alarm.raised < stop:
            answered = "nobody answered"
            if alarm.acknowledged is not None:
                answered = f"answered {clock_after(alarm.acknowledged, alarm.raised, zone)}"
            when = clock if stop - start <= DAY_S else moment
            return [f"first urgent alarm {when(alarm.raised, zone)} ({alarm.alarm}), {answered}"]
    return []


def _event(entry: Entry) -> Event | None:
    many = "all" if entry.count is None else str(entry.count)
    said = f": {entry.note}" if entry.note else ""
    if remark := remark_words(entry):
        return Event(at=entry.at, what="note", text=remark)
    if entry.entry is EntryKind.NOTE:
        return Event(at=entry.at, what="note", text=entry.note or "")
    if entry.entry is EntryKind.LOSS:
        return Event(at=entry.at, what="loss", text=f"{many} lost{said}", count=entry.count)
    if entry.entry in (EntryKind.PLACED, EntryKind.MOVED):
        return Event(
            at=entry.at,
            what=entry.entry.value,
            text=f"{many} {entry.entry}{said}",
            count=entry.count,
        )
    return None


def _ages(record: Record, start: float) -> tuple[tuple[float, int], ...]:
    """The first midnight of the span and the age then, for the axis."""
    if record.batch is None:
        return ()
    zone = record.site.timezone
    day = local_date(start, zone)
    if midnight(day, zone) < start:
        day += timedelta(days=1)
    return ((midnight(day, zone), (day - record.batch.hatched).days),)
