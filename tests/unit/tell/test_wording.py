"""What people read. The golden file holds every message as it goes out; run this file with
WRITE_GOLDEN=1 to write it anew, then read what changed as if you had just woken up."""

import os
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tell_samples import FACTS, NIGHT, change, heated, local, site

from monitor.events import AlarmName, Cause, Change, ChangeKind, Facts, Priority, ProbeFact
from monitor.intake.plausible import fault_of
from monitor.site import HeatSource, Site
from monitor.tell import wording
from monitor.tell.wording import life
from monitor.tell.wording.morning import BoxMorning, Gathered, morning
from monitor.tell.wording.over import was_words
from monitor.tell.wording.silence_words import site_silent
from monitor.tell.wording.words import Voice, Words
from monitor.units import Unit
from monitor.watch.alarm_table import TABLE
from monitor.watch.incidents import RENEWED
from monitor.watch.silence import NO_BIRDS
from monitor.watch.status import NightStatus

LOCK_SCREEN = 110  # characters of title and body that a locked phone shows for certain
GOLDEN = Path(__file__).with_name("golden_messages.txt")
OF_THE_SITE = (AlarmName.NAME_TAKEN, AlarmName.MAINS_LOST, AlarmName.BATTERY_LOW)
URGENT = [
    name
    for name in AlarmName
    if TABLE[name].priority is Priority.URGENT and name not in OF_THE_SITE
]
EVERY_KIND = (
    ChangeKind.RAISED,
    ChangeKind.CLEARED,
    ChangeKind.ESCALATED,
    ChangeKind.ACKNOWLEDGED,
    ChangeKind.SHELVED,
    ChangeKind.UNSHELVED,
)


def cold_night(here: Site, *mends: str) -> Words:
    facts = Facts(**{**FACTS[AlarmName.COLD_NIGHT], "mend": list(mends)})
    return wording.for_change(change(AlarmName.COLD_NIGHT, facts=facts), here)


def all_messages() -> dict[str, Words]:
    """By name."""
    here = site()
    said = {
        f"{name.value} {kind.value}": wording.for_change(change(name, kind), here)
        for name in AlarmName
        for kind in EVERY_KIND[:3]
    }
    for kind in EVERY_KIND[3:]:
        said[f"any {kind.value}"] = wording.for_change(change(AlarmName.COLD, kind), here)
    for cause in (Cause.COVER_OPEN, Cause.COLD_NIGHT, Cause.SENSOR, Cause.UNKNOWN):
        said[f"cold raised, {cause.value}"] = wording.for_change(
            change(AlarmName.COLD, cause=cause), here
        )
    by_watts = Facts(**FACTS[AlarmName.HEAT_LOSS], draws_w=0.0, usual_w=243.0)
    said["heat-loss raised, by its watts"] = wording.for_change(
        change(AlarmName.HEAT_LOSS, facts=by_watts, cause=Cause.HEAT_SOURCE), here
    )
    said["cold-night raised, a plate alone"] = cold_night(
        heated(("plate", 100)), "hang a heat lamp of 100 W"
    )
    said["cold-night raised, a circuit nearly full"] = cold_night(
        heated(*[("lamp", 250)] * 5), "hang one more lamp of 175 W"
    )
    said["cold-night raised, nothing here would hold"] = cold_night(
        here, "take the birds to a warmer room tonight (one more lamp is not enough)"
    )
    fallen = Facts(temp_c=56.0, target_c=35.0, since=NIGHT - 40)
    said["overheat raised, a fallen lamp"] = wording.for_change(
        change(AlarmName.OVERHEAT, facts=fallen), here
    )
    everything = Facts(**{**FACTS[AlarmName.HEAT_LOSS], "source": "every heat source"})
    said["heat-loss raised, everything went out"] = wording.for_change(
        change(AlarmName.HEAT_LOSS, facts=everything), here
    )
    said["no-readings raised, the whole site"] = wording.for_change(
        change(AlarmName.NO_READINGS, brooder=None), here
    )
    silent_probe = change(AlarmName.NO_READINGS, priority=Priority.WARNING)
    for kind in (ChangeKind.RAISED, ChangeKind.CLEARED):
        facts = change(AlarmName.NO_READINGS, kind).facts
        one = replace(silent_probe, probe="porch/far floor", change=kind, facts=facts)
        said[f"no-readings {kind.value}, one probe"] = wording.for_change(one, here)
    stuck = Facts(
        target_c=35.0,
        temp_c=34.1,
        since=NIGHT - 1500,
        silent_s=1500.0,
        reason="the floor probe says the same over and over: it is stuck",
        detail="Unplug it for a moment. If it sticks again, put in another probe.",
    )
    said["no-readings raised, the probe is stuck"] = wording.for_change(
        change(AlarmName.NO_READINGS, cause=Cause.SENSOR, facts=stuck), here
    )
    late = Facts(
        target_c=35.0,
        temp_c=34.1,
        since=NIGHT - 900,
        silent_s=900.0,
        reason="readings arrive, but their own time stamps are 6 h old",
        says_c=28.1,
        detail="Set the clock of the probe, or leave its time out (`time` in the configuration, or "
        "in what it sends): then the time of arrival counts.",
    )
    late_change = change(AlarmName.NO_READINGS, cause=Cause.SENSOR, facts=late)
    said["no-readings raised, the probe's clock is behind"] = wording.for_change(late_change, here)
    said["no-readings raised, one probe's clock is behind"] = wording.for_change(
        replace(late_change, probe="porch/floor", priority=Priority.WARNING), here
    )
    never = Facts(**{k: v for k, v in late.items() if k != "temp_c"})
    said["no-readings raised, the probe's clock was behind from the start"] = wording.for_change(
        replace(late_change, facts=never), here
    )
    gone = Facts(reason="no batch in the brooder", lasted_s=600.0, extreme_c=30.1)
    said["cold cleared, the chicks are out"] = wording.for_change(
        change(AlarmName.COLD, ChangeKind.CLEARED, facts=gone), here
    )
    hardening = Facts(**{**FACTS[AlarmName.READY_TO_MOVE], "reason": "harden off"})
    said["ready-to-move raised, harden off"] = wording.for_change(
        change(AlarmName.READY_TO_MOVE, facts=hardening), here
    )
    unknown = {k: v for k, v in FACTS[AlarmName.READY_TO_MOVE].items() if "outside" not in k}
    said["ready-to-move raised, nights not known"] = wording.for_change(
        change(AlarmName.READY_TO_MOVE, facts=Facts(**unknown)), here
    )
    voice = Voice(here)
    cold = wording.for_change(change(AlarmName.CHILL), here)
    said["reminder"] = life.again(cold, 1500, 2)
    said["reminder, brief"] = replace(said["reminder"], body=said["reminder"].brief)
    said["answered, and no better"] = life.asked_anew(cold, voice, "you", NIGHT, NIGHT + 3600)
    said["answered, and no better, brief"] = replace(
        said["answered, and no better"], body=said["answered, and no better"].brief
    )
    silent = wording.for_change(change(AlarmName.NO_READINGS), here)
    said["answered, and still silent"] = life.asked_anew(silent, voice, "page", NIGHT, NIGHT + 3600)
    said["passed on"] = life.passed_on(cold, 900, ["my phone"], [])
    said["several silent"] = site_silent(
        [change(AlarmName.NO_READINGS), change(AlarmName.NO_READINGS, brooder="shed")], voice
    )
    said["trial"] = life.trial(voice, "my phone", NIGHT)
    said["morning, quiet"] = morning([quiet_box()], Gathered(), voice, local(11, 7))
    said["morning, a bad night"] = morning(
        [bad_box()],
        Gathered(
            advice=[("porch", "getting crowded. Make the box larger or split the batch.")],
            still=["porch too cold"],
            watch=["03:12 broker cannot be reached"],
        ),
        voice,
        local(11, 7),
    )
    return said


