"""What fire bodies and extension say about heat lamps. Called by `brooder check`; printed by
`brooder sources`. How to hang a lamp is said by `tell.wording.first_aid`.

Two figures do not fit together: brooding guides hang a lamp 15 to 20 inches above the litter, a
fire chiefs' association wants 3 feet to anything that burns, and litter burns. No brooder can
keep both. So nothing here calls a height safe: the tool gives both figures, keeps to the larger
brooding height, and leans on what both sides ask for (guard, chain, second support, 250 W).

Nor does it fit that Ohio State asks never to leave a lamp unattended overnight: chicks under a lamp
need it most then. The tool says so and does not soften it."""

from monitor.brooding.provenance import COMMON_PRACTICE, Mark, Source
from monitor.site import HeatSource
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
