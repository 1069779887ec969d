"""May this ledger entry be kept? Asked by the command, the control socket and the page.

The same fold that will read the entry for ever after is asked first: an entry is refused when it
could not count, or when it (or an undo) would keep another entry from counting."""

from collections.abc import Collection
from dataclasses import replace
from datetime import UTC, date, tzinfo

from monitor.brooding.arrival import STEP_NAMES, arrival_of
from monitor.brooding.calendar import age_days, local_date
from monitor.brooding.entries import (
    LEDGER_KINDS,
    SIGNS,
    Entry,
    EntryKind,
    day_of,
    grams_of,
    iso_date,
    sign_of,
    step_of,
)
from monitor.brooding.entry_faults import count_fault, no_birds
from monitor.brooding.ledger import Ledger, fold
from monitor.brooding.schedules import schedule_for
from monitor.site import Place, Site

MOST_BIRDS = 100_000  # more is a slip of the pen, and far more the journal cannot hold
OLDEST_DAYS = 365  # a hatch date further back than this is a slip of the pen


class Objection(Exception):
    """What was asked will not be done; the text says why and what would be right."""


class NeedsYes(Objection):
    """A slip, most likely, or cold would not be watched for: it is done once somebody says so."""


_ROW_DAYS = 7  # the last row of a schedule, too, is taken to stand for a week of age


def question(ledger: Ledger, entry: Entry, site: Site) -> str | None:
    """What somebody must say yes to before an entry is kept, because cold is not watched for
    afterwards where it was, or more birds came dead than can have come; None: nothing. Asked of
    entries that `objection` lets pass."""
    if entry.entry is EntryKind.PLACED:
        return _too_old(entry, site) or _gone_again(ledger, entry)
    if entry.entry is EntryKind.DEAD_ON_ARRIVAL:
        return _too_many_dead(ledger, entry)
    if entry.entry is EntryKind.OUT_OF_SERVICE:
        return _out_of_service(ledger, entry, site)
    number = ledger.next_number
    after = ledger.with_entry(replace(entry, number=number))
    emptied = sorted(ledger.open.keys() - after.open.keys())
    if not emptied:
        return None
    return (
        f"That leaves no birds in {' and '.join(emptied)}, and an empty box is not watched for "
        "cold. Is that right?"
    )


def _too_old(entry: Entry, site: Site) -> str | None:
    brooder = next((box for box in site.brooders if box.name == entry.brooder), None)
    hatched = iso_date(entry.hatched)
    if brooder is None or hatched is None:
        return None
    rows = schedule_for(brooder, entry.kind).rows
    age = age_days(hatched, entry.at, site.timezone)
    if age < rows[-1].from_day + _ROW_DAYS:
        return None
    return (
        f"Birds hatched {entry.hatched} are {age:.0f} days old, beyond what their schedule was "
        f"made for (day {rows[-1].from_day:.0f}): their target would be its last, and younger "
        "chicks would freeze unnoticed. Is that the year and the day?"
    )


def _gone_again(ledger: Ledger, entry: Entry) -> str | None:
    """Birds that are written down late, after the word that the box was empty."""
    after = ledger.with_entry(replace(entry, number=ledger.next_number))
    mine = after.of(entry.brooder or "")
    if entry.brooder in after.open or not mine:
        return None
    return (
        f"{entry.brooder} would hold no birds all the same, and an empty box is not watched for "
        f"cold: by entry {mine[-1].tallies[-1].number}, which is later, they are gone. Is that "
        "right?"
    )


def _too_many_dead(ledger: Ledger, entry: Entry) -> str | None:
    """Where nobody wrote down how many were to come, or came, any number is taken."""
    box = entry.brooder or ""
    if box not in ledger.open and ledger.expected(box) is None:
        return None
    came, dead = arrival_of(ledger, box), entry.count or 0
    if came.dead + dead <= max(came.alive, came.ordered or 0):
        return None
    known = [f"{came.alive} alive"] * (came.alive > 0)
    known += [f"{came.ordered} ordered"] * (came.ordered is not None)
    return f"{came.dead + dead} dead on arrival, beside {' and '.join(known)}. Is that right?"


def _out_of_service(ledger: Ledger, entry: Entry, site: Site) -> str | None:
    brooder = next((box for box in site.brooders if box.name == entry.brooder), None)
    batch = None if brooder is None else ledger.running(brooder.name)
    if brooder is None or batch is None:
        return None
    floor = [probe.key for probe in brooder.probes if probe.place is Place.FLOOR]
    if entry.probe is not None and floor != [entry.probe]:
        return None
    what = "it" if entry.probe is None else "its only floor probe"
    return (
        f"{batch.head_count()} birds are in {brooder.name}, and with {what} out of service they "
        "are not watched for cold. Is that right?"
    )


