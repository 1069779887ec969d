"""What the planner needs of the present when it writes a text: taken from the engine's status."""

from dataclasses import replace
from datetime import timedelta

from monitor.brooding.moving import Stage
from monitor.events import AlarmName, Change, Facts
from monitor.site import Place
from monitor.tell.wording.advice_words import moving_line
from monitor.tell.wording.daily_needs import needs_words
from monitor.tell.wording.evening import BoxEvening
from monitor.tell.wording.morning import BoxMorning
from monitor.tell.wording.words import Voice, Words
from monitor.thermal.coming_night import CLEAR_CHANCE
from monitor.watch.alarm_table import OF_COLD, OF_HEAT
from monitor.watch.box_facts import cold_ahead, outlook_facts, put_minutes_to_overheat
from monitor.watch.status import BrooderStatus, SiteStatus


def now_facts(
    facts: Facts, status: SiteStatus | None, brooder: str | None, alarm: AlarmName
) -> Facts:
    """`facts` as of now: estimates made at the time left out, the floor of this moment put in, as
    that alarm judges it."""
    fresh = facts.copy()
    box = status.brooder(brooder) if status is not None and brooder is not None else None
    if box is None:
        return fresh
    for stale in (
        "rate_c_per_h",
        "minutes_to_chill",
        "minutes_to_chill_low",
        "minutes_to_chill_high",
        "probes",
    ):
        fresh.pop(stale, None)  # type: ignore[misc]
    fresh.update(live_facts(box))
    overheat_anew(fresh, box)
    temp_c = box.judged_c(alarm)
    if temp_c is not None and box.temp_c is not None:
        fresh["temp_c"] = temp_c
    elif status is not None:
        _last_heard(fresh, box, status.at)
    if box.target_c is not None:
        fresh["target_c"] = box.target_c
    put_extreme(fresh, box, alarm)
    if "lowest_low_c" not in fresh:  # those of a cold night are its own
        fresh.pop("lowest_c", None)
        told = any(a.alarm is AlarmName.COLD_NIGHT and a.active for a in box.alarms)
        cold_ahead(box.outlook, fresh, told=told)
    return fresh


def live_facts(box: BrooderStatus) -> Facts:
    """How fast, and how long is left, now."""
    facts: Facts = {}
    if box.chill_c is not None:
        facts["chill_c"] = box.chill_c
    if box.minutes_to_chill is not None:
        facts["minutes_to_chill"] = box.minutes_to_chill.mid
        facts["minutes_to_chill_low"] = box.minutes_to_chill.low
        facts["minutes_to_chill_high"] = box.minutes_to_chill.high
    if box.trend_c_per_h is not None:
        facts["rate_c_per_h"] = box.trend_c_per_h
    return facts


def put_extreme(facts: Facts, box: BrooderStatus, alarm: AlarmName) -> None:
    """How far it went while this trouble lasts: by that it is known to be on its way back."""
    family, furthest = (OF_HEAT, max) if alarm in OF_HEAT else (OF_COLD, min)
    of_family = [a.extreme_c for a in box.alarms if a.active and a.alarm in family]
    if extremes := [one for one in of_family if one is not None]:
        facts["extreme_c"] = furthest(extremes)


def overheat_anew(facts: Facts, box: BrooderStatus) -> None:
    """How long it is until dangerously hot, where that was told, as of now."""
    if facts.pop("minutes_to_overheat", None) is not None:
        put_minutes_to_overheat(
            facts,
            temp_c=box.hottest_c,
            rate_c_per_h=box.trend_c_per_h,
            overheat_c=box.overheat_c,
        )


def _last_heard(fresh: Facts, box: BrooderStatus, now_at: float) -> None:
    """No floor probe is heard: the newest that one said, and how old that is."""
    floor = [(p.at, p.temp_c) for p in box.probes if p.place is Place.FLOOR and p.at is not None]
    said = [(at, temp_c) for at, temp_c in floor if temp_c is not None]
    if said:
        at, fresh["temp_c"] = max(said)
        fresh["silent_s"] = now_at - at


def night_now(change: Change, status: SiteStatus | None) -> Change | None:
    """A cold night that was raised, as it is foretold now; None: it should hold after all."""
    box = status.brooder(change.brooder or "") if status is not None else None
    if box is None or box.outlook is None:
        return change
    if box.outlook.chance < CLEAR_CHANCE and not box.outlook.below_now:
        return None
    facts = change.facts.copy()
    facts.pop("leaves_band_at", None)
    outlook_facts(box.outlook, facts)
    if box.temp_c is not None:
        facts["temp_c"] = box.temp_c
    return replace(change, facts=facts)


def box_morning(
    name: str, alarms: tuple[str, ...], box: BrooderStatus | None, voice: Voice, at: float
) -> BoxMorning:
    if box is None:
        return BoxMorning(brooder=name, alarms=alarms)
    batch = box.batch
    needs = None
    if batch is not None and batch.head_count > 0:
        needs = needs_words(batch.kind, batch.age_days, batch.head_count, voice.site.units)
    wait = None
    if batch is not None and box.moving and box.moving.stage is Stage.NIGHTS_TOO_COLD:
        wait = moving_line(box.moving, batch.hatched, voice)
    return BoxMorning(
        brooder=name,
        alarms=alarms,
        night=box.night,
        now_c=box.temp_c,
        target_c=box.target_c,
        head_count=batch.head_count if batch else None,
        age_days=int(batch.age_days) if batch else None,
        needs=needs,
        moving=wait,
        next_target_c=_tomorrow_c(box, voice, at),
    )


def box_evening(
    box: BrooderStatus, cold: Words | None, called_off_at: float | None, voice: Voice, at: float
) -> BoxEvening:
    return BoxEvening(
        brooder=box.name,
        now_c=box.temp_c,
        too_hot=box.too_hot,
        target_c=box.target_c,
        low_c=box.low_c,
        outlook=box.outlook,
        next_target_c=_tomorrow_c(box, voice, at),
        cold=cold,
        called_off_at=called_off_at,
    )


def _tomorrow_c(box: BrooderStatus, voice: Voice, at: float) -> float | None:
    """The target of the day after `at`, degC, where that is a step down."""
    step = box.next_step
    if step is None or step.gradual or step.to_c >= step.from_c:
        return None
    ahead = voice.local(step.at).date() - voice.local(at).date()
    return step.to_c if ahead == timedelta(days=1) else None


def nobody_in(status: SiteStatus | None) -> bool:
    """Is it known that no box holds birds?"""
    return status is not None and all(box.batch is None for box in status.brooders)
