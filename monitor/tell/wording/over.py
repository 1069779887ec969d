"""It is over: how long it lasted and how far it went. Called by `for_change` and the planner.

This one message must do also for somebody who never got the first: it tells the whole story."""

from monitor.tell.wording.words import Voice, Words, compose, span
from monitor.watch.events import AlarmName, Change

_WAS = {
    AlarmName.COLD: "too cold",
    AlarmName.CHILL: "too cold",
    AlarmName.HEAT_LOSS: "without some of its heat",
    AlarmName.HOT: "too hot",
    AlarmName.OVERHEAT: "too hot",
}
_GONE = {
    AlarmName.COLD_NIGHT: (
        "cold night no longer expected",
        "The floor should now hold until morning.",
    ),
    AlarmName.NO_READINGS: ("readings are back", "It is watched again."),
    AlarmName.PROBE_FAULT: ("probe makes sense again", "Its readings count again."),
    AlarmName.BROKER_LOST: ("broker is back", "Readings come in again."),
    AlarmName.STORAGE_FAULT: ("records are kept again", "Nothing for you to do."),
    AlarmName.DELIVERY_FAULT: ("messages get through again", "Nothing for you to do."),
    AlarmName.CLOCK_FAULT: ("clock is right again", "Nothing for you to do."),
    AlarmName.WAS_DOWN: ("watching again", "Nothing for you to do."),
    AlarmName.STEP_DOWN: ("step taken", "Nothing for you to do."),
    AlarmName.CROWDED: ("room enough again", "Nothing for you to do."),
    AlarmName.LOSSES_HIGH: ("losses as usual again", "Nothing for you to do."),
    AlarmName.READY_TO_MOVE: ("no longer due to move", "Nothing for you to do."),
}
_LOW = (AlarmName.COLD, AlarmName.CHILL, AlarmName.HEAT_LOSS)


def all_clear(change: Change, voice: Voice) -> Words:
    """The alarm is over. `change` is the last clearing; its facts span the whole of it."""
    facts = change.facts
    lasted = f" {_lasted(facts['lasted_s'])}" if "lasted_s" in facts else ""
    if change.alarm in _GONE:
        what, then = _GONE[change.alarm]
        gap = _gap(change, voice, lasted)
        return compose(
            f"{voice.where(change.brooder)}: {what}", f"{then}{gap}", _floor_now(change, voice)
        )
    extreme = ""
    if "extreme_c" in facts:
        end = "lowest" if change.alarm in _LOW else "highest"
        extreme = f", {end} {voice.temp(facts['extreme_c'])}"
    return compose(
        f"{voice.where(change.brooder)}: back to normal",
        f"{_floor_now(change, voice) or ''} It was {_WAS[change.alarm]}{lasted}{extreme}.".strip(),
        "See that every chick is on its feet, and what the cause was, so that it does not "
        "come back."
        if change.alarm in (AlarmName.CHILL, AlarmName.OVERHEAT, AlarmName.HEAT_LOSS)
        else None,
    )


def _lasted(seconds: float) -> str:
    return f"for {span(seconds)}"


def _gap(change: Change, voice: Voice, lasted: str) -> str:
    if not lasted or change.alarm is AlarmName.COLD_NIGHT:
        return ""
    return f" It lasted{lasted.removeprefix(' for')}."


def _floor_now(change: Change, voice: Voice) -> str | None:
    facts = change.facts
    if "temp_c" not in facts or change.alarm is AlarmName.COLD_NIGHT:
        return None
    target = f", should be {voice.temp(facts['target_c'])}" if "target_c" in facts else ""
    return f"Now {voice.temp(facts['temp_c'])}{target}."
