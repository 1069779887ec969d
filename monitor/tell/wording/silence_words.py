"""Nothing heard, or nothing believable heard. Called by `for_change`."""

from collections.abc import Callable, Iterable

from monitor.events import AlarmName, Change, Facts
from monitor.measures import span
from monitor.site import Brooder, Place
from monitor.tell.wording.first_aid import LOOK_AT_CHICKS
from monitor.tell.wording.temperature import probe_list
from monitor.tell.wording.words import Voice, Words, compose, listed, sentence
from monitor.watch.silence import MEND_CLOCK
from monitor.watch.status import ProbeStatus

_WHERE_TO_LOOK = (
    "Then check what carries the readings: power to the board and the probe, cable or battery, "
    "Wi-Fi, broker."
)
_ONE_PROBE = (
    "Then check this probe alone: its power or battery, its cable, how far its Wi-Fi carries."
)
_OTHERS_HEARD = "Others are heard, so the board and the broker work. " + _ONE_PROBE
_SHARED = "All fell silent together, so look first at what they share: mains power, Wi-Fi, broker."
_UNTIL_THEN = "Until readings come back, only you are watching. " + LOOK_AT_CHICKS


def no_readings(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """A probe, every probe of a brooder, or the whole site has not been heard."""
    facts = change.facts
    last = _last(change, voice)
    where = voice.where(change.brooder)
    why = facts.get("reason")  # something is heard, but it tells nothing
    if change.probe is not None:
        probe = probe_name(change)
        first = "Look at the probe and its power." if why is None else "Look at the probe."
        mend = _ONE_PROBE if why is None else _why(why, facts, voice)
        return compose(
            f"{where}: {probe} is silent" if why is None else f"{where}: {probe} is unreliable",
            f"{last} {first}",
            "The other probes still report, so the watch goes on. " + mend,
            probe_list(voice, change),
        )
    if change.brooder is None:
        since = f" since {voice.clock(facts['since'], change.at)}" if "since" in facts else ""
        nothing = "Nothing" if why is None else "Nothing to trust"
        return compose(
            f"{where}: no readings",
            f"{nothing} from any probe{since}. Go and look at the chicks.",
            _SHARED if why is None else _why(why, facts, voice),
            _UNTIL_THEN,
            probe_list(voice, change),
        )
    title = f"{where}: no readings" if why is None else f"{where}: no readings to trust"
    others = any(probe["temp_c"] is not None for probe in facts.get("probes", ()))
    figure, mend = _silent_for(change), _OTHERS_HEARD if others else _WHERE_TO_LOOK
    if why is not None:
        figure, mend = sentence(why) + _says(facts, voice), facts.get("detail", "")
    return compose(
        title,
        f"{last} Go and look at the chicks.",
        mend,
        _UNTIL_THEN,
        probe_list(voice, change),
        figures=[figure],
    )


def site_silent(changes: list[Change], voice: Voice) -> Words:
    """Several brooders fell silent together: one cause, one message."""
    boxes = [change.brooder for change in changes if change.brooder is not None]
    lasts = [f"{change.brooder}: {_last(change, voice)}" for change in changes if change.brooder]
    return compose(
        f"{voice.where(None)}: no readings",
        f"Nothing from {listed(boxes)}. Go and look at the chicks.",
        _SHARED,
        *lasts,
        _UNTIL_THEN,
    )


def probe_fault(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """A probe says what no floor can be."""
    facts = change.facts
    probe = probe_name(change)
    why = facts.get("reason", "it says what no floor can be").rstrip(".")
    mend = facts.get("detail")
    return compose(
        f"{voice.where(change.brooder)}: {probe} cannot be trusted",
        f"{sentence(why)} {mend or 'Check its cable, its power and what sends it.'}",
        *_what_of_the_floor(mend is None, outside=_hangs_outside(change, box)),
        probe_list(voice, change),
    )


def _what_of_the_floor(left_out: bool, *, outside: bool) -> list[str]:
    if outside:
        return [
            "Until it makes sense again, nights are foretold without it. All other alarms go on."
        ]
    return [
        "What it says is left out until it makes sense again."
        if left_out
        else "Should it say that the floor is cold, you are told all the same.",
        "If no other probe lies on the floor, look at the chicks yourself. " + LOOK_AT_CHICKS,
    ]


def _hangs_outside(change: Change, box: Brooder | None) -> bool:
    if box is None:
        return True
    return any(p.key == change.probe and p.place is Place.OUTSIDE for p in box.probes)


def heard_but_old(stamps_old_s: float) -> str:
    """Of a probe that speaks, with stamps that are too old to count."""
    return f"heard, but its own time stamps are {span(stamps_old_s)} old"


def clock_behind(probes: Iterable[ProbeStatus]) -> tuple[str, str] | None:
    """Of the first that speaks, and only its clock is behind: the words, and what to do."""
    for probe in probes:
        if probe.stamps_old_s is not None:
            old = heard_but_old(probe.stamps_old_s)
            return f"the probe {probe.name} is {old}: too old to count", MEND_CLOCK
    return None


SILENCE: dict[AlarmName, Callable[[Change, Voice, Brooder | None], Words]] = {
    AlarmName.NO_READINGS: no_readings,
    AlarmName.PROBE_FAULT: probe_fault,
}


def _last(change: Change, voice: Voice) -> str:
    facts = change.facts
    heard = f" at {voice.clock(facts['since'], change.at)}" if "since" in facts else ""
    if "temp_c" not in facts:
        if not heard:
            return "Never heard."
        nothing = "No reading to trust" if "reason" in facts else "Silent"
        return f"{nothing} since{heard.removeprefix(' at')}."
    last = f"Last {voice.temp(facts['temp_c'])}{heard}"
    if change.brooder is None or "target_c" not in facts:  # off the floor there is no target
        return f"{last}."
    return f"{last}, should be {voice.temp(facts['target_c'])}."


def _why(why: str, facts: Facts, voice: Voice) -> str:
    return f"{sentence(why)}{_says(facts, voice)} {facts.get('detail', '')}"


def _says(facts: Facts, voice: Voice) -> str:
    return f" The last says {voice.temp(facts['says_c'])}." if "says_c" in facts else ""


def _silent_for(change: Change) -> str | None:
    silent_s = change.facts.get("silent_s")
    return None if silent_s is None else f"Nothing has been heard for {span(silent_s)}."


def probe_name(change: Change) -> str:
    """`far floor probe`; `probe` where it is not known which."""
    name = change.probe.split("/", 1)[-1] if change.probe else ""
    if not name:
        return "probe"
    return name if "probe" in name else f"{name} probe"
