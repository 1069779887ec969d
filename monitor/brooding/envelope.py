"""What a box is made of and how it loses heat: walls, covers, litter, leaks.

Called by `heat_balance`; the configuration is checked against the names in COVERS and WALLS.

Resistances in m2.K/W. A porch or shed keeps the wind off, so both faces of a wall carry the film
of still air; in the wind the outer film falls to 0.030 and a plywood box loses a third more."""

from dataclasses import dataclass
from math import pow, sqrt

from monitor.brooding.provenance import Mark, Source
from monitor.site import Brooder

_APPENDIX = Source(
    "Viega, design manual 24010, appendix G, R-values of building materials (values as ASHRAE "
    "Fundamentals)",
    Mark.READ,
    "http://38.142.81.21:8001/manual/viega/24010-viega/install-instructions-english/page-201.html",
)
_FILMS = Source(
    "R-value table, inside air film, vertical surface, still air",
    Mark.READ,
    "https://residentialshippingcontainerprimer.com/r-value-table",
)
_WINDY = Source("ASHRAE Handbook Fundamentals, a wall in a wind of 6.7 m/s", Mark.MEMORY)
_ASHRAE_FILMS = Source("ASHRAE Handbook Fundamentals, surface films", Mark.MEMORY)
_CORRUGATED = Source("corrugated cardboard, conductivity about 0.06 W/m.K", Mark.MEMORY)
_FOAM = Source(
    "expanded polystyrene as sold, R 3.6 to 4.2 an inch, the lower part (the table at "
    "www.celblox.com/r-values-of-common-building-materials prints 5.0, 0.88 m2.K/W)",
    Mark.MEMORY,
)
_STUD = Source(
    "R-value table, softwood stud, 1.25 an inch",
    Mark.DERIVED,
    "https://residentialshippingcontainerprimer.com/r-value-table",
)
_SHAVINGS = Source("dry shavings, conductivity 0.06 to 0.09 W/m.K", Mark.MEMORY)
_THIN = Source("a thin sheet hardly insulates; only its films count", Mark.ASSUMED)
_BLANKET = Source("wool or cotton blanket, 10 mm at about 0.04 W/m.K", Mark.MEMORY)
LEAK = Source(
    "air exchange through the gaps of a cover laid on, per m2 of cover: boards that lie loosely on "
    "the walls, with lamp cords and a corner left open for air",
    Mark.ASSUMED,
)


@dataclass(frozen=True, slots=True)
class Layer:
    name: str
    r_m2k_per_w: float
    source: Source


PLYWOOD = Layer("plywood, 1/2 in", 0.109, _APPENDIX)
CARDBOARD = Layer("corrugated cardboard, 4 mm", 0.07, _CORRUGATED)
FOAM = Layer("polystyrene foam, 1 in", 0.66, _FOAM)  # R 3.75 an inch; foil-free board
LUMBER = Layer("softwood, 3/4 in", 0.165, _STUD)
BLANKET = Layer("blanket, 10 mm", 0.25, _BLANKET)
SHEET = Layer("thin metal or plastic", 0.0, _THIN)
LITTER = Layer("dry shavings, 75 mm", 1.0, _SHAVINGS)  # 0.075 m / 0.075 W/m.K

FILM_WALL = Layer("still air on a wall", 0.120, _FILMS)
FILM_WIND = Layer("air moving over a wall", 0.030, _WINDY)
FILM_UP = Layer("still air, heat going up", 0.107, _ASHRAE_FILMS)
FILM_DOWN = Layer("still air, heat going down", 0.162, _ASHRAE_FILMS)


@dataclass(frozen=True, slots=True)
class Cover:
    """What lies on the box. `closed` keeps a lamp's warmed air in."""

    title: str
    layers: tuple[Layer, ...]
    leak_m3_per_h_m2: float
    closed: bool = True


COVERS: dict[str, Cover] = {
    "none": Cover("no cover", (), 40.0, closed=False),
    "wire": Cover("hardware cloth", (), 40.0, closed=False),
    "cardboard": Cover("cardboard", (CARDBOARD,), 8.0),
    "plywood": Cover("plywood", (PLYWOOD,), 8.0),
    "boards": Cover("plywood with cardboard on it", (PLYWOOD, CARDBOARD), 6.0),
    "blanket": Cover("a blanket", (BLANKET,), 6.0),
    "foam": Cover("rigid foam board", (FOAM,), 8.0),
}


@dataclass(frozen=True, slots=True)
class Wall:
    """What the sides are made of, as the store sells it."""

    title: str
    layers: tuple[Layer, ...]


WALLS: dict[str, Wall] = {
    "plywood": Wall("plywood or OSB", (PLYWOOD,)),
    "cardboard": Wall("cardboard", (CARDBOARD,)),
    "boards": Wall("plywood with cardboard inside", (PLYWOOD, CARDBOARD)),
    "lumber": Wall("solid wood boards", (LUMBER,)),
    "foam": Wall("rigid foam board", (FOAM,)),
    "metal": Wall("sheet metal or a stock tank", (SHEET,)),
    "plastic": Wall("a plastic tote or pool", (SHEET,)),
}

