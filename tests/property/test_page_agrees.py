"""All words on Now come from one snapshot and one judgement: whatever the watch may say of a box,
no two of them contradict each other, and no figure is one that nobody can use."""

import re
from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from support.fake_api import NIGHT, alarm, batch, brooder, outlook, probe, site, status

from monitor.events import AlarmName, Cause, Facts, Priority
from monitor.page.now import BoxView, NowView, view
from monitor.page.phrases import Phrases
from monitor.site import Place
from monitor.thermal.diagnosis import Diagnosis, Interval
from monitor.watch.alarm_table import TABLE
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import AlarmStatus, BrooderStatus

FASTEST_F_PER_H = 216.0
COLD = re.compile(r"(?<!was )(too|dangerously) cold|below its band")
HOT = re.compile(r"(?<!was )(too|dangerously) (hot|warm)|heating up", re.I)
_TEMPS = st.floats(5.0, 60.0) | st.floats(24.0, 40.0)


@st.composite
def intervals(draw: Any, low: float, high: float) -> Interval:
    found = sorted(draw(st.lists(st.floats(low, high), min_size=3, max_size=3)))
    return Interval(found[1], found[0], found[2])


@st.composite
def alarms(draw: Any) -> AlarmStatus:
    name = draw(st.sampled_from([n for n in AlarmName if n is not AlarmName.COLD_NIGHT]))
    return one_alarm(draw, name)


def one_alarm(draw: Any, name: AlarmName) -> AlarmStatus:
    facts: Facts = {
        "temp_c": draw(_TEMPS),
        "target_c": 32.2,
        "low_c": 29.4,
        "high_c": 35.0,
        "chill_c": 26.6,
        "lowest_c": draw(st.floats(0.0, 30.0)),
        "lowest_at": NIGHT + 4 * 3600,
        "down_from": NIGHT - draw(st.floats(300.0, 90_000.0)),
        "rate_c_per_h": draw(st.floats(-40.0, 40.0)),
    }
    if draw(st.booleans()):
        facts["source"], facts["source_sure"] = "west lamp", draw(st.booleans())
    since = NIGHT - draw(st.floats(1.0, 40_000.0))
    state = draw(st.sampled_from([s for s in AlarmState if s is not AlarmState.OUT_OF_SERVICE]))
    return alarm(
        name,
        priority=draw(st.sampled_from(Priority)) if name is AlarmName.NO_READINGS
        else TABLE[name].priority,
        state=state,
        since=since,
        facts=facts,
        cause=draw(st.sampled_from(Cause)),
        folded=draw(st.booleans()),
        ended_at=NIGHT - 1.0 if state is AlarmState.RETURNED else None,
    )  # fmt: skip


@st.composite
def boxes(draw: Any) -> BrooderStatus:
    temp_c = draw(st.none() | _TEMPS)
    rate = draw(st.none() | st.floats(-200.0, 200.0) | st.floats(-1.0, 1.0))
    left = draw(st.none() | intervals(0.0, 900.0))
    foretold = draw(st.none() | st.builds(
        lambda chance, below, lowest, first: outlook(
            chance=chance, below_now=below, lowest_c=lowest, first_night=first,
            leaves_band_at=NIGHT + 3600 if chance > 0.5 else None, missing_watts=100 * chance,
            mend=("another layer of cover",)),
        st.floats(0.0, 1.0), st.booleans(), intervals(0.0, 34.0), st.booleans()))  # fmt: skip
    raised = draw(st.lists(alarms(), max_size=4, unique_by=lambda one: one.alarm))
    if foretold is not None and draw(st.booleans()):
        raised.append(one_alarm(draw, AlarmName.COLD_NIGHT))
    diagnosis = draw(st.none() | st.builds(
        lambda cause, source: Diagnosis(cause=cause, source=source),
        st.none() | st.sampled_from([c for c in Cause if c is not Cause.COLD_NIGHT]),
        st.none() | st.just("east lamp")))  # fmt: skip
    floor = probe("porch/floor", temp_c, silent=draw(st.booleans()))
    lamp = probe("porch/west", 36.0, lately_high_c=draw(st.none() | st.floats(36.0, 44.0)))
    empty = {"batch": None, "target_c": None, "low_c": None, "high_c": None, "chill_c": None}
    return brooder(
        temp_c=temp_c,
        in_band=draw(st.booleans() if temp_c is not None else st.none()),
        in_band_since=NIGHT - draw(st.floats(0.0, 90_000.0)),
        trend_c_per_h=rate,
        minutes_to_chill=left,
        outlook=foretold,
        alarms=tuple(raised),
        diagnosis=diagnosis,
        probes=(floor, replace(lamp, place=Place.UNDER_HEAT)),
        out_of_service=draw(st.sampled_from([False] * 7 + [True])),
        **(draw(st.sampled_from([{"batch": batch()}] * 5 + [empty]))),
    )


