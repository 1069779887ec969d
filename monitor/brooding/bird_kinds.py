"""Kinds of bird: names, usual schedule, growth. Called wherever a kind is named or weighed.

Weights are the breeders' and the National Research Council's tables, middle of the range, both
sexes. They drive the heat balance and floor space, where 10 % matters little; a slow strain or a
hungry one weighs less, and the heat credited to its birds is then a little too high."""

from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log

from monitor.brooding.provenance import Mark, Source


@dataclass(frozen=True, slots=True)
class BirdKind:
    """One kind of bird. `grams` are (age in days, body mass) in rising age, `growth_by` whom."""

    name: str
    one: str
    grams: tuple[tuple[float, float], ...]
    growth_by: str

    @property
    def many(self) -> str:
        return f"{self.one}s"

    @property
    def growth_source(self) -> Source:
        return Source(self.growth_by, Mark.MEMORY)


def _weeks(*grams: float) -> tuple[tuple[float, float], ...]:
    return tuple((7.0 * week, mass) for week, mass in enumerate(grams))


_NRC = "National Research Council, Nutrient Requirements of Poultry, 9th edition 1994, "

KINDS: dict[str, BirdKind] = {
    kind.name: kind
    for kind in (
        BirdKind(
            "broiler",
            "meat chick",
            _weeks(43, 210, 528, 1010, 1615, 2290),
            "Aviagen, Ross 308 Performance Objectives, 2019/2022, as-hatched",
        ),
        BirdKind(
            "layer",
            "layer pullet",
            _weeks(37, 70, 125, 192, 272, 360),
            "Hy-Line and Lohmann, brown layer management guides, pullet body weights",
        ),
        BirdKind(
            "turkey",
            "turkey poult",
            _weeks(58, 120, 245, 480, 950, 1500, 2000),
            _NRC + "growth of turkeys, mean of the sexes",
        ),
        BirdKind(
            "duck",
            "duckling",
            _weeks(55, 270, 780, 1380, 1960, 2490, 2960),
            _NRC + "White Pekin ducks",
        ),
        BirdKind(
            "quail",
            "quail chick",
            _weeks(7, 26, 60, 100, 135, 160),
            "Japanese quail, growth in general",
        ),
        BirdKind(
            "pheasant",
            "pheasant chick",
            _weeks(20, 38, 75, 135, 210, 300, 400),
            "ring-necked pheasant, growth in general",
        ),
        BirdKind(
            "guinea",
            "guinea keet",
            _weeks(27, 58, 110, 190, 290, 400, 520),
            "guinea fowl, growth in general",
        ),
    )
}


def kind_of(name: str) -> BirdKind:
    """The kind of that name. Raises ValueError with the known ones."""
    try:
        return KINDS[name]
    except KeyError:
        known = ", ".join(KINDS)
        raise ValueError(f"kind of bird {name!r} is not known; use one of {known}") from None


@lru_cache(maxsize=64)  # asked many times of the birds as they are now
def mass_kg(kind: str, age_days: float) -> float:
    """Mass of one bird. Between the table's ages growth is by the same share each day (chicks
    double, they do not add); before hatch and after the table's end it stands still, so nothing
    is guessed beyond what was published."""
    points = kind_of(kind).grams
    if age_days <= points[0][0]:
        return points[0][1] / 1000
    if age_days >= points[-1][0]:
        return points[-1][1] / 1000
    index = bisect_right(points, age_days, key=lambda point: point[0]) - 1
    (from_day, from_g), (to_day, to_g) = points[index], points[index + 1]
    done = (age_days - from_day) / (to_day - from_day)
    return exp(log(from_g) + done * (log(to_g) - log(from_g))) / 1000
