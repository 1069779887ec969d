"""The same trouble in several boxes at once: one message that lists them. Used by the planner's
words for an incident, and by the evening's for a cold night."""

from collections.abc import Sequence

from monitor.brooding.power_cut import IN_SHORT
from monitor.events import AlarmName, Change
from monitor.tell.wording.first_aid import (
    ALL_ON,
    HEAT_ROUND,
    LOOK_AT_CHICKS,
    WARM_THEM,
    has_come_up,
    mend,
    with_care,
)
from monitor.tell.wording.temperature import ADD_IN_TIME
from monitor.tell.wording.words import Voice, Words, compose, listed, once_each, sentence

_CHILLED = (AlarmName.CHILL, AlarmName.COLD)
_MOST_LISTED = 12
_MOST_NAMED = 3
_SHARED = "They went together, so look first at what they share: mains, breaker, outlet, cord."
_ONE_BY_ONE = "They did not go at the same time, so look at each."


def several_boxes(changes: list[Change], voice: Voice, *, together: bool) -> Words:
    """One change a box, each the worst there. `together`: it began at about the same time
    in all."""
    count = len(changes)
    where = voice.where(None)
    named = _named([str(change.brooder) for change in changes])
    if all(change.alarm is AlarmName.UNWATCHED for change in changes):
        return compose(
            f"{where}: cold is not watched for in {count} boxes",
            f"Go and look at the chicks in {named}.",
            *_lines(changes, [_why(change) for change in changes]),
            changes[0].facts.get("detail"),
            "Until then nobody watches but you. " + LOOK_AT_CHICKS,
        )
    chilled = sum(change.alarm in _CHILLED for change in changes)
    what = "dangerously cold" if chilled == count else "without heat"
    also = f", {chilled} dangerously cold" if 0 < chilled < count else ""
    coldest = sorted(changes, key=_below, reverse=True)
    back = all(has_come_up(change.facts) for change in changes)
    first = ALL_ON if back else f"Check the {'power' if together else 'heat'} first."
    return compose(
        f"{where}: {count} boxes {what}{also}",
        f"{named}. Go now. {first}",
        None if back else f"{_SHARED if together else _ONE_BY_ONE} {HEAT_ROUND}",
        WARM_THEM,
        IN_SHORT if together and not back else None,
        figures=_lines(coldest, [_how(change, voice, named=bool(also)) for change in coldest]),
    )


def cold_nights(cold: Sequence[tuple[str, Words]], voice: Voice) -> Words:
    """What is said of each box's night as one: the first lines, each after its box."""
    firsts = [(box, said.body.partition("\n")[0]) for box, said in cold]
    same = all(line.endswith(ADD_IN_TIME) for _, line in firsts)
    named = _named([box for box, _ in cold])
    figures = [
        f"{box}: {line.removesuffix(ADD_IN_TIME if same else '').rstrip()}" for box, line in firsts
    ]
    return compose(
        f"{voice.where(None)}: cold night ahead in {len(cold)} boxes",
        f"{ADD_IN_TIME.rstrip('.')} in {named}." if same else f"See to {named} in time.",
        figures=_capped(figures),
    )


def cold_nights_at_once(cold: Sequence[tuple[Change, Words]], voice: Voice) -> Words:
    """The same told as an alarm, with what would mend each."""
    boxes = [(str(change.brooder), change.facts) for change, _ in cold]
    said = cold_nights([(str(change.brooder), words) for change, words in cold], voice)
    mends = [(name, " ".join(lines)) for name, facts in boxes if (lines := mend(facts))]
    care = [
        (name, line)
        for name, facts in boxes
        for line in with_care(facts.get("mend", ()), voice.site.brooder(name), voice.site)
    ]
    first, *figures = said.body.split("\n")
    rest = [*_capped(once_each(mends)), *_capped(once_each(care, len(boxes)))]
    return compose(said.title, first, *rest, figures=figures)


def over_in_all(told: Words, changes: list[Change], voice: Voice) -> Words:
    """The end of what several boxes had, with the floor of each: `changes`, as it is now."""
    if len(changes) < 2 or changes[0].alarm is AlarmName.UNWATCHED:
        return told
    first, _, rest = told.body.partition("\n")
    names = listed(sorted(str(change.brooder) for change in changes))
    floors = _lines(changes, [_floor(change, voice) for change in changes])
    return compose(told.title, f"{names}. {first}", rest, figures=floors)


def _named(boxes: list[str]) -> str:
    names, count = sorted(boxes), len(boxes)
    return listed(names if count <= _MOST_NAMED else [*names[:2], f"{count - 2} more"])


def _lines(changes: list[Change], said: list[str]) -> list[str]:
    return _capped([f"{c.brooder}: {text}" for c, text in zip(changes, said, strict=True)])


def _capped(lines: list[str]) -> list[str]:
    more = len(lines) - _MOST_LISTED
    return lines if more <= 0 else [*lines[:_MOST_LISTED], f"and {more} more"]


def _how(change: Change, voice: Voice, *, named: bool) -> str:
    """`named`: not all of them are dangerously cold."""
    cold = "dangerously cold, " if named and change.alarm in _CHILLED else ""
    back = " Some of the heat is back." if has_come_up(change.facts) else ""
    return f"{cold}{_floor(change, voice)}{back}"


def _why(change: Change) -> str:
    return sentence(change.facts.get("reason", ""))


def _below(change: Change) -> float:
    return change.facts.get("target_c", 0.0) - change.facts.get("temp_c", 0.0)


def _floor(change: Change, voice: Voice) -> str:
    facts = change.facts
    if "temp_c" not in facts:
        return "floor not heard."
    target = f", should be {voice.temp(facts['target_c'])}" if "target_c" in facts else ""
    return f"{voice.temp(facts['temp_c'])}{target}."
