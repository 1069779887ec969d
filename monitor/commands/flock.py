"""`brooder flock`: the ledger. What a grower would write on the sheet beside the box."""

import re
import time
from datetime import date, datetime, timedelta, tzinfo
from typing import Annotated, Any

import typer
from rich.table import Table

from monitor.brooding import arrival
from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.calendar import age_days, local_date
from monitor.brooding.entries import MOST_MAIL_DAYS, Entry, EntryKind, mailed, with_word
from monitor.brooding.signs import SIGNS
from monitor.brooding.splitting import objection_to_any, split, taken_back_with
from monitor.commands import flock_arrival
from monitor.commands.ask import brooder_or_exit, request, when_or_exit
from monitor.commands.common import ConfigOption, fail, one_of, out, settings_or_exit
from monitor.commands.flock_entry import (
    AtOption,
    BrooderOption,
    NoteOption,
    YesOption,
    box_of_birds,
    enter,
    ledger_of,
    running,
    said_yes,
)
from monitor.settings import Settings
from monitor.tell.wording.daily_needs import G_PER_OUNCE, KG_PER_POUND, weight_words


def register(app: typer.Typer) -> None:
    flock = typer.Typer(
        help="The ledger: birds placed, lost, moved; notes. Every entry can be taken back.",
        no_args_is_help=True,
    )
    app.add_typer(flock, name="flock")
    flock.command("placed")(placed)
    flock.command("loss")(loss)
    flock.command("moved")(moved)
    flock.command("seen")(seen)
    flock.command("weighed")(weighed)
    flock.command("heat-changed")(heat_changed)
    flock_arrival.register(flock)
    flock.command("note")(note)
    flock.command("end")(end)
    flock.command("undo")(undo)
    flock.command("list")(listed)


def placed(
    count: Annotated[int, typer.Argument(help="How many birds were put in.")],
    hatched: Annotated[
        str | None,
        typer.Option(
            help="The hatch date, 2026-03-01. Chicks by mail are 1 to 3 days old on arrival."
        ),
    ] = None,
    days_in_mail: Annotated[
        int | None,
        typer.Option(
            min=0,
            max=MOST_MAIL_DAYS,
            help="How many days they were in the mail. Without a hatch date, that is their age: "
            "chicks are mailed on the day they hatch.",
        ),
    ] = None,
    kind: Annotated[str | None, typer.Option(help=f"One of {', '.join(KINDS)}.")] = None,
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    yes: YesOption = False,
    config: ConfigOption = None,
) -> None:
    """Birds were put into a brooder. A batch begins, or grows if they are of one hatch. With a day
    to come in --at, they are expected then, and the evening before you are told whether the box is
    ready."""
    settings = settings_or_exit(config)
    day = _day_to_come(at, settings.site.timezone)
    if day is not None:
        enter(
            settings,
            "expected",
            brooder,
            None,
            count=count,
            kind=kind,
            note=with_word(day.isoformat(), remark),
        )
        for step in (*arrival.BEFORE, *arrival.STEPS):
            out().print(f"[ ] {step.text}")
        return
    enter(
        settings,
        "placed",
        brooder,
        at,
        count=count,
        hatched=hatched or _hatched(settings, at, days_in_mail),
        kind=kind,
        note=remark if days_in_mail is None else with_word(mailed(days_in_mail), remark),
        yes=yes,
    )
    advice = None if days_in_mail is None else arrival.mail_advice(days_in_mail)
    if advice is not None:
        out().print(advice)


def loss(
    count: Annotated[int, typer.Argument(help="How many were found dead.")] = 1,
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    yes: YesOption = False,
    config: ConfigOption = None,
) -> None:
    """Birds were found dead. `brooder review --losses` then shows the hours before."""
    enter(settings_or_exit(config), "loss", brooder, at, count=count, note=remark, yes=yes)


def moved(
    count: Annotated[
        int | None, typer.Argument(help="How many were moved out; left out: all of them.")
    ] = None,
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    yes: YesOption = False,
    to: Annotated[
        str | None,
        typer.Option("--to", help="Into this box: the batch goes on there, in one record."),
    ] = None,
    config: ConfigOption = None,
) -> None:
    """Birds were moved out. To pasture, or with --to into a second box of the same batch."""
    settings = settings_or_exit(config)
    if to is None:
        enter(settings, "moved", brooder, at, count=count, note=remark, yes=yes)
        return
    name = box_of_birds(settings, brooder)
    brooder_or_exit(settings.site, to, "--to")
    if to == name:
        fail(f"--to is {to}, where they are already; name the other box")
    ledger = ledger_of(settings)
    when = when_or_exit(at, settings.site.timezone) or time.time()
    out_of = Entry(at=when, entry=EntryKind.MOVED, brooder=name, count=count, note=remark)
    halves = split(out_of, to, ledger)
    if (words := objection_to_any(ledger, halves, zone=settings.site.timezone)) is not None:
        fail(words)
    for half in halves:
        said = {"hatched": half.hatched, "kind": half.kind, "note": half.note}
        enter(settings, half.entry, half.brooder, at, count=half.count, yes=yes, **said)
        yes = True  # the second follows from the first


def seen(
    sign: Annotated[str, typer.Argument(help=f"How they lie: {', '.join(SIGNS)}.")],
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    config: ConfigOption = None,
) -> None:
    """How the birds lie, and what to do about it. The chicks are the best thermometer."""
    one_of("the sign", sign, SIGNS)
    enter(settings_or_exit(config), "seen", brooder, at, note=with_word(sign, remark))
    out().print(f"{SIGNS[sign].means} {SIGNS[sign].do}")


