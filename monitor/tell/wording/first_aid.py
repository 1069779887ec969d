"""What to check first, what would mend it, and what must not be done in haste.

Called by the messages about temperature. The lamp cautions follow extension and fire-service
advice, each with its source in `brooding.lamp_safety`."""

import math
from collections.abc import Iterable, Sequence

from monitor.brooding.lamp_safety import LARGEST_LAMP_W, spare_w, usual_load_w
from monitor.brooding.power_cut import IN_SHORT
from monitor.events import Cause, Facts
from monitor.site import Brooder, Site
from monitor.tell.wording.words import Voice, called, sentence
from monitor.thermal.lost_heat import COME_UP_K

LAMP_CARE = (
    "If you hang a lamp: two separate supports (never by its cord), a guard over the bulb, "
    "well clear of litter, walls and cover, and its own GFCI outlet with no extension cord."
)
FALLEN_LAMP = (
    "A probe this hot can mean a lamp has fallen. Cut the power at the plug or the breaker before "
    "you touch anything, then look for smouldering litter. If anything burns, get out and call the "
    "fire service."
)
# A beam that comes nearer scorches litter before it burns. Common practice.
SLIPPED_LAMP = (
    "If a lamp has slipped, pull its plug before you touch it, and look for scorched litter."
)
LOOK_AT_CHICKS = (
    "The chicks tell you too: spread out and quiet is right, a tight heap is too cold, panting "
    "with wings held out is too hot."
)
WARM_THEM = (
    "If the heat will not come back soon, carry the chicks to a warm room in a ventilated box and "
    "break up any heap. If some stay limp once warm, ring a vet."
)
HEAT_ROUND = (
    "Look in this order: is it lit, is it plugged in, has the outlet or breaker tripped, is the "
    "bulb dead. A breaker that trips again is a job for an electrician."
)
CHECK_PROBE = "Check the probe and the chicks."
_COVER_TOO = "If all of the heat is on, see that the cover is too."  # a fall may deceive

ALL_ON = "See that all of the heat and the cover are on."
_ALIKE = "the probes do not tell the two apart."


def lost_source(facts: Facts, box: Brooder | None) -> str | None:
    """Which heat source most likely stopped, with its watts when they are known."""
    if "source" not in facts:
        return None
    if "draws_w" in facts:
        return measured_out(facts, box)
    watts = f" ({facts['source_watts']:.0f} W)" if facts.get("source_watts") else ""
    one = box is None or _is_one(facts["source"], box)
    name = called(facts["source"]) if one else facts["source"]
    if facts.get("source_sure"):
        return sentence(f"{name}{watts} has most likely stopped")
    suspects = facts.get("suspects", [])
    if one and len(suspects) > 1:
        these = ", ".join(map(called, suspects))
        return f"One of these has stopped: {these}. Look first at {name}{watts}."
    return f"It may be {name}{watts} that has stopped."


def measured_out(facts: Facts, box: Brooder | None) -> str:
    """A source whose plug says that it draws nothing: no guess. The plug itself has power."""
    name = facts["source"]
    said = called(name) if box is None or _is_one(name, box) else name
    draws = f"{'draw' if ' and ' in name else 'draws'} {facts['draws_w']:.0f} W"
    return sentence(
        f"{said} {draws}, and drew {facts['usual_w']:.0f} W before. The plug still has "
        "power: look at the bulb, the cord and the switch."
    )


def has_come_up(facts: Facts) -> bool:
    """Has the floor come up again, well above its lowest, and will it not be there again within the
    hour? What was missing then is no longer all missing. In a cold night nothing was."""
    above_k = facts.get("temp_c", 0.0) - facts.get("extreme_c", math.inf)
    return above_k >= max(COME_UP_K, -facts.get("rate_c_per_h", 0.0))


def check_cold(cause: Cause, facts: Facts, box: Brooder | None) -> str:
    """The shortest first thing to do about cold; fits the lock screen."""
    if cause is Cause.SENSOR:
        return CHECK_PROBE
    if cause is Cause.COLD_NIGHT:
        return "Cover the box more or add heat."
    if has_come_up(facts):
        return ALL_ON
    heat = f"the {_heat_kind(box)}"
    if cause is Cause.COVER_OPEN:
        return f"Check the cover and {heat}." if facts.get("either") else "Check the cover first."
    if cause is Cause.HEAT_SOURCE and "source" in facts:
        several = not facts.get("source_sure") and len(facts.get("suspects", [])) > 1
        if box is not None and not _is_one(facts["source"], box):
            heat = "the power"
        elif len(facts["source"]) <= 20 and not several:
            heat = called(facts["source"])
    return f"Check {heat} and the cover." if facts.get("either") else f"Check {heat} first."


