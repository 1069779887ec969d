"""What the planner needs of the present when it writes a text: taken from the engine's status."""

from monitor.events import Facts
from monitor.site import Place
from monitor.tell.wording import BoxMorning
from monitor.watch.status import BrooderStatus, SiteStatus


def now_facts(facts: Facts, status: SiteStatus | None, brooder: str | None) -> Facts:
    """`facts` as of now: estimates made at the time left out, the floor of this moment put in."""
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
    if box.temp_c is not None:
        fresh["temp_c"] = box.temp_c
    elif status is not None:
        _last_heard(fresh, box, status.at)
    if box.target_c is not None:
        fresh["target_c"] = box.target_c
    if box.trend_c_per_h is not None:
        fresh["rate_c_per_h"] = box.trend_c_per_h
    left = box.minutes_to_chill
    if left is not None:
        fresh["minutes_to_chill"] = left.mid
        fresh["minutes_to_chill_low"] = left.low
        fresh["minutes_to_chill_high"] = left.high
    return fresh


def _last_heard(fresh: Facts, box: BrooderStatus, now_at: float) -> None:
    """No floor probe is heard: the newest that one said, and how old that is."""
    floor = [(p.at, p.temp_c) for p in box.probes if p.place is Place.FLOOR and p.at is not None]
    said = [(at, temp_c) for at, temp_c in floor if temp_c is not None]
    if said:
        at, fresh["temp_c"] = max(said)
        fresh["silent_s"] = now_at - at


def box_morning(name: str, alarms: tuple[str, ...], box: BrooderStatus | None) -> BoxMorning:
    """One brooder's night and day."""
    if box is None:
        return BoxMorning(brooder=name, alarms=alarms)
    batch, step, outlook = box.batch, box.next_step, box.outlook
    return BoxMorning(
        brooder=name,
        alarms=alarms,
        lowest_c=box.night.low_c,
        lowest_at=box.night.low_at,
        lowest_target_c=box.night.low_target_c,
        highest_c=box.night.high_c,
        highest_at=box.night.high_at,
        highest_target_c=box.night.high_target_c,
        too_cold_s=box.night.below_s,
        too_hot_s=box.night.above_s,
        unseen_s=box.night.unseen_s,
        running=batch is not None,
        now_c=box.temp_c,
        target_c=box.target_c,
        head_count=batch.head_count if batch else None,
        age_days=int(batch.age_days) if batch else None,
        step_at=step.at if step else None,
        step_target_c=step.to_c if step else None,
        outlook_lowest_c=outlook.lowest_c.mid if outlook else None,
        outlook_at=outlook.lowest_at if outlook else None,
    )
