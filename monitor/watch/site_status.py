"""Draws the status from what the engine holds. Called by Engine.status only; changes nothing."""

from collections.abc import Iterable

from monitor.brooding.calendar import next_step
from monitor.events import AlarmName, Priority
from monitor.watch import night
from monitor.watch.alarm import Alarm
from monitor.watch.box import Box
from monitor.watch.box_facts import lead_probe, minutes_to_chill, rate_c_per_h
from monitor.watch.box_needs import BoxNeeds
from monitor.watch.brooder_watch import BrooderWatch
from monitor.watch.life_cycle import AlarmState
from monitor.watch.mains import Mains
from monitor.watch.probe_watch import ProbeWatch
from monitor.watch.status import (
    AlarmStatus,
    BatchStatus,
    BrooderStatus,
    ProbeStatus,
    SiteStatus,
)

_ORDER = {Priority.URGENT: 0, Priority.WARNING: 1, Priority.ADVICE: 2}
_SHOWN_LAST = {AlarmState.RETURNED, AlarmState.SHELVED}


def site_status(
    *,
    boxes: list[BrooderWatch],
    site_probes: list[ProbeWatch],
    mains: Mains,
    alarms: Iterable[Alarm],
    tick: float,
    at: float,
) -> SiteStatus:
    """How everything stands at `at`."""
    shown: dict[str | None, list[AlarmStatus]] = {}
    for alarm in alarms:
        if alarm.state not in (AlarmState.NORMAL, AlarmState.OUT_OF_SERVICE):
            offset_s = boxes[0].register.offset_s if boxes else 0.0
            shown.setdefault(alarm.brooder, []).append(_alarm(alarm, offset_s))
    return SiteStatus(
        at=at,
        clock_sure=all(box.needs.clock_sure for box in boxes),
        brooders=tuple(_brooder(box, tick, at, shown.get(box.name, [])) for box in boxes),
        probes=tuple(_probe(p, tick) for p in site_probes),
        meters=mains.status(tick),
        alarms=_sorted(shown.get(None, [])),
    )


def _sorted(alarms: list[AlarmStatus]) -> tuple[AlarmStatus, ...]:
    """Worst first; what is over or put aside last."""
    return tuple(
        sorted(
            alarms,
            key=lambda a: (a.state in _SHOWN_LAST, _ORDER[a.priority], a.folded, a.raised_at),
        )
    )


def _alarm(alarm: Alarm, offset_s: float) -> AlarmStatus:
    until = alarm.shelved_until
    return AlarmStatus(
        occurrence=alarm.occurrence,
        folded=alarm.folded,
        incident=alarm.incident,
        alarm=alarm.rule.alarm,
        brooder=alarm.brooder,
        probe=alarm.probe,
        contact=alarm.subject if alarm.rule.alarm is AlarmName.DELIVERY_FAULT else None,
        priority=alarm.priority,
        cause=alarm.cause,
        state=alarm.state,
        since=alarm.began_at,
        raised_at=alarm.raised_at,
        extreme_c=alarm.extreme_c,
        by=alarm.by,
        acknowledged_at=alarm.acknowledged_at,
        shelved_until=None if until is None else until + offset_s,
        shelved_note=alarm.shelved_note,
        facts=alarm.facts.copy(),
        ended_at=alarm.ended_at if alarm.state is AlarmState.RETURNED else None,
    )


def _brooder(box: BrooderWatch, tick: float, at: float, alarms: list[AlarmStatus]) -> BrooderStatus:
    needs, alarms_of = box.needs, box.temperature
    lead = lead_probe(alarms_of)
    side = box.night.side
    judged = lead is not None and side in (night.IN, night.BELOW, night.ABOVE)
    diagnosis = box.estimate.diagnosis
    batch = needs.batch
    step = None
    if batch is not None and needs.schedule is not None and needs.believes(at):
        step = next_step(needs.schedule, batch.hatched, at, needs.zone, box.brooder.steps)
    return BrooderStatus(
        name=box.name,
        out_of_service=box.probes.out_of_service,
        temp_c=None if lead is None else lead.temp_c,
        temp_at=None if lead is None else lead.at,
        hottest_c=_led_c(alarms_of, AlarmName.HOT),
        coldest_c=_led_c(alarms_of, AlarmName.COLD),
        target_c=needs.target_c,
        low_c=needs.low_c,
        high_c=needs.high_c,
        chill_c=needs.chill_c,
        overheat_c=needs.overheat_c,
        in_band=side == night.IN if judged else None,
        in_band_since=box.night.since + box.register.offset_s if side == night.IN else None,
        trend_c_per_h=rate_c_per_h(alarms_of, tick),
        minutes_to_chill=minutes_to_chill(alarms_of, tick),
        diagnosis=diagnosis if diagnosis.cause is not None or diagnosis.findings else None,
        outlook=box.tonight.outlook,
        outlook_at=box.tonight.outlook_at,
        moving=box.moving,
        outside_c=box.estimate.outside_c,
        batch=_batch(needs, at),
        next_step=step,
        night=box.night.status(box.probes.floor, tick),
        alarms=_sorted(alarms),
        probes=tuple(_probe(p, tick) for p in box.probes),
        meters=box.meters.status(tick),
        heat_in=box.heat_in(tick),
        estimate_fault=box.estimate.fault,
        estimate_error=box.estimate.error,
        learned=box.estimate.learned,
        expected=box.empty.expected,
        warm_up=box.empty.status(box.register.offset_s) if batch is None else None,
    )


def _led_c(box: Box, alarm: AlarmName) -> float | None:
    lead = lead_probe(box, alarm)
    return None if lead is None else lead.temp_c


def _probe(probe: ProbeWatch, tick: float) -> ProbeStatus:
    return ProbeStatus(
        key=probe.key,
        name=probe.probe.name,
        place=probe.place,
        temp_c=probe.temp_c,
        at=probe.at if probe.known else None,
        age_s=max(0.0, tick - probe.tick) if probe.known else None,
        silent=probe.silent,
        fault=probe.fault,
        out_of_service=probe.out_of_service,
        lately_high_c=max((temp_c for _, temp_c in probe.trend.lately(tick)), default=None),
        usual_gap_s=probe.gaps.mean_s,
        stamps_old_s=_stamps_old_s(probe),
    )


def _stamps_old_s(probe: ProbeWatch) -> float | None:
    """How old its last word said it was, where that was too old to count."""
    lag = probe.lag
    return lag.age_s if lag is not None and lag.last > probe.heard else None


def _batch(needs: BoxNeeds, at: float) -> BatchStatus | None:
    batch = needs.batch
    if batch is None:
        return None
    age = needs.age_days
    if age is None or needs.believes(at):
        age = needs.age_days_at(at)
    return BatchStatus(
        kind=batch.kind,
        hatched=batch.hatched,
        age_days=age,
        head_count=batch.head_count(),
        placed=batch.placed,
        lost=batch.lost(),
        started_at=batch.started_at,
    )
