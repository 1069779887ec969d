"""What is worth telling a grower who has time: the advice that holds at a moment. Pure.

Called by the engine every quarter of an hour and after each entry: an advice that appears is
raised, one that is gone is cleared. Facts have the names of `monitor.events.Facts`, the
alarm names those of `AlarmName`; both stand in a higher layer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from monitor.brooding import losses, space
from monitor.brooding.batch import Batch
from monitor.brooding.calendar import age_days, at_age, local_date
from monitor.brooding.entries import sign_of
from monitor.brooding.moving import Moving, Stage, moving
from monitor.brooding.schedules import schedule_for, target_at
from monitor.brooding.signs import LASTS_S, SIGNS
from monitor.site import Brooder, Place, Steps

STEP_DOWN = "step-down"
CROWDED = "crowded"
LOSSES_HIGH = "losses-high"
READY_TO_MOVE = "ready-to-move"

DAY_S = 86400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    alarm: str  # an AlarmName's value
    facts: dict[str, Any]  # keys of Facts, JSON


def advise(
    brooder: Brooder,
    batch: Batch,
    *,
    now_at: float,
    zone: tzinfo,
    coming_lows_c: Sequence[float] = (),
    lows_from: str | None = "forecast",
    family: tuple[int, int] | None = None,
) -> list[Advice]:
    """All advice for a box with a running batch; none for an empty one. `lows_from` says in words
    where the coming lows are from; None: they are no more than a bound, nights may be colder.
    `family`: birds placed and lost over all boxes that the batch was split into."""
    if not batch.runs_at(now_at):
        return []
    age, target_c = _age_and_target(brooder, batch, now_at, zone)
    verdict = moving(batch.kind, age, target_c=target_c, coming_lows_c=coming_lows_c)
    found = (
        _step_down(brooder, batch, now_at, zone),
        _crowded(brooder, batch, now_at, age),
        _losses_high(batch, now_at, age, family),
        _ready_to_move(verdict, batch.head_count(now_at), age, target_c, lows_from),
    )
    return [advice for advice in found if advice is not None]


def moving_out(
    brooder: Brooder,
    batch: Batch,
    *,
    now_at: float,
    zone: tzinfo,
    coming_lows_c: Sequence[float] = (),
    mornings_at: Sequence[float] = (),
) -> Moving | None:
    """How far the birds of this box are from moving out; None: there are none."""
    if not batch.runs_at(now_at):
        return None
    age, target_c = _age_and_target(brooder, batch, now_at, zone)
    return moving(
        batch.kind,
        age,
        target_c=target_c,
        coming_lows_c=coming_lows_c,
        mornings_at=mornings_at,
    )


def _age_and_target(
    brooder: Brooder, batch: Batch, now_at: float, zone: tzinfo
) -> tuple[float, float | None]:
    age = age_days(batch.hatched, now_at, zone)
    return age, target_at(schedule_for(brooder, batch.kind), age, brooder.steps, Place.FLOOR)


def _step_down(brooder: Brooder, batch: Batch, now_at: float, zone: tzinfo) -> Advice | None:
    """On the day of a step, so that the morning message says it: the lamp is raised when there is a
    day to watch the chicks, never in the evening."""
    schedule = schedule_for(brooder, batch.kind)
    if brooder.steps is Steps.STRAIGHT:
        return None  # a straight line has no step to announce: each day is a little cooler
    age = age_days(batch.hatched, now_at, zone)
    row = next((row for row in reversed(schedule.rows) if row.from_day <= age), None)
    if row is None:
        return None
    step_at = at_age(batch.hatched, row.from_day, zone)
    before_c = target_at(schedule, row.from_day - 0.001, brooder.steps, Place.FLOOR)
    today = local_date(step_at, zone) == local_date(now_at, zone)
    if _want_heat(batch, now_at):
        return None  # the chicks are the better thermometer
    if not today or batch.started_at >= step_at or before_c is None or row.target_c >= before_c:
        return None
    return Advice(
        alarm=STEP_DOWN,
        facts={
            "target_c": before_c,
            "next_target_c": row.target_c,
            "step_at": step_at,
            "age_days": int(row.from_day),
            "origin": str(row.source),
        },
    )


def _want_heat(batch: Batch, now_at: float) -> bool:
    """Were they seen huddled when somebody last looked, within a day?"""
    seen = [entry for entry in batch.notes if sign_of(entry) is not None]
    last = max(seen, key=lambda entry: entry.at, default=None)
    if last is None or now_at - last.at > LASTS_S:
        return False
    return SIGNS[sign_of(last) or "spread"].colder


def _crowded(brooder: Brooder, batch: Batch, now_at: float, age: float) -> Advice | None:
    heads = batch.head_count(now_at)
    area_m2 = brooder.floor_area_m2
    if not space.is_crowded(batch.kind, age, area_m2=area_m2, head_count=heads):
        return None
    need = space.floor_need(batch.kind, age)
    return Advice(
        alarm=CROWDED,
        facts={
            "head_count": heads,
            "age_days": int(age),
            "area_m2": area_m2,
            "area_per_bird_m2": area_m2 / heads,
            "needed_area_per_bird_m2": need.wanted_m2,
            "origin": str(need.wanted_source),
        },
    )


def _losses_high(
    batch: Batch, now_at: float, age: float, family: tuple[int, int] | None
) -> Advice | None:
    """Too many so far, told while birds were still lost within the last day; or too many in one
    day. Old losses are not told again every morning."""
    placed = batch.placed_until(now_at)
    lost = batch.lost(to_at=now_at + 1.0)
    if family is not None:
        placed, lost = family
    lost_today = batch.lost(from_at=now_at - DAY_S, to_at=now_at + 1.0)
    if lost_today == 0:
        return None
    so_far = losses.are_high(age_days=age, placed=placed, lost=lost)
    before = batch.head_count(now_at) + lost_today
    in_day = losses.day_is_high(head_count_before=before, lost_in_day=lost_today)
    if not so_far and not in_day:
        return None
    source = losses.usual_source(age) if so_far else losses.DAY_SOURCE
    return Advice(
        alarm=LOSSES_HIGH,
        facts={
            "head_count": batch.head_count(now_at),
            "age_days": int(age),
            "losses": lost if so_far else lost_today,
            "losses_percent": 100.0 * lost / placed if so_far else 100.0 * lost_today / before,
            "usual_percent": losses.usual_percent(age) if so_far else losses.DAY_PERCENT,
            "since": batch.started_at if so_far else max(batch.started_at, now_at - DAY_S),
            "origin": str(source),
        },
    )


def _ready_to_move(
    verdict: Moving, head_count: int, age: float, target_c: float | None, lows_from: str | None
) -> Advice | None:
    if verdict.stage not in (Stage.HARDEN_OFF, Stage.READY):
        return None
    facts: dict[str, Any] = {
        "head_count": head_count,
        "age_days": int(age),
        "low_c": verdict.borne_c,
        "reason": str(verdict.stage),
        "origin": str(verdict.row.source),
    }
    if target_c is not None:
        facts["target_c"] = target_c
    if verdict.coldest_c is not None and lows_from is not None:
        facts["outside_low_c"] = verdict.coldest_c
        facts["outside_from"] = lows_from
    return Advice(alarm=READY_TO_MOVE, facts=facts)