# Air that changes places through an opening in a lid of the side D: EXCHANGE x sqrt(g' x D^5) m3/s,
# with g' the pull of gravity on air that is so much warmer below.
EXCHANGE = 0.055
EXCHANGE_SOURCE = Source(
    'M. Epstein, "Buoyancy-driven exchange flow through small openings in horizontal partitions", '
    "Journal of Heat Transfer 110 (1988) 885-893: a thin partition",
    Mark.MEMORY,
)
GRAVITY_M_S2 = 9.81
GAP_WARMER_K, GAP_AIR_K = 10.0, 293.0  # a box over its porch on a mild night; colder pulls more

AIR_J_PER_M3_K = 1200.0
AIR_WH_PER_M3_K = AIR_J_PER_M3_K / 3600  # what a m3/h carries off, W/K

# Heat that a box stores, J/K. Half of what lies in the wood and litter follows within the hour.
PLYWOOD_J_PER_M2_K = 0.0127 * 550 * 1600  # thickness m x density x specific heat, from memory
LITTER_J_PER_M2_K = 0.075 * 120 * 1700  # the same for shavings
FOLLOWING_SHARE = 0.5
STORED_SOURCE = Source(
    "density and specific heat of air, wood and shavings, ASHRAE Handbook Fundamentals", Mark.MEMORY
)
FOLLOWING_SOURCE = Source("half of a thick layer follows the air within the hour", Mark.ASSUMED)


def made_of(walls: str, cover: str) -> str:
    """`plywood or OSB, cover: cardboard`."""
    return f"{WALLS[walls].title}, {covered_with(cover)}"


def covered_with(cover: str) -> str:
    """`cover: cardboard`, `no cover`."""
    title = COVERS[cover].title
    return title if cover == "none" else f"cover: {title}"


def u_value(*layers: Layer) -> float:
    """Transmittance through layers in series (films among them), W/m2.K."""
    return 1.0 / sum(layer.r_m2k_per_w for layer in layers)


def cover_named(name: str) -> Cover:
    """The cover of that name. Raises ValueError with the known ones."""
    try:
        return COVERS[name]
    except KeyError:
        raise ValueError(f"cover {name!r} is not known; use one of {', '.join(COVERS)}") from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """Heat lost per kelvin between the air in the box and outside, W/K, by way; and what it
    stores, J/K."""

    walls: float
    top: float
    floor: float
    air: float
    stored_j_per_k: float

    @property
    def total(self) -> float:
        """All ways together, W/K."""
        return self.walls + self.top + self.floor + self.air


def open_share(brooder: Brooder, *, fresh_air_m3_h: float) -> float:
    """How much of the cover must stay open for so much air, 0..1: what its gaps do not let through
    is exchanged through one opening, warm air up and cold air down."""
    lid = cover_named(brooder.cover)
    if not lid.closed:
        return 1.0
    more_m3_h = fresh_air_m3_h - lid.leak_m3_per_h_m2 * brooder.floor_area_m2
    pull = sqrt(GRAVITY_M_S2 * GAP_WARMER_K / GAP_AIR_K)
    open_m2 = pow(max(0.0, more_m3_h) / 3600.0 / (EXCHANGE * pull), 0.8)  # Q: area ^ 5/4
    return min(1.0, open_m2 / brooder.floor_area_m2)


def envelope(brooder: Brooder, *, fresh_air_m3_h: float = 0.0) -> Envelope:
    """The losses of a box under its cover, given the air its birds need."""
    lid = cover_named(brooder.cover)
    if brooder.walls not in WALLS:
        raise ValueError(f"walls {brooder.walls!r} are not known; use one of {', '.join(WALLS)}")
    floor_m2 = brooder.floor_area_m2
    wall_m2 = 2 * (brooder.length_m + brooder.width_m) * brooder.height_m
    # An open box ends at its own air: one film, through which it radiates and convects upwards.
    open_ = open_share(brooder, fresh_air_m3_h=fresh_air_m3_h)
    top_w_m2_k = open_ * u_value(FILM_UP) + (1.0 - open_) * u_value(FILM_UP, *lid.layers, FILM_UP)
    leak_m3_h = max(lid.leak_m3_per_h_m2 * floor_m2, fresh_air_m3_h)
    outer = FILM_WIND if brooder.in_wind else FILM_WALL
    solid_m2 = wall_m2 + (floor_m2 if lid.closed else 0.0)
    return Envelope(
        walls=wall_m2 * u_value(FILM_WALL, *WALLS[brooder.walls].layers, outer),
        top=floor_m2 * top_w_m2_k,
        floor=floor_m2 * u_value(FILM_DOWN, LITTER, PLYWOOD, FILM_DOWN),
        air=leak_m3_h * AIR_WH_PER_M3_K,
        stored_j_per_k=(
            FOLLOWING_SHARE * (solid_m2 * PLYWOOD_J_PER_M2_K + floor_m2 * LITTER_J_PER_M2_K)
            + floor_m2 * brooder.height_m * AIR_J_PER_M3_K
        ),
    )