def more_about_cold(cause: Cause, facts: Facts, box: Brooder | None, site: Site) -> list[str]:
    """Further lines about cold: what it looks like, how to go about it, with care."""
    lines: list[str] = []
    if cause not in (Cause.SENSOR, Cause.COLD_NIGHT) and has_come_up(facts):
        lowest = Voice(site).temp(facts["extreme_c"])
        return [f"It was down to {lowest} and has come up since: some of the heat is back."]
    if cause is Cause.HEAT_SOURCE:
        lines.append(lost_source(facts, box) or "It has fallen the way it does when heat is lost.")
        if facts.get("either"):
            lines.append(f"Or the cover is off: {_ALIKE}")
        if "draws_w" not in facts:
            lines.append(HEAT_ROUND if facts.get("either") else f"{HEAT_ROUND} {_COVER_TOO}")
        if all_at_once(facts, box):
            lines.append(IN_SHORT)
    elif cause is Cause.COVER_OPEN:
        lines.append(
            "It has fallen the way it does when the cover is off: see that it is on right and that "
            "all of the heat is on, then look for a draught."
        )
        if facts.get("either"):
            lines += [f"Or heat has stopped: {_ALIKE}", HEAT_ROUND]
    elif cause is Cause.COLD_NIGHT:
        lines.append(
            "The heat seems to be on, but it cannot keep up with the cold. See that it is; then "
            "add cover (leave a gap for fresh air), stop draughts, or add heat."
        )
    elif cause is Cause.SENSOR:
        lines.append("It may be the probe: see that it lies dry at the height of a chick's back.")
    else:
        lines.append("Then look at the cover and for a draught. " + LOOK_AT_CHICKS)
    lines += mend(facts)
    if cause is Cause.COLD_NIGHT:
        lines += with_care(facts.get("mend", ()), box, site)
    elif (cause is Cause.HEAT_SOURCE or facts.get("either")) and may_hang_a_lamp(box):
        lines.append(LAMP_CARE)
    return lines


def with_care(mends: Sequence[str], box: Brooder | None, site: Site) -> list[str]:
    """What must go with the advice to add heat: how much more the circuit bears, and how a lamp is
    hung, wherever one is named or there are lamps already."""
    lines = [circuit_room(box, site)] if box is not None else []
    if may_hang_a_lamp(box) or names_a_lamp(mends):
        lines.append(LAMP_CARE)
    return [line for line in lines if line]


def names_a_lamp(mends: Iterable[str]) -> bool:
    """Does any of these clauses speak of a lamp?"""
    return any("lamp" in clause for clause in mends)


def circuit_room(box: Brooder, site: Site) -> str | None:
    """What may still be added, where that is less than the largest lamp."""
    usual = usual_load_w(volts=site.mains_volts, amps=site.circuit_amps)
    spare = spare_w(box.watts, volts=site.mains_volts, amps=site.circuit_amps)
    if spare >= LARGEST_LAMP_W:
        return None
    more = f"{spare:.0f} W at most" if spare >= 1 else "nothing to it"
    return (
        f"The heat of this box alone takes {box.watts:.0f} W; one circuit should carry no more "
        f"than {usual:.0f} W all night, so add {more}."
    )


def reason(facts: Facts) -> str | None:
    """What the watch itself says of it."""
    return sentence(facts["reason"]) if facts.get("reason") else None


def mend(facts: Facts) -> list[str]:
    """What the heat balance says would help, best first."""
    lines: list[str] = []
    if facts.get("missing_watts", 0) >= 5:  # less is within the estimate's own doubt
        lines.append(f"About {round(facts['missing_watts'] / 5) * 5} W more heat is needed.")
    if facts.get("mend"):
        lines.append(would_help(facts["mend"]))
    return lines


def would_help(mends: Sequence[str]) -> str:
    """The ways that would hold, each by itself."""
    which = " (any one of these)" if len(mends) > 1 else ""
    return f"What would help{which}: " + "; ".join(mends).rstrip(".") + "."


def all_at_once(facts: Facts, box: Brooder | None) -> bool:
    """Did every source stop? Then it is the power, more likely than not."""
    return "source" in facts and box is not None and not _is_one(facts["source"], box)


def _is_one(source: str, box: Brooder) -> bool:
    """Is it the name of one heat source, or words for several?"""
    return any(heat.name == source for heat in box.heat)


def _heat_kind(box: Brooder | None) -> str:
    kinds = {source.kind for source in box.heat} if box else set()
    if len(kinds) != 1 or kinds == {"other"}:
        return "heat"
    kind = kinds.pop()
    return f"{kind}s" if box and len(box.heat) > 1 else kind


def less_heat(box: Brooder | None) -> str:
    """What a lower target asks for."""
    if box is None or not box.heat:
        return "raise the lamps"
    lamps = sum(source.kind == "lamp" for source in box.heat)
    return ("turn the heat down", "raise the lamp", "raise the lamps")[min(lamps, 2)]


def may_hang_a_lamp(box: Brooder | None) -> bool:
    """Is a lamp among its heat, or nothing known of that?"""
    return box is None or not box.heat or any(source.kind == "lamp" for source in box.heat)
