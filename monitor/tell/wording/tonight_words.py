"""Will it hold tonight? One answer for the page and for `brooder tonight`: what is likely, how
sure that is, how cold at worst, what would make it hold."""

from monitor.tell.wording import first_aid
from monitor.tell.wording.words import Voice, span
from monitor.thermal.diagnosis import Outlook
from monitor.thermal.mending import left_open
from monitor.thermal.tonight import CLEAR_CHANCE

OLD_S = 120.0  # a reading older than this says how old it is. Common practice
_HALF = 0.5
_EVEN = 0.05  # as near to one half nobody can say which is likelier
_SURE = 0.95
_LEAST_W = 5  # less is within the estimate's own doubt


def tonight(outlook: Outlook, voice: Voice, now: float, read_at: float | None) -> tuple[str, ...]:
    """The lines, the answer first. `read_at`: when the floor was last read (Unix s); None: there is
    no reading to believe."""
    low = outlook.lowest_c
    mend = outlook.mend if outlook.chance >= CLEAR_CHANCE else ()
    lines = [
        _lead(outlook, voice, now),
        _again(outlook),
        _old(now, read_at),
        f"Lowest on the floor about {voice.temp(low.mid)} at "
        f"{voice.clock(outlook.lowest_at, now)}, likely {voice.figure(low.low)} to "
        f"{voice.figure(low.high)}. Outside down to {voice.temp(outlook.outside_low_c)} "
        f"({outlook.outside_from}).",
        _air(outlook),
        _more_watts(outlook),
        first_aid.would_help(mend) if mend else None,
        first_aid.LAMP_CARE if first_aid.names_a_lamp(mend) else None,
        _how_known(outlook),
    ]
    return tuple(line for line in lines if line is not None)


def of_100(chance: float) -> str:
    """`about 35 in 100`; nobody knows it finer."""
    if chance < 1.0 - _SURE:
        return "less than 5 in 100"
    if chance > _SURE:
        return "more than 95 in 100"
    return f"about {round(chance * 20) * 5} in 100"


def _lead(outlook: Outlook, voice: Voice, now: float) -> str:
    chance = outlook.chance
    said = of_100(chance)
    if outlook.below_now:
        return "It is below its band already."
    if abs(chance - _HALF) < _EVEN:
        return f"It is as likely as not to get too cold ({said})."
    if chance < CLEAR_CHANCE:
        holds = "looks as if it will" if outlook.first_night else "should"
        return f"It {holds} hold. Chance of getting too cold: {said}."
    if chance < _HALF:
        return f"It will probably hold. Chance of getting too cold: {said}."
    leaves = (
        f" It would leave the band about {voice.clock(outlook.leaves_band_at, now)}."
        if outlook.leaves_band_at is not None
        else ""
    )
    if chance > _SURE:
        return f"It will not hold ({said}).{leaves}"
    return f"More likely than not it will not hold ({said}).{leaves}"


def _again(outlook: Outlook) -> str | None:
    if not outlook.below_now:
        return None
    said = of_100(outlook.chance)
    if outlook.chance < _HALF:
        return f"It should come back and then hold. Chance of getting too cold again: {said}."
    return f"It is not likely to come back and hold by itself: {said} that it stays or gets cold."


def _old(now: float, read_at: float | None) -> str | None:
    if read_at is None:
        return "There is no floor reading to believe just now; this goes by the last ones."
    if now - read_at < OLD_S:
        return None
    return f"The last floor reading is {span(now - read_at)} old: what came since is not in this."


def _air(outlook: Outlook) -> str | None:
    part = left_open(outlook.open_share)
    if part is None:
        return None
    if part == "all":
        return (
            "The birds need more air than any cover lets through: take it off. "
            "The figures here assume that."
        )
    return f"Leave {part} of the top open: the birds need the air. The figures here assume that."


def _how_known(outlook: Outlook) -> str | None:
    if outlook.learned < 0.5:
        return (
            "This rests on the size of the box so far; it gets better with every hour of readings."
        )
    if outlook.first_night:
        return (
            "Nobody has watched a night with these birds and this heat: be ready for a colder one."
        )
    return None


def _more_watts(outlook: Outlook) -> str | None:
    """CLEAR_CHANCE is what is left of doubt with so many watts more."""
    watts = round(outlook.missing_watts / _LEAST_W) * _LEAST_W
    if watts < _LEAST_W:
        return None
    nights = round((1.0 - CLEAR_CHANCE) * 10)
    return f"To hold in {nights} nights out of 10, add about {watts} W."
