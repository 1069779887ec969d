"""The day the chicks come: what is looked at and in which order, each with its source, and what a
hatchery's claim is about. Called by `flock placed`, `flock dead-on-arrival` and the page."""

from dataclasses import dataclass

from monitor.brooding.provenance import COMMON_PRACTICE, Mark, Source

_CACKLE = Source(
    "Cackle Hatchery, how to prepare for the arrival: set up and test before, warm water on the "
    "first day, dip each beak, no handling for a day",
    Mark.READ,
    "https://cackle.zendesk.com/hc/en-us/articles/1500004787082-"
    "How-do-I-prepare-for-the-arrival-of-my-chicks",
)
_RANCH = Source(
    "a hatchery's checklist for newly arrived chicks: dip each beak, put each by the heat, look "
    "once more before bed",
    Mark.READ,
    "https://www.mullenaxranch.com/post/checklist-how-to-care-for-newly-arrived-chicks-mail-order-"
    "chicks",
)
_VENT = Source(
    "farm-animal guide: check for droppings that close the vent, soften with a damp, warm cloth",
    Mark.READ,
    "https://xzhbc.com/farm-animals/relating-farm-animals/29861.html",
)
_YOLK = Source(
    "Sunrise Farm, tips for chick care: the yolk carries chicks for about three days",
    Mark.READ,
    "http://sunrisefarmtx.com/tips_for_chick_care/",
)


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to look at."""

    text: str
    source: Source


BEFORE: tuple[Step, ...] = (
    Step("The box is warm and level through a whole night, its heat as it will hang.", _CACKLE),
    Step("Water has stood in it until it is lukewarm; feed on paper and in the feeder.", _CACKLE),
    Step("A spare bulb, a cover and the power-cut card lie ready.", COMMON_PRACTICE),
    Step("The post office has your number: chicks live on the yolk for about three days.", _YOLK),
)
STEPS: tuple[Step, ...] = (
    Step("Open the box at once and count the living and the dead, apart.", COMMON_PRACTICE),
    Step(
        "Photograph the dead in their box, with its label, before you move them.", COMMON_PRACTICE
    ),
    Step("Dip each beak in the water, and let go; water first, feed an hour later.", _RANCH),
    Step("Put each down by the heat.", _RANCH),
    Step("Look for pasty vents: soften with a damp, warm cloth, and dry the chick.", _VENT),
    Step("Enter the living with their hatch date, and the dead on arrival.", COMMON_PRACTICE),
    Step("Let them be for a day: no handling.", _CACKLE),
    Step("Look before bed that every chick has found the heat.", _RANCH),
)
CLAIM = (
    "Hatcheries take claims for chicks dead on arrival within a day or two, with the number and "
    "photographs: look at their terms now. The entry stands in the record: brooder review --report"
)
