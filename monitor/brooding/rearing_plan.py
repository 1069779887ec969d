"""Before the order: will this box and this heat rear so many birds in this cold? Called by
`brooder plan` and the page. Pure; needs no probe, no birds and no readings.

The same heat balance as everywhere else (`heat_balance`), at the coldest night that is expected,
week by week until the birds can be out. It knows only the size of the box, so its figures are a
quarter of the rise either way, and say so."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from monitor.brooding import feed, space
from monitor.brooding.envelope import COVERS, WALLS
from monitor.brooding.heat_balance import SHARES, Flock, balance, changed, with_watts
from monitor.brooding.moving import MOVE
from monitor.brooding.provenance import COMMON_PRACTICE, Mark, Source
from monitor.brooding.schedules import schedule_for, target_at
from monitor.measures import length_m, length_shown
from monitor.site import Brooder, HeatSource, Place, Steps
from monitor.units import Unit

_HEAT = re.compile(r"^\s*(lamp|plate|panel|other)\s+(\d{1,4})\s*[Ww]?\s*$")
MOST_BIRDS = 10_000
_LEAST_M, _MOST_M = 0.1, 50.0
ARRIVAL_DAYS = 1.0  # chicks by mail are one to three days old; the youngest want the most heat
LITTER_M = 0.09  # 3 to 4 in
LITTER_SOURCE = Source(
    "Merck Veterinary Manual, management of growing chickens: litter of at least 3 in; between it "
    "and the 3 to 4 in of a hatchery",
    Mark.DERIVED,
    "http://www.merckvetmanual.com/poultry/nutrition-and-management-poultry/"
    "management-of-growing-chickens",
)
LITTER_AGAIN_DAYS = 14  # fresh on top about every two weeks. Common practice
WALL_M, LATER_WALL_M, LATER_FROM_DAYS = 0.45, 0.60, 14
WALL_SOURCE = Source(
    '"Hand-Rearing Birds", 2nd edition, p. 133: walls of 24 in for birds that flutter; before that '
    "a guard of 12 to 18 in (from memory)",
    Mark.DERIVED,
    "http://online.flipbuilder.com/ulbm/bnno/files/basic-html/page148.html",
)
CHICKS_PER_LITRE = 25.0  # drinkers for a day at first: 1 quart serves 15 to 25. Common practice
DRINKER_SOURCE = COMMON_PRACTICE
DAY_OVER_NIGHT_K = 10.0  # how much warmer an afternoon is than its night. Common practice
SPARE_K = 2.0  # a floor this far over its target on the coldest night has heat in hand


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedWeek:
    """The box on one day of age. Temperatures degC, watts W."""

    age_days: int
    target_c: float
    floor_c: float  # with all the heat on, in the coldest night
    missing_w: float  # for the target; 0: none
    spare_w: float  # that a mild afternoon has too many; 0: none
    wanted_m2: float
    least_m2: float
    wall_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderCover:
    cover: str
    floor_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RearingPlan:
    box: Brooder
    kind: str
    head_count: int
    low_c: float
    out_days: int  # old enough to be out
    weeks: tuple[PlannedWeek, ...]
    covers: tuple[UnderCover, ...]  # the first night, the box's own among them
    crowded_days: int | None  # from then on the box is too small for all of them
    litter_m3: float
    feed_kg: float | None  # until they are out; None: no table of the kind
    water_l: float | None  # on the last day in the box
    feeder_m: float  # trough edge on the last day
    drinkers_l: float  # to stand in the box at first

    @property
    def cold_weeks(self) -> list[PlannedWeek]:
        """Those in which the floor likely leaves its band in the coldest night."""
        band_c = self.box.limits.band_c
        return [week for week in self.weeks if week.floor_c < week.target_c - band_c]


def rearing_plan(box: Brooder, kind: str, head_count: int, low_c: float) -> RearingPlan:
    """The plan for a box as it is to be built. Raises ValueError for an unknown kind."""
    out_days = int(MOVE[kind].feathered_days)
    days = [int(ARRIVAL_DAYS), *range(7, out_days + 1, 7)]
    weeks = tuple(_week(box, kind, head_count, low_c, day) for day in days)
    last = days[-1]
    first = Flock(kind=kind, age_days=ARRIVAL_DAYS, head_count=head_count)
    covers = tuple(
        UnderCover(
            cover=name, floor_c=balance(replace(box, cover=name), first, outside_c=low_c).floor_c
        )
        for name in dict.fromkeys(("none", "cardboard", "plywood", "boards", box.cover))
    )
    crowded = next(
        (
            day
            for day in range(int(ARRIVAL_DAYS), out_days)
            if space.is_crowded(kind, day, area_m2=box.floor_area_m2, head_count=head_count)
        ),
        None,
    )
    trough = space.TROUGH[-1]
    for row in space.TROUGH:
        trough = row if row.from_day <= last else trough
    final = feed.needs(kind, out_days, head_count)
    return RearingPlan(
        box=box,
        kind=kind,
        head_count=head_count,
        low_c=low_c,
        out_days=out_days,
        weeks=weeks,
        covers=covers,
        crowded_days=crowded,
        litter_m3=box.floor_area_m2 * LITTER_M * (1 + (out_days // LITTER_AGAIN_DAYS) / 2),
        feed_kg=feed.feed_until_kg(kind, out_days, head_count),
        water_l=final.water_l if final is not None else None,
        feeder_m=trough.feeder_cm * head_count / 100.0,
        drinkers_l=head_count / CHICKS_PER_LITRE,
    )


def heat_sources(said: Sequence[str]) -> tuple[HeatSource, ...]:
    """`lamp 250` for each source; `none` alone: no heat. Raises ValueError that says what would be
    right."""
    if list(said) == ["none"]:
        return ()
    found = []
    for number, text in enumerate(said, 1):
        match = _HEAT.match(text)
        if match is None:
            kinds = ", ".join(SHARES)
            raise ValueError(
                f'"{text}" is no heat source; write a kind ({kinds}) and watts, such as "lamp 250"'
            )
        found.append(HeatSource(name=f"{match[1]} {number}", kind=match[1], watts=float(match[2])))
    return tuple(found)


def changed_box(
    box: Brooder, said: Mapping[str, str], units: Unit
) -> tuple[Brooder, dict[str, str]]:
    """The box with another `length`, `width`, `height` (`5 ft`), `walls`, `cover`, `heat` (sources
    with commas between), as far as they are said; and by name what is wrong with them."""
    new: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    words = {name: text.strip() for name, text in said.items() if text.strip()}
    for side in words.keys() & {"length", "width", "height"}:
        try:
            new[f"{side}_m"] = metres = length_m(words[side])
            if not _LEAST_M <= metres <= _MOST_M:
                least, most = (length_shown(end, units) for end in (_LEAST_M, _MOST_M))
                wrong[side] = f"a box is {least} to {most} long"
        except ValueError as why:
            wrong[side] = str(why)
    for name, known in (("walls", tuple(WALLS)), ("cover", tuple(COVERS))):
        if name in words:
            new[name] = words[name]
            if words[name] not in known:
                wrong[name] = f"it must be one of {', '.join(known)}"
    if "heat" in words:
        try:
            new["heat"] = heat_sources([each.strip() for each in words["heat"].split(",")])
        except ValueError as why:
            wrong["heat"] = str(why)
    return box if wrong else replace(box, **new), wrong


def _week(box: Brooder, kind: str, head_count: int, low_c: float, day: int) -> PlannedWeek:
    flock = Flock(kind=kind, age_days=float(day), head_count=head_count)
    target = target_at(schedule_for(box, kind), float(day), Steps.WEEKLY, Place.FLOOR)
    target_c = low_c if target is None else target  # the schedule asks for no heat any more
    floor_c = balance(box, flock, outside_c=low_c).floor_c
    brings_k = changed(box, with_watts(box, 0.0), flock).rise_per_watt_k
    need = space.floor_need(kind, float(day))
    over_k = floor_c + DAY_OVER_NIGHT_K - (target_c + box.limits.band_c)
    return PlannedWeek(
        age_days=day,
        target_c=target_c,
        floor_c=floor_c,
        missing_w=max(0.0, (target_c - floor_c) / brings_k),
        spare_w=min(box.watts, max(0.0, over_k / brings_k)),
        wanted_m2=need.wanted_m2 * head_count,
        least_m2=need.least_m2 * head_count,
        wall_m=WALL_M if day < LATER_FROM_DAYS else LATER_WALL_M,
    )
