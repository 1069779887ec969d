"""Will it hold tonight? One answer for the page and for `brooder tonight`: what is likely, how
sure that is, how cold at worst, what would make it hold."""

from collections.abc import Iterator

from monitor.measures import span
from monitor.tell.wording import first_aid
from monitor.tell.wording.temperature import BY_HOW_IT_COOLS, COOL_FIRST
from monitor.tell.wording.words import Voice
from monitor.thermal.by_size import BySize, NightAsked
from monitor.thermal.coming_night import CLEAR_CHANCE, UNSURE_CHANCE, WARN_CHANCE
from monitor.thermal.diagnosis import Outlook
from monitor.thermal.mending import WARMER_ROOM, left_open
from monitor.watch.status import BrooderStatus

# A reading older than this says how old it is; one that is older still tells nothing of now.
OLD_S, _PAST_S = 120.0, 1800.0  # common practice
_SEE_PROBE = "see whether the floor probe is heard."
_HALF = 0.5
_EVEN = 0.05  # as near to one half nobody can say which is likelier
_SURE = 0.95
SETTLED_S = 3600.0  # an empty box in its band for so long has settled. Common practice
_LEAST_W = 5  # less is within the estimate's own doubt


def asked_lines(
    status: BrooderStatus, asked: NightAsked, voice: Voice, now: float
) -> tuple[str, ...]:
    """For whoever asks about a box: from its readings; where there are none, or no birds yet, by
    its size and heat too."""
    target_c, low_c, _, by_size = asked
    outlook = _from_readings(status, asked, now)
    if target_c is None or low_c is None or by_size is None:
        return (f"{status.name}: the birds need no heat any more.",)
    right = f"{voice.temp(target_c)}, and no less than {voice.temp(low_c)}"
    step = status.next_step
    if outlook and step and not step.gradual and now < step.at <= outlook.lowest_at:
        then_low_c = step.to_c - (target_c - low_c)
        right += (
            f"; from {voice.clock(step.at, now)} on {voice.temp(step.to_c)}, and no less than "
            f"{voice.temp(then_low_c)}"
        )
    if status.batch is not None and outlook is not None:
        answer, *more = tonight(outlook, voice, now, status.temp_at)
        if status.too_hot and outlook.chance >= CLEAR_CHANCE:
            answer = f"{answer} {COOL_FIRST}"
        return (f"{status.name}: {answer}", f"It should be {right}.", *more)
    if status.batch is not None:
        first = f"{status.name}: it should be {right}."
    else:
        first = f"{status.name}: no chicks yet. For day-old chicks the floor should be {right}."
    lines = [first, _stands(status, low_c, voice, now)]
    if outlook is not None:
        return (*lines, *tonight(outlook, voice, now, status.temp_at))
    if by_size.coldest is None:
        lines.append(
            "Nothing is known of tonight's outside temperature: say how cold it will get, or add "
            "a forecast or an outside probe (which must be heard for a quarter of an hour)."
        )
    return (*lines, *_by_size(by_size, target_c, voice))


def likely_too_cold(status: BrooderStatus, asked: NightAsked, now: float) -> bool:
    """Is it below its band already, or more likely than not to leave it?"""
    outlook = _from_readings(status, asked, now)
    if outlook is not None:
        return outlook.below_now or outlook.chance >= WARN_CHANCE
    coldest = asked.by_size.coldest if asked.by_size is not None else None
    return coldest is not None and coldest.chance >= WARN_CHANCE


def _from_readings(status: BrooderStatus, asked: NightAsked, now: float) -> Outlook | None:
    return asked.outlook if status.batch is not None or _is_level(status, now) else None


def _is_level(status: BrooderStatus, now: float) -> bool:
    """Has an empty box been in its band for a while? Before, its readings say nothing of what its
    heat can do."""
    since = status.warm_up.level_since if status.warm_up is not None else None
    return since is not None and now - since >= SETTLED_S


