"""What fire bodies and extension say about heat lamps, and whether they overload their circuit.
Called by `brooder check`, and wherever a lamp is advised; printed by `brooder sources`. How to hang
a lamp is said by `tell.wording.first_aid`.

Two figures do not fit together: brooding guides hang a lamp 15 to 20 inches above the litter, a
fire chiefs' association wants 3 feet to anything that burns, and litter burns. No brooder can
keep both. So nothing here calls a height safe: the tool gives both figures, keeps to the larger
brooding height, and leans on what both sides ask for (guard, chain, second support, 250 W).

Nor does it fit that Ohio State asks never to leave a lamp unattended overnight: chicks under a lamp
need it most then. The tool says so and does not soften it."""

from collections.abc import Iterator

from monitor.brooding.provenance import COMMON_PRACTICE, Mark, Source
from monitor.site import HeatSource, Site
from monitor.units import CM_PER_INCH

OHIO = Source(
    'Ohio State University Extension, S. Schirtzinger, "Using heat lamps? Proceed with caution", '
    "2022: 20 in to ground or stock, 250 W at most, guard, chain or lamp clamp, arc-fault breaker, "
    "extinguisher, a smoke alarm that is heard at the house, never on a flammable surface, never "
    "left unattended overnight",
    Mark.READ,
    "https://u.osu.edu/sheep/2022/11/22/using-heat-lamps-proceed-with-caution",
)
OUTLET = Source(
    "T. Hoffman, North Dakota State University Extension, and A. Johnson, University of Minnesota, "
    "in Farms.com: directly into an outlet with ground-fault and arc-fault protection, no "
    "extension cord",
    Mark.QUOTED,
    "http://www.eHARVEST.com/ag-industry-news/heat-lamp-safety-for-newborn-livestock-492.aspx",
)
ANCHORS = Source(
    "agricultural facility of a school district (Katy FFA), fire prevention measures: two "
    "independent anchor points, directly into the outlet",
    Mark.READ,
    "http://www.ffakaty.org/site/713280165.asp?sid=713280165&pid=1&SSR=0",
)
SOCKET = Source(
    "Central Whidbey Island Fire & Rescue, brood lamp fire hazards: porcelain socket, front guard, "
    "loop and not clamp, the cord tied so that it holds if the chain lets go, maker's clearance",
    Mark.READ,
    "https://cwfire.org/chicken-coop-brood-lamp-fire-hazards/",
)
HANGING = Source(
    'Miller Hatcheries, "Brooding with Infra Red Lamps": 18 in from the floor',
    Mark.READ,
    "http://millerhatcheries.com/InformationFactSheets/General_Info/Brooding_with_Infra_Red_Lamps.htm",
)
FIRE_CHIEFS = Source(
    "Maine Fire Chiefs' Association, quoted in Central Maine, 26 March 2017: 3 ft to combustibles",
    Mark.READ,
    "https://www.centralmaine.com/2017/03/26/keep-your-chicks-warm-but-dont-burn-your-house-down/",
)
LARGEST_LAMP_W = 250.0
HEIGHT_CM = 20 * CM_PER_INCH
LOWEST_CM = 18 * CM_PER_INCH
CLEARANCE_CM = 36 * CM_PER_INCH

# What has no number, and what it is for.
CAUTIONS: tuple[tuple[str, Source], ...] = (
    ("lamp: two independent supports, never by the cord", ANCHORS),
    ("lamp: the cord tied so that it holds if the chain lets go", SOCKET),
    ("lamp: a guard over the bulb", OHIO),
    ("lamp: a porcelain socket", SOCKET),
    ("GFCI outlet, ground-fault device: cuts off a deadly shock", OUTLET),
    ("AFCI outlet or breaker, arc-fault device: cuts off a sparking cord", OHIO),
    ("outlet: the lamp straight into it, no extension cord", OUTLET),
    ("a smoke alarm that is heard at the house", OHIO),
    ("an extinguisher in the barn", OHIO),
    ("lamp: never on or under what burns; a cover clear of it", OHIO),
    ("cover: a gap for fresh air, always", COMMON_PRACTICE),
    ("lamp: never unattended overnight", OHIO),
)


def lamp_warning(source: HeatSource) -> str | None:
    """One sentence when a lamp is stronger than fire guidance allows, else None."""
    if source.kind != "lamp" or source.watts <= LARGEST_LAMP_W:
        return None
    return (
        f"{source.name} has {source.watts:.0f} W; fire guidance allows a heat lamp of "
        f"{LARGEST_LAMP_W:.0f} W at most (Ohio State University Extension, 2022): use two."
    )


CONTINUOUS_SHARE = 0.8  # a load that runs for hours: at most this part of the breaker's rating
CIRCUIT_SOURCE = Source(
    "National Electrical Code 210.19(A)(1): conductors for 125 % of a continuous load, so the load "
    "at most 1 / 1.25 of them",
    Mark.QUOTED,
    "https://forums.mikeholt.com/threads/coffee-pot-question.103218/page-2",
)


def usual_load_w(*, volts: float = 120.0, amps: float = 15.0) -> float:
    """The most a circuit should carry all night: 1440 W at 15 A and 120 V."""
    return CONTINUOUS_SHARE * volts * amps


def spare_w(watts: float, *, volts: float, amps: float) -> float:
    """What a circuit can carry all night besides `watts`; 0 where it is full."""
    return max(0.0, usual_load_w(volts=volts, amps=amps) - watts)


def circuit_warning(watts: float, *, volts: float = 120.0, amps: float = 15.0) -> str | None:
    """One sentence when sources together are over the usual load of one circuit, else None."""
    usual = usual_load_w(volts=volts, amps=amps)
    if watts <= usual:
        return None
    return (
        f"{watts:.0f} W is over the usual load of one circuit ({usual:.0f} W, 80 % of {amps:g} A "
        f"at {volts:g} V; National Electrical Code): spread the sources over two circuits, and go "
        "by your local code and an electrician."
    )


def overload(site: Site, watts: float) -> str | None:
    """As `circuit_warning`, on the site's own circuit."""
    return circuit_warning(watts, volts=site.mains_volts, amps=site.circuit_amps)


def fire_warnings(site: Site) -> Iterator[tuple[str, str]]:
    """(box, what fire guidance says to its heat), a sentence each."""
    for box in site.brooders:
        for words in (overload(site, box.watts), *map(lamp_warning, box.heat)):
            if words is not None:
                yield box.name, words
