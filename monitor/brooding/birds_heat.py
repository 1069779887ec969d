"""The heat birds give off, and the fresh air they need. Called by `heat_balance`.

The published rule (CIGR 2002) is for growing and grown birds about 20 degC. Carried to a chick of
a day in a box at 33 degC it gives 0.77 W, where 0.33 to 0.40 W was measured on fasting chicks of
that age. A box that counts on heat its birds do not make is a cold box, so: a day-old is credited
with the lower measured figure, the full rule counts from the age at which a chick holds its own
temperature, in between in a straight line; and air cooler than 20 degC is taken as 20 (a chilled
chick does not heat the box more, it huddles).

Only the sensible part warms the air; the rest goes off as vapour. The 2002 rule is at the level
of the house, litter included; the older rule of 1984 gives 0.04 instead of 0.21 of the total at
35 degC and more below 29: both extrapolate there, and at 0.3 W a chick the difference is 6 W for
a hundred chicks."""

from dataclasses import dataclass

from monitor.brooding.provenance import Mark, Source

_CIGR = (
    "CIGR, 4th report of working group on climatization of animal houses: heat and moisture "
    "production at animal and house levels, Pedersen and Sallvik (eds), 2002"
)
CIGR_2002 = Source(_CIGR, Mark.MEMORY, "ISBN 87-88976-60-2")
CIGR_TURKEY = Source(f"{_CIGR}, turkeys", Mark.MEMORY, "ISBN 87-88976-60-2")
OTHER_BIRDS = Source("as layer pullets, the lower figure: credits less heat", Mark.ASSUMED)
NEONATES = Source(
    '"The upper critical ambient temperature in neonatal chicks", abstract: 28.2 kJ/kg.h at 30.8 '
    "degC, last 3 h of 24 (author, journal and year from memory: van der Hel et al., Poultry "
    "Science, 1991)",
    Mark.READ,
    "https://discovery.researcher.life/article/the-upper-critical-ambient-temperature-in-neonatal-"
    "chicks/e48439e05a233da1aaf48f7a79a15963",
)
OWN_TEMPERATURE = Source(
    "adult body temperature at about 10 days",
    Mark.READ,
    "https://scilit.net/publications/c18c32b54ac8f3d581e121db9e70c453",
)
FRESH_AIR = Source(
    "Aviagen, Ross Broiler Management Handbook, 2014/2018, minimum ventilation per bird",
    Mark.MEMORY,
)


@dataclass(frozen=True, slots=True)
class Rule:
    """Total heat at 20 degC: `watts` x (mass in kg) ^ `power`."""

    watts: float
    power: float
    source: Source


RULES: dict[str, Rule] = {
    "broiler": Rule(10.62, 0.75, CIGR_2002),
    "layer": Rule(6.8, 0.75, CIGR_2002),  # on the floor, no eggs yet
    "turkey": Rule(9.86, 0.77, CIGR_TURKEY),
    "duck": Rule(6.8, 0.75, OTHER_BIRDS),
    "quail": Rule(6.8, 0.75, OTHER_BIRDS),
    "pheasant": Rule(6.8, 0.75, OTHER_BIRDS),
    "guinea": Rule(6.8, 0.75, OTHER_BIRDS),
}
DAY_OLD_W_PER_KG = 28.2 / 3.6  # NEONATES: 7.8 W/kg
OWN_TEMPERATURE_DAYS = 10.0
COOLEST_C = 20.0
WARMEST_C = 35.0  # the rule's sensible part reaches nothing at 41; above 35 nobody measured
FRESH_AIR_M3_H = 0.702  # x kg ^ 0.75 a bird


def cigr_total_w(kind: str, mass_kg: float, air_c: float) -> float:
    """Total heat of one bird by the published rule alone, uncorrected for age."""
    rule = RULES[kind]
    return rule.watts * float(mass_kg**rule.power) * (1.0 + 0.02 * (20.0 - air_c))


def sensible_share(air_c: float) -> float:
    """The part of the total that warms the air, by the 2002 rule, never below nothing."""
    total = 1000.0 + 20.0 * (20.0 - air_c)
    return max(0.0, (0.61 * total - 0.228 * air_c**2) / total)


def total_w(kind: str, mass_kg: float, air_c: float, age_days: float) -> float:
    """Total heat of one bird that may be counted on (module docstring)."""
    full = cigr_total_w(kind, mass_kg, min(max(air_c, COOLEST_C), WARMEST_C))
    newborn = min(full, DAY_OLD_W_PER_KG * mass_kg)
    grown = min(max(age_days / OWN_TEMPERATURE_DAYS, 0.0), 1.0)
    return newborn + grown * (full - newborn)


def sensible_w(kind: str, mass_kg: float, air_c: float, age_days: float) -> float:
    """What of it warms the box."""
    share = sensible_share(min(max(air_c, COOLEST_C), WARMEST_C))
    return share * total_w(kind, mass_kg, air_c, age_days)


def fresh_air_m3_h(mass_kg: float) -> float:
    """The least air one bird needs, m3/h: as birds grow, a tight lid must be opened."""
    return float(FRESH_AIR_M3_H * mass_kg**0.75)
