"""The lines of one brooder on the Now screen. Pure; called by `now` and the what-if for tonight."""

from dataclasses import dataclass

from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.calendar import midnight
from monitor.events import Cause, Facts
from monitor.measures import counted
from monitor.page.judgement import Judgement, Motion, Side
from monitor.page.phrases import PLACES, Phrases, days_old
from monitor.site import Brooder, Place
from monitor.tell.wording import meter_words
from monitor.tell.wording.first_aid import check_cold
from monitor.tell.wording.silence_words import heard_but_old
from monitor.tell.wording.words import UNSEEN_S, in_minutes, listed, pace, spread
from monitor.thermal.witness import beneath, cover_or_heat
from monitor.units import Unit
from monitor.watch.alarm_table import OF_COLD
from monitor.watch.status import BrooderStatus, ProbeStatus

_LEAST_TOLD_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeView:
    name: str
    place: str
    temp: str
    at: float | None
    note: str | None
    doubted: bool


def against_line(box: BrooderStatus, judged: Judgement, say: Phrases) -> str:
    """How it stands to its target: `should be 90.0, in band for 9 h`."""
    if judged.side is Side.OUT:
        return "taken out of use: not watched"
    if box.batch is None:
        return _for_whom(box, say)
    if box.target_c is None:
        return "no target at this age"
    target = f"should be {say.figure(box.target_c)}"
    return _unread(box, target) if box.temp_c is None else target + _beside(box, judged, say)


def _for_whom(box: BrooderStatus, say: Phrases) -> str:
    """An empty box: who comes when, and what they will need."""
    warm = box.warm_up
    if warm is None or not warm.waits:
        return "no chicks entered, so nothing to hold it against"
    need = f"day-old chicks need {say.figure(warm.limits.target_c)}"
    if box.expected is None:
        return need
    at = midnight(box.expected.day, say.site.timezone)
    days = (box.expected.day - say.local(say.now).date()).days
    comes = "come today" if days == 0 else f"come {say.soon(at)}"
    if days < 0:
        comes = f"were to come on {say.day(at)}"
    return f"{box.expected.count} birds {comes}; {need}"


def _unread(box: BrooderStatus, target: str) -> str:
    if box.diagnosis is not None and box.diagnosis.doubted:
        return f"a sudden jump, so it waits for the next reading; {target}"
    return f"no floor reading to believe; {target}"


def _beside(box: BrooderStatus, judged: Judgement, say: Phrases) -> str:
    if judged.side is Side.UNKNOWN:
        return f"; read at {say.clock(box.temp_at)}, nothing heard since" if box.temp_at else ""
    if judged.side is Side.RIGHT:
        held_s = 0.0 if box.in_band_since is None else say.now - box.in_band_since
        return ", in band" + (f" for {say.span(held_s)}" if held_s >= _LEAST_TOLD_S else "")
    off_c = (box.temp_c or 0.0) - (box.target_c or 0.0)
    return f": {say.step(off_c)} too {'warm' if off_c > 0 else 'cold'}"


def trend_line(box: BrooderStatus, judged: Judgement, say: Phrases) -> str | None:
    """Where it is going, and how long until harm if it is falling."""
    if judged.motion is Motion.UNKNOWN or box.trend_c_per_h is None:
        return None
    if judged.motion is Motion.STEADY:
        return "Holding steady."
    fast = pace(say, box.trend_c_per_h)
    moving = f"{judged.motion.value.capitalize()} {fast}."
    if judged.motion is not Motion.FALLING or box.chill_c is None:
        return moving
    limit = f"the chill limit ({say.temp(box.chill_c)})"
    if judged.side is Side.CHILLED:
        return f"{moving} It is below {limit} already."
    left = box.minutes_to_chill
    if left is None or left.mid <= 0 or judged.side not in (Side.RIGHT, Side.COLD):
        return moving
    return f"{moving} About {in_minutes(left.mid)} min to {limit}, {spread(left.low, left.high)}."


def estimate_line(box: BrooderStatus) -> str | None:
    """What no longer works after the thermal estimate has failed, what still does, what to do."""
    if box.estimate_fault is None:
        return None
    return (
        "Dead lamps are not recognised here, nor is the night looked ahead to: a part of the "
        "monitor has failed by a fault of its own. The alarms for too cold and too hot go on. "
        "Restart the service, and report the fault with the lines of its log."
    )


