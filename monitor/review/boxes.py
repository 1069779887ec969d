"""One batch over all its boxes: one mortality, one row a night, each box's floor beside the other.
Called by the command, the report and the Record screen's child."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from monitor.brooding.batch import Batch
from monitor.brooding.calendar import week_of_age
from monitor.brooding.ledger import Ledger, fold
from monitor.journal.reader import JournalReader
from monitor.review.days import Cut, RecordDay
from monitor.review.figure_text import span_text
from monitor.review.record import Asked, NotFound, Record, open_record
from monitor.review.sheet import LEAST_GAP_S, DayRow, Note, Week, sheet
from monitor.site import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """One day in every box, in the records' order; None: that box had no part in it."""

    day: RecordDay
    rows: tuple[DayRow | None, ...]
    lost: int
    lost_so_far: int
    placed: int
    notes: tuple[Note, ...]  # each with its box

    @property
    def below_s(self) -> float:
        """How long it was too cold, s, in the box where it was longest."""
        return max(row.exposure.below_s for row in self.rows if row is not None)

    @property
    def above_s(self) -> float:
        """How long it was too hot, likewise."""
        return max(row.exposure.above_s for row in self.rows if row is not None)

    @property
    def gap_s(self) -> float:
        """How long it was not read, likewise."""
        return max(row.exposure.gap_s for row in self.rows if row is not None)

    @property
    def first(self) -> DayRow:
        """What holds for all boxes, the age and the target, from one that was there."""
        return next(row for row in self.rows if row is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class NightsOfWeek:
    """A week of age in every box."""

    nights: tuple[Night, ...]
    weeks: tuple[Week | None, ...]

    @property
    def lost(self) -> int:
        return sum(week.lost for week in self.weeks if week)


def open_batch(kept: JournalReader, site: Site, asked: Asked, *, now: float | None) -> list[Record]:
    """The records of one batch, one a box; of the box asked for alone, if one is. `asked.batch`
    counts the site's batches where no box is named. Raises NotFound."""
    ledger = fold(kept.entries())
    batches = _families(ledger, site)
    boxes = {each.brooder for family in batches for each in family}
    if asked.brooder is not None or len(boxes) < 2:
        return [open_record(kept, site, asked, now=now)]
    return _records(kept, site, ledger, _chosen(batches, asked), asked, now=now)


def open_family(
    kept: JournalReader, site: Site, box: str, ordinal: int, *, now: float
) -> list[Record]:
    """The records of the batch that is a box's first, second, ..., in all its boxes. Raises
    NotFound."""
    ledger = fold(kept.entries())
    mine = ledger.of(box)[ordinal - 1 : ordinal]
    family = next((each for each in _families(ledger, site) if set(mine) & set(each)), mine)
    return _records(kept, site, ledger, family, Asked(), now=now)


def open_each(
    kept: JournalReader, site: Site, *, now: float | None
) -> Iterator[tuple[int, list[Record]]]:
    """Every batch of the site with its number, the first one first; what holds no record of it is
    left out. Raises NotFound where there is none at all."""
    ledger = fold(kept.entries())
    batches = _families(ledger, site)
    if not batches:
        raise NotFound("the ledger has no batch yet; enter `brooder flock placed`")
    for number, family in enumerate(batches, 1):
        try:
            yield number, _records(kept, site, ledger, family, Asked(), now=now)
        except NotFound:
            continue


def _records(
    kept: JournalReader,
    site: Site,
    ledger: Ledger,
    family: Sequence[Batch],
    asked: Asked,
    *,
    now: float | None,
) -> list[Record]:
    found: list[Record] = []
    for batch in family:
        ordinal = ledger.of(batch.brooder).index(batch) + 1
        try:
            one = replace(asked, brooder=batch.brooder, batch=ordinal)
            found.append(open_record(kept, site, one, now=now))
        except NotFound:
            continue  # this box had no part in the span that was asked for
    if not found:
        raise NotFound("nothing is recorded in that span")
    return found


def _families(ledger: Ledger, site: Site) -> list[tuple[Batch, ...]]:
    """The site's batches, each with its boxes that are still configured."""
    return ledger.families([box.name for box in site.brooders])


def _chosen(batches: list[tuple[Batch, ...]], asked: Asked) -> tuple[Batch, ...]:
    if asked.batch is not None:
        if not 1 <= asked.batch <= len(batches):
            raise NotFound(
                f"--batch is {asked.batch}; there have been {len(batches)}, counted from 1"
            )
        return batches[asked.batch - 1]
    within = [family for family in batches if _touches(family, asked.start, asked.stop)]
    if not within:
        raise NotFound("the ledger has no batch then; give --brooder with --from and --to")
    newest = within[-1]
    begun = min(each.started_at for each in newest)
    others = [family for family in within[:-1] if _touches(family, begun, None)]
    if others:
        names = dict.fromkeys(each.brooder for family in [*others, newest] for each in family)
        raise NotFound(f"--brooder is missing; write one of {', '.join(names)}")
    return newest


def _touches(family: tuple[Batch, ...], start: float | None, stop: float | None) -> bool:
    return any(
        (stop is None or each.started_at < stop)
        and (start is None or each.ended_at is None or each.ended_at > start)
        for each in family
    )


def nights_of(records: Sequence[Record], cut: Cut) -> list[NightsOfWeek]:
    """The record sheets of one batch's boxes as one, week by week."""
    sheets = [sheet(record, cut) for record in records]
    by_day = [{row.day.day: row for row in each.rows} for each in sheets]
    weeks = [{week.number: week for week in each.weeks} for each in sheets]
    found: dict[int | None, list[Night]] = {}
    for day in sorted({day for rows in by_day for day in rows}):
        night = _night(records, tuple(rows.get(day) for rows in by_day))
        age = night.first.age_days
        found.setdefault(None if age is None else week_of_age(age), []).append(night)
    return [
        NightsOfWeek(nights=tuple(nights), weeks=tuple(week.get(number) for week in weeks))
        for number, nights in found.items()
    ]


def _night(records: Sequence[Record], rows: tuple[DayRow | None, ...]) -> Night:
    there = [row for row in rows if row is not None]
    stop = max(row.day.stop for row in there)
    batch, ledger = records[0].batch, records[0].ledger
    placed, so_far = (0, 0) if batch is None else ledger.family_count(batch, to_at=stop)
    return Night(
        day=max((row.day for row in there), key=lambda day: day.stop - day.start),
        rows=rows,
        lost=sum(row.flock.lost for row in there if row.flock),
        lost_so_far=so_far,
        placed=placed,
        notes=_notes(records, rows),
    )


def _unread(row: DayRow) -> Iterator[Note]:
    """There is no room for a column of it: without a word a blank night would look like a good
    one."""
    if (gap_s := row.exposure.gap_s) >= LEAST_GAP_S:
        yield Note(at=row.day.start, text=f"no floor probe was heard, for {span_text(gap_s)} h")


def _notes(records: Sequence[Record], rows: tuple[DayRow | None, ...]) -> tuple[Note, ...]:
    """What was written in each box; what holds for all of them stands once."""
    boxes: dict[Note, list[str]] = {}
    for record, row in zip(records, rows, strict=True):
        for note in (*_unread(row), *row.notes) if row else ():
            boxes.setdefault(note, []).append(record.brooder.name)
    return tuple(
        note if len(names) == len(records) else replace(note, text=f"{names[0]}: {note.text}")
        for note, names in sorted(boxes.items(), key=lambda item: item[0].at)
    )
