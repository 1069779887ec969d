"""`brooder set-up`: the guided set-up in the terminal, with the steps and words of the page."""

import sys
import time
from typing import Annotated

import segno
import typer

from monitor.brooding.objection import Objection
from monitor.commands.ask import NO_SERVICE, reload_service, still_missing
from monitor.commands.common import NOT_WELL, ConfigOption, complain, fail, out, settings_or_exit
from monitor.service.control import NoService, ask
from monitor.service.set_up_edits import SetUp
from monitor.set_up_form import Field, HeardProbe, Step, StepForm, WrongAnswers
from monitor.settings import Settings, SettingsFault
from monitor.settings.rewriting import BEFORE, NotWritten
from monitor.settings.set_up_steps import as_it_is, step_of
from monitor.units import shown, step_shown

STEPS = tuple(step for step in Step if step is not Step.BIRDS)
_CLEAR = "-"
_HEARD_WITHIN_S = 65.0  # many plugs speak once a minute


def set_up(
    step: Annotated[
        str | None,
        typer.Argument(help=f"Only this step: {', '.join(STEPS)}. Left out: all."),
    ] = None,
    about: Annotated[
        str, typer.Option("--about", help="Which box, probe or contact; new adds one.")
    ] = "",
    config: ConfigOption = None,
) -> None:
    """Set up the watch step by step. Press Enter to keep the answer in brackets, type - to clear
    it, Ctrl-C to leave a step as it was. Nothing is written until you have seen the change. Exit
    code 1: something essential is still missing for tonight."""
    if step is not None and step not in STEPS:
        fail(f'the step is "{step}"; it must be one of {", ".join(STEPS)}')
    settings = settings_or_exit(config)
    desk = SetUp(settings.source)
    out().print(
        f"Enter keeps what is in brackets, {_CLEAR} clears it, Ctrl-C leaves a step as it was."
    )
    for one in STEPS if step is None else (Step(step),):
        if step is None and not _wanted(one, desk):
            continue
        try:
            _go_through(one, about, desk)
        except typer.Abort:
            out().print("\nLeft as it was.")
        except (NotWritten, SettingsFault) as why:
            fail(str(why))
    raise typer.Exit(NOT_WELL if _still_missing(settings_or_exit(config)) else 0)


def _wanted(step: Step, desk: SetUp) -> bool:
    out().print(f"\n{step.heading}", style="bold")
    out().print(f"{step.why}\nNow: {as_it_is(step, desk.settings())}.")
    return typer.confirm("Go through it?", default=True)


def _go_through(step: Step, about: str, desk: SetUp) -> None:
    heard = _heard(desk.settings()) if step is Step.PROBES and not about else {}
    about = about or _which(step, desk)
    form = _form(step, "" if about == "new" else about, desk)
    wrong: dict[str, str] = {}
    stands = {**form.values, **heard}
    given = dict(stands)
    while True:
        _ask_all(form.fields, given, wrong)
        try:
            proposed = desk.propose(step, form.about, {**given, **form.hidden})
            break
        except WrongAnswers as found:
            wrong = found.by_field
            given |= {name: stands.get(name, "") for name in wrong}  # Enter is no error again
            if "" in wrong:
                complain(wrong[""])
                raise typer.Abort from None
    if not proposed.difference:
        out().print("Nothing changes.")
        return
    out().print(proposed.difference)
    for note in proposed.notes:
        out().print(note)
    if not typer.confirm("Write it?", default=True):
        out().print("Left as it was.")
        return
    change = desk.write(proposed.mark)
    source = change.source
    out().print(f"Written to {source}; the file before is {source.name}{BEFORE}.")
    wrong_lines, notes = _taken(change.settings)
    if wrong_lines:
        desk.take_back(change)
        fail("Taken back, because the running service refuses it:\n" + "\n".join(wrong_lines))
    for note in notes:
        out().print(note)
    _after(step, change.settings, runs=notes[0] != NO_SERVICE)


def _ask_all(fields: tuple[Field, ...], given: dict[str, str], wrong: dict[str, str]) -> None:
    """Every question, or those that were answered wrongly."""
    for field in fields:
        if field.only_with and not given.get(field.only_with):
            given[field.name] = given.get(field.name, "") if field.options else ""
            continue
        if field.name in wrong:
            complain(wrong[field.name])
        if not wrong or field.name in wrong:
            given[field.name] = _asked(field, given.get(field.name, ""))


def _after(step: Step, settings: Settings, *, runs: bool) -> None:
    """What can be seen now that it is written."""
    if runs:
        _prove(settings, step)
    if step is Step.PAGE:
        _say_address(settings)


