"""What is filled in on a ledger form, as an Entry. Pure; called by the Do screen.

A form is checked twice: here, so that every fault stands beside its field, and by the ledger's own
`objection`, which knows what the box holds."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.calendar import local_date
from monitor.brooding.entries import MOST_MAIL_DAYS, iso_date, mailed, with_word
from monitor.brooding.ledger import Ledger
from monitor.brooding.objection import MOST_BIRDS, objection
from monitor.events import Entry, EntryKind
from monitor.page.forms import LONGEST_NOTE, FilledForm
from monitor.site import Site

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
            fields=("brooder", "count", "into", "note", "at"),
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
            fields=("brooder", "kind", "count", "mail", "hatched", "note", "at"),
            count_label="How many are alive",
        ),
        LedgerForm(
            name="expect",
            entry=EntryKind.EXPECTED,
            title="Chicks are to come",
            fields=("brooder", "kind", "count", "day", "note"),
            count_label="How many you ordered",
        ),
        LedgerForm(
            name="dead-on-arrival",
            entry=EntryKind.DEAD_ON_ARRIVAL,
            title="Dead on arrival",
            fields=("brooder", "count", "note", "at"),
            count_label="How many came dead",
            count_hint="The hatchery's claim is about these; they are no losses of the box.",
            note_label="What you saw",
            note_hint="Where in their box they lay; whether you have photographs.",
        ),
    )
}


def entry_from(form: FilledForm, what: LedgerForm, site: Site, now: float) -> Entry | None:
    """The entry, or None with `form.wrong` saying why."""
    names = tuple(box.name for box in site.brooders)
    at = _at(form, what, site, now) if "at" in what.fields else now
    mail_days = _mail_days(form) if "mail" in what.fields else None
    entry = Entry(
        at=at,
        entry=what.entry,
        brooder=form.one_of("brooder", names, "Which brooder"),
        count=_count(form, what),
        kind=form.one_of("kind", tuple(KINDS), "What kind of bird")
        if "kind" in what.fields
        else None,
        hatched=_hatched(form, local_date(at, site.timezone), mail_days)
        if "hatched" in what.fields
        else None,
        note=_note(form, what, mail_days),
        by="page",
    )
    if form["into"] and "into" in what.fields:
        form.one_of("into", tuple(n for n in names if n != entry.brooder), "Which other box")
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
        ("day", lambda said: " is over already" in said),
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


def _hatched(form: FilledForm, came: date, mail_days: int | None) -> str | None:
    """Chicks that were posted on the day they hatched need no second date."""
    if not form["hatched"].strip() and mail_days is not None:
        return (came - timedelta(days=mail_days)).isoformat()
    day: date | None = iso_date(form["hatched"].strip())
    if day is None:
        form.wrong["hatched"] = "The day they hatched, like 2026-03-01."
        return None
    return day.isoformat()


def _mail_days(form: FilledForm) -> int | None:
    if not form["mail"].strip():
        return None
    return form.whole_number("mail", least=0, most=MOST_MAIL_DAYS, what="Days in the mail")


def _note(form: FilledForm, what: LedgerForm, mail_days: int | None) -> str | None:
    """What an entry says besides its count stands first in it."""
    first = None if mail_days is None else mailed(mail_days)
    if "day" in what.fields:
        day = iso_date(form["day"].strip())
        if day is None:
            form.wrong["day"] = "The day they come, like 2026-03-01."
        first = None if day is None else day.isoformat()
    if first is None:
        return form.text("note")
    return with_word(first, form.text("note", most=LONGEST_NOTE - len(f"{first}; ")))


def _at(form: FilledForm, what: LedgerForm, site: Site, now: float) -> float:
    said = form["at"].strip()
    if not said:
        return now
    try:
        at = datetime.fromisoformat(said).replace(tzinfo=site.timezone).timestamp()
    except (ValueError, OverflowError):
        form.wrong["at"] = "A date and a time like 2026-03-01T06:30, or leave it empty for now."
        return now
    if at > now + _AHEAD_S:
        form.wrong["at"] = "That is still to come. Left empty, it is now."
        if what.entry is EntryKind.PLACED:
            form.wrong["at"] = f'That is still to come: enter it under "{FORMS["expect"].title}".'
    elif at < now - _BACK_S:
        form.wrong["at"] = "That is more than a year ago."
    return at