def night(
    low_c: float, low_at: float, high_c: float, high_at: float, below_s: float = 0.0,
    unseen_s: float = 0.0,
) -> NightStatus:  # fmt: skip
    return NightStatus(
        since_at=local(10, 18),
        low_c=low_c,
        low_at=low_at,
        high_c=high_c,
        high_at=high_at,
        below_s=below_s,
        above_s=0.0,
        unseen_s=unseen_s,
    )


def quiet_box() -> BoxMorning:
    return BoxMorning(
        brooder="porch",
        night=night(33.4, local(11, 5, 10), 36.1, local(10, 21)),
        now_c=34.8,
        target_c=35.0,
        head_count=98,
        age_days=6,
        next_target_c=32.2,
    )


def test_a_reason_to_wait_with_moving_out_is_said_once_where_it_is_the_same():
    wait, other = "Not out yet: nights of 39 °F.", "Not out yet: nights of 41 °F."
    porch = replace(quiet_box(), moving=wait)
    shed = replace(porch, brooder="shed")
    both = morning([porch, shed], Gathered(), Voice(site()), NIGHT).body
    assert both.splitlines().count(wait) == 1
    shed = replace(shed, moving=other)
    each = morning([porch, shed], Gathered(), Voice(site()), NIGHT).body.splitlines()
    assert f"porch: {wait}" in each
    assert f"shed: {other}" in each


def test_a_lost_broker_says_since_when_nothing_has_come_in():
    words = wording.for_change(change(AlarmName.BROKER_LOST), site())
    assert words.body.startswith("No readings have come in since ")


@pytest.mark.parametrize(
    ("kinds", "do"),
    [
        (("lamp",), "Raise the lamp."),
        (("lamp", "plate"), "Raise the lamp or turn it off."),
        (("lamp", "lamp"), "Raise a lamp or turn one off."),
        (("plate",), "Turn the heat down."),
    ],
)
@pytest.mark.parametrize("alarm", [AlarmName.HOT, AlarmName.OVERHEAT])
def test_what_to_do_about_heat_is_what_this_box_can_do(alarm, kinds, do):
    heat = tuple(HeatSource(name=f"{k} {n}", kind=k, watts=100) for n, k in enumerate(kinds))
    here = site()
    here = replace(here, brooders=(replace(here.brooders[0], heat=heat),))
    first = wording.for_change(change(alarm), here).body.splitlines()[0]
    assert first.endswith(f" {do}")


@pytest.mark.parametrize(
    ("cover", "do"), [("plywood", "Go now. Open the cover. Raise"), ("wire", "Go now. Raise")]
)
def test_where_it_is_dangerously_hot_a_cover_comes_off_first(cover, do):
    """In the sun it is not the lamp that makes it hot."""
    here = site()
    here = replace(here, brooders=(replace(here.brooders[0], cover=cover),))
    assert do in wording.for_change(change(AlarmName.OVERHEAT), here).body