def _heard(settings: Settings) -> dict[str, str]:
    """Which of the topics that no probe has is meant? Asked until one is; how it is read."""
    try:
        while True:
            said = [HeardProbe(**one) for one in ask(settings.control_paths, "heard")]
            new = [one for one in said if one.key is None]
            if not new:
                return {}
            out().print("Hold one in your hand for half a minute: the one that rises is it.")
            for number, one in enumerate(new, 1):
                line = f"  {number}  {one.topic}: {shown(one.temp_c, settings.site.units)}"
                rise = f", {step_shown(one.rise_c, settings.site.units)} warmer"
                hand = "   <- in your hand" if one.in_hand else ""
                out().print(line + rise + hand)
            number = typer.prompt("Number; 0: none of them; a: look again", default="a").strip()
            if number == "0":
                return {}
            if number.isdecimal() and int(number) <= len(new):
                one = new[int(number) - 1]
                return {"topic": one.topic, "unit": one.unit, "value": one.value}
    except (NoService, Objection):
        return {}


def _prove(settings: Settings, step: Step) -> None:
    """Each plug or sensor of the step as soon as it is heard, for a while."""
    waits = {meter.key: meter for meter in settings.site.all_meters if step_of(meter) is step}
    if not waits:
        return
    out().print("Listening. Switch a lamp off and on, lift the cover: it shows here.")
    until = time.monotonic() + _HEARD_WITHIN_S
    try:
        while waits and time.monotonic() < until:
            for row in ask(settings.control_paths, "probes")["meters"]:
                if row["age_s"] is not None and waits.pop(row["key"], None) is not None:
                    out().print(f"Heard: {row['line']}")
            time.sleep(0.5)
    except (KeyboardInterrupt, NoService, Objection):
        out().print("")
    for meter in waits.values():
        where = "this machine" if meter.local else meter.topic
        complain(f"Nothing heard yet from {meter.title} on {where}.")
    if waits:
        out().print("`brooder probes` shows what the broker hears, and what it could not read.")


def _which(step: Step, desk: SetUp) -> str:
    """Of several boxes, probes or contacts one; asked."""
    settings = desk.settings()
    names = {
        Step.BOX: [box.name for box in settings.site.brooders],
        Step.HEAT: [box.name for box in settings.site.brooders],
        Step.METERS: [box.name for box in settings.site.brooders],
        Step.PROBES: [probe.key for probe in settings.site.all_probes],
        Step.CONTACTS: [contact.name for contact in settings.file.contacts],
    }.get(step, [])
    of_box = step in (Step.HEAT, Step.METERS)
    if of_box and len(names) == 1:
        return names[0]
    if not names:
        return ""
    options = tuple((name, name) for name in names)
    if not of_box:
        options = (*options, ("new", "one more"))
    return _asked(Field(name="about", label="Which one", options=options), names[0])


def _form(step: Step, about: str, desk: SetUp) -> StepForm:
    try:
        return desk.form(step, about)
    except WrongAnswers as wrong:
        fail(str(wrong))


def _asked(field: Field, value: str) -> str:
    if field.hint:
        out().print(field.hint)
    if field.secret:
        hide = sys.stdin.isatty()
        return str(typer.prompt(field.label, default="", hide_input=hide, show_default=False))
    if not field.options:
        said = str(typer.prompt(field.label, default=value, show_default=bool(value)))
        return "" if said.strip() == _CLEAR else said
    values = [one for one, _ in field.options]
    out().print(f"{field.label}:")
    for number, (_, words) in enumerate(field.options, 1):
        out().print(f"  {number}  {words}")
    default = str(values.index(value) + 1) if value in values else ""
    while True:
        said = str(typer.prompt("Number", default=default, show_default=bool(default))).strip()
        if said in values:
            return said
        if said.isdecimal() and 1 <= int(said) <= len(values):
            return values[int(said) - 1]
        complain(f"A number from 1 to {len(values)}.")


def _taken(settings: Settings) -> tuple[list[str], list[str]]:
    """What the running service has against it, and what is worth knowing."""
    runs, wrong, waits = reload_service(settings)
    if not runs:
        return [], [NO_SERVICE]
    notes = ["The running service has taken it."]
    return wrong, [*notes, "The broker is changed at the next start."] if waits else notes


def _say_address(settings: Settings) -> None:
    page = settings.file.page
    if page.listen == "127.0.0.1":
        return
    if page.public_url is not None:
        out().print(f"On the phone, on the same Wi-Fi, open {page.public_url}")
        if (sys.stdout.encoding or "").lower().startswith("utf"):
            segno.make(page.public_url, error="l").terminal(compact=True)


def _still_missing(settings: Settings) -> bool:
    said = still_missing(settings)
    if said:
        out().print("\nStill missing for tonight", style="bold")
    for one in said:
        mark = "!" if one.essential else " "
        out().print(f"{mark} {one.subject}: {one.words}. {one.do}")
    return any(one.essential for one in said)
