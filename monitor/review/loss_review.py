"""Loss by loss: what the floor did in the 24 and 48 hours before, beside the batch's other nights.
Called by the command, the report and the page. `loss_words` says what it can and cannot tell."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.brooding.calendar import local_date
from monitor.events import Priority
from monitor.review.alarm_log import Occurrence
from monitor.review.days import Cut, days
from monitor.review.exposure import Exposure
from monitor.review.record import Record

DAY_S = 86400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """The hours before one loss was found; fewer when the batch began within them."""

    start: float
    stop: float
    exposure: Exposure
    alarms: tuple[Occurrence, ...]  # urgent and warning, active at some time


@dataclass(frozen=True, slots=True, kw_only=True)
class LossReview:
    """One ledger entry of a loss and what came before it."""

    at: float
    count: int
    heads_before: int
    age_days: int
    note: str | None
    day: Before  # 24 h
    two_days: Before  # 48 h
    others: tuple[Exposure, ...]  # the other whole nights that were mostly read

    @property
    def colder_others(self) -> int:
        """Other nights with more degree-hours below the band than the 24 h before this loss."""
        return sum(night.below_ks > self.day.exposure.below_ks for night in self.others)


def losses(record: Record) -> list[LossReview]:
    batch = record.batch
    if batch is None:
        return []
    nights = _nights(record)
    found = []
    for tally in batch.losses:
        if not record.start <= tally.at <= record.stop:
            continue
        begins = max(record.start, batch.started_at)
        day = _before(record, tally.at, DAY_S, begins)
        found.append(
            LossReview(
                at=tally.at,
                count=tally.count,
                heads_before=tally.heads_after + tally.count,
                age_days=(local_date(tally.at, record.site.timezone) - batch.hatched).days,
                note=tally.note,
                day=day,
                two_days=_before(record, tally.at, 2 * DAY_S, begins),
                others=_others(day, nights),
            )
        )
    return found


def _before(record: Record, at: float, hours_s: float, begins: float) -> Before:
    """What no bird lived through, the empty box before they came, is no part of it."""
    start = max(at - hours_s, begins)
    return Before(
        start=start,
        stop=at,
        exposure=record.exposure(start, at),
        alarms=tuple(
            alarm
            for alarm in record.alarms
            if alarm.priority is not Priority.ADVICE and alarm.overlaps(start, at)
        ),
    )


def _nights(record: Record) -> list[tuple[float, float, Exposure]]:
    """Every whole noon-to-noon day of the record with its figures."""
    return [
        (day.start, day.stop, record.exposure(day.start, day.stop))
        for day in days(record.start, record.stop, record.site.timezone, Cut.NOON)
        if day.whole
    ]


def _others(day: Before, nights: Sequence[tuple[float, float, Exposure]]) -> tuple[Exposure, ...]:
    """Nights that share more than half of their time with the 24 hours are not other nights."""
    return tuple(
        figures
        for start, stop, figures in nights
        if min(stop, day.stop) - max(start, day.start) < (stop - start) / 2
        and figures.judged_s > 0.5 * figures.span_s
    )