def _stands(status: BrooderStatus, low_c: float, voice: Voice, now: float) -> str:
    if status.temp_c is None:
        return f"There is no floor reading to believe: {_SEE_PROBE}"
    old_s = 0.0 if status.temp_at is None else now - status.temp_at
    said = f"It is {voice.temp(status.temp_c)} now"
    if old_s >= OLD_S:
        said = f"It was {voice.temp(status.temp_c)} when it was last read, {span(old_s)} ago"
    if old_s >= _PAST_S:
        return f"{said}: {_SEE_PROBE}"
    empty = status.warm_up is not None
    high_c = status.warm_up.limits.high_c if status.warm_up is not None else status.high_c
    if status.temp_c < low_c:
        do = "Warm it for some hours before they come." if empty else "Add heat."
        return f"{said}: too cold for chicks. {do}"
    if high_c is not None and status.temp_c > high_c:
        do = "Bring it down before they come." if empty else "See the page for what to do."
        return f"{said}: too hot for chicks. {do}"
    return f"{said}: right."


def _by_size(found: BySize, target_c: float, voice: Voice) -> Iterator[str]:
    coldest = found.coldest
    birds = f"its {found.head_count} birds" if found.head_count else "no birds"
    heat = f"With all its {found.watts:.0f} W on and {birds} in it"
    holds = f"it holds down to about {voice.temp(found.holds_to_c)} outside"
    if coldest is None:
        yield f"{heat}, {holds}."
    else:
        low = coldest.floor_c
        yield (
            f"{heat}, the floor would come down to about {voice.temp(low.mid)}, likely "
            f"{voice.figure(low.low)} to {voice.figure(low.high)}, at "
            f"{voice.temp(coldest.outside_c)} outside ({coldest.outside_from}). "
            f"Chance of too cold: {of_100(coldest.chance)}."
        )
        yield f"With that heat {holds}."
        watts = round(coldest.missing_watts / _LEAST_W) * _LEAST_W
        if watts >= _LEAST_W:
            yield f"To hold {voice.temp(target_c)} in that cold, add about {watts} W."
        mend = coldest.mend
        if not found.head_count:
            room = "set it up in a warmer room"
            mend = tuple(clause.replace(WARMER_ROOM, room) for clause in mend)
        if mend:
            yield first_aid.would_help(mend)
        if first_aid.names_a_lamp(mend):
            yield first_aid.LAMP_CARE
    yield "That goes by the size of the box alone."


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
        f"{voice.figure(low.high)}. {_outside(outlook, voice)}",
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
    lead = f"It {how_sure(outlook)} hold. Chance of getting too cold: {said}."
    if chance < _HALF or outlook.leaves_band_at is None:
        return lead
    return f"{lead} It would leave the band about {voice.clock(outlook.leaves_band_at, now)}."


def how_sure(outlook: Outlook) -> str:
    """`It ... hold`, for the evening's message too."""
    chance = outlook.chance
    if chance < CLEAR_CHANCE:
        return "looks as if it will" if outlook.first_night else "should"
    if chance < UNSURE_CHANCE:
        return "will probably"
    if chance < _HALF:
        return "may not"
    return "will not" if chance > _SURE else "will probably not"


def _again(outlook: Outlook) -> str | None:
    if not outlook.below_now:
        return None
    said = of_100(outlook.chance)
    if outlook.chance < _HALF:
        return f"It should come back and then hold. Chance of getting too cold again: {said}."
    return (
        f"It is unlikely to warm up and hold by itself. Chance that it stays or gets cold: {said}."
    )


def _old(now: float, read_at: float | None) -> str | None:
    if read_at is None:
        return "There is no floor reading to believe just now; this goes by the last ones."
    if now - read_at < OLD_S:
        return None
    return f"The last floor reading is {span(now - read_at)} old: what came since is not in this."


def _outside(outlook: Outlook, voice: Voice) -> str:
    if outlook.by_floor:
        return BY_HOW_IT_COOLS
    return f"Outside down to {voice.temp(outlook.outside_low_c)} ({outlook.outside_from})."


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
