"""What was measured of chicks in the cold and in the heat. Called by `age_limits` (the hottest
floor that is not yet an overheat), by the review's `verdict`, and printed by `brooder sources`.

Harm is not symmetric. A newly hatched chick is 3 K under the air at which it pants, 4 K under that
in which some die within two days, 6.5 to 8 K under what none survives. 5 K under the target shows
nothing in one night, and costs much when it lasts. So the overheat limit has a cap in degrees
besides its distance from the target, and the chill limit has none.

The cap is the temperature at which chicks kept there from hatch died within two days; well
feathered meat birds die of less, many from day 31 on in houses that went over 34.4 degC. With the
usual distance from the usual target the cap speaks in the first week (35 + 5.6 would be 40.6), of
young turkeys and guineas, and where somebody widens `harm_c`."""

from bisect import bisect_right
from functools import partial

from monitor.brooding.provenance import Figure, Mark, Source, figure

_UPPER_CRITICAL = Source(
    '"The upper critical ambient temperature in neonatal chicks", abstract',
    Mark.READ,
    "https://discovery.researcher.life/article/the-upper-critical-ambient-temperature-in-neonatal-"
    "chicks/e48439e05a233da1aaf48f7a79a15963",
)
_MISSON = Source(
    'B. H. Misson, "The effects of temperature and relative humidity on the thermoregulatory '
    'responses of grouped and isolated neonate chicks", Journal of Agricultural Science, 1976, '
    "abstract",
    Mark.READ,
    "https://www.cambridge.org/core/journals/journal-of-agricultural-science/article/"
    "effects-of-temperature-and-relative-humidity-on-the-thermoregulatory-responses-of-grouped-and-"
    "isolated-neonate-chicks/60C7550428E766F3D5BBA68D8EAC85B0",
)
TWO_DAYS_AT_39 = Source(
    '"Effects of incubation humidity and hatching time on heat tolerance of neonatal chicks: '
    'growth performance after heat exposure", abstract: 48 h at 35, 37 or 39 degC from hatch, '
    "deaths at 39",
    Mark.READ,
    "https://discovery.researcher.life/article/effects-of-incubation-humidity-and-hatching-time-on-"
    "heat-tolerance-of-neonatal-chicks-growth-performance-after-heat-exposure/"
    "fe4f3e53a03735409a258ddf5b762883",
)
_HEAT_WAVES = Source(
    'M. M. Vale and others, "Characterization of heat waves affecting mortality rates of broilers '
    'between 29 days and market age", 2010, abstract: many deaths at 31 to 40 days where the day '
    "went over 34.4 degC",
    Mark.READ,
    "https://dx.doi.org/10.1590/S1516-635X2010000400010",
)
_CRITICAL_BROILER = Source(
    "heat production of young broiler chickens (Tetra B) between 5 and 35 degC, abstract: critical "
    "temperature 35 degC in weeks 1 and 2, 30 in weeks 3 to 6",
    Mark.READ,
    "https://scilit.com/publications/9f002954410f53f4427fb00a9ed48771",
)
_CRITICAL_PULLET = Source(
    '"Thermoneutral zone and resting metabolic rate of growing white leghorn-type chickens", '
    "abstract: 35 - 0.286 x age in days to day 21, then 63.3 x age ^ -0.254",
    Mark.READ,
    "https://scilit.com/publications/90299c062938b74e85dafbccc04b20a7",
)
ASCITES = Source(
    'A. Ipek and U. Sahan, "Effects of cold stress on broiler performance and ascites '
    'susceptibility", Asian-Australasian Journal of Animal Sciences 19(5), 2006, 734-738, '
    "abstract: 29.0, 26.4 and 23.1 degC in weeks 1 to 3 against 33.3, 30.2 and 27.5",
    Mark.READ,
    "https://doi.org/10.5713/ajas.2006.734",
)
_COLD_HOURS = Source(
    "cold stress of 8 h a day at 18 degC in the first 7 days, broiler chicks, 2023, abstract: "
    "lower viability at 7 and 35 days",
    Mark.READ,
    "https://pubmed.ncbi.nlm.nih.gov/38181614/",
)
XIN_HARRISON = Source(
    "H. Xin and J. D. Harrison, energetics of neonatal chicks in shipping containers, 50 h unfed, "
    "Transactions of the ASAE 39(6), 1996, 2249-2254, abstract (title from memory)",
    Mark.READ,
    "https://lib.dr.iastate.edu/abe_eng_pubs/103/",
)
_MEIJERHOF = Source(
    'R. Meijerhof, "Overheated chick calculations", Poultry World, 1 April 2011: 0.3 W a chick, '
    "134 J a degree",
    Mark.READ,
    "https://poultryworld.net/poultry/overheated-chick-calculations/",
)

