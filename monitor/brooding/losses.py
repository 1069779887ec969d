"""How many chicks are usually lost by an age, and when it is more. Called by `advice` and the
record sheet.

Published: a breeder aims at less than 0.7 % in the first week; a farm site calls 1 to 5 % of the
first days normal; Cornell's good poultryman rears 95 % through brooding. Commercial flocks peak
on days 3 and 4 and are quiet from day 10. For a small box the middle is used: 3 % by the end of
the first week, 5 % by four weeks (the ages are ours); and since one chick in thirty is 3 % already,
nothing is said before three are lost."""

from bisect import bisect_right
from dataclasses import replace

from monitor.brooding.provenance import COMMON_PRACTICE, Mark, Source

FIRST_WEEK_AIM_PERCENT = 0.7
FIRST_WEEK_AIM_SOURCE = Source(
    "breeder's handbook, 7-day mortality target below 0.7 %",
    Mark.QUOTED,
    "https://th4.ilovetranslation.com/udaC-cCBi-S=d",
)
FIRST_DAYS_SOURCE = Source(
    "farm site: 1 to 5 % of chicks in the first days; taken here as 1 % on day 0 and 3 % by day 7",
    Mark.DERIVED,
    "https://kenaff.fo-library.org/?p=20493",
)
WHOLE_SOURCE = Source(
    'Cornell, Marble and Schano, "Brooding Chickens in Colony Houses": a good poultryman rears '
    "95 % of his chicks; laid on day 28",
    Mark.MEMORY,
)
# (age in days, usual losses so far in % of those placed); straight lines between
USUAL: tuple[tuple[float, float, Source], ...] = (
    (0.0, 1.0, FIRST_DAYS_SOURCE),
    (7.0, 3.0, FIRST_DAYS_SOURCE),
    (28.0, 5.0, WHOLE_SOURCE),
)
LEAST_BIRDS = 3
DAY_PERCENT = 2.0  # more than this of the flock within a day is not the usual trickle
DAY_SOURCE = COMMON_PRACTICE


def usual_percent(age_days: float) -> float:
    """Usual losses up to an age, in percent of the chicks placed."""
    if age_days <= USUAL[0][0]:
        return USUAL[0][1]
    index = bisect_right(USUAL, age_days, key=lambda row: row[0])
    if index == len(USUAL):
        return USUAL[-1][1]
    (from_day, low, _), (to_day, high, _) = USUAL[index - 1], USUAL[index]
    return low + (age_days - from_day) / (to_day - from_day) * (high - low)


def usual_source(age_days: float) -> Source:
    """Where `usual_percent` of that age comes from."""
    if age_days <= 7.0:
        return FIRST_DAYS_SOURCE
    if age_days >= USUAL[-1][0]:
        return WHOLE_SOURCE
    share = f"{WHOLE_SOURCE.text}; of that loss the share of this age"
    return replace(WHOLE_SOURCE, text=share, mark=Mark.DERIVED)


def are_high(*, age_days: float, placed: int, lost: int) -> bool:
    """Are losses so far more than usual for the age?"""
    return lost >= LEAST_BIRDS and placed > 0 and 100.0 * lost / placed > usual_percent(age_days)


def day_is_high(*, head_count_before: int, lost_in_day: int) -> bool:
    """Were more lost within a day than a trickle?"""
    return (
        lost_in_day >= LEAST_BIRDS
        and head_count_before > 0
        and 100.0 * lost_in_day / head_count_before > DAY_PERCENT
    )
