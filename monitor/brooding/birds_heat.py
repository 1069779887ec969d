"""The heat birds give off, and the fresh air they need. Called by `heat_balance`.

The published rule (CIGR 2002) is for growing and grown birds about 20 degC. Carried to a chick of
a day in a box at 33 degC it gives 0.73 W in all and 0.20 W of it sensible, where 0.35 W were
measured and 0.23 W of it sensible (Xin and Harrison, chicks in groups, unfed). A box that counts on
heat its birds do not make is a cold box, so: a day-old is credited with what was measured, and a
growing one with as much by its mass ^ 0.75; the full rule counts from the age at which a chick has
reached its adult temperature, in between in a straight line; and air cooler than 20 degC is taken
as 20 (a chilled chick does not heat the box more, it huddles). Others set that age at 12 to 14 days
(University of Georgia Extension, B1287); the two ways are so near there that it changes little.

Only the sensible part warms the air; the rest goes off as vapour. The 2002 rule is at the level
of the house, litter included; the older rule of 1984 gives 0.04 instead of 0.21 of the total at
35 degC and more below 29: both extrapolate there. Day-olds in dry air gave off 0.62."""

from bisect import bisect_right
from dataclasses import dataclass

from monitor.brooding.bird_kinds import mass_kg as mass_at
from monitor.brooding.provenance import Mark, Source

_CIGR = (
    "CIGR, 4th report of working group on climatization of animal houses: heat and moisture "
    "production at animal and house levels, Pedersen and Sallvik (eds), 2002"
)
CIGR_2002 = Source(_CIGR, Mark.MEMORY, "ISBN 87-88976-60-2")
CIGR_TURKEY = Source(f"{_CIGR}, turkeys", Mark.MEMORY, "ISBN 87-88976-60-2")
OTHER_BIRDS = Source("as layer pullets, the lower figure: credits less heat", Mark.ASSUMED)
OWN_TEMPERATURE = Source(
    "from the age at which body temperature is an adult's, about 10 days (that the heat is an "
    "adult's then is taken from it)",
    Mark.DERIVED,
    "https://scilit.net/publications/c18c32b54ac8f3d581e121db9e70c453",
)
FRESH_AIR = Source(
    "Aviagen, Ross Broiler Management Handbook, 2014/2018, minimum ventilation per bird (British "
    "Poultry Science 22, 1981, 493-498 has 0.54, doi.org/10.1080/00071688108447915)",
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
# Chicks of a day: (air in degC, total, sensible in W/kg), by harm_known.XIN_HARRISON
DAY_OLD_W_PER_KG = ((20.0, 10.3, 7.8), (25.0, 9.1, 6.4), (30.0, 8.5, 5.7), (35.0, 8.4, 5.2))
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


def day_old_w(kind: str, mass_kg: float, air_c: float) -> tuple[float, float]:
    """Total and sensible heat of one bird, W, as measured on chicks of a day."""
    rows = DAY_OLD_W_PER_KG
    air_c = min(max(air_c, rows[0][0]), rows[-1][0])
    index = min(bisect_right(rows, air_c, key=lambda row: row[0]), len(rows) - 1)
    (cool_c, total, sensible), (warm_c, total_warm, sensible_warm) = rows[index - 1], rows[index]
    done = (air_c - cool_c) / (warm_c - cool_c)
    hatched_kg = mass_at(kind, 0.0)
    scaled_kg = hatched_kg * (mass_kg / hatched_kg) ** 0.75
    return (
        scaled_kg * (total + done * (total_warm - total)),
        scaled_kg * (sensible + done * (sensible_warm - sensible)),
    )


def total_w(kind: str, mass_kg: float, air_c: float, age_days: float) -> float:
    """Total heat of one bird that may be counted on (module docstring)."""
    full = cigr_total_w(kind, mass_kg, min(max(air_c, COOLEST_C), WARMEST_C))
    return _grown(age_days, min(full, day_old_w(kind, mass_kg, air_c)[0]), full)


def sensible_w(kind: str, mass_kg: float, air_c: float, age_days: float) -> float:
    """What of it warms the box."""
    air_c = min(max(air_c, COOLEST_C), WARMEST_C)
    full = sensible_share(air_c) * cigr_total_w(kind, mass_kg, air_c)
    return _grown(age_days, day_old_w(kind, mass_kg, air_c)[1], full)


def _grown(age_days: float, day_old: float, full: float) -> float:
    return day_old + min(max(age_days / OWN_TEMPERATURE_DAYS, 0.0), 1.0) * (full - day_old)


def fresh_air_m3_h(mass_kg: float) -> float:
    """The least air one bird needs, m3/h: as birds grow, a tight lid must be opened."""
    return float(FRESH_AIR_M3_H * mass_kg**0.75)
