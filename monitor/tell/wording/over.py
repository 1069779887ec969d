"""It is over: how long it lasted and how far it went. Called by `for_change` and the planner.

This one message must do also for somebody who never got the first: it tells the whole story."""

import math

from monitor.events import AlarmName, Cause, Change
from monitor.measures import span
from monitor.tell.wording.life import TROUBLE
from monitor.tell.wording.silence_words import probe_name
from monitor.tell.wording.words import Voice, Words, compose, sentence
from monitor.watch.alarm_table import OF_COLD, OF_HEAT

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
    AlarmName.PROBE_FAULT: ("probes make sense again", "Their readings count again."),
    AlarmName.METER_SILENT: ("its meter is heard again", "Its readings count again."),
    AlarmName.AIR: ("the air is right again", "Nothing for you to do."),
    AlarmName.LEFT_OPEN: ("the cover is closed", "Nothing for you to do."),
    AlarmName.MAINS_LOST: (
        "mains power is back",
        "See that every lamp and plate is on again, and that no chick lies alone.",
    ),
    AlarmName.BATTERY_LOW: ("the monitor has power again", "It is watched again."),
    AlarmName.UNWATCHED: ("cold is watched for again", "Its alarms work again."),
    AlarmName.BROKER_LOST: ("broker is back", "Readings come in again."),
    AlarmName.NAME_TAKEN: (
        "the watch has its connection back",
        "Find out what used its name, before it happens again.",
    ),
    AlarmName.STORAGE_FAULT: ("records are kept again", "Nothing for you to do."),
    AlarmName.DELIVERY_FAULT: ("messages get through again", "Nothing for you to do."),
    AlarmName.MIRROR_FAULT: ("records are copied again", "Nothing for you to do."),
    AlarmName.CLOCK_FAULT: ("clock is right again", "Nothing for you to do."),
    AlarmName.WAS_DOWN: ("watching again", "Nothing for you to do."),
    AlarmName.STEP_DOWN: ("step taken", "Nothing for you to do."),
    AlarmName.CROWDED: ("room enough again", "Nothing for you to do."),
    AlarmName.LOSSES_HIGH: ("losses as usual again", "Nothing for you to do."),
    AlarmName.READY_TO_MOVE: ("no longer due to move", "Nothing for you to do."),
}
_PROBE_GONE = {  # where one probe alone is meant
    AlarmName.NO_READINGS: ("{} is heard again", "Its readings count again."),
    AlarmName.PROBE_FAULT: ("{} makes sense again", "Its readings count again."),
}
_HAVE_LENGTH = (
    AlarmName.NO_READINGS,
    AlarmName.PROBE_FAULT,
    AlarmName.UNWATCHED,
    AlarmName.LEFT_OPEN,
    AlarmName.MAINS_LOST,
    AlarmName.BROKER_LOST,
    AlarmName.STORAGE_FAULT,
    AlarmName.DELIVERY_FAULT,
)
_HARMFUL = (AlarmName.CHILL, AlarmName.OVERHEAT, AlarmName.HEAT_LOSS)


_WAS_ELSE = {  # what has no word for the floor
    AlarmName.COLD_NIGHT: "a cold night was expected",
    AlarmName.NO_READINGS: "was silent",
    AlarmName.PROBE_FAULT: "a probe could not be trusted",
    AlarmName.METER_SILENT: "a plug or sensor was silent",
    AlarmName.LEFT_OPEN: "the cover was left open",
    AlarmName.AIR: "the air was not right",
    AlarmName.MAINS_LOST: "the mains power was off",
    AlarmName.BATTERY_LOW: "the monitor's battery was nearly empty",
    AlarmName.UNWATCHED: "was not watched for cold",
    AlarmName.BROKER_LOST: "the broker was gone",
    AlarmName.NAME_TAKEN: "something else used the watch's name",
    AlarmName.STORAGE_FAULT: "the record was not kept",
    AlarmName.MIRROR_FAULT: "the mirror was behind",
    AlarmName.DELIVERY_FAULT: "a contact was not reached",
    AlarmName.CLOCK_FAULT: "the clock was wrong",
    AlarmName.WAS_DOWN: "nobody watched",
    AlarmName.STEP_DOWN: "a step was due",
    AlarmName.CROWDED: "was crowded",
    AlarmName.LOSSES_HIGH: "lost more than is usual",
    AlarmName.READY_TO_MOVE: "was due to move",
}


def was_words(alarm: AlarmName) -> str:
    """What it was, for a line about something that is over: `was too cold`."""
    worse = {AlarmName.CHILL: "dangerously cold", AlarmName.OVERHEAT: "dangerously hot"}
    if alarm in _WAS:
        return f"was {worse.get(alarm, _WAS[alarm])}"
    return _WAS_ELSE[alarm]


