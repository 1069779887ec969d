"""What happens to an alarm besides raised and over: repeated, passed on, answered, shelved.

Called by `for_change` and the planner."""

from dataclasses import replace

from monitor.brooding.ledger import Ledger
from monitor.events import AlarmName, Change, Entry, EntryKind
from monitor.measures import span
from monitor.tell.wording.temperature import NOW
from monitor.tell.wording.words import Voice, Words, compose, listed, sentence

TROUBLE = {  # each alarm as a thing one can see to
    AlarmName.COLD: "the cold",
    AlarmName.CHILL: "the cold",
    AlarmName.HOT: "the heat",
    AlarmName.OVERHEAT: "the heat",
    AlarmName.HEAT_LOSS: "the lost heat",
    AlarmName.COLD_NIGHT: "the cold night",
    AlarmName.NO_READINGS: "the silence",
    AlarmName.PROBE_FAULT: "the doubtful probe",
    AlarmName.METER_SILENT: "the silent meter",
    AlarmName.LEFT_OPEN: "the open cover",
    AlarmName.AIR: "the air",
    AlarmName.MAINS_LOST: "the power cut",
    AlarmName.BATTERY_LOW: "the empty battery",
    AlarmName.UNWATCHED: "the missing watch",
    AlarmName.BROKER_LOST: "the lost broker",
    AlarmName.NAME_TAKEN: "the name in use elsewhere",
    AlarmName.STORAGE_FAULT: "the record keeping",
    AlarmName.DELIVERY_FAULT: "the failing contact",
    AlarmName.MIRROR_FAULT: "the copy of the records",
    AlarmName.CLOCK_FAULT: "the clock",
    AlarmName.WAS_DOWN: "the gap",
    AlarmName.STEP_DOWN: "the next step",
    AlarmName.CROWDED: "the crowding",
    AlarmName.LOSSES_HIGH: "the losses",
    AlarmName.READY_TO_MOVE: "the moving out",
}


# What the journal keeps where nobody gave a name: how the answer came, which is nobody's name.
_MEANS = ("page", "command", "mqtt")


def person(by: str | None) -> str:
    """Who did something, to begin a sentence."""
    if not by or by in _MEANS:
        return "Somebody"
    return by[0].upper() + by[1:]


def again(told: Words, lasted_s: float, number: int) -> Words:
    """The `number`th repeat: `told` are the words as they would be said now. `brief` is for whom
    the first message has reached."""
    waits = f"Still not answered after {span(lasted_s)}."
    line = waits if lasted_s >= 60 else "It has come back, and nobody has answered."
    title = f"{told.title} (reminder {number})"
    whole = _with(title, told.body, line)
    short = _with(title, told.brief, f"{line} What to do: see the first message.")
    return replace(whole, brief=short.body)


def asked_anew(told: Words, voice: Voice, by: str | None, answered_at: float, at: float) -> Words:
    """Somebody answered, and it is no better: whoever answered from bed may have fallen asleep."""
    first, _, rest = told.body.partition("\n")
    said = f"{person(by)} answered at {voice.clock(answered_at, at)}"
    figures = first.removeprefix(NOW)
    first = f"{said}. {first}" if figures == first else f"{said}; it is still {figures}"
    line = "Asked again every hour until it is over."
    whole = compose(f"{told.title} (still)", first, rest, line)
    _, _, rest = told.brief.partition("\n")
    brief = compose(whole.title, first, rest, f"{line} What to do: see the first message.")
    return replace(whole, brief=brief.body)


def passed_on(told: Words, lasted_s: float, asked: list[str], unreached: list[str]) -> Words:
    """Nobody answered; the next contact is told, and why it comes to them."""
    why = [f"{listed(unreached)} cannot be reached"] if unreached else []
    if asked or not unreached:
        why.append(f"{listed(asked) if asked else 'nobody'} did not answer")
    after = f" after {span(lasted_s)}" if lasted_s >= 60 else ""
    return _with(told.title, told.body, f"Passed on to you{after}: {', '.join(why)}.")


def late(title: str, body: str, waited_s: float) -> Words:
    """What could not be sent for so long: its figures are of then."""
    ago = f"{span(waited_s)} ago"
    return _with(f"{title} ({ago})", body, f"Said {ago}: it could not be sent before.")