@pytest.mark.parametrize(("either", "told"), [(False, True), (True, False)])
def test_whoever_finds_all_of_the_heat_on_is_told_to_see_to_the_cover(either, told):
    """A cover that is blown off may look like a lamp that died."""
    lost = change(AlarmName.HEAT_LOSS)
    body = wording.for_change(replace(lost, facts=lost.facts | Facts(either=either)), site()).body
    assert ("If all of the heat is on, see that the cover is too." in body) is told
    assert "cover" in body


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(12.4, " Dangerously hot in about 12 min."), (0.3, ""), (-4.0, ""), (75.0, "")],
)
def test_a_floor_that_is_too_hot_and_rises_says_how_long_until_it_is_dangerous(minutes, said):
    """On the locked phone, after what to do; not what is minutes away or further than it rises."""
    facts = Facts(FACTS[AlarmName.HOT], minutes_to_overheat=minutes)
    words = wording.for_change(change(AlarmName.HOT, facts=facts), site())
    first = words.body.splitlines()[0]
    assert first.endswith(f"Raise a lamp or turn one off.{said}")
    assert len(f"{words.title}\n{first}") <= LOCK_SCREEN


@pytest.mark.parametrize(
    ("alarm", "now"),
    [(AlarmName.OVERHEAT, {"temp_c": 38.5, "overheat_c": 39.0}), (AlarmName.HOT, {"temp_c": 36.0})],
)
@pytest.mark.parametrize(("kind", "told"), [("lamp", True), ("plate", False)])
def test_heat_that_comes_warns_of_a_lamp_that_slipped_where_there_is_a_lamp(kind, told, alarm, now):
    """Coming fast, or in a floor that is not too hot yet."""
    here = site()
    heat = (HeatSource(name="west", kind=kind, watts=100),)
    here = replace(here, brooders=(replace(here.brooders[0], heat=heat),))
    facts = Facts(**{**FACTS[alarm], **now})
    body = wording.for_change(change(alarm, facts=facts), here).body
    assert ("pull its plug before you touch it" in body) is told


def test_past_the_limit_of_their_age_it_is_dangerously_hot_and_no_longer_soon():
    """Of day-old chicks the limit lies nearer their target than of older ones."""
    early, late = [
        wording.for_change(change(AlarmName.OVERHEAT, facts=facts), site())
        for temp_c in (38.9, 39.1)
        for facts in [Facts(FACTS[AlarmName.OVERHEAT], temp_c=temp_c, overheat_c=39.0)]
    ]
    assert (early.title, late.title) == ("porch: soon dangerously hot", "porch: dangerously hot")
    assert "The floor is rising; above 39.0 °C it is dangerously hot." in early.body
    assert "It has been this hot since " in late.body


@pytest.mark.parametrize("value_c", [85.0, 127.94, -127.0, -80.0, 400.0])
def test_what_a_sensor_says_when_it_is_not_well_is_given_in_both_units(value_c):
    """It is kept as words, and one site reads Celsius, another Fahrenheit."""
    why = Facts(reason=fault_of(value_c) or "")
    for units in (Unit.CELSIUS, Unit.FAHRENHEIT):
        words = wording.for_change(change(AlarmName.PROBE_FAULT, facts=why), site(units))
        assert "°C" in words.body
        assert "°F" in words.body


def bad_box() -> BoxMorning:
    return BoxMorning(
        brooder="porch",
        night=night(27.4, local(11, 3, 5), 35.6, local(10, 20), below_s=4500, unseen_s=1260),
        alarms=("02:08 heat has stopped", "02:40 dangerously cold"),
        now_c=31.6,
        target_c=35.0,
        head_count=96,
        age_days=3,
    )


def test_a_night_with_hours_that_nobody_watched_is_neither_quiet_nor_never_too_cold():
    seen = night(27.4, local(11, 3, 5), 35.6, local(10, 20), unseen_s=240.0)
    unseen = replace(bad_box(), alarms=(), night=replace(seen, unseen_s=9 * 3600.0))
    words = morning([unseen], Gathered(), Voice(site()), NIGHT)
    assert "quiet" not in words.title
    assert "Not watched for 9 h" in words.body
    assert "never too cold or too hot while it was watched." in words.body
    short = replace(unseen, night=seen)
    assert "never too cold or too hot." in (morning([short], Gathered(), Voice(site()), NIGHT).body)


@given(
    alarms=st.lists(st.just("02:08 on Friday heat has stopped"), max_size=40),
    boxes=st.integers(1, 30),
    advice=st.integers(0, 8),
)
def test_a_morning_message_is_read_at_a_glance(alarms, boxes, advice):
    box = replace(bad_box(), alarms=tuple(alarms))
    many = [replace(box, brooder=f"box {n}") for n in range(boxes)]
    gathered = Gathered(
        advice=[("porch", "getting crowded. Make the box larger or split the batch.")] * advice,
        still=["porch too cold"] * boxes,
        watch=list(alarms),
    )
    words = morning(many, gathered, Voice(site()), NIGHT)
    assert len(f"{words.title}\n{words.body}") <= 600
    assert words.body.startswith("Needs attention now: porch too cold")


def test_what_waits_for_one_of_two_boxes_names_it_and_what_waits_for_both_names_none():
    waits = "Not out yet: nights of 3.0 °C."
    one, other = BoxMorning(brooder="porch"), BoxMorning(brooder="shed")
    for boxes, line in (
        ([one, replace(other, moving=waits)], f"shed: {waits}"),
        ([replace(one, moving=waits), replace(other, moving=waits)], waits),
    ):
        said = morning(boxes, Gathered(), Voice(site()), NIGHT).body.splitlines()
        assert [each for each in said if waits in each] == [line]


def as_text(messages: dict[str, Words]) -> str:
    return "\n".join(
        f"== {name}\n{words.title}\n{words.body}\n" for name, words in messages.items()
    )