def all_clear(change: Change, voice: Voice) -> Words:
    """The alarm is over. `change` is the last clearing; its facts span the whole of it."""
    facts = change.facts
    lasted = f" for {span(facts['lasted_s'])}" if "lasted_s" in facts else ""
    why = sentence(facts["reason"]) if facts.get("reason") else None
    where = voice.where(change.brooder)
    if change.alarm in _GONE:
        what, then = _GONE[change.alarm]
        if facts.get("birds_unknown"):
            then = "But I still do not know which birds are where: say it now."
        name = "" if change.probe is None else probe_name(change)
        if "contact" in facts:
            what = f"messages to {facts['contact']} get through again"
        if name and change.alarm in _PROBE_GONE:
            what, then = _PROBE_GONE[change.alarm]
            what = what.format(name)
        has_length = lasted and change.alarm in _HAVE_LENGTH
        gap = lasted.replace(" for", " It lasted", 1) + "." if has_length else ""
        if why is not None:
            if change.alarm is not AlarmName.COLD_NIGHT:  # which is over, or its birds are gone
                what = f"{name} alarm ended".lstrip()  # nothing has come right
            return compose(f"{where}: {what}", f"{why}{gap}")
        return compose(f"{where}: {what}", f"{then}{gap}", _floor_now(change, voice))
    extreme = ""
    if "extreme_c" in facts:
        end = "lowest" if change.alarm in OF_COLD else "highest"
        extreme = f", {end} {voice.temp(facts['extreme_c'])}"
    held = f" It has been right for {span(facts['quiet_s'])}." if "quiet_s" in facts else ""
    was = f"It was {_WAS[change.alarm]}{lasted}{extreme}.{held}"
    warm = change.alarm is AlarmName.HEAT_LOSS and (
        facts.get("extreme_c", -math.inf) >= facts.get("low_c", math.inf)
    )
    if warm:
        was = (
            f"Some of its heat seemed to be missing{lasted}; it stayed warm enough{extreme}.{held}"
        )
    if change.alarm in OF_HEAT and facts.get("extreme_c", math.inf) <= facts.get("high_c", 0.0):
        was = f"It was getting too hot, but came to rest before that.{held}"
    doubted = change.cause is Cause.SENSOR and change.probe is not None
    if doubted:
        read = f"The {probe_name(change)} read {_WAS[change.alarm]}{lasted}{extreme}"
        was = f"{read}; it may have been wrong.{held.replace(' It', ' The floor')}"
    if why is not None:
        return compose(f"{where}: alarm ended", f"{why} {was}")
    floor = _floor_now(change, voice)
    if wrong := _still_wrong(change):
        return compose(f"{where}: {wrong}", f"{floor} {was}")
    lost = change.alarm is AlarmName.HEAT_LOSS
    gone = "heat is back" if lost else f"no longer {_WAS[change.alarm]}"
    beside = TROUBLE[facts["beside"]] if "beside" in facts else None
    return compose(
        f"{where}: {gone if beside else 'back to normal'}",
        f"{floor} {was}" if floor else was,
        f"You will hear by itself when {beside} is over." if beside else None,
        "Check that every chick is on its feet."
        + ("" if doubted else " Find the cause, so that it does not happen again.")
        if change.alarm in _HARMFUL and not warm
        else None,
        f"The night is still likely to bring it down to {voice.temp(facts['lowest_c'])} about "
        f"{voice.clock(facts['lowest_at'], change.at)}. Add cover or heat in time."
        if change.alarm in OF_COLD and "lowest_at" in facts and "lowest_c" in facts
        else None,
    )


def _still_wrong(change: Change) -> str | None:
    """Of a floor that is still out of its band, on the same side or by now on the other: no
    all-clear."""
    facts = change.facts
    if "temp_c" not in facts or "low_c" not in facts or "high_c" not in facts:
        return None
    was, low = _WAS[change.alarm], change.alarm in OF_COLD
    if facts["temp_c"] > facts["high_c"]:
        return "no longer too cold, but too hot now" if low else f"still {was}"
    if facts["temp_c"] < facts["low_c"]:
        return "still too cold" if low else "no longer too hot, but too cold now"
    return None


def _floor_now(change: Change, voice: Voice) -> str | None:
    facts = change.facts
    if "temp_c" not in facts or change.alarm is AlarmName.COLD_NIGHT or change.brooder is None:
        return None  # of several boxes each is said by itself
    target = f", should be {voice.temp(facts['target_c'])}" if "target_c" in facts else ""
    return f"Now {voice.temp(facts['temp_c'])}{target}."
