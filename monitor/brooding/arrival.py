"""The day the chicks come: what is looked at and in which order, each with its source, what days in
the mail ask for, and what a hatchery's claim is about. Called by `flock` and the page. Pure."""

from dataclasses import dataclass
from datetime import date, tzinfo

from monitor.brooding.batch import Batch
from monitor.brooding.calendar import local_date
from monitor.brooding.entries import Entry, EntryKind, day_of, mail_days_of, step_of
from monitor.brooding.ledger import Ledger
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


_SUGAR = Source(
    "Star Milling, mail-order chicks: after a rough trip 3 tablespoons of sugar to 1 quart of "
    "water for a day or two",
    Mark.READ,
    "https://starmilling.com/mail-order-chicks-and-eggs/",
)
CLAIM_SOURCE = Source(
    "hatcheries' terms: to be told within 24 hours (The Chick Hatchery; Chesapeake Farm and "
    "Hatchery, with a photograph and the numbers) or 48 (My Pet Chicken)",
    Mark.READ,
    "https://www.thechickhatchery.com/how-to-order/hatchery-policies/hatchery-guarantees/",
)


@dataclass(frozen=True, slots=True)
class ArrivalTick:
    """One thing to look at, and the word it is ticked by."""

    name: str
    text: str
    source: Source


BEFORE: tuple[ArrivalTick, ...] = (
    ArrivalTick(
        "warm",
        "The box is warm and level through a whole night, with the heat hung as it will stay.",
        _CACKLE,
    ),
    ArrivalTick(
        "water",
        "Water has stood in it until it is lukewarm; feed on paper and in the feeder.",
        _CACKLE,
    ),
    ArrivalTick(
        "spares", "A spare bulb, a cover and the power-cut card lie ready.", COMMON_PRACTICE
    ),
    ArrivalTick(
        "post",
        "The post office has your number: chicks live on the yolk for about three days.",
        _YOLK,
    ),
)
STEPS: tuple[ArrivalTick, ...] = (
    ArrivalTick(
        "count", "Open the box at once and count the living and the dead, apart.", COMMON_PRACTICE
    ),
    ArrivalTick(
        "photo",
        "Photograph the dead in their box, with its label, before you move them.",
        CLAIM_SOURCE,
    ),
    ArrivalTick(
        "beaks", "Dip each beak in the water, and let go; water first, feed an hour later.", _RANCH
    ),
    ArrivalTick("heat", "Put each down by the heat.", _RANCH),
    ArrivalTick(
        "vents",
        "Look for pasty vents: soften with a damp, warm cloth, and dry the chick.",
        _VENT,
    ),
    ArrivalTick(
        "entered",
        "Enter the live chicks with their hatch date, and the dead on arrival.",
        COMMON_PRACTICE,
    ),
    ArrivalTick("rest", "Let them be for a day: no handling.", _CACKLE),
    ArrivalTick("bedtime", "Look before bed that every chick has found the heat.", _RANCH),
)
STEP_NAMES = tuple(step.name for step in (*BEFORE, *STEPS))
CLAIM = (
    "Hatcheries want to hear of chicks dead on arrival within a day, some within two, with the "
    "number and photographs: look at their terms now. The sheet for it: brooder flock arrival-sheet"
)


@dataclass(frozen=True, slots=True)
class MailAdvice:
    """What chicks want that were so many days under way, or more."""

    from_days: int
    text: str
    source: Source


MAIL_ADVICE = (
    MailAdvice(
        2,
        "Two days in the mail: water before anything else. Where they look worn out, 3 tablespoons "
        "of sugar to a quart (1 litre) of it, for a day or two.",
        _SUGAR,
    ),
    MailAdvice(
        3,
        "Three days or more in the mail: the yolk is used up. Water at once, feed as soon as they "
        "drink, and look again every hour today. Ring the hatchery, and a veterinarian where many "
        "are weak.",
        _YOLK,
    ),
)


def mail_advice(days: int) -> str | None:
    """None: a usual journey."""
    fits = [advice.text for advice in MAIL_ADVICE if days >= advice.from_days]
    return fits[-1] if fits else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """How birds came into a box, or are to come. None: not written down."""

    brooder: str
    day: date | None  # on which they were expected
    ordered: int | None
    at: float | None  # Unix s of the first placed; None: not yet
    alive: int  # placed within a day of that
    dead: int  # on arrival
    kind: str | None
    hatched: date | None
    mail_days: int | None
    done: dict[str, int]  # step -> the entry that says so

    def age_days(self, zone: tzinfo) -> int | None:
        if self.at is None or self.hatched is None:
            return None
        return (local_date(self.at, zone) - self.hatched).days


_CRATES_S = 86400.0  # birds that come later are another delivery


def _whose(ledger: Ledger, brooder: str) -> Batch | None:
    """None: the birds are to come, or there have never been any."""
    running, had = ledger.running(brooder), ledger.of(brooder)
    if running is not None or not had:
        return running
    return None if ledger.expected(brooder) is not None else had[-1]


def _ordered(ledger: Ledger, brooder: str, batch: Batch | None) -> Entry | None:
    """The last word of them before they came; it may be from the time of the batch before."""
    if batch is None:
        return ledger.expected(brooder)
    mine = ledger.of(brooder)
    number = mine.index(batch)
    since = mine[number - 1].started_at if number else float("-inf")
    said = [
        entry
        for entry in ledger.entries
        if entry.entry is EntryKind.EXPECTED
        and entry.brooder == brooder
        and entry.number not in ledger.undone
        and since < entry.at <= batch.started_at
    ]
    return said[-1] if said else None


def arrival_of(ledger: Ledger, brooder: str) -> Arrival:
    """Of the birds that are to come, else of those that are in the box, else of the last ones."""
    batch = _whose(ledger, brooder)
    entries = ledger.of_arrival(brooder, batch)
    coming = _ordered(ledger, brooder, batch)
    placed = [e for e in entries if e.entry is EntryKind.PLACED and batch is not None]
    crates = [e for e in placed if e.at < placed[0].at + _CRATES_S]
    mail_days = (mail_days_of(e) for e in crates)
    return Arrival(
        brooder=brooder,
        day=None if coming is None else day_of(coming),
        ordered=None if coming is None else coming.count,
        at=batch.started_at if batch is not None else None,
        alive=sum(e.count or 0 for e in crates),
        dead=sum(e.count or 0 for e in entries if e.entry is EntryKind.DEAD_ON_ARRIVAL),
        kind=batch.kind if batch is not None else None if coming is None else coming.kind,
        hatched=None if batch is None else batch.hatched,
        mail_days=next((days for days in mail_days if days is not None), None),
        done={name: e.number for e in entries if (name := step_of(e)) is not None},
    )


def dead_on_arrival(ledger: Ledger, batch: Batch) -> int:
    """Birds that came dead with a batch. They were never placed."""
    entries = ledger.of_arrival(batch.brooder, batch)
    return sum(e.count or 0 for e in entries if e.entry is EntryKind.DEAD_ON_ARRIVAL)
