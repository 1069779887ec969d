"""The plan before the order, in words: sections of lines in the site's units, for the page and
`brooder plan`."""

import math
from dataclasses import dataclass

from monitor.brooding import power_cut
from monitor.brooding.bird_kinds import kind_of
from monitor.brooding.envelope import COVERS, made_of
from monitor.brooding.lamp_safety import CONTINUOUS_SHARE, LARGEST_LAMP_W, overload
from monitor.brooding.rearing_plan import SPARE_K, PlannedWeek, RearingPlan
from monitor.measures import counted, length_shown
from monitor.site import Site
from monitor.tell.wording.daily_needs import water, weight
from monitor.tell.wording.first_aid import LAMP_CARE
from monitor.tell.wording.words import Voice
from monitor.units import M2_PER_SQUARE_FOOT, Unit

_M3_PER_CUBIC_FOOT = 0.028316846592
_LEAST_W = 10.0  # less is within the doubt of the balance


@dataclass(frozen=True, slots=True)
class PlanSection:
    """A heading and its lines."""

    title: str
    lines: tuple[str, ...]


def plan_sections(
    plan: RearingPlan, site: Site, *, forecast_nights: int
) -> tuple[PlanSection, ...]:
    """The answer first. `forecast_nights`: how many the low was taken from; 0: it was said."""
    say = Measures(site.units)
    voice = Voice(site)
    return (
        PlanSection(
            "Will it do?",
            (*_answer(plan, voice, say), *_by_forecast(forecast_nights, voice, plan.low_c)),
        ),
        PlanSection("Week by week", tuple(_week(week, plan, voice, say) for week in plan.weeks)),
        PlanSection("What a cover changes", tuple(_covers(plan, voice))),
        PlanSection("The circuit", tuple(_circuit(plan, site))),
        PlanSection("To buy and to have ready", tuple(_shopping(plan, say, site))),
        PlanSection("If the power fails", tuple(line.text for line in power_cut.CARD)),
        PlanSection(
            "What this rests on",
            (
                "The size of the box and its heat alone: the floor may be a quarter of its rise "
                "over the outside warmer or colder. Warm the empty box for some hours and let the "
                "monitor measure it before the chicks come.",
                "Where each figure is from: brooder sources.",
            ),
        ),
    )


class Measures:
    """Areas, volumes and lengths as the grower buys them."""

    def __init__(self, units: Unit) -> None:
        self._us = units is Unit.FAHRENHEIT
        self._units = units

    def area(self, m2: float) -> str:
        """`25 sq ft` or `2.3 m²`."""
        return f"{m2 / M2_PER_SQUARE_FOOT:.0f} sq ft" if self._us else f"{m2:.1f} m²"

    def volume(self, m3: float) -> str:
        """A volume of litter, `12 cu ft` or `340 litres`."""
        return f"{m3 / _M3_PER_CUBIC_FOOT:.0f} cu ft" if self._us else f"{m3 * 1000:.0f} litres"

    def length(self, m: float) -> str:
        """Of a trough, a wall."""
        return length_shown(m, self._units)


def _answer(plan: RearingPlan, voice: Voice, say: Measures) -> list[str]:
    birds = f"{plan.head_count} {kind_of(plan.kind).many}"
    box = plan.box
    first = plan.weeks[0]
    low = voice.temp(plan.low_c)
    heat = f"{box.watts:.0f} W" if box.watts else "no heat"
    size = (
        f"{say.length(box.length_m)} by {say.length(box.width_m)}, "
        f"{made_of(box.walls, box.cover)}, {heat}"
    )
    lines = [f"{birds} in a box of {size}, on a night down to {low}:"]
    if plan.cold_weeks:
        worst = max(plan.cold_weeks, key=lambda week: week.missing_w)
        lines.append(
            f"No: the heat does not hold. About {_watts(worst.missing_w)} W more, or more cover, "
            f"for day {worst.age_days}; on the first night the floor comes to about "
            f"{voice.temp(first.floor_c)} and should be {voice.temp(first.target_c)}."
        )
    elif first.floor_c < first.target_c + SPARE_K:
        lines.append(
            f"Just: the floor comes to about {voice.temp(first.floor_c)} on the first night and "
            f"should be {voice.temp(first.target_c)}. Have one more lamp or a better cover ready."
        )
    else:
        lines.append(
            f"Yes: with all the heat on, the floor comes to about {voice.temp(first.floor_c)} on "
            f"the first night and should be {voice.temp(first.target_c)}: raise the lamps, or use "
            "fewer."
        )
    if plan.crowded_days is None:
        lines.append(f"There is room until they can be out, about day {plan.out_days}.")
    elif plan.crowded_days <= first.age_days:
        lines.append(
            f"Too small from the start: they need {say.area(first.least_m2)} at the least and have "
            f"{say.area(box.floor_area_m2)}."
        )
    else:
        needed = next(w for w in plan.weeks if w.least_m2 > box.floor_area_m2)
        lines.append(
            f"Too small from day {plan.crowded_days} on: split them or make it larger by then, to "
            f"{say.area(needed.wanted_m2)} ({say.area(box.floor_area_m2)} now)."
        )
    return lines


