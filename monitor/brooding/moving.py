"""When may they move out? Called by `advice` and the page.

Two things must meet: the birds are feathered (age by kind), and the coming nights are no colder
than feathered birds of the kind stand, or are near what the box is held at anyway. Before that
they are hardened off: heat down, then off by day, for some days. A third is not known here: wet
birds chill at any age, and no thermometer or forecast of this tool knows of rain; so the message
leaves a cold, wet spell to the grower."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from monitor.brooding.bird_kinds import kind_of
from monitor.brooding.provenance import COMMON_PRACTICE, Mark, Source

HARDEN_DAYS = 4.0  # common practice: some days of less and less heat
NEAR_C = 5.6  # a night this little below the target is no shock (10 degF; common practice)
HARDEN_SOURCE = COMMON_PRACTICE
FROST_C = 0.0  # no move into a freezing night, however low a box's own target is


_PASTURE = Source(
    "ATTRA and extension, meat birds on pasture: from 3 weeks when nights stay above about "
    "50 degF, dry and free of draughts",
    Mark.MEMORY,
)
_AS_MEAT_BIRDS = Source("nights as for meat birds on pasture, about 50 degF", Mark.ASSUMED)
_QUAIL_PAGE = (
    "https://extension.msstate.edu/agriculture/livestock/poultry/quail-brooding-temperatures"
)


@dataclass(frozen=True, slots=True)
class MoveRow:
    """Feathered from `feathered_days` on; then nights down to `night_c` are borne."""

    feathered_days: float
    source: Source  # of the age
    night_c: float = 10.0
    night_source: Source = _AS_MEAT_BIRDS


MOVE: dict[str, MoveRow] = {
    "broiler": MoveRow(21, _PASTURE, 10.0, _PASTURE),
    "layer": MoveRow(
        35, Source("extension, layers are fully feathered at 5 to 6 weeks", Mark.MEMORY)
    ),
    "turkey": MoveRow(
        42, Source("extension, turkey poults leave heat at 6 to 8 weeks", Mark.MEMORY)
    ),
    "duck": MoveRow(
        28, Source("Cornell Duck Research Laboratory, no heat needed from day 28", Mark.MEMORY)
    ),
    "quail": MoveRow(
        35,
        Source(
            'Mississippi State University Extension, "Quail Brooding Temperatures": hold their own '
            "temperature at 5 weeks where it is near 70 degF",
            Mark.READ,
            _QUAIL_PAGE,
        ),
        16.0,
        Source(
            "the 70 degF of that page, less the 10 degF called near here", Mark.DERIVED, _QUAIL_PAGE
        ),
    ),
    "pheasant": MoveRow(
        42,
        Source(
            "MacFarlane Pheasants: outdoors at 6 to 8 weeks, with 2 or 3 good days ahead",
            Mark.READ,
            "https://pheasant.com/?p=2320",
        ),
    ),
    "guinea": MoveRow(42, Source("guinea keets leave heat at about 6 weeks", Mark.MEMORY)),
}


class Stage(StrEnum):
    """How far they are."""

    TOO_YOUNG = "too young"
    HARDEN_OFF = "harden off"
    NIGHTS_TOO_COLD = "nights too cold"
    READY = "ready"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moving:
    """The stage, the coldest night counted on, and the row it was judged by."""

    stage: Stage
    coldest_c: float | None  # of the coming nights; None: unknown
    borne_c: float  # nights down to this are borne
    row: MoveRow
    warmer_from: float | None = None  # Unix s: the morning after the last night known as too cold
    to_the_last: bool = False  # that is the last night that the forecast reaches


def moving(
    kind: str,
    age_days: float,
    *,
    target_c: float | None,
    coming_lows_c: Sequence[float] = (),
    mornings_at: Sequence[float] = (),
) -> Moving:
    """How far birds of a kind are from moving out. `mornings_at`: the mornings (Unix s) that end
    the nights of those lows, where a forecast dates them. Without a known low the age decides
    alone, and the message must name the night they bear and send the grower to a forecast."""
    row = MOVE[kind_of(kind).name]
    coldest_c = min(coming_lows_c, default=None)
    borne_c = _borne_c(row, target_c)
    if age_days < row.feathered_days - HARDEN_DAYS:
        stage = Stage.TOO_YOUNG
    elif age_days < row.feathered_days:
        stage = Stage.HARDEN_OFF
    elif coldest_c is not None and coldest_c < borne_c:
        stage = Stage.NIGHTS_TOO_COLD
    else:
        stage = Stage.READY
    dated = zip(mornings_at, coming_lows_c, strict=False)
    warmer_from = max((at for at, low_c in dated if low_c < borne_c), default=None)
    return Moving(
        stage=stage,
        coldest_c=coldest_c,
        borne_c=borne_c,
        row=row,
        warmer_from=warmer_from,
        to_the_last=warmer_from is not None and warmer_from == max(mornings_at),
    )


def _borne_c(row: MoveRow, target_c: float | None) -> float:
    """What feathered birds of the kind stand, or near what the box is held at anyway; no frost."""
    near_c = row.night_c if target_c is None else target_c - NEAR_C
    return max(FROST_C, min(row.night_c, near_c))