def test_every_message_reads_as_agreed():
    text = as_text(all_messages())
    if os.environ.get("WRITE_GOLDEN"):
        GOLDEN.write_text(text, encoding="utf-8")
    agreed = GOLDEN.read_text(encoding="utf-8")
    assert text.split("\n== ") == agreed.split("\n== ")


@pytest.mark.parametrize("alarm", URGENT)
@pytest.mark.parametrize("kind", [ChangeKind.RAISED, ChangeKind.ESCALATED])
@pytest.mark.parametrize("units", [Unit.CELSIUS, Unit.FAHRENHEIT])
def test_a_locked_phone_shows_brooder_trouble_now_target_and_what_to_do(alarm, kind, units):
    here = site(units)
    words = wording.for_change(change(alarm, kind), here)
    seen = f"{words.title}\n{words.body}"[:LOCK_SCREEN]
    voice = Voice(here)
    facts = FACTS[alarm]
    assert "porch" in seen
    assert re.search(r"cold|hot|heat has stopped|no readings", seen)
    if alarm is not AlarmName.UNWATCHED:  # of which no probe tells
        assert voice.temp(facts["temp_c"]) in seen
        assert f"should be {voice.temp(facts['target_c'])}" in seen
    assert re.search(r"Check [a-z ]+ first\.|Raise a lamp|Go and look at the chicks\.", seen)


@pytest.mark.parametrize(
    ("alarm", "temp_c", "title"),
    [
        (AlarmName.HOT, 21.9, "porch: no longer too hot, but too cold now"),
        (AlarmName.OVERHEAT, 21.9, "porch: no longer too hot, but too cold now"),
        (AlarmName.CHILL, 41.0, "porch: no longer too cold, but too hot now"),
        (AlarmName.CHILL, 31.0, "porch: still too cold"),
        (AlarmName.HEAT_LOSS, 31.0, "porch: still too cold"),
        (AlarmName.OVERHEAT, 38.5, "porch: still too hot"),
        (AlarmName.COLD, 34.9, "porch: back to normal"),
    ],
)
def test_a_floor_that_is_still_on_its_wrong_side_or_went_to_the_other_is_not_back_to_normal(
    alarm, temp_c, title
):
    facts = Facts(temp_c=temp_c, target_c=35.0, low_c=32.2, high_c=37.8, lasted_s=700.0)
    words = wording.for_change(change(alarm, ChangeKind.CLEARED, facts=facts), site())
    assert words.title == title
    assert ("normal" in words.title) == (temp_c == 34.9)
    assert f"Now {temp_c} °C, should be 35.0 °C." in words.body


@pytest.mark.parametrize(
    ("alarm", "temp_c", "extreme_c", "rate_c_per_h", "title"),
    [
        (AlarmName.CHILL, 31.0, 28.0, 4.0, "porch: dangerously cold, but warming"),
        (AlarmName.COLD, 31.0, 28.0, 4.0, "porch: too cold, but warming"),
        (AlarmName.COLD, 31.0, 30.8, 4.0, "porch: too cold"),  # no more than it strays by
        (AlarmName.CHILL, 29.0, 26.0, 4.0, "porch: dangerously cold"),  # 48 min more below
        (AlarmName.HOT, 37.5, 39.0, -2.0, "porch: too hot, but cooling"),
        (AlarmName.HOT, 37.5, 39.0, 2.0, "porch: too hot"),  # and on its way up again
        (AlarmName.HOT, 38.5, 39.0, -2.0, "porch: too hot"),
    ],
)
def test_a_reminder_says_that_it_is_coming_right(alarm, temp_c, extreme_c, rate_c_per_h, title):
    facts = Facts(temp_c=temp_c, target_c=35.0, low_c=32.2, high_c=37.8, chill_c=29.4)
    facts |= Facts(extreme_c=extreme_c, rate_c_per_h=rate_c_per_h, since=NIGHT)
    words = wording.for_change(change(alarm, facts=facts), site())
    assert words.title == title
    right = "It is warming: look" in words.body or "It is cooling: look" in words.body
    assert right is ("but" in title)
    assert "first." not in words.body or not right
    beyond = "Above 37.8 °C since", "Below the chill limit of 29.4 °C since"
    assert not right or not any(word in words.body for word in beyond), "it is that no more"


@pytest.mark.parametrize(
    ("alarm", "place", "said"),
    [
        (AlarmName.OVERHEAT, "cool-end", True),
        (AlarmName.HOT, "cool-end", True),
        (AlarmName.HOT, "under-heat", False),  # it is hot there too
        (AlarmName.COLD, "cool-end", False),
    ],
)
def test_beside_a_cool_end_the_one_probe_on_the_floor_may_have_a_chick_on_it(alarm, place, said):
    probes = [
        ProbeFact(probe="porch/floor", place="floor", temp_c=38.5),
        ProbeFact(probe="porch/other", place=place, temp_c=30.0),
    ]
    facts = Facts(temp_c=38.5, target_c=35.0, low_c=32.2, high_c=37.8, age_days=3, probes=probes)
    told = replace(change(alarm, facts=facts), cause=Cause.UNKNOWN)
    body = wording.for_change(told, site()).body
    assert ("a chick may lie on it" in body) is said
    assert "All probes: floor 38.5 °C, other 30.0 °C." in body


def test_a_lowest_that_is_no_more_to_come_is_given_no_time():
    facts = Facts(temp_c=38.5, target_c=35.0, low_c=32.2, high_c=37.8, lowest_c=31.0)
    for lowest_at, said in ((NIGHT, False), (NIGHT + 7200, True)):
        told = change(AlarmName.HOT, facts=facts | Facts(lowest_at=lowest_at))
        body = wording.for_change(replace(told, at=NIGHT), site()).body
        assert "Tonight it is likely to go down to 31.0 °C" in body
        assert (" about " in body) is said


