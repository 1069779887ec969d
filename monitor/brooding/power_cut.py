"""What to do in the first hour without power: one card, printed with the plan and said in short in
the message when all heat stops at once. Each line has its source or `common practice`."""

from dataclasses import dataclass

from monitor.brooding.provenance import COMMON_PRACTICE, Mark, Source

_BOTTLES = Source(
    "a chick seller's page on power cuts: hot water bottles in socks, or jars in a towel",
    Mark.READ,
    "https://www.mypetchicken.com/blogs/faqs/how-can-i-keep-my-brooder-warm-during-a-power-outage-"
    "so-my-baby-chicks-dont-die",
)
_WRAP = Source(
    "Meyer Hatchery, power outage with young chicks: wrap the outside, close the doors",
    Mark.READ,
    "https://blog.meyerhatchery.com/2020/02/surviving-a-power-outage-with-young-chicks/",
)
_GENERATOR = Source(
    "Consumer Product Safety Commission: a generator runs outdoors only, 20 ft from the house",
    Mark.MEMORY,
)


A_CARTON = 25  # chicks


@dataclass(frozen=True, slots=True)
class CutAdvice:
    """One thing to do, in its order."""

    text: str
    source: Source


CARD: tuple[CutAdvice, ...] = (
    CutAdvice(
        "Lamps off at the switch or plug first: when the power comes back, a lamp that was pushed "
        "aside burns where it lies.",
        COMMON_PRACTICE,
    ),
    CutAdvice(
        "Gather them: put a board across and give them a quarter of the box, or carry them into "
        f"cartons with air holes, about {A_CARTON} to a carton, so that they warm each other and "
        "cannot pile up.",
        COMMON_PRACTICE,
    ),
    CutAdvice(
        "Cover it: a blanket over and around the box is safe now that no lamp is on; leave a gap "
        "for air, and take it off before the heat goes on again.",
        _WRAP,
    ),
    CutAdvice(
        "Warm bottles: bottles or jars of hot tap water with tight lids, each in a sock or towel, "
        "among the chicks. Fill them again every hour or two.",
        _BOTTLES,
    ),
    CutAdvice(
        "Carry them into the house if it is cold, or lasts over an hour: in the dark and close "
        "together they keep quiet and warm.",
        COMMON_PRACTICE,
    ),
    CutAdvice(
        "A generator runs outdoors only, 6 m (20 ft) from doors and windows: its fumes kill people "
        "and chicks without a smell.",
        _GENERATOR,
    ),
    CutAdvice(
        "No open flame: no candle, camp stove, grill or fuel heater in or beside the box or in a "
        "closed room.",
        COMMON_PRACTICE,
    ),
    CutAdvice("Look every half hour and pull any heap apart.", COMMON_PRACTICE),
)
IN_SHORT = (
    "Without power: lamps off at the plug, gather the chicks on a quarter of the floor, cover the "
    "box, put warm water bottles in socks among them, carry them in if it lasts. No open flame; a "
    "generator only outdoors."
)
