"""When an alarm whose delay has passed is still held back: a grower is at work in the box, or a
single reading is in doubt. Asked by watch.brooder_watch.

Every hold has an end of its own here, whatever the thermal side says: an estimate may be wrong."""

from monitor.brooding.chick_skin import CHICK_SKIN_C
from monitor.events import Cause
from monitor.watch.alarm import Alarm
from monitor.watch.box import Box
from monitor.watch.box_facts import lead_probe

# What looks like a grower at work in the box (cover off for feeding) holds cold and hot back for
# as long as a feeding lasts, chill for a third of that, and chill not at all once the floor is so
# cold that no feeding explains it. Common practice.
HELD_MAX_S, CHILL_HELD_MAX_S, CHILL_HELD_DEPTH_C = 900.0, 300.0, 3.0
# Below this share of what can be learned of a box (about an hour of readings) its falls cannot be
# told apart, and nothing is held.
KNOWN_SHARE = 0.1
# A single reading over the fire limit waits this long for the next one; a probe that burnt up says
# no more, so no longer than that. Common practice.
DOUBTED_FIRE_S = 90.0


def suppressed_until(box: Box, alarm: Alarm) -> float | None:
    """The tick before which `alarm` is not to be raised; None: nothing holds it."""
    if alarm is box.overheat:
        return _overheat_held(box, alarm)
    if alarm is box.chill:
        return _chill_held(box, alarm)
    if alarm is box.cold and box.chill.delay.active:
        return None  # the worse of the two is told already
    if alarm is box.cold or alarm is box.hot:
        return _at_work(box, alarm, HELD_MAX_S)
    return None


def _at_work(box: Box, alarm: Alarm, most_s: float) -> float | None:
    """A grower is at work in the box, so far as the estimate can tell. It cannot in a box that it
    has hardly seen yet: there the plain delays hold."""
    learned = box.estimate.learned
    if learned is not None and learned.share < KNOWN_SHARE:
        return None
    held, began = box.estimate.diagnosis.hold_until, alarm.delay.began
    return None if held is None or began is None else min(held, began + most_s)


def _chill_held(box: Box, alarm: Alarm) -> float | None:
    lead = lead_probe(box, alarm.rule.alarm)
    if lead is None or lead.temp_c is None or box.chill_c is None:
        return None
    if lead.temp_c < box.chill_c - CHILL_HELD_DEPTH_C:
        return None
    return _at_work(box, alarm, CHILL_HELD_MAX_S)


def _overheat_held(box: Box, alarm: Alarm) -> float | None:
    began = alarm.delay.began
    beyond = [p for p in box.usable() if p.burning or (p.overheat.beyond and not p.doubted)]
    if began is not None and beyond and all(p.doubted for p in beyond):
        return began + DOUBTED_FIRE_S
    if box.estimate.diagnosis.cause is Cause.OVERHEAT:
        return None
    if any((p.temp_c or 0.0) > CHICK_SKIN_C for p in beyond):
        return None  # it is no chick on the probe
    return _at_work(box, alarm, HELD_MAX_S)