def test_what_one_doubtful_probe_said_is_not_told_as_the_floor_when_it_is_over():
    facts = Facts(temp_c=33.0, target_c=32.2, low_c=29.4, high_c=35.0, lasted_s=3780.0)
    facts |= Facts(extreme_c=6.4, quiet_s=120.0)
    over = change(AlarmName.CHILL, ChangeKind.CLEARED, facts=facts)
    over = replace(over, cause=Cause.SENSOR, probe="porch/far floor")
    assert wording.for_change(over, site()).body.splitlines()[:2] == [
        "Now 33.0 °C, should be 32.2 °C. The far floor probe read too cold for 63 min, "
        "lowest 6.4 °C; it may have been wrong. The floor has been right for 2 min.",
        "Check that every chick is on its feet.",
    ]


@pytest.mark.parametrize(
    ("alarm", "act"),
    [(AlarmName.CHILL, ""), (AlarmName.HOT, "Raise"), (AlarmName.OVERHEAT, "Open")],
)
def test_of_a_probe_that_may_be_wrong_a_locked_phone_shows_that_and_to_look(alarm, act):
    """Forty times in a night a jumping probe asked for a lamp to be raised."""
    told = change(alarm)
    doubted = replace(
        told, facts=told.facts | Facts(doubt="the floor probe may be wrong: it jumps")
    )
    words = wording.for_change(doubted, site())
    assert words.title.endswith(", if the probe is right")
    assert "The floor probe may be wrong: it jumps." in words.body
    if act:
        first = words.body.splitlines()[0]
        assert first.endswith("Check the probe and the chicks.")
        assert act in wording.for_change(told, site()).body.splitlines()[0]


@pytest.mark.parametrize("alarm", OF_THE_SITE)
def test_a_locked_phone_shows_what_is_wrong_with_the_watch_and_what_to_do(alarm):
    words = wording.for_change(change(alarm), site())
    assert "Go and look at the chicks." in f"{words.title}\n{words.body}"[:LOCK_SCREEN]


@pytest.mark.parametrize("alarm", URGENT)
def test_a_reminder_keeps_what_a_locked_phone_shows(alarm):
    words = life.again(wording.for_change(change(alarm), site(Unit.FAHRENHEIT)), 1500, 12)
    seen = f"{words.title}\n{words.body}"[:LOCK_SCREEN]
    assert alarm is AlarmName.UNWATCHED or "should be 95.0 °F" in seen
    assert re.search(r"Check [a-z ]+ first\.|Raise a lamp|Go and look at the chicks\.", seen)


@pytest.mark.parametrize("alarm", URGENT)
def test_what_is_asked_anew_keeps_what_a_locked_phone_shows(alarm):
    told = wording.for_change(change(alarm), site(Unit.FAHRENHEIT))
    words = life.asked_anew(told, Voice(site()), "my phone", NIGHT, NIGHT + 3600)
    seen = f"{words.title}\n{words.body}"[:LOCK_SCREEN]
    assert "porch" in seen
    assert "My phone answered at 02:20" in seen
    assert alarm is AlarmName.UNWATCHED or "should be 95.0 °F" in seen


def test_of_much_that_was_told_the_morning_names_what_came_last():
    """It named two of the afternoon, and left the lamp that died at two to "3 more"."""
    told = ("13:49 too hot", "15:31 dangerously hot", "20:45 cold night ahead", "02:02 lamp out")
    words = morning([replace(bad_box(), alarms=told)], Gathered(), Voice(site()), NIGHT)
    assert "Told since yesterday: 2 earlier; 20:45 cold night ahead; 02:02 lamp out." in words.body


def test_a_cold_night_that_is_over_is_not_said_to_hold_until_morning():
    ended = change(
        AlarmName.COLD_NIGHT, ChangeKind.CLEARED, facts=Facts(reason="the night is over")
    )
    words = wording.for_change(ended, site())
    assert words.body == "The night is over."


@pytest.mark.parametrize("reason", [RENEWED, NO_BIRDS, "out of service"])
@pytest.mark.parametrize("alarm", [AlarmName.PROBE_FAULT, AlarmName.NO_READINGS])
def test_an_alarm_that_ends_for_another_reason_does_not_say_that_it_came_right(alarm, reason):
    facts = Facts(**{**FACTS[alarm], "reason": reason, "lasted_s": 1680.0})
    ended = change(alarm, ChangeKind.CLEARED, facts=facts)
    words = wording.for_change(ended, site())
    assert "alarm ended" in words.title
    assert words.body.lower().startswith(reason)
    assert "It lasted 28 min." in words.body
    assert not re.search("again|is back|are back", words.body)


@given(name=st.text("abcdefghij klm", min_size=1, max_size=40).filter(str.strip))
def test_a_long_name_of_a_brooder_does_not_push_the_figures_off_a_locked_phone(name):
    words = wording.for_change(change(AlarmName.CHILL, brooder=name), site(Unit.FAHRENHEIT))
    assert "should be 95.0 °F. Go now. Check" in f"{words.title}\n{words.body}"[:110]


@pytest.mark.parametrize("alarm", [AlarmName.COLD, AlarmName.HEAT_LOSS])
def test_minutes_left_say_that_they_are_minutes_to_the_chill_limit(alarm):
    words = wording.for_change(change(alarm), site())
    first, *more = words.body.splitlines()
    assert re.search(r"About \d+ min to the chill limit\.$", first), "all that matters in one line"
    assert any(line.startswith("The chill limit (29.4 °C) is likely ") for line in more)


