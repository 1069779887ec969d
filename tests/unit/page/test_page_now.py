"""What the Now screen says, sentence by sentence."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from support.fake_api import (
    NIGHT,
    alarm,
    batch,
    brooder,
    failing_porch,
    outlook,
    probe,
    site,
    status,
)

from monitor.brooding import calendar
from monitor.brooding.age_limits import AgeLimits
from monitor.events import AlarmName, Cause, Priority
from monitor.page.judgement import MarginMark
from monitor.page.now import BoxView, NowView, view
from monitor.page.phrases import Phrases
from monitor.set_up_form import Step
from monitor.site import HeatSource, Place, Probe, Unit
from monitor.tell.missing import Missing
from monitor.thermal.diagnosis import Diagnosis, Interval
from monitor.watch.empty_box import ExpectedBirds, WarmUp
from monitor.watch.heat_in import HeatIn
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import BrooderStatus, MeterStatus, SiteStatus


def seen(shown: SiteStatus, now: float = NIGHT, **of_site: Any) -> NowView:
    here = site(**of_site)
    return view(shown, here, Phrases(here, now))


def box_of(shown: BrooderStatus, **of_site: Any) -> BoxView:
    return seen(status(shown), **of_site).boxes[0]


def test_a_box_that_is_well_says_so_in_one_line():
    box = box_of(brooder())
    assert box.mark is MarginMark.RIGHT
    assert f"{box.name}: {box.temp}, {box.against}" == (
        "Porch: 89.2 °F, should be 90.0, in band for 9 h"
    )
    assert box.trend == "Holding steady."
    assert seen(status()).summary == "All right"


def test_how_the_night_has_been_goes_on_in_its_sentence():
    night = box_of(brooder()).night
    assert night is not None
    assert night.partition(": ")[2].startswith("lowest "), night


def test_a_box_with_an_outside_probe_of_its_own_is_not_said_to_have_none():
    assert not seen(status(brooder())).boxes_have_outside
    box = site().brooders[0]
    own = Probe(
        key="porch/o", brooder="porch", name="o", topic="brooder/porch/o", place=Place.OUTSIDE
    )
    with_own = replace(box, probes=(*box.probes, own))
    assert seen(status(brooder()), brooders=(with_own,)).boxes_have_outside


def test_in_celsius_for_who_reads_celsius():
    box = box_of(brooder(), units=Unit.CELSIUS)
    assert (box.temp, box.against) == ("31.8 °C", "should be 32.2, in band for 9 h")


def test_falling_says_how_long_until_harm_and_what_the_limit_is():
    box = box_of(failing_porch())
    assert box.mark is MarginMark.FALLING
    assert box.trend == (
        "Falling 9.4 °F an hour. About 45 min to the chill limit (79.9 °F), likely 35 to 60."
    )


def test_a_slow_evening_is_not_called_a_fall():
    evening = brooder(trend_c_per_h=-0.4, minutes_to_chill=Interval(700, 500, 900))
    box = box_of(evening)
    assert box.mark is MarginMark.RIGHT
    assert not box.is_bad
    assert box.trend == "Holding steady."


@pytest.mark.parametrize(
    ("temp_c", "mark", "word"),
    [
        (26.6, MarginMark.DANGER_COLD, "Dangerously cold"),
        (26.7, MarginMark.COLD, "Too cold"),
        (29.3, MarginMark.COLD, "Too cold"),
        (29.4, MarginMark.RIGHT, "Right"),
        (35.0, MarginMark.RIGHT, "Right"),
        (35.1, MarginMark.HOT, "Too hot"),
        (37.8, MarginMark.DANGER_HOT, "Dangerously hot"),
        (60.0, MarginMark.DANGER_HOT, "Dangerously hot"),
        (None, MarginMark.UNKNOWN, "Not known"),
    ],
)
def test_each_state_has_its_word_and_its_shape(temp_c: float | None, mark: MarginMark, word: str):
    box = box_of(brooder(temp_c=temp_c, in_band=temp_c is not None and 29.4 <= temp_c <= 35.0))
    assert (box.mark, box.word) == (mark, word)


def test_a_number_that_is_not_believed_is_not_shown_as_the_floor():
    box = box_of(brooder(temp_c=None, probes=(probe("porch/floor", 85.0, fault="it jumps"),)))
    assert box.temp is None
    assert box.against == "no floor reading to believe; should be 90.0"
    assert box.probes[0].doubted
    assert box.probes[0].note == "not believed: it jumps"


def test_a_jump_that_waits_for_the_next_reading_is_called_that():
    jumped = brooder(temp_c=None, diagnosis=Diagnosis(doubted=("porch/floor",)))
    assert box_of(jumped).against == (
        "a sudden jump, so it waits for the next reading; should be 90.0"
    )


def test_a_lamp_that_burns_in_an_empty_box_is_seen():
    empty = brooder(temp_c=61.0, batch=None, target_c=None, low_c=None, high_c=None, chill_c=None)
    assert box_of(empty).mark is MarginMark.DANGER_HOT


def test_an_empty_box_is_not_called_right():
    empty = brooder(temp_c=12.0, batch=None, target_c=None, low_c=None, high_c=None, chill_c=None)
    assert box_of(empty).word == "No chicks entered"
    assert seen(status(empty)).summary == "No chicks entered"


def test_a_silent_probe_is_named_with_its_age():
    box = box_of(brooder(probes=(probe("porch/floor", 31.0, at=NIGHT - 4000, silent=True),)))
    assert box.probes[0].note == "silent"
    assert box.probes[0].at == NIGHT - 4000


def test_an_alarm_says_what_to_do_first_and_shows_figures_of_now_not_of_then():
    box = box_of(failing_porch())
    (entry,) = box.alarms
    assert entry.urgent
    assert entry.title == "Porch: heat has stopped"
    assert entry.first == "Go now. Check the west lamp first."
    assert any("west lamp (250 W) has most likely stopped" in line for line in entry.more)
    assert not any("86.7" in line for line in entry.more)  # its head says the temperature


@pytest.mark.parametrize("name", list(AlarmName))
def test_every_alarm_there_is_can_be_shown_even_without_a_fact(name: AlarmName):
    box = box_of(brooder(alarms=(alarm(name, priority=Priority.WARNING),)))
    assert box.alarms[0].title
    here = seen(status(alarms=(alarm(name, box=None, priority=Priority.WARNING),)))
    assert here.alarms[0].title


@pytest.mark.parametrize(
    ("state", "of_alarm", "said", "links"),
    [
        (AlarmState.UNACKNOWLEDGED, {}, None, "answer shelve"),
        (
            AlarmState.ACKNOWLEDGED,
            {"by": "page", "acknowledged_at": NIGHT - 60},
            "Acknowledged by page at 01:59. It is not repeated.",
            "shelve",
        ),
    ],
)
def test_each_state_of_an_alarm_is_said_and_offers_what_can_be_done(
    state: AlarmState, of_alarm: dict[str, Any], said: str | None, links: str
):
    entry = box_of(brooder(alarms=(alarm(state=state, **of_alarm),))).alarms[0]
    assert entry.standing == said
    offered = {
        "answer": entry.answer_link,
        "shelve": entry.shelve_link,
    }
    assert " ".join(name for name, link in offered.items() if link) == links


def test_what_is_put_aside_for_work_is_a_line_and_not_said_to_be_so():
    """It stood there as eleven alarms, three of them urgent: heat has stopped since 11:56."""
    until = {"by": "page", "shelved_until": NIGHT + 1800, "shelved_note": "cleaning out"}
    put = (AlarmName.CHILL, AlarmName.COLD, AlarmName.HEAT_LOSS, AlarmName.PROBE_FAULT)
    alarms = [alarm(name, state=AlarmState.SHELVED, **until) for name in (*put, put[-1])]
    alarms[0] = replace(alarms[0], shelved_until=NIGHT + 900)
    shown = seen(status(brooder(alarms=tuple(alarms))))
    [box] = shown.boxes
    assert box.alarms == ()
    assert [one.words for one in box.aside] == [
        "Put aside until 02:15 by page: dangerous cold. Cleaning out.",
        "Put aside until 02:30 by page: cold, lost heat and doubtful probe. Cleaning out.",
    ]
    assert {one.again_link for one in box.aside} == {"/do/watch-again?brooder=porch"}
    assert shown.summary == "All right"


def test_only_what_nobody_has_answered_is_called_out():
    waiting = alarm(since=NIGHT - 10)
    answered = alarm(AlarmName.COLD, state=AlarmState.ACKNOWLEDGED, since=NIGHT - 20)
    shown = seen(status(brooder(alarms=(waiting, answered))))
    assert [call.occurrence for call in shown.calls] == [waiting.occurrence]
    assert shown.summary == "Porch: heat has stopped"


def test_advice_calls_nobody_and_leaves_all_right():
    advice = [
        alarm(name, priority=Priority.ADVICE) for name in (AlarmName.CROWDED, AlarmName.STEP_DOWN)
    ]
    two = seen(status(brooder(alarms=tuple(advice))))
    assert (two.summary, two.calls) == ("All right. 2 pieces of advice", ())
    one = seen(status(brooder(alarms=(advice[0],))))
    assert one.summary == "All right. 1 piece of advice"
    both = seen(status(failing_porch(), brooder("shed", alarms=(advice[0],))))
    assert both.summary == "Porch: heat has stopped"


def test_an_alarm_that_follows_from_another_is_not_told_twice():
    head, follower = alarm(), alarm(AlarmName.COLD, folded=True)
    assert len(box_of(brooder(alarms=(head, follower))).alarms) == 1
    assert len(box_of(brooder(alarms=(follower,))).alarms) == 1


def test_the_coming_night_is_told_either_way():
    holds = box_of(brooder())
    assert holds.tonight[0] == "It should hold. Chance of getting too cold: about 10 in 100."
    assert "87.6 °F at 06:00, likely 85.6 to 89.4" in holds.tonight[1]
    fails = box_of(failing_porch())
    assert fails.tonight[0] == (
        "It will not hold. Chance of getting too cold: more than 95 in 100. "
        "It would leave the band about 02:25."
    )
    assert "To hold in 8 nights out of 10, add about 240 W." in fails.tonight
    assert any("a second layer over the cover" in line for line in fails.tonight)


def test_of_alarms_as_urgent_as_each_other_those_of_birds_come_first():
    cold = alarm(AlarmName.COLD, box="shed", priority=Priority.WARNING)
    lost = alarm(AlarmName.DELIVERY_FAULT, box=None, priority=Priority.WARNING)
    shown = seen(status(brooder("shed", alarms=(cold,)), alarms=(lost,)))
    assert shown.calls[0].title.startswith("Shed:")


def test_several_alarms_are_counted_and_each_is_led_to():
    shed = brooder("shed", alarms=(alarm(box="shed"),))
    lost = alarm(AlarmName.BROKER_LOST, box=None, priority=Priority.WARNING)
    shown = seen(status(failing_porch(), shed, alarms=(lost,)))
    assert shown.summary == "3 alarms to answer"
    assert [call.urgent for call in shown.calls] == [True, True, False], "the urgent ones first"
    assert [call.link.split("/")[2].split("%")[0] for call in shown.calls] == [
        "porch", "shed", "site",
    ]  # fmt: skip


def test_one_trouble_of_a_box_is_led_to_once_and_by_its_worst():
    """A power cut over two boxes was "5 alarms to answer"; the first tap left the worst of them."""
    names = (AlarmName.HEAT_LOSS, AlarmName.CHILL, AlarmName.COLD_NIGHT)
    shown = seen(
        status(brooder(alarms=tuple(alarm(name, incident="porch/cold") for name in names)))
    )
    (call,) = shown.calls
    assert "chill" in call.link
    act = shown.boxes[0].act
    assert act is not None
    assert act.link == call.link


def test_a_floor_that_is_cold_is_not_told_to_be_ready_in_time():
    """A cold night was foretold before it came, and its words stayed first."""
    night = alarm(AlarmName.COLD_NIGHT, priority=Priority.WARNING, since=NIGHT - 9000)
    cold = alarm(AlarmName.COLD, priority=Priority.WARNING)
    shown = box_of(brooder(temp_c=28.0, in_band=False, alarms=(night, cold)))
    assert shown.alarms[0].title.endswith("too cold")
    assert shown.instruction == shown.alarms[0].first


def test_a_night_is_not_called_good_while_it_goes_wrong():
    assert "Never out of band." in (box_of(brooder()).night or "")
    assert "Never out of band." not in (box_of(brooder(temp_c=26.0, in_band=False)).night or "")


def test_a_night_with_hours_that_nobody_watched_is_not_called_good():
    night = replace(brooder().night, unseen_s=9 * 3600.0)
    said = box_of(brooder(night=night)).night or ""
    assert "Not watched for 9 h." in said
    assert "Never out of band." not in said


def test_the_night_is_told_from_when_there_were_chicks():
    night = replace(brooder().night, since_at=NIGHT - 6.5 * 3600)
    assert (box_of(brooder(night=night)).night or "").startswith("Since 19:30: ")


def test_a_reading_from_before_a_restart_is_not_called_right():
    box = box_of(brooder(in_band=None, in_band_since=None, temp_at=NIGHT - 540))
    assert box.word == "Not known"
    assert box.against == "should be 90.0; read at 01:51, nothing heard since"
    assert box.trend is None


def test_an_estimate_from_measures_alone_says_so():
    young = box_of(brooder(outlook=outlook(learned=0.1)))
    assert any("This rests on the size of the box" in line for line in young.tonight)


def test_birds_and_next_step():
    box = box_of(brooder())
    assert box.birds == "98 meat chicks, 9 days old; 2 of 100 lost."
    assert box.next_step == "Down to 84.9 °F on Sunday 15 Feb."
    one = box_of(brooder(batch=batch(head_count=1, placed=1, lost=0, age_days=1.4)))
    assert one.birds == "1 meat chick, 1 day old; none lost."
    step = calendar.TargetStep(at=NIGHT + 22 * 3600, from_c=32.2, to_c=31.8, gradual=True)
    assert box_of(brooder(next_step=step)).next_step == (
        "A little less every day, to 89.2 °F tomorrow."
    )


def test_where_a_lamp_may_be_touched_its_danger_is_said_once():
    cold = brooder(temp_c=28.0, in_band=False)
    assert any("two separate supports" in line for line in box_of(cold).cautions)
    with_alarm = box_of(failing_porch())
    told = [line for a in with_alarm.alarms for line in a.more] + list(with_alarm.cautions)
    assert sum("two separate supports" in line for line in told) == 1
    lampless = tuple(replace(b, heat=()) for b in site().brooders)
    assert box_of(cold, brooders=lampless).cautions == ()


def test_a_fall_that_no_alarm_tells_yet_names_the_first_thing_to_do():
    falling = brooder(trend_c_per_h=-27.8, minutes_to_chill=Interval(12, 8, 18))
    box = box_of(falling)
    assert box.mark is MarginMark.FALLING
    assert box.instruction == "Go and look. Check the lamps first."
    under = probe("porch/west", 36.1, name="under west lamp", lately_high_c=42.2)
    named = replace(falling, probes=(probe("porch/floor", 31.8), under))
    assert box_of(named).instruction == (
        "Go and look. Check the west lamp first: under west lamp fell from 108.0 to 97.0 °F."
    )


def test_there_is_one_instruction_the_alarm_s_where_there_is_one():
    assert box_of(failing_porch()).instruction == "Go now. Check the west lamp first."
    assert box_of(brooder()).instruction == "Nothing to do."
    doubtful = brooder(outlook=outlook(chance=0.3, mend=("cover it with plywood",)))
    assert box_of(doubtful).instruction == "Nothing to do now; for tonight see below."
    assert "What would help: cover it with plywood." in box_of(doubtful).tonight
    cold = brooder(temp_c=28.0, in_band=False, diagnosis=Diagnosis(cause=Cause.COVER_OPEN))
    assert box_of(cold).instruction == "Go and look. Check the cover and the lamps."
    hot = brooder(temp_c=36.0, in_band=False)
    assert box_of(hot).instruction == "Go and look. Raise a lamp or turn one off."
    burning = brooder(temp_c=61.0, in_band=False)
    assert box_of(burning).instruction == "Go now: cut the power first."
    blind = brooder(temp_c=None)
    assert box_of(blind).instruction == "Look at the chicks yourself, then at the probe."


def test_heat_that_is_back_is_not_called_falling():
    """Seen once: the stamp said falling, the line under it rising, and the night that it was below
    its band already."""
    back = brooder(
        temp_c=30.0,
        trend_c_per_h=5.3,
        alarms=failing_porch().alarms,
        outlook=outlook(below_now=True),
    )
    box = box_of(back)
    assert (box.word, box.trend) == ("Heat missing", "Rising 9.5 °F an hour.")
    assert box.alarms[0].title == "Porch: was without some of its heat, rising again"
    assert box.instruction == "See that all heat is on, and stays on."
    assert box.tonight == (
        "Worked out at 01:50, before the floor changed; it will soon be worked out again.",
    )


def test_what_no_air_can_do_is_not_given_as_a_figure():
    box = box_of(brooder(trend_c_per_h=-173.5, minutes_to_chill=Interval(12, 8, 18)))
    assert (box.trend or "").startswith("Falling very fast. About 12 min to the chill limit")
    assert box_of(brooder(in_band_since=NIGHT - 0.4)).against == "should be 90.0, in band"


def test_a_floor_that_has_just_come_back_is_not_said_to_fall() -> None:
    """For a minute it was: its rate is that of the minutes before, too."""
    falling = {"trend_c_per_h": -27.8, "minutes_to_chill": Interval(12, 8, 18)}
    box = box_of(brooder(in_band_since=NIGHT - 60, **falling))
    assert (box.word, box.trend) == ("Right", None)
    assert box_of(brooder(in_band_since=NIGHT - 200, **falling)).word == "Falling"


def test_what_is_over_and_was_never_answered_is_a_quiet_line():
    over = alarm(
        AlarmName.COLD,
        state=AlarmState.RETURNED,
        since=NIGHT - 6180,
        ended_at=NIGHT - 3600,
    )
    shown = seen(status(brooder(alarms=(over,))))
    (box,) = shown.boxes
    assert [line.words for line in box.over] == ["Was too cold 00:17 to 01:00, nobody answered."]
    assert (box.alarms, box.act, shown.calls) == ((), None, ())
    assert (shown.summary, box.instruction) == ("All right", "Nothing to do.")
    moved_out = replace(status().brooders[0], batch=None, target_c=None, alarms=(over,))
    assert "Go now" not in str(seen(status(moved_out)))


def test_what_is_over_for_days_names_its_day_once():
    day_s = 86400.0
    over = alarm(AlarmName.COLD, state=AlarmState.RETURNED, ended_at=NIGHT - 2 * day_s)
    over = replace(over, since=NIGHT - 2 * day_s - 3600)
    (line,) = seen(status(brooder(alarms=(over,)))).boxes[0].over
    assert line.words == "Was too cold 01:00 to 02:00 on Sunday, nobody answered."


def test_an_alarm_that_waits_for_its_end_says_what_is_so_now():
    cold = alarm(AlarmName.COLD, priority=Priority.WARNING)
    (box,) = seen(status(brooder(alarms=(cold,)))).boxes
    assert box.alarms[0].title == "Porch: was too cold, right again now"
    (box,) = seen(status(brooder(temp_c=36.0, in_band=False, alarms=(cold,)))).boxes
    assert box.alarms[0].title == "Porch: was too cold, too hot now"
    night = alarm(AlarmName.COLD_NIGHT, priority=Priority.WARNING, facts={"lowest_c": 20.0})
    (box,) = seen(status(brooder(alarms=(night,)))).boxes
    assert box.alarms[0].title == "Porch: it should hold tonight after all"
    short = outlook(chance=0.7, lowest_c=Interval(28.0, 27.0, 29.0))
    (box,) = seen(status(brooder(alarms=(night,), outlook=short))).boxes
    assert box.instruction.startswith("Likely down to 82.4 °F"), "the night's figures are one's own"


@pytest.mark.parametrize(
    ("told", "chance", "title"),
    [
        (None, 0.15, "it should hold tonight after all"),
        (None, 0.25, "cold night ahead"),
        (True, 0.15, "cold night ahead"),
        (True, 0.25, "cold night ahead"),
        (False, 0.15, "it should hold tonight after all"),
        (False, 0.25, "it should hold tonight after all"),
        (False, 0.55, "cold night ahead"),
    ],
)
def test_a_cold_night_near_the_edge_keeps_the_word_that_was_told(told, chance, title):
    """With each look it went to and fro, while the phone kept to what it had said."""
    night = alarm(AlarmName.COLD_NIGHT, priority=Priority.WARNING, facts={"lowest_c": 20.0})
    box = brooder(alarms=(replace(night, told=told),), outlook=outlook(chance=chance))
    (shown,) = seen(status(box)).boxes
    assert shown.alarms[0].title == f"Porch: {title}"
    holds_now = any("As of now it should hold after all" in line for line in shown.alarms[0].more)
    assert holds_now == (told is True and chance < 0.2)


def test_of_several_boxes_the_worst_stands_first():
    boxes = [
        brooder("well"),
        brooder("falling", trend_c_per_h=-5.0, minutes_to_chill=Interval(40, 30, 50)),
        brooder("cold", 28.0, in_band=False),
        brooder("empty", batch=None, target_c=None),
        brooder("freezing", 20.0, in_band=False),
        brooder("silent", None),
    ]
    order = ["Freezing", "Cold", "Falling", "Silent", "Well", "Empty"]
    assert [box.name for box in seen(status(*boxes)).boxes] == order


def test_a_lamp_that_would_help_tonight_is_named_with_how_to_hang_it():
    plates = tuple(replace(b, heat=(HeatSource(name="p", kind="plate", watts=50),))
                   for b in site().brooders)  # fmt: skip
    short = outlook(chance=0.9, missing_watts=90.0, mend=("hang a heat lamp of 100 W",))
    box = box_of(brooder(outlook=short), brooders=plates)
    assert any("hang a heat lamp of 100 W" in line for line in box.tonight)
    assert sum("two separate supports" in line for line in (*box.tonight, *box.cautions)) == 1


def test_a_watch_that_no_longer_answers_is_not_passed_off_as_news():
    assert seen(status(), now=NIGHT + 30).stale_since is None
    assert seen(status(), now=NIGHT + 600).stale_since == NIGHT


def test_a_box_without_its_estimate_says_what_no_longer_works_and_what_does():
    box = brooder(estimate_fault="ZeroDivisionError: no heat")
    words = box_of(box).without_estimate
    assert words is not None
    assert "Dead lamps are not recognised here" in words
    assert "The alarms for too cold and too hot go on." in words
    assert "Restart the service" in words
    assert "ZeroDivisionError" not in words
    assert seen(status(box)).summary == "Porch: dead lamps are not recognised"
    assert box_of(brooder()).without_estimate is None


def test_a_floor_below_the_chill_limit_is_not_given_minutes():
    gone = Interval(0.0, 0.0, 0.0)
    cold = brooder(temp_c=26.0, in_band=False, minutes_to_chill=gone, trend_c_per_h=-1.5)
    assert box_of(cold).trend == (
        "Falling 2.7 °F an hour. It is below the chill limit (79.9 °F) already."
    )


def test_what_is_missing_for_tonight_stands_on_now_and_in_its_headline() -> None:
    here = site()
    lack = [
        Missing("contacts", "nobody is told", "Add your phone.", step=Step.CONTACTS),
        Missing("outside", "no probe outside", "Hang one.", essential=False),
        Missing("porch", "heat-loss", "Look.", alarmed=True),
    ]
    seen = view(status(), here, Phrases(here, NIGHT), lack)
    assert seen.summary == "Contacts: nobody is told"
    assert [one.subject for one in seen.missing] == ["contacts", "outside"], "an alarm says itself"
    two = view(status(), here, Phrases(here, NIGHT), [lack[0], lack[0]])
    assert two.summary == "2 things are missing for tonight"


def test_what_plugs_and_sensors_say_and_what_that_foretells_of_the_night():
    meters = (
        MeterStatus(
            key="porch/west lamp power_w", title="west lamp", kind="power", value=243.4, at=NIGHT,
            silent=False, usual_w=243.0, lit=True,
        ),
        MeterStatus(
            key="porch/plate power_w", title="plate", kind="power", value=0.0, at=NIGHT,
            silent=False, usual_w=78.0, lit=False, thermostat=True, duty=0.9,
        ),
        MeterStatus(
            key="porch/humidity_percent", title="humidity", kind="humidity", value=62.0, at=NIGHT,
            silent=False,
        ),
    )  # fmt: skip
    heat = HeatIn(watts=313.0, busiest="plate", duty=0.9, w_per_k=9.0, no_reserve_below_c=-2.2)
    box = box_of(brooder(meters=meters, heat_in=heat))
    assert box.heat == (
        "west lamp 243 W, plate 0 W (resting; its thermostat has it on 90 % of the time).",
        "In the last three hours 313 W on the average, 5 W for each °F above outside.",
        "The plate works 90 % of the time; below 28.0 °F outside there is no reserve. "
        "Tonight may be colder.",
    )
    assert box.others == "humidity 62 %"


def awaited(**changes: Any) -> BrooderStatus:
    limits = AgeLimits(target_c=35.0, low_c=32.2, high_c=37.8, chill_c=29.4, overheat_c=38.9)
    warm = WarmUp(waits=True, limits=limits, level_since=NIGHT - 3 * 3600, outlook=outlook())
    given: dict[str, Any] = {"batch": None, "target_c": None, "temp_c": 34.8, "warm_up": warm}
    return brooder(**{**given, **changes})


def test_a_box_that_waits_for_chicks_says_who_comes_and_whether_it_is_ready_for_them():
    coming = awaited(expected=ExpectedBirds(date(2026, 2, 11), 100, "broiler"))
    box = box_of(coming)
    assert box.against == "100 birds come tomorrow; day-old chicks need 95.0"
    assert seen(status(coming)).summary == "Ready for chicks"
    assert box.instruction == "Nothing watches for cold until chicks are entered."
    late = replace(coming, expected=ExpectedBirds(date(2026, 2, 9), 100, "broiler"))
    assert box_of(late).against.startswith("100 birds were to come on Monday 9 Feb; ")
    cold = replace(awaited(), temp_c=20.0)
    assert seen(status(cold)).summary == "Not ready for chicks yet"
    assert box_of(cold).instruction.startswith("The floor is 68.0 °F and should be 95.0 °F: ")
    nobody = awaited()
    assert nobody.warm_up is not None
    over = replace(nobody, warm_up=replace(nobody.warm_up, waits=False))
    assert (box_of(over).warm_up, seen(status(over)).summary) == (None, "No chicks entered")
