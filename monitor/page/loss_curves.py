"""The lost of each batch by age, one line a batch, as a picture. Pure; called by `screen_record`.
Places as in `day_picture`: paths in a square of 1000 by 1000, the rest in percent."""

from dataclasses import dataclass

from monitor.brooding.batch import Batch, Ledger
from monitor.brooding.calendar import age_days
from monitor.brooding.losses import usual_percent
from monitor.page.phrases import Phrases

_LEAST_DAYS, _LEAST_PERCENT = 14.0, 6.0
_OVER = 1.15  # air over the highest


@dataclass(frozen=True, slots=True, kw_only=True)
class LossCurves:
    """`lines`: the batch's number, its path, and where it ends (x, y in percent)."""

    lines: tuple[tuple[int, str, tuple[float, float]], ...]
    usual: str
    days: int
    most: str  # at the top
    words: str


def loss_curves(ledger: Ledger, batches: list[tuple[int, Batch]], say: Phrases) -> LossCurves:
    """Of these batches, each with its number, over all their boxes."""
    zone = say.site.timezone
    courses: list[tuple[int, list[tuple[float, float]]]] = []
    for number, batch in batches:
        family = ledger.family(batch)
        ended = [each.ended_at for each in family]
        until = say.now if None in ended else max(at for at in ended if at is not None)
        times = sorted({loss.at for each in family for loss in each.losses})
        course = [(max(0.0, age_days(batch.hatched, batch.started_at, zone)), 0.0)]
        for at in times:
            placed, lost = ledger.family_count(batch, to_at=at + 0.001)
            age = age_days(batch.hatched, at, zone)
            course += [(age, course[-1][1]), (age, 100.0 * lost / placed if placed else 0.0)]
        course.append((max(course[-1][0], age_days(batch.hatched, until, zone)), course[-1][1]))
        courses.append((number, course))
    days = max([_LEAST_DAYS, *(course[-1][0] for _, course in courses)])
    most = _OVER * max([_LEAST_PERCENT, *(course[-1][1] for _, course in courses)])

    def place(age: float, percent: float) -> tuple[float, float]:
        return round(100 * age / days, 2), round(100 * (1 - percent / most), 2)

    def path(course: list[tuple[float, float]]) -> str:
        return "M" + "L".join(f"{10 * x:g},{10 * y:g}" for x, y in (place(*p) for p in course))

    return LossCurves(
        lines=tuple((number, path(course), place(*course[-1])) for number, course in courses),
        usual=path([(age, usual_percent(age)) for age in (0.0, 7.0, min(28.0, days), days)]),
        days=round(days),
        most=f"{most:.0f} %",
        words="; ".join(f"batch {number}: {course[-1][1]:.1f} %" for number, course in courses),
    )
