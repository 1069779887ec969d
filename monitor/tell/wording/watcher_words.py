"""The watcher itself is not well: broker, storage, delivery, clock, a gap. Called by `for_change`.

Each says what still works, because that is the first question at night."""

from collections.abc import Callable

from monitor.events import AlarmName, Change
from monitor.measures import span
from monitor.quantities import HUMIDITY, QUANTITIES
from monitor.site import Brooder
from monitor.tell.wording.first_aid import LOOK_AT_CHICKS
from monitor.tell.wording.words import Voice, Words, called, compose, sentence
from monitor.watch.watcher import down_s

_HALF_A_DAY_S = 12 * 3600.0
# What is said of every such fault alike: title, what to do, and what is behind it.
_ALIKE = {
    AlarmName.NAME_TAKEN: (
        "another device uses the watch's name",
        "It takes the watch's readings. Go and look at the chicks.",
        "The watch goes on under another name, but readings of the last minutes may be missing. "
        "Look for a second service, or for a device that was set up with this name; give every "
        "device an account of its own. deploy/mosquitto has the settings for the broker.",
    ),
    AlarmName.DELIVERY_FAULT: (
        "{contact} cannot be reached",
        "Messages to {contact} do not get through. Keep your own phone on.",
        "They are kept and tried again. `brooder contacts try` shows what is wrong; often it is a "
        "changed password, an expired token or the internet line.",
    ),
    AlarmName.MIRROR_FAULT: (
        "records are not copied off the board",
        "The watch, its alarms and the records on the board go on. See to it when you have time.",
        "What is missing there is sent by itself once that is mended. Until then the board's card "
        "holds the only copy.",
    ),
}


def broker_lost(change: Change, voice: Voice, box: Brooder | None) -> Words:
    since = change.facts.get("since", change.at)
    return compose(
        f"{voice.where(None)}: broker cannot be reached",
        f"No readings have come in since {voice.clock(since, change.at)}. "
        "Check the broker and the network.",
        _detail(change),
        "The watch keeps trying by itself. Until it gets through nobody is watching the chicks "
        "but you: look at them now and then.",
    )


def alike(change: Change, voice: Voice, box: Brooder | None) -> Words:
    contact = change.facts.get("contact", "a contact")
    title, do, behind = (text.replace("{contact}", contact) for text in _ALIKE[change.alarm])
    return compose(f"{voice.where(None)}: {title}", do, _detail(change), behind)


def storage_fault(change: Change, voice: Voice, box: Brooder | None) -> Words:
    works = (
        "Cold is not watched for where I no longer know the birds."
        if change.facts.get("birds_unknown")
        else "Alarms still work."
    )
    return compose(
        f"{voice.where(None)}: records cannot be kept",
        f"{works} Check for a full or worn-out card.",
        _detail(change),
        "What comes in now may be missing from the record, and a restart may forget it. Free some "
        "space, or put in a new card when the chicks can spare you.",
    )