def test_heat_that_escapes_is_told_as_the_cover_and_no_lamp_is_blamed():
    lost = change(AlarmName.HEAT_LOSS, ChangeKind.RAISED, cause=Cause.COVER_OPEN)
    words = wording.for_change(lost, site())
    said = "\n".join([words.title, words.body])
    assert "heat is escaping" in words.title
    assert "Check the cover first." in said
    assert "has most likely stopped" not in said
    for rate in (-0.1, 2.0):
        facts = Facts(**{**lost.facts, "rate_c_per_h": rate})
        body = wording.for_change(replace(lost, facts=facts), site()).body
        assert "Heat has been escaping since" in body
        assert "litter over a probe" not in body


@pytest.mark.parametrize(
    ("temp_c", "floor"), [(33.0, "holds for now"), (31.0, "falls hardly further for now")]
)
def test_a_floor_below_its_band_is_not_said_to_hold(temp_c, floor):
    facts = Facts(**{**FACTS[AlarmName.HEAT_LOSS], "temp_c": temp_c, "rate_c_per_h": -0.1})
    body = wording.for_change(change(AlarmName.HEAT_LOSS, facts=facts), site()).body
    assert f"has been missing since 02:14; the floor {floor}." in body


@pytest.mark.parametrize("alarm", [AlarmName.HEAT_LOSS, AlarmName.COLD, AlarmName.CHILL])
@pytest.mark.parametrize("cause", [Cause.HEAT_SOURCE, Cause.COVER_OPEN])
def test_where_the_floor_alone_cannot_tell_both_heat_and_cover_are_to_be_looked_at(alarm, cause):
    facts = Facts(**{**FACTS[AlarmName.HEAT_LOSS], "either": True})
    words = wording.for_change(change(alarm, cause=cause, facts=facts), site())
    seen = f"{words.title}\n{words.body}"[:LOCK_SCREEN]
    first = "west lamp and the cover" if cause is Cause.HEAT_SOURCE else "cover and the lamps"
    assert f"Check the {first}." in seen
    assert "the probes do not tell the two apart" in words.body
    assert "is it lit, is it plugged in" in words.body
    assert "If you hang a lamp: two separate supports" in words.body
    if alarm is AlarmName.HEAT_LOSS:
        assert words.title == "porch: heat or cover is off"


def test_in_the_hour_that_the_clocks_go_through_twice_a_time_says_which():
    voice = Voice(site())
    before = datetime(2026, 11, 1, 5, 30, tzinfo=UTC).timestamp()
    said = [voice.clock(before + hours * 3600.0, before) for hours in range(4)]
    assert said == ["00:30", "01:30 CDT", "01:30 CST", "02:30"]


def test_a_jump_of_a_probe_is_no_rate_an_hour():
    facts = Facts(**{**FACTS[AlarmName.CHILL], "rate_c_per_h": -928.9})
    words = wording.for_change(change(AlarmName.CHILL, facts=facts), site())
    assert "now falling very fast." in words.body
    facts = Facts(**{**FACTS[AlarmName.HEAT_LOSS], "rate_c_per_h": -928.9})
    words = wording.for_change(change(AlarmName.HEAT_LOSS, facts=facts), site())
    assert re.search(r"The floor has been falling since \d\d:\d\d, now very fast\.", words.body)


def test_an_outside_probe_is_not_compared_with_a_target():
    shade = replace(change(AlarmName.NO_READINGS, brooder=None), probe="site/shade")
    words = wording.for_change(shade, site())
    assert "Last 34.1 °C" in words.body
    assert "should be" not in words.body


def test_an_estimate_that_may_be_hours_off_has_no_upper_end():
    facts = Facts(**{**FACTS[AlarmName.COLD], "minutes_to_chill_high": 1440.0})
    words = wording.for_change(change(AlarmName.COLD, facts=facts), site())
    assert " or more away if nothing changes." in words.body
    assert "1440" not in words.body


@pytest.mark.parametrize("alarm", [AlarmName.COLD, AlarmName.HOT, AlarmName.OVERHEAT])
def test_what_one_probe_alone_says_is_to_be_checked_where_the_chicks_look_right(alarm):
    """An only probe that drifts can be known by nobody else."""
    one = ProbeFact(probe="porch/floor", place="floor", temp_c=34.0)
    two = [one, ProbeFact(probe="porch/far floor", place="floor", temp_c=34.4)]

    def said(cause: Cause, probes: list[ProbeFact]) -> str:
        facts = Facts(**{**FACTS[alarm], "probes": probes})
        return wording.for_change(change(alarm, cause=cause, facts=facts), site()).body

    assert "lay a thermometer beside it" in said(Cause.UNKNOWN, [one])
    assert "lay a thermometer" not in said(Cause.HEAT_SOURCE, [one]) + said(Cause.UNKNOWN, two)


def test_a_hot_probe_that_can_mean_fire_says_cut_the_power_first_on_the_locked_phone():
    words = wording.for_change(
        change(AlarmName.OVERHEAT, facts=Facts(temp_c=56.0, target_c=35.0)), site()
    )
    assert "cut the power first" in f"{words.title}\n{words.body}"[:LOCK_SCREEN]
    assert "before you touch anything" in words.body


