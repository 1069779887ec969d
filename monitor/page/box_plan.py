"""A plan of the box to scale, from above: its heat, its probes, and how warm each place is. Pure;
called by `now`.

Nobody measures where a probe lies, so its place is taken from its kind and its name, and the plan
says so: heat stands along the middle, a probe under a source lies on it, the floor probes at the
edge of the heat, the cool end in the corners."""

from dataclasses import dataclass

from monitor.measures import length_shown
from monitor.page.phrases import Phrases
from monitor.site import Brooder, Place
from monitor.thermal.witness import beneath
from monitor.watch.status import BrooderStatus, ProbeStatus

WIDE, _EDGE = 320, 8  # of the drawing; its letters are 13 high
_LEAST_HIGH, _MOST_HIGH = 150, 320
_NAME_LETTERS = 15


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Something in the box: `kind` is heat | right | cold | hot | unknown | untold."""

    x: int
    y: int
    kind: str
    figure: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxPlan:
    """A box seen from above, in units of the drawing."""

    wide: int
    high: int
    spots: tuple[Spot, ...]
    words: str  # "4 ft 11 in by 4 ft 11 in"


def box_plan(box: BrooderStatus, setting: Brooder, say: Phrases) -> BoxPlan:
    """The drawing of a box, with its longer side across."""
    long_m, short_m = sorted((setting.length_m, setting.width_m), reverse=True)
    high = round(min(_MOST_HIGH, max(_LEAST_HIGH, WIDE * short_m / long_m)))
    units = say.site.units
    return BoxPlan(
        wide=WIDE,
        high=high,
        spots=(*_heat(setting, high), *_probes(box, setting, high, say)),
        words=f"{length_shown(long_m, units)} by {length_shown(short_m, units)}",
    )


def _heat_x(setting: Brooder, index: int) -> int:
    """Along the middle, evenly; what is called west stands left of what is called east."""
    order = sorted(range(len(setting.heat)), key=lambda n: _side(setting.heat[n].name))
    return round(WIDE * (order.index(index) + 1) / (len(order) + 1))


def _side(name: str) -> int:
    word = name.lower()
    return ("west" not in word and "left" not in word) + ("east" in word or "right" in word)


def _heat(setting: Brooder, high: int) -> list[Spot]:
    return [
        Spot(
            x=_heat_x(setting, index),
            y=round(high * 0.3),
            kind="heat",
            figure=f"{source.watts:g} W",
            name=_short(source.name),
        )
        for index, source in enumerate(setting.heat)
    ]


def _probes(box: BrooderStatus, setting: Brooder, high: int, say: Phrases) -> list[Spot]:
    rows: dict[Place, list[ProbeStatus]] = {}
    for probe in box.probes:
        rows.setdefault(probe.place, []).append(probe)
    spots = []
    for place, probes in rows.items():
        for number, probe in enumerate(probes):
            x = round(WIDE * (number + 1) / (len(probes) + 1))
            y = {Place.FLOOR: 0.62, Place.UNDER_HEAT: 0.3, Place.COOL_END: 0.88}.get(place, 0.62)
            under = beneath(setting, probe.name) if place is Place.UNDER_HEAT else None
            if under is not None:
                x = _heat_x(setting, under)
            spots.append(
                Spot(
                    x=x,
                    y=round(high * y),
                    kind=_kind(probe, box),
                    figure=say.temp(probe.temp_c),
                    name=_short(probe.name),
                )
            )
    return spots


def _kind(probe: ProbeStatus, box: BrooderStatus) -> str:
    """Only the floor has a target; what is not believed tells nothing."""
    if probe.temp_c is None or probe.silent or probe.fault or probe.out_of_service:
        return "unknown"
    if probe.place is not Place.FLOOR or box.low_c is None or box.high_c is None:
        return "untold"
    if probe.temp_c < box.low_c:
        return "cold"
    return "hot" if probe.temp_c > box.high_c else "right"


def _short(name: str) -> str:
    return name if len(name) <= _NAME_LETTERS else name[: _NAME_LETTERS - 1].rstrip() + "…"
