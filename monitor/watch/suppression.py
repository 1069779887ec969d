"""When an alarm whose delay has passed is still held back: its readings do not bear it out yet, or
a grower is at work in the box. Asked by watch.temperature_alarms.

A plain alarm runs beside everything: a limit with five minutes' delay. By night nothing is held
longer than that, by day at most ten minutes more, and not where the fall, carried on as it
slackens, is within ten minutes of harm. Chill is never held. An estimate may be wrong; these are
not. Common practice."""

from datetime import datetime
from math import inf

from monitor.brooding.night_hours import NIGHT_FROM_H, NIGHT_TO_H
from monitor.events import Cause
from monitor.thermal.diagnosis import Warmth
from monitor.watch.alarm import Alarm
from monitor.watch.band import Edge
from monitor.watch.box import Box
from monitor.watch.probe_watch import ProbeWatch

PLAIN_S, BY_DAY_S, NEAR_S = 300.0, 900.0, 600.0
# Below this share of what can be learned of a box (about an hour of readings) its falls cannot be
# told apart, and nothing is held.
KNOWN_SHARE = 0.1
_SOON_S = 30.0  # asked again, and at every reading before that


def suppressed_until(box: Box, alarm: Alarm, tick: float) -> float | None:
    """The tick before which `alarm` is not to be raised; None: nothing holds it."""
    if alarm not in (box.cold, box.chill, box.hot, box.overheat):
        return None
    if alarm is box.hot and box.estimate.diagnosis.warmth is Warmth.SOON:
        return None
    slipped = alarm is box.overheat and box.estimate.diagnosis.cause is Cause.OVERHEAT
    sure = [p for p, edge in _beyond(box, alarm) if edge.sure]
    if not slipped and not sure:
        return tick + _SOON_S
    burns = alarm is box.overheat and any(p.burning for p in sure)
    if slipped or burns or alarm is box.chill:
        return None
    # A thermostat's swing is over by then.
    plain = None if alarm.delay.began is None else alarm.delay.began + PLAIN_S
    if alarm is box.hot or _swings(box, alarm, plain, tick):
        return plain
    near = alarm is box.cold and _is_harm_near(box, tick)
    return None if near else _at_work(box, alarm, tick)


def _swings(box: Box, alarm: Alarm, plain: float | None, tick: float) -> bool:
    """Is it a thermostat's rest, or its pulse, whose end is not late yet? Or brought down for a
    step that is near, and in its band after that?"""
    if plain is None or tick >= plain:
        return False
    if alarm is box.overheat:
        return tick < box.estimate.diagnosis.pulses_until
    if tick < box.estimate.diagnosis.rests_until:
        return True
    low_c, early_c = box.needs.low_c, box.needs.early_low_c
    if low_c is None or early_c is None or early_c == low_c:
        return False
    temps = [p.temp_c for p in box.probes.on_floor() if p.temp_c is not None]
    return min(temps, default=-inf) >= early_c and not _is_harm_near(box, tick)


def _beyond(box: Box, alarm: Alarm) -> list[tuple[ProbeWatch, Edge]]:
    """The probes that say it, or said it last."""
    if alarm is box.cold:
        return [(p, p.cold) for p in box.probes.inside if p.cold.beyond]
    if alarm is box.chill:
        return [(p, p.chill) for p in box.probes.inside if p.chill.beyond]
    if alarm is box.hot:
        return [(p, p.hot) for p in box.probes.trusted() if p.hot.beyond]
    return [(p, p.overheat) for p in box.probes.usable() if p.too_hot]


def _at_work(box: Box, alarm: Alarm, tick: float) -> float | None:
    """A grower is at work in the box, so far as the estimate can tell: it cannot in a box that it
    has hardly seen yet."""
    learned = box.estimate.learned
    known = learned is None or learned.share >= KNOWN_SHARE
    held, began = box.estimate.diagnosis.hold_until if known else None, alarm.delay.began
    hour = datetime.fromtimestamp(box.register.wall_at(tick), box.needs.zone).hour
    by_night = hour >= NIGHT_FROM_H or hour < NIGHT_TO_H
    longest_s = PLAIN_S if by_night else BY_DAY_S
    if box.meters.cover_open(tick):
        held = tick + longest_s
    return None if held is None or began is None else min(held, began + longest_s)


def _is_harm_near(box: Box, tick: float) -> bool:
    """Is chill told already, or the fall, carried on, soon there?"""
    if box.chill.delay.active:
        return True
    return any(
        probe.temp_c is not None
        and probe.cold.beyond
        and probe.trend.in_c(NEAR_S, tick, probe.temp_c) <= probe.chill.limit_c
        for probe in box.probes.on_floor()
    )
