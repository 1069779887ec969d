"""The floor is too cold, too hot, or about to be: what is said when such an alarm is raised.

Called by `for_change`. Each message: brooder, what, now against target, the first thing to do;
then since when, how fast, how long until harm, and what would mend it."""

import math
from collections.abc import Callable

from monitor.brooding.chick_skin import CHICK_SKIN_C
from monitor.brooding.envelope import cover_named
from monitor.brooding.harm_known import HELD_IN_MIN_PER_K
from monitor.events import AlarmName, Cause, Change, Facts
from monitor.measures import counted, span
from monitor.site import SITE_WIDE, Brooder, Place
from monitor.tell.wording import first_aid
from monitor.tell.wording.words import (
    STEADY_C_PER_H,
    TIME_TO_ACT_MIN,
    Voice,
    Words,
    chill_spread,
    chills_in,
    compose,
    overheats_in,
    pace,
    sentence,
)
from monitor.thermal.mending import WARMER_ROOM
from monitor.units import Unit
from monitor.watch.alarm_table import OF_HEAT


def cold(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """Below the band."""
    facts = change.facts
    warms = _warms(facts)
    do = WARMS if warms else first_aid.check_cold(change.cause, facts, box)
    return compose(
        f"{voice.where(change.brooder)}: too cold{_but(facts)}",
        _with_time(f"{now_and_target(voice, facts)} {do}", facts),
        doubt(facts),
        *([] if warms else first_aid.more_about_cold(change.cause, facts, box, voice.site)),
        _alone(change),
        probe_list(voice, change),
        age(facts),
        figures=[
            _beyond(voice, change, "Below", facts.get("low_c")),
            chill_spread(voice, facts),
        ],
    )


def chill(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """Below the chill limit: harm is near."""
    facts = change.facts
    warms = _warms(facts)
    do = WARMS if warms else f"Go now. {first_aid.check_cold(change.cause, facts, box)}"
    return compose(
        f"{voice.where(change.brooder)}: dangerously cold{_but(facts)}",
        f"{now_and_target(voice, facts)} {do}",
        doubt(facts),
        *([] if warms else first_aid.more_about_cold(change.cause, facts, box, voice.site)),
        first_aid.WARM_THEM,
        probe_list(voice, change),
        age(facts),
        figures=[
            _since(voice, change, "It has been too cold")
            if warms
            else _beyond(voice, change, "Below", facts.get("chill_c"), "the chill limit of ")
        ],
    )


def heat_loss(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """A source stopped or the cover is off; the floor may still be in band."""
    facts = change.facts
    cause = Cause.COVER_OPEN if change.cause is Cause.COVER_OPEN else Cause.HEAT_SOURCE
    what = "heat is escaping" if cause is Cause.COVER_OPEN else "heat has stopped"
    if facts.get("either"):
        what = "heat or cover is off"
    return compose(
        f"{voice.where(change.brooder)}: {what}",
        _with_time(
            f"{now_and_target(voice, facts)} Go now. {first_aid.check_cold(cause, facts, box)}",
            facts,
        ),
        *first_aid.more_about_cold(cause, facts, box, voice.site),
        probe_list(voice, change),
        age(facts),
        figures=[_falling(voice, change), chill_spread(voice, facts)],
    )


def hot(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """Above the band, or by day headed there. Where a cold night is ahead, one word for now and
    for the night."""
    facts = change.facts
    cold = "lowest_c" in facts and "lowest_at" in facts
    below = "high_c" in facts and facts.get("temp_c", facts["high_c"]) < facts["high_c"]
    reached = facts.get("extreme_c", -math.inf) >= facts.get("high_c", -math.inf)
    soon = below and not reached
    cools = below and reached and facts.get("rate_c_per_h", 0.0) < STEADY_C_PER_H
    first = f"{now_and_target(voice, facts)} "
    if cools:
        what, first = f"too hot{BUT_COOLING}", first + COOLS
        moves = _since(voice, change, "It has been too hot")
    else:
        what = f"{'soon too hot' if soon else 'too hot'}{_if_right(facts)}"
        do = _cool_before_night(facts, box) if cold else _cool(box)
        first = _with_time(first + (first_aid.CHECK_PROBE if "doubt" in facts else do), facts)
        moves = (
            _rising(voice, facts, facts["high_c"], "too hot")
            if soon
            else _beyond(voice, change, "Above", facts.get("high_c"))
        )
    return compose(
        f"{voice.where(change.brooder)}: {what}",
        first,
        doubt(facts),
        _close_again(voice, change) if cold else None,
        "Give them a cooler end to go to, and fresh water. " + first_aid.LOOK_AT_CHICKS,
        _alone(change),
        probe_list(voice, change),
        age(facts),
        figures=[
            first_aid.SLIPPED_LAMP if soon and first_aid.may_hang_a_lamp(box) else None,
            moves,
        ],
    )


def overheat(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """Far above the band, or hotter than any floor should be."""
    facts = change.facts
    fire = box is not None and _temp_c(facts) >= box.limits.fire_c
    if fire and "doubt" in facts:
        do = "Go and look now: if anything there is that hot, cut the power first."
    elif fire:
        do = "Go now: cut the power first."
    elif "doubt" in facts:
        do = f"Go now. {first_aid.CHECK_PROBE}"
    else:
        do = f"Go now. {_cool_at_once(box)}"
        if "lowest_c" in facts:
            do = f"{do} Set it back as soon as the floor is right: {_night(facts)}."
    limit_c, rate = facts.get("overheat_c", 0.0), facts.get("rate_c_per_h", 0.0)
    highest_c, temp_c = facts.get("extreme_c", 0.0), facts.get("temp_c", 99.0)
    below, reached = temp_c < limit_c, highest_c >= limit_c
    # Its pace is that of minutes ago: where somebody has just raised a lamp it is none yet.
    came_down = reached and temp_c <= highest_c - _COOLED_K and rate < STEADY_C_PER_H
    cools = below and (rate <= -STEADY_C_PER_H or came_down)
    early = below and not (cools or reached)
    if cools:
        what, do = f"too hot{BUT_COOLING}", COOLS
        moves = _since(voice, change, "It has been too hot")
    elif early:
        what = f"soon dangerously hot{_if_right(facts)}"
        moves = _rising(voice, facts, facts["overheat_c"], "dangerously hot")
    else:
        what = f"dangerously hot{_if_right(facts)}"
        moves = _since(voice, change, "It has been this hot")
    first = f"{now_and_target(voice, facts)} {do}"
    return compose(
        f"{voice.where(change.brooder)}: {what}",
        _with_time(first, facts) if early else first,
        doubt(facts),
        "Let them get away from the heat and give them water. Chicks that pant with wings held "
        "out, or lie flat, need cooler air at once; if they do not recover, ring a vet.",
        None if fire else _alone(change),
        probe_list(voice, change),
        age(facts),
        figures=[
            first_aid.reason(facts),
            first_aid.FALLEN_LAMP if fire else _warming(voice, facts),
            first_aid.SLIPPED_LAMP if early and first_aid.may_hang_a_lamp(box) else None,
            moves,
        ],
    )


def _but(facts: Facts) -> str:
    """What belongs beside the worst of it, on a locked phone too."""
    return BUT_WARMING if _warms(facts) else _if_right(facts)


def _if_right(facts: Facts) -> str:
    return ", if the probe is right" if "doubt" in facts else ""


def _warms(facts: Facts) -> bool:
    """Has it come up from its lowest, and is it in its band within half an hour at its pace?"""
    rate, temp_c = facts.get("rate_c_per_h", 0.0), facts.get("temp_c", -math.inf)
    came_up = temp_c >= facts.get("extreme_c", math.inf) + _COOLED_K
    short_k = facts.get("low_c", math.inf) - temp_c
    return came_up and rate >= STEADY_C_PER_H and short_k <= rate * _WARM_IN_H


def _with_time(first: str, facts: Facts) -> str:
    """What and what to do come first: a locked phone may cut off the rest."""
    left = chills_in(facts) or overheats_in(facts)
    return first if left is None else f"{first} {left}"


def _warming(voice: Voice, facts: Facts) -> str | None:
    """How long there is, where the air is hotter than a chick and takes no heat from it."""
    if _temp_c(facts) < CHICK_SKIN_C:
        return None
    one, per_k = ("1 °F", 1.8) if voice.site.units is Unit.FAHRENHEIT else ("1 °C", 1.0)
    minutes = round(HELD_IN_MIN_PER_K / per_k)
    return f"A chick that cannot get away from this warms by {one} in about {minutes} minutes."


ADD_IN_TIME = "Add cover or heat in time."


def cold_night(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """The floor will leave the band before morning."""
    facts = change.facts
    lowest = facts.get("lowest_c")
    when = f" about {voice.clock(facts['lowest_at'], change.at)}" if "lowest_at" in facts else ""
    target = f", should be {voice.temp(facts['target_c'])}" if "target_c" in facts else ""
    hopeless = any(clause.startswith(WARMER_ROOM) for clause in facts.get("mend", ()))
    do = f"{WARMER_ROOM.capitalize()}." if hopeless else ADD_IN_TIME
    if "high_c" in facts and _temp_c(facts) > facts["high_c"]:
        do = f"{TOO_HOT_NOW}. {do}" if hopeless else COOL_FIRST
    first = (
        f"Likely down to {voice.temp(lowest)}{when}{target}. {do}"
        if lowest is not None
        else f"Likely too cold before morning. {do}"
    )
    return compose(
        f"{voice.where(change.brooder)}: cold night ahead",
        first,
        f"The evening message at {voice.clock(facts['evening_at'], change.at)} said it might come."
        if "evening_at" in facts
        else None,
        _how_sure(voice, facts),
        _outside(voice, facts),
        f"It would be too cold from about {voice.clock(facts['leaves_band_at'], change.at)} on."
        if "leaves_band_at" in facts
        else None,
        f"Chance of that: about {round(facts['chance'] * 10) * 10} in 100."
        if "chance" in facts
        else None,
        *(first_aid.mend(facts) or ["More cover (leave a gap for fresh air) or more heat helps."]),
        *first_aid.with_care(facts.get("mend", ()), box, voice.site),
    )


BUT_COOLING, COOLS = ", but cooling", "It is cooling: look at the chicks."
BUT_WARMING, WARMS = ", but warming", "It is warming: look at the chicks."
NOW = "Now "  # how the first line of a temperature begins
_COOLED_K = 0.5  # below its highest by so much it has come down; above its lowest, up
_WARM_IN_H = 0.5

TEMPERATURE: dict[AlarmName, Callable[[Change, Voice, Brooder | None], Words]] = {
    AlarmName.COLD: cold,
    AlarmName.CHILL: chill,
    AlarmName.HEAT_LOSS: heat_loss,
    AlarmName.HOT: hot,
    AlarmName.OVERHEAT: overheat,
    AlarmName.COLD_NIGHT: cold_night,
}


def now_and_target(voice: Voice, facts: Facts) -> str:
    """`Now 31.8 °C, should be 35.0 °C.` With what is known of it."""
    target = f"should be {voice.temp(facts['target_c'])}" if "target_c" in facts else None
    if "temp_c" not in facts:
        return f"It {target}." if target else ""
    now = f"{'Last ' if 'silent_s' in facts else NOW}{voice.temp(facts['temp_c'])}"
    return f"{now}, {target}." if target else f"{now}."


def doubt(facts: Facts) -> str | None:
    """The probe that leads is not trusted, and the floor is told all the same."""
    if "doubt" not in facts:
        return None
    return f"{sentence(facts['doubt'])} Nobody can tell from here: look at the chicks."


def probe_list(voice: Voice, change: Change) -> str | None:
    """Every probe concerned, where there is more than one and any is heard; those of another box
    with the name of theirs."""
    probes = change.facts.get("probes", [])
    if len(probes) < 2 or all(p["temp_c"] is None for p in probes):
        return None
    said = [
        f"{_named(p['probe'], change.brooder)} "
        + ("silent" if p["temp_c"] is None else voice.temp(p["temp_c"]))
        for p in probes
    ]
    return f"All probes: {', '.join(said)}."


def _alone(change: Change) -> str | None:
    """Of a floor that only one probe speaks of, and that nothing known has changed. That it is too
    hot a cool end neither bears out nor denies."""
    hot = change.alarm in OF_HEAT
    probes = change.facts.get("probes", [])
    telling = [p for p in probes if not (hot and p["place"] == Place.COOL_END)]
    known = change.cause not in (Cause.UNKNOWN, Cause.OVERHEAT) or "doubt" in change.facts
    if len(telling) != 1 or known:
        return None
    chick = hot and "age_days" in change.facts and _temp_c(change.facts) <= CHICK_SKIN_C
    wrong = "a chick may lie on it, or it may have drifted" if chick else "a probe can drift"
    return (
        f"Only one probe says so, and {wrong}: if the chicks look right, lay a thermometer "
        "beside it."
    )


def _temp_c(facts: Facts) -> float:
    return facts.get("temp_c", 0.0)


def _named(key: str, here: str | None) -> str:
    box, _, name = key.partition("/")
    return name if box in (here, SITE_WIDE) or not name else f"{box} {name}"


def age(facts: Facts) -> str | None:
    """How old the chicks are: the target comes from it."""
    if "age_days" not in facts:
        return None
    return f"The chicks are {counted(facts['age_days'], 'day')} old."


def _beyond(
    voice: Voice, change: Change, side: str, limit_c: float | None, called: str = ""
) -> str | None:
    """Since when it is beyond a limit; one that wavers about it may be back for now."""
    if limit_c is None:
        return None
    temp_c = change.facts.get("temp_c", limit_c)
    back = temp_c > limit_c if side == "Below" else temp_c < limit_c
    return _since(voice, change, f"{'Around' if back else side} {called}{voice.temp(limit_c)}")


def _since(voice: Voice, change: Change, lead: str) -> str | None:
    facts = change.facts
    if "since" not in facts:
        return None
    rate = facts.get("rate_c_per_h", 0.0)
    moving = ""
    if abs(rate) >= STEADY_C_PER_H:
        moving = f", now {'falling' if rate < 0 else 'rising'} {pace(voice, rate)}"
    since = f"{lead} since {voice.clock(facts['since'], change.at)}{moving}."
    if "first_since" not in facts:
        return since
    first = voice.clock(facts["first_since"], change.at)
    return f"{since} {span(facts['lasted_s'])} in all since {first}."


def _rising(voice: Voice, facts: Facts, limit_c: float, what: str) -> str:
    rate = facts.get("rate_c_per_h", 0.0)
    fast = f" {pace(voice, rate, by='by ')}" if rate >= STEADY_C_PER_H else ""
    return f"The floor is rising{fast}; above {voice.temp(limit_c)} it is {what}."


def _falling(voice: Voice, change: Change) -> str | None:
    facts = change.facts
    since = f" since {voice.clock(facts['since'], change.at)}" if "since" in facts else ""
    escapes = change.cause is Cause.COVER_OPEN and not facts.get("either")
    lead = ("Heat has been escaping" if escapes else "Some of the heat has been missing") + since
    rate = facts.get("rate_c_per_h", 0.0)
    if rate >= STEADY_C_PER_H:
        return f"{lead}; the floor is rising again."
    if first_aid.has_come_up(facts):
        return f"{lead}."
    fast = f" {pace(voice, rate, by='by ')}" if rate <= -STEADY_C_PER_H else ""
    now = f", now{fast}" if since and fast else fast
    low = facts.get("low_c")
    inside = low is not None and facts.get("temp_c", low - 1) >= low
    time = inside and _least_minutes(facts) >= TIME_TO_ACT_MIN
    still = " It is still warm enough, so there is time to act." if time else ""
    if "draws_w" in facts and rate > -STEADY_C_PER_H:  # known by its watts, before the floor falls
        return f"Some of the heat has been off{since}.{still}"
    if rate > -STEADY_C_PER_H and "rate_c_per_h" in facts:
        probes = () if escapes else facts.get("probes", ())
        beneath = any(probe["place"] == Place.UNDER_HEAT for probe in probes)
        litter = " If all heat is on, look for litter over a probe beneath it." if beneath else ""
        floor = "the floor holds for now" if inside else "the floor falls hardly further for now"
        return f"{lead}; {floor}.{still}{litter}"
    return f"The floor has been falling{since}{now}.{still}"


def _least_minutes(facts: Facts) -> float:
    """To the chill limit: the estimate's lower end, or half of what it takes at this pace."""
    if "minutes_to_chill" in facts:
        return facts.get("minutes_to_chill_low", facts["minutes_to_chill"])
    rate = facts.get("rate_c_per_h", 0.0)
    if rate >= 0.0 or "chill_c" not in facts or "temp_c" not in facts:
        return math.inf
    return 0.5 * 60.0 * (facts["temp_c"] - facts["chill_c"]) / -rate


TOO_HOT_NOW = "It is too hot now: let it cool first"
COOL_FIRST = f"{TOO_HOT_NOW}, then add cover or heat for the night."
BY_HOW_IT_COOLS = "Nothing measures the outside: this goes by how the floor cools."


def _outside(voice: Voice, facts: Facts) -> str | None:
    if "outside_low_c" not in facts:
        return BY_HOW_IT_COOLS if "outside_from" in facts else None
    origin = f" ({facts['outside_from']})" if "outside_from" in facts else ""
    return f"Outside it may fall to {voice.temp(facts['outside_low_c'])}{origin}."


def _how_sure(voice: Voice, facts: Facts) -> str | None:
    """The interval, and where the figure comes from mostly."""
    if "lowest_low_c" not in facts or "lowest_high_c" not in facts:
        return None
    between = f"{voice.figure(facts['lowest_low_c'])} and {voice.temp(facts['lowest_high_c'])}"
    young = " This rests on only a few hours of readings; it gets better with every hour."
    return f"Probably between {between} (8 chances in 10).{young if facts['learned'] < 0.5 else ''}"


def _cool_before_night(facts: Facts, box: Brooder | None) -> str:
    """Heat that is taken away by day is missing by night, when everybody sleeps."""
    if box is None or cover_named(box.cover).closed:
        return f"Open the cover for now; leave the heat: {_night(facts)}."
    return f"Turn the heat down only until the floor is right: {_night(facts)}."


def _is_likely_cold(facts: Facts) -> bool:
    return facts["lowest_c"] < facts.get("low_c", 99.0)


def _night(facts: Facts) -> str:
    return "a cold night is ahead" if _is_likely_cold(facts) else "the night may get cold"


def _close_again(voice: Voice, change: Change) -> str:
    facts, at = change.facts, change.facts["lowest_at"]
    when = f" about {voice.clock(at, change.at)}" if at > change.at + 1800.0 else ""
    likely = _is_likely_cold(facts) or "lowest_low_c" not in facts
    low_c = facts["lowest_c"] if likely else facts["lowest_low_c"]
    goes = "is likely to" if likely else "may"
    return (
        f"Tonight it {goes} go down to {voice.temp(low_c)}{when}: close it up again as soon "
        "as the floor is right."
    )


def _cool_at_once(box: Brooder | None) -> str:
    """Dangerously hot: under a cover the warm air does not get out, whatever heats it."""
    under_cover = box is None or cover_named(box.cover).closed
    return f"{'Open the cover. ' if under_cover else ''}{_cool(box)}"


def _cool(box: Brooder | None) -> str:
    if box is None or not box.heat:
        return "Raise a lamp or turn one off."
    lamps = sum(source.kind == "lamp" for source in box.heat)
    if lamps == 0:
        return "Turn the heat down."
    if len(box.heat) == 1:
        return "Raise the lamp."  # to turn it off would be to leave them without heat
    return "Raise the lamp or turn it off." if lamps == 1 else "Raise a lamp or turn one off."
