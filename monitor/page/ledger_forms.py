"""What is filled in on a ledger form, as an Entry. Pure; called by the Do screen.

A form is checked twice: here, so that every fault stands beside its field, and by the ledger's own
`objection`, which knows what the box holds."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

from monitor.brooding.batch import Ledger, iso_date
from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.objection import objection
from monitor.events import Entry, EntryKind
from monitor.page.forms import FilledForm
from monitor.site import Site

MOST_BIRDS = 100_000
_AHEAD_S = 60.0
_BACK_S = 400 * 86400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LedgerForm:
    """One kind of form: its address, its words, its fields."""

    name: str
    entry: EntryKind
    title: str
    fields: tuple[str, ...]
    count_label: str = ""
    count_hint: str = ""
    note_label: str = "Note"
    note_hint: str = ""


FORMS = {
    form.name: form
    for form in (
        LedgerForm(
            name="loss",
            entry=EntryKind.LOSS,
            title="Record a loss",
            fields=("brooder", "count", "note", "at"),
            count_label="How many were lost",
            note_label="What you saw",
            note_hint="Where they lay and how they looked: piled in a corner, wet, pasted up.",
        ),
        LedgerForm(
            name="moved",
            entry=EntryKind.MOVED,
            title="Birds moved out",
            fields=("brooder", "count", "note", "at"),
            count_label="How many were moved",
            count_hint="Leave empty for all of them; that ends the batch in this box.",
            note_label="Where to, or why",
        ),
        LedgerForm(
            name="note",
            entry=EntryKind.NOTE,
            title="Write a note",
            fields=("brooder", "note", "at"),
            note_label="Note",
            note_hint="New litter, lamp raised, feed changed: what you will want to know later.",
        ),
        LedgerForm(
            name="heat-changed",
            entry=EntryKind.HEAT_CHANGED,
            title="I changed the heat",
            fields=("brooder", "note", "at"),
            note_label="What you changed",
            note_hint="West lamp raised by 4 in, plate added. May stay empty.",
        ),
        LedgerForm(
            name="place",
            entry=EntryKind.PLACED,
            title="Place chicks",
            fields=("brooder", "kind", "count", "hatched", "note", "at"),
            count_label="How many",
        ),
    )
}


def entry_from(form: FilledForm, what: LedgerForm, site: Site, now: float) -> Entry | None:
    """The entry, or None with `form.wrong` saying why."""
    names = tuple(box.name for box in site.brooders)
    entry = Entry(
        at=_at(form, site, now),
        entry=what.entry,
        brooder=form.one_of("brooder", names, "Which brooder"),
        count=_count(form, what),
        kind=form.one_of("kind", tuple(KINDS), "What kind of bird")
        if "kind" in what.fields
        else None,
        hatched=_hatched(form) if "hatched" in what.fields else None,
        note=form.text("note"),
        by="page",
    )
    if what.entry is EntryKind.NOTE and entry.note is None:
        form.wrong.setdefault("note", "A note needs some words.")
    return None if form.wrong else entry


def ledger_objects(form: FilledForm, entry: Entry, ledger: Ledger, site: Site) -> bool:
    """Would the ledger refuse it? The reason goes beside the field it is about."""
    words = objection(
        ledger, entry, zone=site.timezone, brooders=[box.name for box in site.brooders]
    )
    if words is not None:
        form.wrong[_field_of(words)] = words
    return words is not None


def _field_of(words: str) -> str:
    about: tuple[tuple[str, Callable[[str], bool]], ...] = (
        ("hatched", lambda said: said.startswith(("Hatch date", "When did they hatch"))),
        ("kind", lambda said: said.startswith(("Kind of bird", "What kind"))),
        ("count", lambda said: said.startswith("How many") or " cannot be " in said),
        ("brooder", lambda said: "brooder" in said or " holds " in said or "no birds in" in said),
    )
    return next((name for name, is_about in about if is_about(words)), "")


def _count(form: FilledForm, what: LedgerForm) -> int | None:
    if "count" not in what.fields:
        return None
    if what.entry is EntryKind.MOVED and not form["count"].strip():
        return None
    return form.whole_number("count", least=1, most=MOST_BIRDS, what="How many")


def _hatched(form: FilledForm) -> str | None:
    day: date | None = iso_date(form["hatched"].strip())
    if day is None:
        form.wrong["hatched"] = "The day they hatched, like 2026-03-01."
        return None
    return day.isoformat()


def _at(form: FilledForm, site: Site, now: float) -> float:
    said = form["at"].strip()
    if not said:
        return now
    try:
        at = datetime.fromisoformat(said).replace(tzinfo=site.timezone).timestamp()
    except (ValueError, OverflowError):
        form.wrong["at"] = "A date and a time like 2026-03-01T06:30, or leave it empty for now."
        return now
    if at > now + _AHEAD_S:
        form.wrong["at"] = "That is still to come. Leave it empty for now."
    elif at < now - _BACK_S:
        form.wrong["at"] = "That is more than a year ago."
    return at