def says(box: BoxView) -> list[str]:
    """What is said of the box as it is now."""
    return [box.word, box.against, box.trend or "", box.instruction,
            *(a.title for a in box.alarms if a.standing is None or "Put" not in a.standing),
            *box.tonight[:1]]  # fmt: skip


def contradictions(shown: NowView) -> list[str]:
    found = []
    (box,) = shown.boxes
    said = [line.replace("Chance of getting too cold", "").replace("to get too cold", "")
            for line in says(box)]  # fmt: skip
    cold = [line for line in said if COLD.search(line.lower())]
    hot = [line for line in said if HOT.search(line)]
    if cold and hot and box.word != "Too hot":
        found.append(f"cold {cold} and hot {hot}")
    if box.word in ("Right", "Falling", "Heat missing") and (cold or hot):
        still = [line for line in cold + hot if "heating up" not in line]
        if still:
            found.append(f"{box.word} and {still}")
    trend = box.trend or ""
    whole = " ".join([*said, *(line for a in box.alarms for line in (a.first, *a.more))])
    if trend.startswith("Falling") and re.search(r"\brising\b", whole):
        found.append(f"falling and rising: {whole}")
    if trend.startswith("Rising") and re.search(
        r"\b[Ff]alling (by|\d|very|now)|(holds|hardly further) for now", whole
    ):
        found.append(f"rising and falling: {whole}")
    if box.word == "Falling" and not trend.startswith("Falling"):
        found.append("a stamp without its trend")
    if "chill limit" in trend and "Falling" not in trend:
        found.append(f"minutes without a fall: {trend}")
    calls = [a for a in box.alarms if a.answer_link and not a.advice]
    after_all = any("after all" in a.title for a in box.alarms)
    if box.instruction.startswith("Nothing to do") and (box.is_bad or calls) and not after_all:
        found.append(f"{box.instruction} {box.word} {[c.title for c in calls]}")
    if shown.summary.startswith("All right") and (box.is_bad or calls):
        found.append(f"all right, and {box.word}")
    if re.search(r"Go (now|and look)", shown.summary + box.instruction) and not (
        box.is_bad or box.alarms
    ):
        found.append(f"sent for nothing: {box.instruction}")
    adds = re.search(r"[Aa]dd (cover|heat)", box.instruction.partition("let it cool first")[0])
    if box.word == "Too hot" and adds:
        found.append(f"too hot and {box.instruction}")
    # One that somebody has put aside is no reason to leave a floor that burns as it is.
    ahead = any(
        "cold night ahead" in a.title for a in box.alarms if "Put" not in (a.standing or "")
    )
    takes_heat = re.search(r"[Rr]aise (a|the) lamp", whole)
    if ahead and takes_heat and "cold night is ahead" not in whole:
        found.append(f"raise a lamp before a cold night: {whole}")
    for figure in re.findall(r"([\d.]+) °F an hour", whole):
        if float(figure) > FASTEST_F_PER_H:
            found.append(f"no air is that fast: {figure}")
    found += re.findall(r".{0,40}for \d s\b|.{0,40}\b[Aa]bout 0 min", f"{whole} {box}")
    if len(re.findall("min to the chill limit", whole)) > 1:
        found.append(f"two counts of minutes: {whole}")
    return found


@given(boxes())
def test_no_two_words_on_the_screen_contradict_each_other(box: BrooderStatus):
    here = site()
    assert contradictions(view(status(box), here, Phrases(here, NIGHT))) == []