def weighed(
    count: Annotated[int, typer.Argument(help="How many birds were weighed together.")],
    weight: Annotated[str, typer.Argument(help='What they weighed together: "1.9 kg", "4.2 lb".')],
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    config: ConfigOption = None,
) -> None:
    """A few birds were weighed. Says how they stand against their kind at that age."""
    settings = settings_or_exit(config)
    name = box_of_birds(settings, brooder)
    grams = _grams_or_exit(weight) / max(count, 1)
    if not 5 <= grams <= 20_000:
        fail(f'"{weight}" for {count} is {grams:.0f} g a bird; no bird weighs that')
    words = with_word(f"{grams:.0f} g", remark)
    when = when_or_exit(at, settings.site.timezone) or time.time()
    enter(settings, "weighed", name, at, count=count, note=words)
    batch = running(settings, name)
    if batch is not None:
        age = age_days(batch.hatched, when, settings.site.timezone)
        out().print(weight_words(batch.kind, age, grams, settings.site.units))


def heat_changed(
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    config: ConfigOption = None,
) -> None:
    """You turned the heat up or down, or moved a lamp. The watch learns the box anew. For an hour
    and a half a fall is not called lost heat; you are still told if it gets too cold."""
    enter(settings_or_exit(config), "heat-changed", brooder, at, note=remark)


def end(
    brooder: BrooderOption = None,
    at: AtOption = None,
    remark: NoteOption = None,
    yes: YesOption = False,
    config: ConfigOption = None,
) -> None:
    """The batch is over. Closes it in every box, or in --brooder alone: no more messages until
    birds are placed again."""
    settings = settings_or_exit(config)
    if brooder is not None:
        brooder_or_exit(settings.site, brooder)
    answer = request(
        settings,
        "entry",
        entry="end",
        brooder=brooder,
        at=when_or_exit(at, settings.site.timezone),
        note=remark,
        by="command",
        **said_yes(yes),
    )
    out().print(
        f"Entry {answer['number']}: the batch has ended. The watch sleeps until birds are placed. "
        f"To take it back: brooder flock undo {answer['number']}"
    )


def note(
    text: Annotated[str, typer.Argument(help="The remark.")],
    brooder: BrooderOption = None,
    at: AtOption = None,
    config: ConfigOption = None,
) -> None:
    """A remark: new litter, lamp raised, chicks loud."""
    enter(settings_or_exit(config), "note", brooder, at, note=text)


def undo(
    number: Annotated[int, typer.Argument(help="The entry's number, as `flock list` shows it.")],
    yes: YesOption = False,
    config: ConfigOption = None,
) -> None:
    """Take an entry back. It stays in the journal, crossed out.

    Of birds that went into another box both halves are taken back."""
    settings = settings_or_exit(config)
    ledger = ledger_of(settings)
    back = taken_back_with(number, ledger)
    undoing = [Entry(at=time.time(), entry=EntryKind.UNDO, undoes=one) for one in back]
    if len(back) > 1 and (words := objection_to_any(ledger, undoing)) is not None:
        fail(words)
    for one in back:
        answer = request(settings, "entry", entry="undo", undoes=one, by="command", **said_yes(yes))
        out().print(f"Entry {answer['number']}: entry {one} is taken back.")


def listed(config: ConfigOption = None) -> None:
    """All entries with their numbers."""
    settings = settings_or_exit(config)
    ledger: dict[str, Any] = request(settings, "ledger")
    entries = ledger["entries"]
    if not entries:
        first = "brooder flock placed 100 --kind broiler --hatched ..."
        out().print(f"The ledger is empty. It begins with: {first}")
        return
    undone = set(ledger["undone"])
    table = Table("no.", "when", "brooder", "entry", "birds", "note", box=None, pad_edge=False)
    for entry in entries:
        when = datetime.fromtimestamp(entry["at"], settings.site.timezone)
        words = entry.get("note") or ""
        if entry["entry"] == "placed":
            hatched = entry.get("hatched") and f"hatched {entry['hatched']}"
            words = ", ".join(filter(None, (entry.get("kind"), hatched, words)))
        if entry["entry"] == "undo":
            words = f"takes back entry {entry['undoes']}"
        table.add_row(
            str(entry["number"]),
            f"{when:%Y-%m-%d %H:%M}",
            entry.get("brooder") or "",
            entry["entry"] + (" (taken back)" if entry["number"] in undone else ""),
            "" if entry.get("count") is None else str(entry["count"]),
            words,
        )
    out().print(table)


_WEIGHT = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*(kg|g|lb|lbs|oz)\s*$", re.IGNORECASE)
_POUND_G = 1000.0 * KG_PER_POUND
_G = {"kg": 1000.0, "g": 1.0, "lb": _POUND_G, "lbs": _POUND_G, "oz": G_PER_OUNCE}


def _grams_or_exit(text: str) -> float:
    found = _WEIGHT.match(text)
    if found is None:
        fail(f'the weight is "{text}"; write it with its unit, such as "1.9 kg" or "4.2 lb"')
    return float(found[1].replace(",", ".")) * _G[found[2].lower()]


def _hatched(settings: Settings, at: str | None, days_in_mail: int | None) -> str | None:
    """Of chicks that were posted on the day they hatched; None: not said."""
    if days_in_mail is None:
        return None
    zone = settings.site.timezone
    came = local_date(when_or_exit(at, zone) or time.time(), zone)
    return (came - timedelta(days=days_in_mail)).isoformat()


def _day_to_come(at: str | None, zone: tzinfo) -> date | None:
    """`--at 2026-03-01`, or with a time, where that day is still to come at the site."""
    try:
        day = None if at is None or len(at) < len("2026-03-01") else date.fromisoformat(at[:10])
    except ValueError:
        return None  # said by when_or_exit
    return day if day is not None and day > local_date(time.time(), zone) else None