@pytest.mark.parametrize("name", sorted(all_messages()))
def test_no_message_panics_shows_code_or_leaves_a_gap(name):
    words = all_messages()[name]
    text = f"{words.title}\n{words.body}"
    assert "!" not in text
    assert not re.search(r"\bNone\b|\bnan\b|[{}]|  |\.\.|\bError\b|[a-z]_[a-z]", text)
    assert all(line == line.strip() and line for line in words.body.splitlines())
    assert words.short == f"{words.title}. {words.body.splitlines()[0]}"


@pytest.mark.parametrize("alarm", list(AlarmName))
@pytest.mark.parametrize("kind", EVERY_KIND)
def test_a_change_without_any_facts_still_reads_as_a_message(alarm, kind):
    words = wording.for_change(change(alarm, kind, facts=Facts()), site())
    assert words.title
    assert words.body.strip()
    assert not re.search(r"\bNone\b|  |\.\.", words.body)


def test_the_same_message_in_fahrenheit_has_no_celsius_in_it():
    for alarm in AlarmName:
        facts = {k: v for k, v in FACTS[alarm].items() if k not in ("reason", "mend")}
        words = wording.for_change(change(alarm, facts=Facts(**facts)), site(Unit.FAHRENHEIT))
        assert "°C" not in f"{words.title}{words.body}"


LAMPS = [("lamp", 250.0)]
PLATE = [("plate", 100.0)]


@pytest.mark.parametrize(
    ("heat", "mend", "careful"),
    [
        (PLATE, "hang a heat lamp of 250 W", True),
        (PLATE, "cover it with plywood, leaving a gap for fresh air", False),
        (LAMPS, "cover it with plywood, clear of the lamps, leaving a gap for fresh air", True),
    ],
)
@pytest.mark.parametrize("alarm", [AlarmName.COLD_NIGHT, AlarmName.COLD, AlarmName.CHILL])
def test_a_lamp_is_never_named_without_how_to_hang_it(alarm, heat, mend, careful):
    facts = Facts(**{**FACTS[alarm], "mend": [mend]})
    words = wording.for_change(change(alarm, cause=Cause.COLD_NIGHT, facts=facts), heated(*heat))
    assert mend in words.body
    assert ("two separate supports" in words.body) == careful


@pytest.mark.parametrize(
    ("lamps", "says"),
    [
        (2, None),
        (5, "takes 1250 W; one circuit should carry no more than 1440 W all night, so add 190 W"),
        (6, "takes 1500 W; one circuit should carry no more than 1440 W all night, so add nothing"),
    ],
)
def test_who_is_told_to_add_heat_is_told_what_the_circuit_still_bears(lamps, says):
    words = cold_night(heated(*LAMPS * lamps))
    assert (says in words.body) if says else ("circuit" not in words.body)


@pytest.mark.parametrize("name", list(AlarmName))
def test_every_alarm_has_a_word_for_when_it_is_over(name: AlarmName):
    assert was_words(name)


def test_what_comes_back_does_not_say_that_it_has_waited_for_no_time():
    cold = wording.for_change(change(AlarmName.CHILL), site(Unit.FAHRENHEIT))
    assert "It has come back, and nobody has answered." in life.again(cold, 0, 1).body


def test_a_floor_above_the_chill_limit_is_not_said_to_be_below_it():
    """The estimate runs ahead of a probe that lags."""
    lost = change(AlarmName.HEAT_LOSS)
    told = Facts(
        **{**lost.facts, "temp_c": 30.1, "chill_c": 29.4, "minutes_to_chill": 0.0},
    )
    assert "The chill limit is minutes away." in _body(lost, told)
    assert "below the chill limit already" in _body(lost, Facts(**{**told, "temp_c": 29.3}))


def _body(lost: Change, facts: Facts) -> str:
    return wording.for_change(replace(lost, facts=facts), site()).body


def test_a_source_told_by_its_own_probe_alone_says_that_litter_may_lie_over_that():
    """The floor holds: nobody can tell from afar."""
    beneath = ProbeFact(probe="porch/under west lamp", place="under-heat", temp_c=31.0)
    facts = Facts(**{**FACTS[AlarmName.HEAT_LOSS], "rate_c_per_h": 0.0, "probes": [beneath]})
    said = wording.for_change(
        change(AlarmName.HEAT_LOSS, facts=facts, cause=Cause.HEAT_SOURCE), site()
    )
    assert "look for litter over a probe beneath it" in said.body


@pytest.mark.parametrize(
    ("name", "said"),
    [("west lamp", "the west lamp"), ("lamp-1", "lamp-1"), ("lamp 12", "lamp 12"), ("B", "B")],
)
def test_a_source_that_bears_a_number_or_a_letter_is_called_by_that_alone(name, said):
    here = site()
    porch = replace(here.brooders[0], heat=(HeatSource(name=name, kind="lamp", watts=250),))
    facts = Facts(**{**FACTS[AlarmName.HEAT_LOSS], "source": name, "source_sure": True})
    lost = change(AlarmName.HEAT_LOSS, facts=facts, cause=Cause.HEAT_SOURCE)
    body = wording.for_change(lost, replace(here, brooders=(porch,))).body
    assert f"Check {said} first." in body
    assert f"\n{said[0].upper()}{said[1:]} (250 W) has most likely stopped." in body