def escalated(told: Words, names: list[str]) -> Words:
    """The same in the record of what happened, where nobody in particular is spoken to."""
    whom = f" to {listed(names)}" if names else ""
    return _with(told.title, told.body, f"Passed on{whom}: nobody answered.")


def explained(told: Words) -> Words:
    """Another cause than was told, so another thing to do."""
    return _with(told.title, told.body, "The likely cause is clearer now than when you were told.")


def answered(change: Change, voice: Voice) -> Words:
    """Somebody acknowledged: told to the others, so that two do not run."""
    by = person(change.facts.get("by"))
    return compose(
        f"{voice.where(change.brooder)}: {TROUBLE[change.alarm]} is being seen to",
        f"{by} answered at {voice.clock(change.at, change.at)}. No more repeats.",
        "You will hear when it is over, or if it gets worse.",
    )


def shelved(change: Change, voice: Voice) -> Words:
    """Put aside for a stated time, with a reason."""
    facts = change.facts
    until = f" until {voice.clock(facts['until'], change.at)}" if "until" in facts else ""
    why = f" Reason: {sentence(facts['note'])}" if facts.get("note") else ""
    return compose(
        f"{voice.where(change.brooder)}: {TROUBLE[change.alarm]} is put aside",
        f"Not told{until}.{why}",
        f"By {facts['by']}." if facts.get("by") not in (None, *_MEANS) else None,
    )


def unshelved(change: Change, voice: Voice) -> Words:
    """Back from being put aside."""
    return compose(
        f"{voice.where(change.brooder)}: {TROUBLE[change.alarm]} is watched again",
        "The time it was put aside for is up.",
    )


def batch_ended(boxes: list[str], entry: Entry, ledger: Ledger, voice: Voice) -> Words:
    """The grower closed the batch: what wakes the watch again, and how it went."""
    ended = [batch for box in boxes for batch in ledger.of(box)[-1:]]
    counts = {batch.root: ledger.family_count(batch) for batch in ended}
    placed = sum(placed for placed, _ in counts.values())
    lost = sum(lost for _, lost in counts.values())
    others = sorted(ledger.open)
    if others:
        title = f"{listed(boxes)}: the batch has ended"
        first = f"No more messages about {listed(boxes)}. The watch of {listed(others)} goes on."
    else:
        title = f"{voice.where(None)}: the watch sleeps"
        first = "The batch has ended: no more messages until birds are placed."
    return compose(
        title,
        first,
        f"{placed} birds placed, {lost} lost." if placed else None,
        "The probes may be unplugged. What wakes the watch: `brooder flock placed`, or Place "
        "chicks on the page.",
        f"Ended by mistake? `brooder flock undo {entry.number}`.",
    )


def watch_ended(box: str, entry: Entry, voice: Voice) -> Words:
    """The ledger says that a box is empty, so nothing is watched there any more."""
    by = f" by {entry.by}" if entry.by else ""
    what = {
        EntryKind.LOSS: f"{entry.count} were entered as lost",
        EntryKind.MOVED: f"{'all' if entry.count is None else entry.count} were entered as moved",
    }.get(entry.entry, "an entry was taken back")
    return compose(
        f"{voice.where(box)}: no birds, so no watch for cold",
        f"At {voice.clock(entry.at, entry.at)} {what}{by}. Is that right?",
        "No more messages about this box until birds are placed in it.",
        "If birds are still in there, nobody watches over them now. Take the entry back: on the "
        f"page under Do, or with `brooder flock undo {entry.number}`."
        if entry.entry is not EntryKind.UNDO
        else "If birds are still in there, nobody watches over them now. Enter them again: on the "
        "page under Do, or with `brooder flock placed`.",
    )


def _with(title: str, body: str, line: str) -> Words:
    """The same message with one more line under its first, which stays on the lock screen."""
    first, _, rest = body.partition("\n")
    return compose(title, first, line, rest)


def trial(voice: Voice, contact: str, at: float, *, linked: bool = False) -> Words:
    """Shows that this contact is reached, and woken: it is sent as an urgent alarm is."""
    boxes = voice.site.brooders
    tap = "Tap the link below as you would at night. " if linked else ""
    return compose(
        f"{voice.where(boxes[0].name if boxes else None)}: trial alarm",
        f"Nothing is wrong. {tap}An urgent alarm comes just as this did, as loud or as quiet.",
        f'Contact "{contact}", sent at {voice.clock(at, at)}. Try it with the phone set for the '
        "night: an alarm that it silences wakes nobody.",
    )
