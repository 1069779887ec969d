"""A ledger entry in one sentence, for the confirmation and for the list. Pure."""

from monitor.brooding.arrival import mail_advice
from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.calendar import age_days, arrival_doubt, next_step
from monitor.brooding.entries import iso_date, mail_days_of, remark_words
from monitor.brooding.schedules import schedule_for, target_at
from monitor.events import Entry, EntryKind
from monitor.measures import counted
from monitor.page.phrases import Phrases, capital, days_old
from monitor.site import Place, Site
from monitor.tell.wording.words import sentence


def sentence_of(entry: Entry) -> str:
    """`2 lost in Porch.` Without its time."""
    box = capital(entry.brooder or "the site")
    note = f" {sentence(entry.note)}" if entry.note else ""
    match entry.entry:
        case EntryKind.PLACED:
            hatched = f", hatched {entry.hatched}" if entry.hatched else ""
            return f"{box}: {_birds(entry)} placed{hatched}.{note}"
        case EntryKind.LOSS:
            return f"{box}: {entry.count} lost.{note}"
        case EntryKind.MOVED:
            return f"{box}: {'all' if entry.count is None else entry.count} moved out.{note}"
        case EntryKind.NOTE:
            return f"{box}:{note}"
        case EntryKind.UNDO:
            return f"Entry {entry.undoes} taken back.{note}"
        case _:
            act = f"{entry.entry.value} {entry.alarm or entry.probe or ''}.{note}"
            remark = remark_words(entry)
            return f"{box}: {act if remark is None else sentence(remark)}"


def _birds(entry: Entry) -> str:
    kind = KINDS.get(entry.kind or "")
    if kind is None:
        return f"{entry.count} birds"
    return counted(entry.count or 0, kind.one, kind.many)


def worth_knowing(entry: Entry, site: Site, say: Phrases, *, split: bool = False) -> list[str]:
    """What follows from an entry, said before it is written: what the target will be, and whether
    the hatch date can be right, which in a split is known."""
    hatched = iso_date(entry.hatched)
    box = next((b for b in site.brooders if b.name == entry.brooder), None)
    if entry.entry is not EntryKind.PLACED or hatched is None or box is None:
        return []
    days = mail_days_of(entry)
    advice = None if days is None else mail_advice(days)
    lines = [] if advice is None else [advice]
    doubt = arrival_doubt(hatched, entry.at, site.timezone)
    if doubt is not None and not split:
        lines.append(doubt)
    age = age_days(hatched, say.now, site.timezone)
    schedule = schedule_for(box, entry.kind)
    target_c = target_at(schedule, age, box.steps, Place.FLOOR)
    if target_c is None:
        lines.append(f"{capital(days_old(age))}: no target at this age.")
        return lines
    lines.append(f"{capital(days_old(age))}: the floor should be {say.temp(target_c)} now.")
    step = next_step(schedule, hatched, say.now, site.timezone, box.steps)
    if step is not None and not step.gradual:
        lines.append(f"First step down, to {say.temp(step.to_c)}, {say.soon(step.at)}.")
    return lines
