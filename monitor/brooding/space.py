"""Floor space by age, called by `advice` and the record sheet; feeder and drinker edge, which
`brooder sources` passes on and nothing here decides by.

Published minima differ by more than a quarter: in week 1 from 0.19 square feet a chick (a guard
ring of 6 ft for 150) to 1/2; in weeks 2 to 4 from 0.48 (Cornell) to 3/4. So each age has two
figures: `wanted`, what most extension tables ask for, and `least`, the tightest published one.
A box is called crowded below `least`, and the message gives `wanted`: advice that contradicts
half of the books every day would be switched off.

Clauer's rows overlap (weeks 2-3, 3-5, 5-8), but week 4 stands in one of them only: 3/4, for floor
and trough alike from day 21 on, as the overcrowding text has it from week 3. Estes Hatchery keeps
1/2 until four weeks, and Cornell's house has no age; so `least` follows on day 28."""

from bisect import bisect_right
from dataclasses import dataclass

from monitor.brooding.bird_kinds import kind_of
from monitor.brooding.provenance import Mark, Source
from monitor.units import CM_PER_INCH, M2_PER_SQUARE_FOOT

_CLAUER = Source(
    'P. Clauer, "Space Should Increase as Birds Grow", Poultry Producer, table of floor, feeder '
    "and water space",
    Mark.READ,
    "https://www.poultryproducer.com/space-should-increase-as-birds-grow-by-phillip-clauer/",
)
_RING = Source("extension, guard ring 6 ft across for 150 chicks", Mark.MEMORY)
_CORNELL = Source(
    'Cornell, Marble and Schano, "Brooding Chickens in Colony Houses": not over 250 chicks in '
    "10 x 12 ft",
    Mark.MEMORY,
)
_OVERCROWDING = Source(
    "extension text on cannibalism, overcrowding limits, 3/4 sq ft in weeks 3 to 8; game birds "
    "double",
    Mark.MEMORY,
)
_MACFARLANE = Source(
    "MacFarlane Pheasants: 4 birds a sq ft to 3 weeks, 0.7 sq ft a bird from 3 to 6 weeks",
    Mark.READ,
    "https://pheasant.com/?p=2320",
)
_TURKEY = Source("extension, turkey poults: 1 sq ft a bird to 6 or 8 weeks", Mark.MEMORY)
_DUCK = Source("extension, ducklings: 1/2 sq ft, then 1/2 more each week", Mark.MEMORY)
_DUCK_START = Source(
    "hatchery sheet, ducklings: about 1/3 sq ft at first",
    Mark.READ,
    "https://myerspoultry.com/product-khaki-campbell",
)
_QUAIL = Source("Japanese quail: 1/10 sq ft to 2 weeks, 1/6 after", Mark.MEMORY)


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorRow:
    """From `from_day` on, floor a bird in m2: what is asked for, and the least anyone prints."""

    from_day: float
    wanted_m2: float
    wanted_source: Source
    least_m2: float
    least_source: Source


def _row(from_day: float, wanted: float, source: Source, least: float, tight: Source) -> FloorRow:
    """A row from figures in square feet."""
    return FloorRow(
        from_day=from_day,
        wanted_m2=wanted * M2_PER_SQUARE_FOOT,
        wanted_source=source,
        least_m2=least * M2_PER_SQUARE_FOOT,
        least_source=tight,
    )


_CHICKENS = (
    _row(0, 0.25, _CLAUER, 0.19, _RING),
    _row(7, 0.50, _CLAUER, 0.48, _CORNELL),
    _row(21, 0.75, _CLAUER, 0.48, _CORNELL),
    _row(28, 0.75, _CLAUER, 0.75, _OVERCROWDING),
    _row(35, 1.00, _CLAUER, 0.75, _OVERCROWDING),
)

FLOOR: dict[str, tuple[FloorRow, ...]] = {
    "broiler": _CHICKENS,
    "layer": _CHICKENS,
    "turkey": (_row(0, 0.5, _TURKEY, 0.5, _TURKEY), _row(14, 1.0, _TURKEY, 1.0, _TURKEY)),
    "duck": (
        _row(0, 0.5, _DUCK, 1 / 3, _DUCK_START),
        _row(7, 1.0, _DUCK, 1.0, _DUCK),
        _row(14, 1.5, _DUCK, 1.5, _DUCK),
        _row(21, 2.0, _DUCK, 2.0, _DUCK),
    ),
    "quail": (_row(0, 0.1, _QUAIL, 0.1, _QUAIL), _row(14, 1 / 6, _QUAIL, 1 / 6, _QUAIL)),
    "pheasant": (
        _row(0, 0.25, _MACFARLANE, 0.25, _MACFARLANE),
        _row(21, 0.7, _MACFARLANE, 0.7, _MACFARLANE),
    ),
    "guinea": _CHICKENS,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TroughRow:
    """From `from_day` on, trough edge a chick in cm."""

    from_day: float
    feeder_cm: float
    drinker_cm: float
    source: Source = _CLAUER


TROUGH: tuple[TroughRow, ...] = tuple(
    TroughRow(from_day=day, feeder_cm=feeder * CM_PER_INCH, drinker_cm=drinker * CM_PER_INCH)
    for day, feeder, drinker in ((0, 1.0, 0.5), (7, 1.5, 0.5), (21, 2.0, 0.5), (35, 2.0, 0.75))
)


def floor_need(kind: str, age_days: float) -> FloorRow:
    """The row of an age (the first before hatch). Raises ValueError for an unknown kind."""
    rows = FLOOR[kind_of(kind).name]
    return rows[max(0, bisect_right(rows, age_days, key=lambda row: row.from_day) - 1)]


def is_crowded(kind: str, age_days: float, *, area_m2: float, head_count: int) -> bool:
    """Has each bird less than the tightest published figure?"""
    return head_count > 0 and area_m2 / head_count < floor_need(kind, age_days).least_m2