def objection(
    ledger: Ledger,
    entry: Entry,
    *,
    zone: tzinfo = UTC,
    brooders: Collection[str] = (),
) -> str | None:
    """Why an entry must not be kept, in one sentence that says what would be right; None: keep it.

    Asked before an entry gets its number, by the command, the control socket and the page. With
    `brooders` (the configured names) an unknown box is refused too."""
    if entry.entry not in LEDGER_KINDS:
        return None
    if entry.entry is EntryKind.UNDO:
        return _undo_objection(ledger, entry)
    plain = _form_objection(entry, zone, brooders)
    if plain is not None or entry.entry in (
        EntryKind.NOTE,
        EntryKind.HEAT_CHANGED,
        EntryKind.CHECKED,
    ):
        return plain
    return _new_fault(ledger, entry)


def _undo_objection(ledger: Ledger, entry: Entry) -> str | None:
    number = entry.undoes
    if number is None:
        return "Which entry is to be taken back? Its number is missing."
    target = ledger.entry(number)
    if target is None:
        return f"There is no ledger entry {number} to take back."
    if target.entry is EntryKind.UNDO:
        return f"Entry {number} took another one back; write that one again instead."
    if number in ledger.undone:
        return f"Entry {number} was taken back already."
    after = fold([e for e in ledger.entries if e.number != number])
    for other, fault in after.faults.items():
        if other not in ledger.faults:
            return (
                f"Entry {number} cannot be taken back while entry {other} rests on it "
                f"({_lower(fault)}); take entry {other} back first."
            )
    return None


def _form_objection(entry: Entry, zone: tzinfo, brooders: Collection[str]) -> str | None:
    if brooders and entry.brooder is not None and entry.brooder not in brooders:
        known = ", ".join(brooders)
        return f"No brooder is called {entry.brooder!r}; the configuration has {known}."
    words: str | None = None
    match entry.entry:
        case EntryKind.END | EntryKind.HEAT_CHANGED:
            return None
        case EntryKind.NOTE:
            return None if entry.note else "A note needs some words."
        case EntryKind.CHECKED:
            known = ", ".join(STEP_NAMES)
            return None if step_of(entry) in STEP_NAMES else f"What was done? Use one of {known}."
        case EntryKind.SEEN:
            known = ", ".join(SIGNS)
            return None if sign_of(entry) else f"How do they lie? Use one of {known}."
        case EntryKind.WEIGHED if not grams_of(entry):
            words = "What did a bird weigh? In grams, more than 0."
        case EntryKind.EXPECTED:
            words = _expected_objection(entry, zone)
        case EntryKind.PLACED if entry.hatched is not None:
            words = _hatch_objection(entry.hatched, local_date(entry.at, zone))
    if entry.count is not None and entry.count > MOST_BIRDS:
        words = f"How many birds? It must be {MOST_BIRDS} or less, not {entry.count}."
    return count_fault(entry) or words


def _expected_objection(entry: Entry, zone: tzinfo) -> str | None:
    day = day_of(entry)
    if day is None:
        return "On which day do they come? Write it like 2026-03-01."
    if day < local_date(entry.at, zone):
        return f"{day.isoformat()} is over already; write placed for birds that are there."
    return None


def _hatch_objection(hatched: str, placed_on: date) -> str | None:
    day = iso_date(hatched)
    if day is None:
        return f"Hatch date {hatched!r} is not a date; write it like {placed_on.isoformat()}."
    if day > placed_on:
        return f"Hatch date {hatched} is after the day they were placed ({placed_on.isoformat()})."
    if (placed_on - day).days > OLDEST_DAYS:
        return f"Hatch date {hatched} is over a year before they were placed; check the year."
    return None


def _new_fault(ledger: Ledger, entry: Entry) -> str | None:
    """What the fold would find wrong if this entry were written: with it, or with a later one."""
    number = ledger.next_number
    after = ledger.with_entry(replace(entry, number=number))
    if number in after.faults:
        later = [each for each in ledger.of(entry.brooder or "") if each.started_at > entry.at]
        if later and after.faults[number].startswith(no_birds(entry)):
            return (
                f"{no_birds(entry)}: entry {later[0].number} places them later. Give a later time, "
                f"or take entry {later[0].number} back and write when they really came."
            )
        return after.faults[number]
    for other, fault in after.faults.items():
        if other not in ledger.faults:
            return f"Then entry {other}, which is later, would be wrong: {_lower(fault)}"
    return None


def _lower(sentence: str) -> str:
    return sentence[0].lower() + sentence[1:].rstrip(".")
