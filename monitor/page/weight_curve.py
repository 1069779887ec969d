"""The birds' weights against the breeder's table, as a picture and a sentence. Pure; called by
`screen_record`. Places as in `day_picture`: paths in a square of 1000 by 1000, the rest in
percent."""

from dataclasses import dataclass

from monitor.brooding.batch import Batch
from monitor.brooding.bird_kinds import mass_kg
from monitor.brooding.calendar import age_days
from monitor.brooding.entries import grams_of
from monitor.page.phrases import Phrases
from monitor.tell.wording.daily_needs import bird_weight, needs_words, weight_words

_LEAST_DAYS = 14.0
_STEPS = 28
_OVER = 1.1  # air over the highest


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightCurve:
    """`points` are what was weighed, (x, y) in percent."""

    table: str
    points: tuple[tuple[float, float], ...]
    days: int
    most: str  # at the top
    words: str
    needs: str | None  # feed and water of this day


def weight_curve(batch: Batch, say: Phrases) -> WeightCurve:
    """Of one batch, to a day or two after today."""
    zone, units = say.site.timezone, say.site.units
    until = say.now if batch.ended_at is None else batch.ended_at
    age = max(0.0, age_days(batch.hatched, until, zone))
    weighed = [
        (age_days(batch.hatched, entry.at, zone), grams)
        for entry in batch.notes
        if (grams := grams_of(entry)) is not None
    ]
    days = max(_LEAST_DAYS, age + 2.0)
    table = [
        (days * step / _STEPS, 1000.0 * mass_kg(batch.kind, days * step / _STEPS))
        for step in range(_STEPS + 1)
    ]
    most = _OVER * max(grams for _, grams in [*table, *weighed])

    def place(day: float, grams: float) -> tuple[float, float]:
        return round(100 * day / days, 1), round(100 * (1 - grams / most), 1)

    path = "L".join(f"{10 * x:g},{10 * y:g}" for x, y in (place(*point) for point in table))
    last = weighed[-1] if weighed else None
    return WeightCurve(
        table=f"M{path}",
        points=tuple(place(*point) for point in weighed),
        days=round(days),
        most=bird_weight(most, units),
        words=weight_words(batch.kind, *last, units)
        if last
        else "None weighed yet. Weigh ten together and enter what one of them weighs.",
        needs=None
        if batch.ended_at is not None
        else needs_words(batch.kind, age, batch.head_count(), units),
    )
