"""Batches beside each other: losses, days too cold or hot, heat used and its cost. Called by the
command and the Record screen's child."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.brooding.arrival import dead_on_arrival
from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.calendar import at_age, local_date
from monitor.measures import Price, counted
from monitor.review.boxes import nights_of
from monitor.review.days import Cut
from monitor.review.energy import HOW_WORDS, Used, heat_used, reserve
from monitor.review.figure_text import day_text, span_text
from monitor.review.record import Record
from monitor.site import Place, Site
from monitor.tell.wording.words import listed
from monitor.units import shown
from monitor.watch.suppression import PLAIN_S


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchFigures:
    """One batch over all its boxes. Temperatures degC, durations seconds; a day is from noon to
    noon, and of one in several boxes the box counts where it was longest."""

    number: int  # the site's batches are counted from 1
    boxes: tuple[str, ...]
    kind: str
    hatched: str
    began: float
    stop: float  # when it ended, or now
    ended: bool
    placed: int
    lost: int
    lost_first_week: int
    dead_on_arrival: int
    days: int
    cold_days: int  # too cold for as long as a plain alarm waits
    below_s: float
    hot_days: int
    above_s: float
    low_c: float | None  # of any floor probe
    outside_low_c: float | None
    used: tuple[Used, ...]

    @property
    def kwh(self) -> float:
        return sum(one.kwh for one in self.used)


def figures(records: Sequence[Record], number: int) -> BatchFigures | None:
    """The figures of one batch's records; None without a batch."""
    batch, ledger = records[0].batch, records[0].ledger
    if batch is None:
        return None
    family = ledger.family(batch)
    stop = max(one.stop for one in records)
    placed, lost = ledger.family_count(batch, to_at=stop)
    week = min(stop, at_age(batch.hatched, 7, records[0].site.timezone))
    every = [day for week in nights_of(records, Cut.NOON) for day in week.nights]
    below, above = [day.below_s for day in every], [day.above_s for day in every]
    there = [row.exposure for day in every for row in day.rows if row]
    lows = [told.low_c for told in there if told.low_c is not None]
    return BatchFigures(
        number=number,
        boxes=tuple(dict.fromkeys(one.brooder.name for one in records)),
        kind=batch.kind,
        hatched=batch.hatched.isoformat(),
        began=min(one.start for one in records),
        stop=stop,
        ended=all(each.ended_at is not None for each in family),
        placed=placed,
        lost=lost,
        lost_first_week=ledger.family_count(batch, to_at=week)[1],
        dead_on_arrival=sum(dead_on_arrival(ledger, each) for each in family),
        days=len(every),
        cold_days=sum(seconds >= PLAIN_S for seconds in below),
        below_s=sum(below),
        hot_days=sum(seconds >= PLAIN_S for seconds in above),
        above_s=sum(above),
        low_c=min(lows, default=None),
        outside_low_c=_outside_low(records),
        used=tuple(used for one in records for used in heat_used(one)),
    )


def _outside_low(records: Sequence[Record]) -> float | None:
    lows = []
    for one in records:
        keys = [probe.key for probe in one.probes if probe.place is Place.OUTSIDE]
        for trace in one.readings_of(keys).values():
            within = trace.between(one.start, one.stop)
            if len(within.temps_c):
                lows.append(float(within.temps_c.min()))
    return min(lows, default=None)


def rows(one: BatchFigures, site: Site) -> list[tuple[str, str]]:
    """What stands beside the other batches, line by line in one order."""
    zone, unit, price = site.timezone, site.units, site.price_per_kwh
    goes_on = "" if one.ended else " so far"
    days = (local_date(one.stop, zone) - local_date(one.began, zone)).days
    dead = f", {one.dead_on_arrival} dead on arrival" if one.dead_on_arrival else ""
    found = [
        ("birds", KINDS[one.kind].many),
        ("hatched", one.hatched),
        (
            "in the box",
            f"{day_text(one.began, zone)} to {day_text(one.stop, zone)}, "
            f"{counted(days, 'day')}{goes_on}",
        ),
        ("boxes", listed(list(one.boxes))),
        ("placed", f"{one.placed}{dead}"),
        ("lost", _share(one.lost, one.placed)),
        ("lost in week 1", _share(one.lost_first_week, one.placed)),
        ("days too cold", _days(one.cold_days, one.days, one.below_s)),
        ("days too hot", _days(one.hot_days, one.days, one.above_s)),
        ("coldest floor", "not read" if one.low_c is None else shown(one.low_c, unit)),
        (
            "coldest outside",
            "not read" if one.outside_low_c is None else shown(one.outside_low_c, unit),
        ),
        ("heat used", f"{reserve(one.used)}{one.kwh:.0f} kWh" if one.used else "no source entered"),
    ]
    if price is not None:
        reared = one.placed - one.lost
        found += [
            ("its cost", f"{reserve(one.used)}{price.of(one.kwh)}"),
            ("a bird reared", f"{reserve(one.used)}{price.of(one.kwh / reared)}" if reared else ""),
        ]
    return found


def heat_words(every: Sequence[BatchFigures], price: Price | None) -> list[str]:
    """How the heat was worked out, and what is missing for its cost."""
    if not any(one.used for one in every):
        return []
    lines = [HOW_WORDS, "Sources and watts are those configured now."]
    if price is None:
        lines.append("For its cost give the price of a kWh: Set-up, the place.")
    return lines


def _share(lost: int, placed: int) -> str:
    return f"{lost} ({100.0 * lost / placed:.1f} %)" if placed else str(lost)


def _days(bad: int, every: int, seconds: float) -> str:
    if not bad:
        return f"none of {every}"
    return f"{bad} of {every}, {span_text(seconds)} h"
