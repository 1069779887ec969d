"""A loss in plain words: its heading, figures and alarms, and what else to look at. For command,
report and page. How far the record goes in explaining it is in `verdict`."""

from collections.abc import Callable, Sequence
from typing import Any

from monitor.measures import span
from monitor.review.figure_text import (
    clock_after,
    degree_hours,
    degree_hours_sign,
    moment,
    span_text,
)
from monitor.review.loss_review import Before, LossReview
from monitor.review.record import Record
from monitor.review.verdict import verdict
from monitor.units import shown

_ALWAYS = ("lowest", "below the band")  # rows that are told even when they are nought

CANNOT = (
    "A loss is written down when it is found; the chick may have died hours earlier.",
    "Cold before a loss is a reason to suspect cold, not a proof: a few losses can always fall "
    "after the coldest night by chance.",
    "The probes read the floor where they lie. A draught, a wet corner or a pile of chicks a step "
    "away is not in these figures.",
)

FIGURES_THAT_MATTER = (
    "how long and how far the coldest floor probe was below the chill limit, and when",
    "how soon after an alarm somebody answered it",
    "how many were found at once, where they lay (in a pile, at the edge, spread out), wet or dry",
    "losses on days without cold, for comparison",
)

# Common practice throughout; the age of the loss decides which come first.
_CAUSES: tuple[tuple[int, int, str], ...] = (
    (0, 4, "the journey: chicks that came by mail arrive thirsty and chilled, and the weakest die "
     "in the first three or four days whatever the box does"),
    (0, 4, "navel infection: a wet or dark navel, a swollen belly"),
    (0, 10, "pasty vents: droppings caked over the vent; wash them off with warm water"),
    (0, 60, "piling: chicks heap up from cold, draught, a bright or dark corner, or a fright, and "
     "smother though the floor is warm; look for flattened dry chicks in a corner"),
    (0, 60, "water: a drinker empty, too high or in the dark; or one deep enough to drown in"),
    (0, 60, "predators: a rat, a snake or a cat leaves bites, blood or a count that is short"),
    (7, 60, "coccidiosis: blood in the droppings, ruffled chicks, from the second week on"),
    (10, 60, "leg trouble and sudden death in fast-growing meat birds"),
)  # fmt: skip

ASK = (
    "Losses that go on, or more than a few at once: ask a veterinarian, or send fresh birds, "
    "chilled but not frozen, to a poultry diagnostic laboratory. Only an examination finds the "
    "cause."
)


def other_causes(found: Sequence[LossReview]) -> list[str]:
    """What else to look at, at the ages at which birds were lost."""
    ages = {loss.age_days for loss in found}
    return [text for first, last, text in _CAUSES if any(first <= age <= last for age in ages)]


def heading(loss: LossReview, record: Record) -> str:
    """`11 Feb 06:30, day 4: 2 of 100 lost (piled in the corner)`."""
    said = f" ({loss.note})" if loss.note else ""
    when = moment(loss.at, record.site.timezone)
    return f"{when}, day {loss.age_days}: {loss.count} of {loss.heads_before} lost{said}"


def heads(loss: LossReview) -> list[str]:
    """Headings over `figures` after the first; the last only where there are other nights."""
    found = ["24 h before", "48 h before"]
    if loss.others:
        many = len(loss.others)
        found.append("the other night" if many == 1 else f"middle of {many} other nights")
    return found


def in_parts(loss: LossReview, record: Record) -> dict[str, Any]:
    """All that is said of one loss, for a page."""
    return {
        "heading": heading(loss, record),
        "verdict": verdict(loss, record),
        "heads": heads(loss),
        "figures": figures(loss, record),
        "alarms": alarm_words(loss.two_days, record),
    }


def figures(loss: LossReview, record: Record) -> list[tuple[str, ...]]:
    """A table: what, in the 24 hours before, in the 48 hours before, and where there are other
    nights their middle."""
    unit, mark = record.site.units, degree_hours_sign(record.site.units)

    def low(temp_c: float | None) -> str:
        return "not read" if temp_c is None else shown(temp_c, unit)

    def area(below_ks: float) -> str:
        return f"{degree_hours(below_ks, unit):.1f}"

    rows: list[tuple[str, str, Callable[[Any], str]]] = [
        ("lowest floor", "low_c", low),
        ("below the band, h:min", "below_s", span_text),
        (f"below the band, {mark}", "below_ks", area),
        ("below the chill limit, h:min", "chill_s", span_text),
        (f"below the chill limit, {mark}", "chill_ks", area),
        ("above the band, h:min", "above_s", span_text),
        ("above the overheat limit, h:min", "overheat_s", span_text),
        ("not read, h:min", "gap_s", span_text),
    ]
    found, columns = [], 1 + len(heads(loss))
    for name, figure, show in rows:
        mine = [getattr(each.exposure, figure) for each in (loss.day, loss.two_days)]
        others = [getattr(night, figure) for night in loss.others]
        if name.startswith(_ALWAYS) or any(mine) or any(others):
            # The night in the middle, when nights are ordered by the figure (the lower of two).
            known = sorted(value for value in others if value is not None)
            middle = show(known[(len(known) - 1) // 2]) if known else "-"
            row = (name, show(mine[0]), show(mine[1]), middle)
            found.append(row[:columns])
    return found


def alarm_words(before: Before, record: Record) -> list[str]:
    """The alarms of those hours and when somebody answered, one line each."""
    zone, lines = record.site.timezone, []
    for alarm in before.alarms:
        if alarm.acknowledged is None:
            answered = "nobody acknowledged it"
        else:
            waited = span(alarm.acknowledged - alarm.raised)
            who = f" by {alarm.by}" if alarm.by else ""
            when = clock_after(alarm.acknowledged, alarm.raised, zone)
            answered = f"acknowledged {when}{who} (after {waited})"
        if alarm.over is None:
            over = "not over"
        else:
            how = "over" if alarm.put_aside is None else "put aside"
            over = f"{how} {clock_after(alarm.over, alarm.raised, zone)}"
        lines.append(f"{alarm.alarm} {moment(alarm.raised, zone)}, {answered}, {over}")
    return lines or ["no alarm"]