# (from this age in days on, the hottest floor in degC that is not an overheat)
OVERHEAT_CAP: tuple[tuple[float, float, Source], ...] = (
    (0.0, 39.0, TWO_DAYS_AT_39),
    (31.0, 34.4, _HEAT_WAVES),
)
PANTING_C = 38.0
LOWER_CRITICAL_C, LOWER_CRITICAL_K_A_DAY, LOWER_CRITICAL_TO_DAY = 35.0, 0.286, 21.0  # pullets
WATER_LOST_G_A_DAY = ((30.8, 1.8), (38.8, 4.4))  # air in degC, g a chick
ASCITES_PERCENT, ASCITES_RIGHT_PERCENT = 9.52, 1.90  # died of it in the cold, and in the right air
ASCITES_COLDER_K = ((33.3 - 29.0) + (30.2 - 26.4) + (27.5 - 23.1)) / 3
DEATHS_UNFED = ((20.0, 1.09), (25.0, 0.71), (30.0, 0.28), (35.0, 0.33))  # degC, % in 50 h
HELD_IN_MIN_PER_K = 134.0 / 0.3 / 60.0  # a chick that sheds no heat warms by 1 K in so long


def overheat_cap_c(age_days: float) -> float:
    """The hottest floor that is not yet an overheat at an age, whatever the target, degC."""
    index = bisect_right(OVERHEAT_CAP, age_days, key=lambda row: row[0]) - 1
    return OVERHEAT_CAP[max(0, index)][1]


def lower_critical_c(age_days: float) -> float | None:
    """Air below which a growing chick makes extra heat to stay warm, degC; None past day 21."""
    if age_days > LOWER_CRITICAL_TO_DAY:
        return None
    return LOWER_CRITICAL_C - LOWER_CRITICAL_K_A_DAY * max(0.0, age_days)


_harm = partial(figure, "harm")
KNOWN: tuple[Figure, ...] = (
    *(
        _harm(f"overheat at the latest, from day {day:g}", cap_c, "degC", source)
        for day, cap_c, source in OVERHEAT_CAP
    ),
    _harm("air, upper critical at hatch, from", 36.0, "degC", _UPPER_CRITICAL),
    _harm("air, upper critical at hatch, to", 37.0, "degC", _UPPER_CRITICAL),
    _harm("air, a chick of a day pants from", PANTING_C, "degC", _MISSON),
    _harm("air, survived by a chick of a day at 80 % humidity", 41.5, "degC", _MISSON),
    _harm("air, survived by a chick of a day at 20 % humidity", 43.0, "degC", _MISSON),
    *(
        _harm(f"water lost by a chick in a day at {air_c:g} degC", grams, "g", _UPPER_CRITICAL)
        for air_c, grams in WATER_LOST_G_A_DAY
    ),
    _harm("a chick that sheds no heat warms by 1 K in", HELD_IN_MIN_PER_K, "min", _MEIJERHOF),
    _harm("air, lower critical, meat chicks, weeks 1 and 2", 35.0, "degC", _CRITICAL_BROILER),
    _harm("air, lower critical, meat chicks, weeks 3 to 6", 30.0, "degC", _CRITICAL_BROILER),
    _harm("air, lower critical, pullets, day 0", LOWER_CRITICAL_C, "degC", _CRITICAL_PULLET),
    _harm(
        f"air, lower critical, pullets, less each day to day {LOWER_CRITICAL_TO_DAY:g}",
        LOWER_CRITICAL_K_A_DAY,
        "K",
        _CRITICAL_PULLET,
    ),
    _harm("died of ascites, weeks 1 to 3 too cold", ASCITES_PERCENT, "%", ASCITES),
    _harm("died of ascites, weeks 1 to 3 right", ASCITES_RIGHT_PERCENT, "%", ASCITES),
    _harm("air, 8 h a day of week 1: more die", 18.0, "degC", _COLD_HOURS),
    *(
        _harm(f"unfed chicks dead in 50 h at {air_c:g} degC", percent, "%", XIN_HARRISON)
        for air_c, percent in DEATHS_UNFED
    ),
)
