"""Advice: no hurry, said in the morning message. Called by `for_change` and `morning`."""

from collections.abc import Callable
from datetime import date

from monitor.brooding.calendar import at_age
from monitor.brooding.moving import Moving, Stage
from monitor.events import AlarmName, Change, Facts
from monitor.measures import counted
from monitor.site import Brooder
from monitor.tell.wording.first_aid import less_heat
from monitor.tell.wording.words import Voice, Words, compose
from monitor.units import Unit, area_figure

_A_DAY_S = 86400.0 + 3600.0


def step_down(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """The weekly step, on its morning."""
    facts = change.facts
    target = f"Target {voice.temp(facts['next_target_c'])}" if "next_target_c" in facts else ""
    how = f"{less_heat(box)} a little at a time and see how the chicks lie."
    when = f"This morning {how} If a cold night is ahead, wait a day."
    if "lowest_c" in facts:
        when = f"A cold night is ahead: leave the heat for today. Tomorrow morning {how}"
    return compose(
        f"{voice.where(change.brooder)}: less heat",
        f"{target or 'One step less'} from today. {when}",
    )


def crowded(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """Too little floor for their age."""
    facts = change.facts
    have, need = facts.get("area_per_bird_m2"), facts.get("needed_area_per_bird_m2")
    room = (
        f"Each chick has {_area(voice, have)}; at this age it needs {_area(voice, need)}."
        if have is not None and need is not None
        else "The box is small for so many chicks of this age."
    )
    return compose(
        f"{voice.where(change.brooder)}: getting crowded",
        f"{room} Make the box larger or split the batch.",
        _origin(facts),
    )


def losses_high(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """More dead chicks than is usual."""
    facts = change.facts
    lost = facts.get("losses")
    percent = f" ({facts['losses_percent']:.1f} in 100)" if "losses_percent" in facts else ""
    in_a_day = change.at - facts.get("since", 0.0) <= _A_DAY_S and facts.get("age_days", 0) > 1
    over = " in a day" if in_a_day else " so far"
    usual = f"; {facts['usual_percent']:.1f} is usual" if "usual_percent" in facts else ""
    chicks = f"{counted(lost, 'chick')} lost" if lost else "Many chicks lost"
    return compose(
        f"{voice.where(change.brooder)}: more losses than usual",
        f"{chicks}{over}{percent}{usual}. Look for a cause, or ask a vet.",
        "Chill, overheat, water and feed come first; `brooder review` shows what the floor did "
        "before each loss.",
        _origin(facts),
    )


def ready_to_move(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """Old enough to go out, or nearly. The morning message gives the first line alone, so the night
    they bear stands in it."""
    facts = change.facts
    days = f"{facts['age_days']} days old. " if "age_days" in facts else ""
    bear = f"They can stand nights down to {voice.temp(facts['low_c'])}" if "low_c" in facts else ""
    stage = facts.get("reason", "ready")
    if stage == "harden off":
        later = f" Once feathered they {bear.removeprefix('They ')}." if bear else ""
        title, do = "time to harden them off", f"{_HARDEN}{later}"
    elif "outside_low_c" in facts:
        origin = f" ({facts['outside_from']})" if "outside_from" in facts else ""
        coldest = f"the coldest expected is {voice.temp(facts['outside_low_c'])}{origin}"
        title, do = "ready to move out", f"{bear}{'; ' if bear else ''}{coldest}. {_DAY}"
    else:
        title = "old enough to move out"
        do = f"{bear}{'. ' if bear else ''}{_LOOK} {_DAY}"
    return compose(
        f"{voice.where(change.brooder)}: {title}",
        f"{days}{do}",
        None if stage == "harden off" else _RAIN,
        _origin(facts),
    )


_HARDEN = "Let them out by day in dry, mild weather; back to the heat at night."
_DAY = "Choose a dry, mild day, and watch the first night."
_LOOK = "How cold the nights ahead are is not known here: look at a forecast first."
_RAIN = "A cold, wet spell is a reason to wait; this monitor knows nothing about rain."

ADVICE: dict[AlarmName, Callable[[Change, Voice, Brooder | None], Words]] = {
    AlarmName.STEP_DOWN: step_down,
    AlarmName.CROWDED: crowded,
    AlarmName.LOSSES_HIGH: losses_high,
    AlarmName.READY_TO_MOVE: ready_to_move,
}


def _area(voice: Voice, area_m2: float) -> str:
    sign = "sq ft" if voice.site.units is Unit.FAHRENHEIT else "cm²"
    return f"{area_figure(area_m2, voice.site.units)} {sign}"


def _origin(facts: Facts) -> str | None:
    return f"Source: {facts['origin']}." if "origin" in facts else None


def moving_line(moving: Moving, hatched: date, voice: Voice) -> str | None:
    """One line; None: they are too young for the question."""
    if moving.stage is Stage.TOO_YOUNG:
        return None
    bear = f"can stand nights down to {voice.temp(moving.borne_c)}"
    if moving.stage is Stage.READY:
        if moving.coldest_c is None:
            return f"Old enough to move out. They {bear}: look at a forecast first."
        return (
            f"Ready to move out on a dry, mild day. They {bear}; the coldest expected is "
            f"{voice.temp(moving.coldest_c)}."
        )
    cold = _cold(moving, voice)
    if moving.stage is Stage.HARDEN_OFF:
        feathered = _day(at_age(hatched, moving.row.feathered_days, voice.site.timezone), voice)
        after = f" Ahead: {cold}." if cold else ""
        return (
            f"Not out yet: feathered on {feathered}, and then they {bear}. "
            "Harden them off from now: out by day in mild, dry weather, back to the heat at "
            f"night.{after}"
        )
    return f"Not out yet: {cold}, and they {bear}. Let them out by day in mild, dry weather."


def _cold(moving: Moving, voice: Voice) -> str | None:
    """`nights of 39 °F until Thursday 5 March`, where they are too cold."""
    if moving.coldest_c is None or moving.coldest_c >= moving.borne_c:
        return None
    nights = f"nights of {voice.temp(moving.coldest_c)}"
    if moving.warmer_from is None:
        return nights
    least = "at least " if moving.to_the_last else ""
    return f"{nights} {least}until {_day(moving.warmer_from, voice)}"


def _day(at: float, voice: Voice) -> str:
    then = voice.local(at)
    return f"{then:%A} {then.day} {then:%B}"