def night_line(box: BrooderStatus, judged: Judgement, say: Phrases) -> str | None:
    night = box.night
    if night.low_c is None or night.high_c is None or box.target_c is None:
        return None
    said = [
        f"lowest {say.temp(night.low_c)}"
        + (f" at {say.clock(night.low_at)}" if night.low_at else "")
        + f", highest {say.temp(night.high_c)}"
        + (f" at {say.clock(night.high_at)}." if night.high_at else ".")
    ]
    if night.below_s >= _LEAST_TOLD_S:
        said.append(f"Too cold for {say.span(night.below_s)}.")
    if night.above_s >= _LEAST_TOLD_S:
        said.append(f"Too hot for {say.span(night.above_s)}.")
    if night.unseen_s >= UNSEEN_S:
        said.append(f"Not watched for {say.span(night.unseen_s)}.")
    elif judged.side is Side.RIGHT and not night.below_s and not night.above_s:
        said.append("Never out of band.")
    return f"Since {say.clock(night.since_at)}: " + " ".join(said)


def birds_line(box: BrooderStatus) -> str | None:
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
    step = box.next_step
    if step is None:
        return None
    if step.gradual:
        return f"A little less every day, to {say.temp(step.to_c)} {say.soon(step.at)}."
    return f"Down to {say.temp(step.to_c)} {say.soon(step.at)}."


def heat_lines(box: BrooderStatus, say: Phrases) -> tuple[str, ...]:
    line = meter_words.heat_line(box.meters)
    if line is None:
        return ()
    found = [f"{line}."]
    heat = box.heat_in
    if heat is not None:
        lost = "" if heat.w_per_k is None else f", {heat.w_per_k:.0f} W for each K above outside"
        if say.site.units is Unit.FAHRENHEIT and heat.w_per_k is not None:
            lost = f", {heat.w_per_k / 1.8:.0f} W for each °F above outside"
        found.append(f"In the last three hours {heat.watts:.0f} W on the average{lost}.")
        reserve = meter_words.reserve_line(box, say)
        found += [reserve] if reserve is not None else []
    return tuple(found)


def probes_line(box: BrooderStatus) -> str:
    """How many speak, and which do not: `3 probes, all heard`."""
    bad = [p.name for p in box.probes if p.silent or p.fault or p.at is None or p.out_of_service]
    many = counted(len(box.probes), "probe", "probes")
    if not box.probes:
        return "no probe"
    if bad:
        return f"{many}, not to go by: {listed(bad)}"
    return f"{many}, all heard" if len(box.probes) > 1 else f"{many}, heard"


def probe_view(probe: ProbeStatus, say: Phrases) -> ProbeView:
    note = None
    if probe.out_of_service:
        note = "taken out of use"
    elif probe.fault is not None:
        note = f"not believed: {probe.fault}"
    elif probe.stamps_old_s is not None:
        note = heard_but_old(probe.stamps_old_s)
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


# A plate's thermostat and a draught move a probe under the heat by less. Common practice.
FALLEN_K = 3.0


def first_thing(box: BrooderStatus, setting: Brooder | None, say: Phrases) -> str | None:
    """One line; None: an alarm above says it."""
    if any(alarm.alarm in OF_COLD and alarm.active for alarm in box.alarms):
        return None
    fallen = [probe for probe in box.probes if _has_fallen(probe)]
    cause, facts = _cause(box, fallen, setting)
    do = check_cold(cause, facts, setting)
    if not fallen:
        return f"Go and look. {do}"
    seen = listed([_fall(probe, say) for probe in fallen])
    return f"Go and look. {do.rstrip('.')}: {seen}."


def _fall(probe: ProbeStatus, say: Phrases) -> str:
    high_c = probe.lately_high_c or 0.0
    return f"{probe.name} fell from {say.figure(high_c)} to {say.temp(probe.temp_c)}"


def _has_fallen(probe: ProbeStatus) -> bool:
    return (
        probe.place is Place.UNDER_HEAT
        and probe.temp_c is not None
        and probe.lately_high_c is not None
        and not (probe.silent or probe.fault or probe.out_of_service)
        and probe.lately_high_c - probe.temp_c >= FALLEN_K
    )


def _cause(
    box: BrooderStatus, fallen: list[ProbeStatus], setting: Brooder | None
) -> tuple[Cause, Facts]:
    """What the watch makes of it; before it is sure, what lies under one source and has gone cold
    names that source."""
    found = box.diagnosis
    if found is not None and found.cause is not None:
        heard = [p.place for p in box.probes if p.temp_c is not None and not p.silent]
        either = setting is not None and cover_or_heat(
            setting, heard, found.cause, sure=found.cause_sure
        )
        facts = Facts(either=either)
        if found.source is not None:
            facts["source"], facts["source_sure"] = found.source, found.source_sure
            facts["suspects"] = list(found.suspects)
        return found.cause, facts
    if len(fallen) == 1 and setting is not None:
        index = beneath(setting, fallen[0].name)
        if index is not None:
            return Cause.HEAT_SOURCE, Facts(source=setting.heat[index].name)
    return Cause.UNKNOWN, Facts()
