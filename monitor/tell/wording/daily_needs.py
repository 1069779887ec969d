"""Feed, water and weight in the grower's units. Called by the morning message, the plan and
`flock weighed`."""

from monitor.brooding import feed
from monitor.brooding.bird_kinds import kind_of, mass_kg
from monitor.measures import counted
from monitor.units import Unit

LITRES_PER_GALLON, KG_PER_POUND, G_PER_OUNCE = 3.785411784, 0.45359237, 28.349523125


def water(litres: float, units: Unit) -> str:
    """`6.1 gal` or `23 litres`."""
    if units is Unit.FAHRENHEIT:
        return f"{litres / LITRES_PER_GALLON:.1f} gal"
    return f"{litres:.1f} litres" if litres < 10 else f"{litres:.0f} litres"


def weight(kg: float, units: Unit) -> str:
    """Of feed: `5.1 lb`, `23 kg`."""
    amount, sign = (kg / KG_PER_POUND, "lb") if units is Unit.FAHRENHEIT else (kg, "kg")
    return f"{amount:.1f} {sign}" if amount < 10 else f"{amount:.0f} {sign}"


def bird_weight(grams: float, units: Unit) -> str:
    """Of one bird: `7.4 oz`, `210 g`."""
    if units is not Unit.FAHRENHEIT:
        return f"{grams:.0f} g"
    pounds = grams / 1000.0 / KG_PER_POUND
    return f"{pounds:.2f} lb" if pounds >= 1 else f"{grams / G_PER_OUNCE:.1f} oz"


def needs_words(kind: str, age_days: float, head_count: int, units: Unit) -> str | None:
    """`feed about 5.1 lb, water 1.2 gal`; None: no table of the kind is kept here."""
    day = feed.needs(kind, age_days, head_count)
    if day is None:
        return None
    return f"feed about {weight(day.feed_kg, units)}, water {water(day.water_l, units)}"


def weight_words(kind: str, age_days: float, grams: float, units: Unit) -> str:
    """How the weighed birds stand beside what their kind weighs at that age."""
    should = bird_weight(1000.0 * mass_kg(kind, age_days), units)
    share = feed.weight_share(kind, age_days, grams)
    many = kind_of(kind).many
    said = (
        f"{bird_weight(grams, units)} a bird; {many} {counted(int(age_days), 'day')} old weigh "
        f"about {should} by the breeder's table"
    )
    if share > feed.HEAVY_SHARE:
        return f"{said}. Check the count, the weight and its unit, and the day they hatched."
    said += f": {share * 100:.0f} % of it."
    if share >= feed.LIGHT_SHARE:
        return f"{said} That is well."
    return (
        f"{said} That is behind. Look at what comes first: is it warm enough at night, is there "
        "water and feed at every hour, are some crowded out at the feeder? Else ask a veterinarian."
    )
