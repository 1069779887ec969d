"""The lines of one brooder on the Now screen. Pure; called by `now` and the what-if for tonight."""

from dataclasses import dataclass

from monitor.brooding.bird_kinds import KINDS
from monitor.page.alarm_words import live_facts
from monitor.page.phrases import PLACES, Phrases, counted, days_old
from monitor.tell.wording.words import UNSEEN_S, minutes_left
from monitor.watch.status import BrooderStatus, ProbeStatus

STEADY_C_PER_H = 0.3  # slower than this is holding; the messages use the same


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeView:
    """One row of the list of probes."""

    name: str
    place: str
    temp: str
    at: float | None
    note: str | None
    doubted: bool


def against_line(box: BrooderStatus, say: Phrases) -> str:
    """How it stands to its target: `should be 90.0, in band for 9 h`."""
    if box.target_c is None or box.out_of_service:
        return _no_target(box)
    target = f"should be {say.figure(box.target_c)}"
    if box.temp_c is None:
        if box.diagnosis is not None and box.diagnosis.doubted:
            return f"a sudden jump, so it waits for the next reading; {target}"
        return f"no floor reading to believe; {target}"
    if box.in_band:
        since = box.in_band_since
        return f"{target}, in band" + (f" for {say.span(say.now - since)}" if since else "")
    if box.in_band is None and box.temp_at is not None:
        return f"{target}; read at {say.clock(box.temp_at)}, nothing heard since"
    off_c = box.temp_c - box.target_c
    return f"{target}: {say.step(off_c)} too {'warm' if off_c > 0 else 'cold'}"


def _no_target(box: BrooderStatus) -> str:
    if box.out_of_service:
        return "taken out of use: not watched"
    if box.batch is None:
        return "no chicks entered, so nothing to hold it against"
    return "no target at this age"


def trend_line(box: BrooderStatus, say: Phrases) -> str | None:
    """Where it is going, and how long until harm if it is falling."""
    if box.trend_c_per_h is None or box.temp_c is None or box.in_band is None:
        return None
    rate = box.trend_c_per_h
    if abs(rate) < STEADY_C_PER_H:
        moving = "Holding steady."
    else:
        way = "Falling" if rate < 0 else "Rising"
        moving = f"{way} {say.step(rate)} an hour."
    falling = rate <= -STEADY_C_PER_H and box.minutes_to_chill is not None
    left = minutes_left(say.voice, live_facts(box)) if falling else None
    return f"{moving} {left}" if left else moving


def estimate_line(box: BrooderStatus) -> str | None:
    """What no longer works after the thermal estimate has failed, what still does, what to do."""
    if box.estimate_fault is None:
        return None
    return (
        "Dead lamps are not recognised here, nor is the night looked ahead to: a part of the "
        "monitor has failed by a fault of its own. The alarms for too cold and too hot go on. "
        "Restart the service, and report the fault with the lines of its log."
    )


def night_line(box: BrooderStatus, say: Phrases) -> str | None:
    """The night so far."""
    night = box.night
    if night.low_c is None or night.high_c is None or box.target_c is None:
        return None
    said = [
        f"Lowest {say.temp(night.low_c)}"
        + (f" at {say.clock(night.low_at)}" if night.low_at else "")
        + f", highest {say.temp(night.high_c)}"
        + (f" at {say.clock(night.high_at)}." if night.high_at else ".")
    ]
    if night.below_s >= 60:
        said.append(f"Too cold for {say.span(night.below_s)}.")
    if night.above_s >= 60:
        said.append(f"Too hot for {say.span(night.above_s)}.")
    if night.unseen_s >= UNSEEN_S:
        said.append(f"Not watched for {say.span(night.unseen_s)}.")
    elif box.in_band and not night.below_s and not night.above_s:
        said.append("Never out of band.")
    return f"Since {say.clock(night.since_at)}: " + " ".join(said)


def birds_line(box: BrooderStatus, say: Phrases) -> str | None:
    """How many, what, how old, how many lost."""
    batch = box.batch
    if batch is None:
        return None
    kind = KINDS.get(batch.kind)
    heads = counted(
        batch.head_count, kind.one if kind else batch.kind, kind.many if kind else batch.kind
    )
    lost = f"; {batch.lost} of {batch.placed} lost" if batch.lost else "; none lost"
    return f"{heads}, {days_old(batch.age_days)}{lost}."


def next_step_line(box: BrooderStatus, say: Phrases) -> str | None:
    """When the target comes down, and to what."""
    step = box.next_step
    if step is None:
        return None
    if step.gradual:
        return f"A little less every day, to {say.temp(step.to_c)} {say.soon(step.at)}."
    return f"Down to {say.temp(step.to_c)} {say.soon(step.at)}."


def probe_view(probe: ProbeStatus, say: Phrases) -> ProbeView:
    """One row of the list of probes."""
    note = None
    if probe.out_of_service:
        note = "taken out of use"
    elif probe.fault is not None:
        note = f"not believed: {probe.fault}"
    elif probe.silent:
        note = "silent"
    elif probe.at is None:
        note = "nothing heard yet"
    return ProbeView(
        name=probe.name,
        place=PLACES[probe.place],
        temp=say.temp(probe.temp_c),
        at=probe.at,
        note=note,
        doubted=note is not None,
    )
