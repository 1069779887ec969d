"""Draws the status from what the engine holds. Called by Engine.status only; changes nothing."""

from collections.abc import Iterable

from monitor.brooding.calendar import next_step, week_of_age
from monitor.events import AlarmName, Priority
from monitor.site import Site
from monitor.watch import night
from monitor.watch.alarm import Alarm
from monitor.watch.box_facts import lead_probe
from monitor.watch.brooder_watch import BrooderWatch
from monitor.watch.life_cycle import AlarmState
from monitor.watch.mains import Mains
from monitor.watch.probe_watch import ProbeWatch
from monitor.watch.status import (
    AlarmStatus,
    BatchStatus,
    BrooderStatus,
    SiteStatus,
)

_ORDER = {Priority.URGENT: 0, Priority.WARNING: 1, Priority.ADVICE: 2}
_SHOWN_LAST = {AlarmState.RETURNED, AlarmState.SHELVED}


def site_status(
    *,
    site: Site,
    boxes: list[BrooderWatch],
    site_probes: list[ProbeWatch],
    mains: Mains,
    alarms: Iterable[Alarm],
    tick: float,
    at: float,
) -> SiteStatus:
    """Everything at `at`."""
    shown: dict[str | None, list[AlarmStatus]] = {}
    for alarm in alarms:
        if alarm.state not in (AlarmState.NORMAL, AlarmState.OUT_OF_SERVICE):
            offset_s = boxes[0].register.offset_s if boxes else 0.0
            shown.setdefault(alarm.brooder, []).append(_alarm(alarm, offset_s))
    return SiteStatus(
        name=site.name,
        at=at,
        clock_sure=all(box.clock_sure for box in boxes),
        brooders=tuple(_brooder(box, tick, at, shown.get(box.name, [])) for box in boxes),
        probes=tuple(p.status(tick) for p in site_probes),
        meters=mains.status(tick),
        outside_c=next(
            (p.temp_c for p in site_probes if p.known and not p.silent and not p.out_of_service),
            None,
        ),
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
        incident=alarm.incident,
        folded=alarm.folded,
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
    lead = lead_probe(box)
    side = box.night.side
    judged = lead is not None and side in (night.IN, night.BELOW, night.ABOVE)
    diagnosis = box.estimate.diagnosis
    batch = box.batch
    step = None
    if batch is not None and box.schedule is not None and box.believes(at):
        step = next_step(box.schedule, batch.hatched, at, box.zone, box.brooder.steps)
    return BrooderStatus(
        name=box.name,
        out_of_service=box.out_of_service,
        temp_c=None if lead is None else lead.temp_c,
        temp_at=None if lead is None else lead.at,
        target_c=box.target_c,
        low_c=box.low_c,
        high_c=box.high_c,
        chill_c=box.chill_c,
        overheat_c=box.overheat_c,
        in_band=side == night.IN if judged else None,
        in_band_since=box.night.since + box.register.offset_s if side == night.IN else None,
        trend_c_per_h=box.rate_c_per_h(tick),
        minutes_to_chill=box.minutes_to_chill(tick),
        diagnosis=diagnosis if diagnosis.cause is not None or diagnosis.findings else None,
        outlook=box.outlook,
        outlook_at=box.outlook_at,
        moving=box.moving,
        outside_c=box.estimate.outside_c,
        batch=_batch(box, at),
        next_step=step,
        night=box.night.status(box.floor, tick),
        alarms=_sorted(alarms),
        probes=tuple(p.status(tick) for p in box.probes),
        meters=box.meters.status(tick),
        heat_in=box.heat_in(tick),
        estimate_fault=box.estimate.fault,
        estimate_error=box.estimate.error,
        learned=box.estimate.learned,
        expected=box.empty.expected,
        warm_up=box.empty.status(box.register.offset_s) if batch is None else None,
    )


def _batch(box: BrooderWatch, at: float) -> BatchStatus | None:
    batch = box.batch
    if batch is None:
        return None
    age = box.age_days
    if age is None or box.believes(at):
        age = box.age_days_at(at)
    return BatchStatus(
        number=batch.number,
        kind=batch.kind,
        hatched=batch.hatched,
        age_days=age,
        week=week_of_age(age),
        head_count=batch.head_count(),
        placed=batch.placed,
        lost=batch.lost(),
        started_at=batch.started_at,
    )