def _by_forecast(nights: int, voice: Voice, low_c: float) -> list[str]:
    if nights == 0:
        return []
    reached = "the coming night" if nights == 1 else f"the coldest of the next {nights} nights"
    return [
        f"{voice.temp(low_c)} is {reached} by the forecast, which looks no further. For birds that "
        "come later, give the coldest night to expect then."
    ]


def _watts(watts: float) -> str:
    return f"{max(_LEAST_W, round(watts / 10) * 10):.0f}"


def _week(week: PlannedWeek, plan: RearingPlan, voice: Voice, say: Measures) -> str:
    heat = f"floor about {voice.temp(week.floor_c)} with all the heat"
    if week.missing_w >= _LEAST_W and week in plan.cold_weeks:
        heat += f": {_watts(week.missing_w)} W too few"
    elif week.spare_w >= _LEAST_W:
        heat += f": holds; by day about {_watts(week.spare_w)} W too many, so raise or switch off"
    else:
        heat += ": holds"
    return (
        f"Day {week.age_days}: target {voice.temp(week.target_c)}; {heat}. Floor space "
        f"{say.area(week.wanted_m2)} ({say.area(week.least_m2)} at the least), walls "
        f"{say.length(week.wall_m)}."
    )


def _covers(plan: RearingPlan, voice: Voice) -> list[str]:
    own = plan.box.cover
    return [
        f"{COVERS[each.cover].title.capitalize()}{' (as planned)' if each.cover == own else ''}: "
        f"floor about {voice.temp(each.floor_c)} on the first night."
        for each in plan.covers
    ] + ["Whatever the cover: clear of the lamps, with a gap for fresh air."]


def _circuit(plan: RearingPlan, site: Site) -> list[str]:
    watts = plan.box.watts
    full = overload(site, watts)
    if full is not None:
        return [full]
    usual = CONTINUOUS_SHARE * site.mains_volts * site.circuit_amps
    lines = [
        f"{watts:.0f} W of the {usual:.0f} W that one circuit should carry all night "
        f"({site.circuit_amps:g} A at {site.mains_volts:g} V). Nothing else on it; no extension "
        "cord; go by your local code and a licensed electrician."
    ]
    if any(source.watts > LARGEST_LAMP_W for source in plan.box.heat if source.kind == "lamp"):
        lines.append(f"No lamp over {LARGEST_LAMP_W:.0f} W.")
    return lines


def _shopping(plan: RearingPlan, say: Measures, site: Site) -> list[str]:
    first = plan.weeks[0]
    short = max(week.missing_w for week in plan.weeks)
    lines = [
        f"Litter, dry shavings: {say.volume(plan.litter_m3)} to day {plan.out_days}.",
        f"Drinkers for {water(plan.drinkers_l, site.units)} at first, feeders with "
        f"{say.length(plan.feeder_m)} of edge by the end.",
    ]
    if plan.feed_kg is not None and plan.water_l is not None:
        lines.append(
            f"Starter feed: {weight(plan.feed_kg, site.units)} to day {plan.out_days}, plus a "
            f"tenth for what is spilled. Water on the last day: {water(plan.water_l, site.units)}."
        )
    if plan.cold_weeks:
        lines.append(f"Heat: about {_watts(short)} W more than planned, or a better cover.")
    lines += [
        f"Walls {say.length(first.wall_m)} high, later {say.length(plan.weeks[-1].wall_m)}.",
        "A spare bulb and a spare cover; a board to halve the box; "
        f"{counted(math.ceil(plan.head_count / power_cut.A_CARTON), 'carton')} with air holes.",
        "A floor probe at the edge of the heat, one outside in the shade, one under each lamp.",
        "A smoke alarm that is heard in bed, an extinguisher, a GFCI outlet.",
    ]
    if any(source.kind == "lamp" for source in plan.box.heat):
        lines.append(LAMP_CARE)
    return lines