def clock_fault(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """The wall clock jumped or is not sure."""
    jump = change.facts.get("jump_s")
    if jump is None:
        return compose(
            f"{voice.where(None)}: the board's clock is wrong",
            "Set the time on the board, or connect it to the internet. The chicks' age and target "
            "stay as they were until then.",
            _detail(change),
            "The watch itself goes on: its delays do not follow that clock.",
        )
    return compose(
        f"{voice.where(None)}: the board's clock was set",
        f"The clock moved {'forward' if jump > 0 else 'back'} by {span(abs(jump))}. Check the time "
        "on the board.",
        _detail(change),
        "The watch itself goes on: its delays do not follow that clock. Times in the record "
        "before this moment may be off, and with them the chicks' age.",
    )


def was_down(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """The watch did not run for a while."""
    facts = change.facts
    down_to = facts.get("down_to", change.at)
    down_from, off_s = facts.get("down_from"), down_s(facts)
    before, after = facts.get("before_c"), facts.get("after_c")
    readings = []
    if before is not None:
        readings.append(f"{voice.temp(before)} before")
    if after is not None:
        readings.append(f"{voice.temp(after)} after")
    floor = f" Floor {', '.join(readings)}." if readings else ""
    back = voice.clock(down_to, change.at) + (" today" if off_s > _HALF_A_DAY_S else "")
    if down_from is None or ("times" in facts and "down_s" not in facts):
        when = "For how long is not known: the board started with an old time, and nothing set it."
    elif "times" in facts:
        left = voice.clock(down_from, change.at)
        when = f"For {span(facts['down_s'])} in all, between {left} and {back}."
    else:
        when = f"From {voice.clock(down_from, change.at)} to {back}."
    first = f"{when}{floor} Have a look at the chicks."
    if "times" in facts:
        return compose(
            f"{voice.where(change.brooder)}: nobody watched {facts['times']} times",
            first,
            "The watch runs again. The power flickers, or the board starts again and again: check "
            "its power supply. While the floor is right you hear of it every few hours only.",
        )
    return compose(
        f"{voice.where(change.brooder)}: nobody watched for {span(off_s) if off_s else 'a while'}",
        first,
        "The watch runs again. A power cut, a restart or an update does this; if you know of "
        "none, check the board's power supply.",
        _detail(change),
    )


def unwatched(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """Birds whose floor may get cold without an alarm."""
    return compose(
        f"{voice.where(change.brooder)}: cold is not watched for",
        f"Go and look at the chicks. {sentence(change.facts.get('reason', ''))}",
        change.facts.get("detail"),
        "Until then, only you are watching. " + LOOK_AT_CHICKS,
    )


def mains_lost(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """No mains power: all heat is off, and the board runs on its battery."""
    left = change.facts.get("battery_left_s")
    lasts = (
        f"This monitor itself lasts about {span(left)} more on its battery."
        if left is not None
        else "This monitor itself runs on its battery; how long that lasts is not known."
    )
    return compose(
        f"{voice.where(None)}: mains power is off",
        "All heat is off now. Go and look at the chicks. Then look at the breaker.",
        lasts,
        "If the whole house is dark, the heat will not come back by itself soon: close the cover "
        "and leave a gap for fresh air, wrap the box, or carry the chicks to a warm room in a "
        "ventilated box. Never bring a generator, grill or camp stove indoors: its fumes kill.",
    )


def battery_low(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """The last word before silence."""
    left = change.facts.get("battery_left_s")
    lasts = "a few minutes" if left is None else f"about {span(left)}"
    return compose(
        f"{voice.where(None)}: the monitor is about to go dark",
        f"Go and look at the chicks. The monitor's battery lasts {lasts}, then nobody watches.",
        "This may be the last you hear. The mains power is still off, and so is the heat.",
    )


def meter_silent(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """A plug or a sensor beside the thermometers is not heard."""
    facts = change.facts
    meter = facts.get("meter", "a meter")
    power = facts.get("quantity") == "power"
    what = f"{called(meter)}'s plug" if power else f"the sensor of {meter}"
    silent = f" for {span(facts['silent_s'])}" if "silent_s" in facts else ""
    return compose(
        f"{voice.where(change.brooder)}: nothing from {what}",
        f"Not heard{silent}, while others are. The {'plug' if power else 'sensor'} is at fault, "
        + (f"not necessarily {called(meter)}." if power else "not the box."),
        "The floor is watched as before. See that it has power and reaches the network.",
    )


def air(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """Humidity, or what else is measured of the air, is not right for the birds' age."""
    facts = change.facts
    kind = QUANTITIES.get(facts.get("quantity", ""), HUMIDITY)
    value, low = facts.get("value", 0.0), facts.get("right_low", 0.0)
    little = value < low
    right = f"{low:g} to {facts.get('right_high', 0.0):g} {kind.sign}"
    what = facts.get("meter", kind.title)
    return compose(
        f"{voice.where(change.brooder)}: {what} too {'low' if little else 'high'}",
        f"{kind.shown(value)} for hours now; {right} is published as right at this age. "
        f"{kind.below if little else kind.above}",
    )


def left_open(change: Change, voice: Voice, box: Brooder | None) -> Words:
    """The cover's switch says that it is open, for longer than feeding takes."""
    since = change.facts.get("since", change.at)
    return compose(
        f"{voice.where(change.brooder)}: the cover is still open",
        f"Open since {voice.clock(since, change.at)}. Close it, and leave a gap for fresh air.",
        "If it is shut, its switch or magnet has slipped.",
    )


WATCHER: dict[AlarmName, Callable[[Change, Voice, Brooder | None], Words]] = {
    AlarmName.UNWATCHED: unwatched,
    AlarmName.METER_SILENT: meter_silent,
    AlarmName.LEFT_OPEN: left_open,
    AlarmName.AIR: air,
    AlarmName.MAINS_LOST: mains_lost,
    AlarmName.BATTERY_LOW: battery_low,
    AlarmName.BROKER_LOST: broker_lost,
    AlarmName.STORAGE_FAULT: storage_fault,
    AlarmName.CLOCK_FAULT: clock_fault,
    AlarmName.WAS_DOWN: was_down,
    **dict.fromkeys(_ALIKE, alike),
}


def _detail(change: Change) -> str | None:
    text = change.facts.get("detail") or change.facts.get("reason")
    return sentence(text) if text else None