@pytest.mark.parametrize(
    ("least", "rate_c_per_h", "time"),
    [
        (0.4, -4.2, False),
        (5.0, -4.2, False),
        (20.0, -4.2, True),
        (None, -4.2, True),  # 3.6 K in 51 min at this pace, in 26 if it grows
        (None, -9.0, False),
        (None, 0.0, True),
    ],
)
def test_there_is_time_to_act_only_where_there_is(
    least: float | None, rate_c_per_h: float, time: bool
):
    facts = Facts(**{**FACTS[AlarmName.HEAT_LOSS], "low_c": 32.2, "temp_c": 33.0})
    facts["rate_c_per_h"] = rate_c_per_h
    facts["minutes_to_chill"], facts["minutes_to_chill_low"] = 45.0, least or 0.0
    if least is None:
        del facts["minutes_to_chill"], facts["minutes_to_chill_low"], facts["minutes_to_chill_high"]
    words = wording.for_change(change(AlarmName.HEAT_LOSS, facts=facts), site())
    assert ("time to act" in words.body) is time


@pytest.mark.parametrize(
    ("low", "left", "first", "spread"),
    [
        (0.4, 45.0, "About 45 min to the chill limit, perhaps only minutes.", "less than 2 h"),
        (5.2, 45.0, "About 45 min to the chill limit, perhaps only 5 min.", "5 min to 2 h"),
        (20.0, 45.0, "About 45 min to the chill limit.", "20 min to 2 h"),
        (3.0, 11.0, "About 11 min to the chill limit.", "3 min to 2 h"),
    ],
)
def test_who_may_think_that_there_is_time_is_told_how_soon_it_may_be(
    low: float, left: float, first: str, spread: str
):
    facts = Facts(**FACTS[AlarmName.HEAT_LOSS])
    facts["minutes_to_chill_low"], facts["minutes_to_chill"] = low, left
    facts["minutes_to_chill_high"] = 120.0
    said = wording.for_change(change(AlarmName.HEAT_LOSS, facts=facts), site()).body
    assert first in said.splitlines()[0]
    assert f"is likely {spread} away if nothing changes." in said


@pytest.mark.parametrize(
    ("alarm", "extreme_c", "said"),
    [
        (AlarmName.HOT, 36.9, "It was getting too hot, but came to rest before that."),
        (AlarmName.HOT, 39.0, "It was too hot for 38 min, highest 39.0 °C."),
        (
            AlarmName.HEAT_LOSS,
            33.0,
            "Some of its heat seemed to be missing for 38 min; it stayed warm enough, lowest 33.0",
        ),
        (AlarmName.HEAT_LOSS, 31.0, "It was without some of its heat for 38 min, lowest 31.0 °C."),
    ],
)
def test_what_is_over_was_no_worse_than_it_was(alarm: AlarmName, extreme_c: float, said: str):
    facts = Facts(lasted_s=2280.0, extreme_c=extreme_c, low_c=32.2, high_c=37.8)
    words = wording.for_change(change(alarm, ChangeKind.CLEARED, facts=facts), site())
    assert said in words.body
    assert ("every chick is on its feet" in words.body) is (extreme_c == 31.0)


@pytest.mark.parametrize(
    ("temp_c", "rate_c_per_h", "is_back"),
    [(29.0, 3.0, True), (29.0, -3.0, True), (23.5, 0.5, False), (29.0, -7.0, False)],
)
@pytest.mark.parametrize("alarm", [AlarmName.CHILL, AlarmName.COLD, AlarmName.HEAT_LOSS])
def test_a_floor_that_has_come_up_again_no_longer_has_all_its_heat_stopped(
    alarm: AlarmName, temp_c: float, rate_c_per_h: float, is_back: bool
):
    facts = Facts(**{**FACTS[alarm], "source": "every heat source", "source_sure": True})
    facts |= Facts(temp_c=temp_c, extreme_c=23.0, rate_c_per_h=rate_c_per_h)
    told = change(alarm, cause=Cause.HEAT_SOURCE, facts=facts)
    body = wording.for_change(told, site()).body
    assert ("See that all of the heat and the cover are on." in body) is is_back
    assert ("It was down to 23.0 °C and has come up since" in body) is is_back
    assert ("has most likely stopped" in body) is not is_back
    assert not (is_back and "has been falling" in body)
    night = wording.for_change(replace(told, cause=Cause.COLD_NIGHT), site()).body
    if alarm is not AlarmName.HEAT_LOSS:
        assert "Cover the box more or add heat." in night
        assert "some of the heat is back" not in night, "none was lost"


@pytest.mark.parametrize(
    ("rate", "highest_c", "cools"),
    [(-5.0, 38.2, True), (0.0, 39.5, True), (0.0, 38.5, False), (5.0, 38.5, False)],
)
def test_a_floor_that_cools_again_is_not_said_to_heat_up(
    rate: float, highest_c: float, cools: bool
):
    facts = Facts(**FACTS[AlarmName.OVERHEAT])
    facts |= Facts(
        temp_c=38.2, extreme_c=highest_c, overheat_c=39.0, high_c=37.8, rate_c_per_h=rate
    )
    words = wording.for_change(change(AlarmName.OVERHEAT, facts=facts), site())
    what = "too hot, but cooling" if cools else "soon dangerously hot"
    assert words.title == f"porch: {what}"
    assert ("slipped" in words.body) is not cools
    assert ("above 39.0 °C it is dangerously hot" in words.body) is not cools


def test_a_floor_that_stays_at_its_limit_is_neither_cooling_nor_soon_there():
    facts = Facts(**FACTS[AlarmName.OVERHEAT])
    facts |= Facts(temp_c=38.9, extreme_c=39.1, overheat_c=39.0, rate_c_per_h=0.2)
    facts |= Facts(minutes_to_overheat=30.0)
    words = wording.for_change(change(AlarmName.OVERHEAT, facts=facts), site())
    assert words.title == "porch: dangerously hot"
    assert "angerously hot in about" not in words.body
