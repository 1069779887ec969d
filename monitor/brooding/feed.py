"""What a day asks for at an age: feed, water, grit, and what a bird should weigh. Called by `plan`,
the morning message and `flock weighed`.

Feed. For fast meat birds a mill prints a rule by age for Ross 308: from the second week on 5 g a
day for each day of age. An older trial has less (Pesti, Amato and Minear 1985: water of 5.28 g a
day for each day of age, and 1.77 g of water to a gram of feed, so 3 g of feed), a generation of
breeding ago. Of layer pullets the same mill says about a gram a day for each day of age, and
another sheet 2 lb in six weeks, which is the same.

Water: two pounds to a pound of feed in every source, nearly three in the first days, more in heat.

Weights are those of `bird_kinds`: a breeder's targets, which a box on a porch need not reach."""

from dataclasses import dataclass

from monitor.brooding.bird_kinds import kind_of, mass_kg
from monitor.brooding.provenance import Mark, Source

_MILL_PAGE = (
    "https://www.richimachinery.com/customer-guide/"
    "what-is-the-daily-feed-intake-of-chickens-layers-and-broilers.html"
)
MEAT_SOURCE = Source("a feed mill's rule for Ross 308 meat birds, by age", Mark.READ, _MILL_PAGE)
PULLET_SOURCE = Source("a feed mill's rule for layer pullets, by age", Mark.READ, _MILL_PAGE)
WATER_SOURCE = Source(
    "University of Georgia, poultry housing tips: almost two pounds of water to a pound of feed",
    Mark.READ,
    "https://www.poultryventilation.com/resources/controlling-litter-moisture/",
)
FIRST_WATER_SOURCE = Source(
    "C. Mou and M. Czarick, University of Georgia, in Zootecnica International, November 2021: "
    "nearly three grams of water to a gram of feed in the first days",
    Mark.READ,
    "https://issuu.com./zootecnica/docs/11-zootecnica-international-november-2021-issuu/34",
)

WATER_PER_FEED, FIRST_WATER_PER_FEED, FIRST_DAYS = 2.0, 3.0, 3
LIGHT_SHARE = 0.8  # of the breeder's target; a bird under it is behind. Common practice
HEAVY_SHARE = 2.0  # more than that is a slip of the pen. Assumed


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyNeeds:
    """Of the whole flock on one day."""

    feed_kg: float
    water_l: float


def meat_bird_g(age_days: float) -> float:
    """Feed of one fast-growing meat bird on a day of age, in grams."""
    if age_days <= 10:
        return 6.0 + 4.0 * max(0.0, age_days - 1.0)
    if age_days <= 20:
        return 5.0 * (age_days - 2.0)
    if age_days <= 30:
        return 5.0 * (age_days - 1.0)
    return 5.0 * min(age_days, 40.0)


def pullet_g(age_days: float) -> float:
    """Feed of one layer pullet on a day of age, in grams."""
    if age_days <= 10:
        return max(0.0, age_days) + 2.0
    if age_days <= 20:
        return age_days + 1.0
    return min(age_days, 50.0)


_FEED = {"broiler": meat_bird_g, "layer": pullet_g}


def needs(kind: str, age_days: float, head_count: int) -> DailyNeeds | None:
    """Feed and water of a flock on the day of that age; None: no table of the kind is kept here.
    Raises ValueError for an unknown kind."""
    grams = _FEED.get(kind_of(kind).name)
    if grams is None or head_count <= 0:
        return None
    day = max(0, int(age_days))
    feed_kg = grams(day) * head_count / 1000.0
    per_feed = FIRST_WATER_PER_FEED if day <= FIRST_DAYS else WATER_PER_FEED
    return DailyNeeds(feed_kg=feed_kg, water_l=per_feed * feed_kg)


def feed_until_kg(kind: str, to_day: int, head_count: int) -> float | None:
    """Feed of a flock from hatch until a day of age, nothing spilled; None: no table."""
    days = [needs(kind, day, head_count) for day in range(to_day)]
    return None if None in days else sum(day.feed_kg for day in days if day is not None)


def weight_share(kind: str, age_days: float, grams: float) -> float:
    """A bird's weight as a share of what its kind weighs at that age."""
    return grams / 1000.0 / mass_kg(kind, age_days)
