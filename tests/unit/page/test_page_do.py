"""The ledger written from the page, over real HTTP."""

import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from urllib.parse import quote

import pytest
from support.fake_api import NIGHT, FakeApi, alarm, brooder, failing_porch, status
from support.served import Served
from support.visitor import Answer, Visitor

from monitor.brooding.ledger import fold
from monitor.events import AlarmName, EntryKind
from monitor.tell.missing import Missing
from monitor.watch.alarm_table import CLEANING
from monitor.watch.life_cycle import AlarmState


@pytest.fixture
def served() -> Iterator[Served]:
    with Served(FakeApi(shown=status(failing_porch())), clock=lambda: NIGHT) as page:
        yield page


@pytest.fixture
def visitor(served: Served) -> Visitor:
    visitor = Visitor(served.port)
    visitor.get("/do")
    return visitor


def hidden(answer: Answer) -> dict[str, str]:
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', answer.body)
    return {unescape(name): unescape(value) for name, value in found if name != "next"}


def confirm(visitor: Visitor, path: str, asked: Answer) -> Answer:
    assert asked.status == 200, asked.words
    return visitor.send_form(path, {**hidden(asked), "sure": "yes"}, {})


def test_nothing_is_written_before_it_is_confirmed(served: Served, visitor: Visitor):
    asked = visitor.send("/do/loss", brooder="porch", count="2", note="wet")
    assert "Porch: 2 lost. Wet." in asked.words
    assert served.api.submitted == []
    done = confirm(visitor, "/do/loss", asked)
    assert (done.status, done.headers["location"]) == (303, "/do?kept=4")
    (entry,) = served.api.submitted
    assert (entry.entry, entry.brooder, entry.count, entry.note, entry.at, entry.by) == (
        EntryKind.LOSS,
        "porch",
        2,
        "wet",
        NIGHT,
        "page",
    )
    assert "Written down as entry 4. Porch: 2 lost. Wet." in visitor.get("/do?kept=4").words


def test_changed_heat_is_one_tap_that_can_be_taken_back(served: Served, visitor: Visitor):
    screen = visitor.get("/do")
    done = confirm(visitor, "/do/heat-changed", screen)
    assert (done.status, done.headers["location"]) == (303, "/do?kept=4")
    (entry,) = served.api.submitted
    assert (entry.entry, entry.brooder, entry.at) == (EntryKind.HEAT_CHANGED, "porch", NIGHT)
    said = visitor.get("/do?kept=4").words
    assert "Written down as entry 4. Porch: The heat was changed. Take it back" in said


def test_what_the_disk_does_not_take_is_said_beside_it(served: Served, visitor: Visitor):
    served.api.disk_takes = False
    confirm(visitor, "/do/loss", visitor.send("/do/loss", brooder="porch", count="2"))
    said = visitor.get("/do?kept=4").words
    assert "Kept in memory only: the disk does not take it." in said
    assert "write it again" not in said, "once the disk takes it, it is there: it would stand twice"
    assert "Porch: 2 lost. In memory only." in said
    assert "New litter. In memory only." not in said
    there = f"/alarm/{quote(served.api.status().all_alarms[0].occurrence, safe='')}/acknowledge"
    answered = confirm(visitor, there, visitor.get(there))
    assert "kept in memory only" in visitor.get(answered.headers["location"]).words


def test_a_thumb_that_taps_twice_writes_once(served: Served, visitor: Visitor):
    asked = visitor.send("/do/loss", brooder="porch", count="2")
    first = confirm(visitor, "/do/loss", asked)
    second = confirm(visitor, "/do/loss", asked)
    assert first.headers["location"] == second.headers["location"]
    assert len(served.api.submitted) == 1


def test_what_was_filled_in_is_kept_when_something_is_wrong(visitor: Visitor):
    answer = visitor.send("/do/loss", brooder="porch", count="two", note='by the "wall"')
    assert answer.status == 422
    assert 'value="two"' in answer.body
    assert "by the &#34;wall&#34;</textarea>" in answer.body
    assert 'aria-invalid="true"' in answer.body
    assert "How many: a whole number from 1 to 100000." in answer.words


@pytest.mark.parametrize(
    ("path", "form", "field", "words"),
    [
        ("/do/loss", {"count": "99"}, "count", "porch has 98 birds"),
        ("/do/loss", {"count": "0"}, "count", "whole number from 1"),
        ("/do/loss", {"count": "-1"}, "count", "whole number from 1"),
        ("/do/loss", {"count": "1.5"}, "count", "whole number from 1"),
        ("/do/loss", {"count": "²"}, "count", "whole number from 1"),
        ("/do/loss", {"count": "1", "brooder": "shed"}, "brooder", "choose one"),
        ("/do/loss", {"count": "1", "at": "2026-02-10T04:00"}, "at", "still to come"),
        ("/do/loss", {"count": "1", "at": "yesterday"}, "at", "2026-03-01T06:30"),
        ("/do/loss", {"count": "1", "at": "2020-02-10T04:00"}, "at", "more than a year ago"),
        ("/do/loss", {"count": "1", "note": "x" * 501}, "note", "at most 500"),
        ("/do/note", {"note": "  "}, "note", "needs some words"),
        (
            "/do/place",
            {"kind": "broiler", "count": "5", "hatched": "soon"},
            "hatched",
            "like 2026-03-01",
        ),
        (
            "/do/place",
            {"kind": "broiler", "count": "5", "hatched": "2026-02-20"},
            "hatched",
            "after the day they were placed",
        ),
        (
            "/do/place",
            {"kind": "broiler", "count": "5", "hatched": "2026-02-12", "at": "2026-02-12T09:00"},
            "at",
            "enter it under &#34;Chicks are to come&#34;",
        ),
        ("/do/place", {"kind": "eagle", "count": "5", "hatched": "2026-02-01"}, "kind", "choose"),
        (
            "/do/place",
            {"kind": "duck", "count": "5", "hatched": "2026-02-09"},
            "brooder",
            "one box has one target",
        ),
    ],
)
def test_what_is_wrong_is_said_beside_its_field(
    served: Served, visitor: Visitor, path: str, form: dict[str, str], field: str, words: str
):
    answer = visitor.send(path, **{"brooder": "porch", **form})
    assert answer.status == 422
    beside = answer.body.partition(f'id="{field}-wrong">')[2].partition("</p>")[0]
    assert words in beside
    assert served.api.submitted == []


def test_moved_without_a_number_means_all(served: Served, visitor: Visitor):
    asked = visitor.send("/do/moved", brooder="porch", count="")
    assert "Porch: all moved out." in asked.words
    assert "an empty box is not watched for cold. Is that right?" in asked.words
    confirm(visitor, "/do/moved", asked)
    assert served.api.submitted[0].count is None


@pytest.fixture
def two_boxes(served: Served) -> FakeApi:
    porch = served.api.site.brooders[0]
    shed = replace(porch, name="shed", probes=())
    served.api.site = replace(served.api.site, brooders=(porch, shed))
    return served.api


def taken(api: FakeApi) -> list[tuple[str, str | None, int | None]]:
    return [(e.entry.value, e.brooder, e.count or e.undoes) for e in api.submitted]


def test_a_split_is_written_looked_over_and_taken_back_as_one(two_boxes: FakeApi, visitor: Visitor):
    assert "No, out of here" in visitor.get("/do/moved?brooder=porch").words
    asked = visitor.send("/do/moved", brooder="porch", count="40", into="shed", note="crowded")
    assert "Porch: 40 moved out. Into shed; crowded." in asked.words
    assert "Shed: 40 meat chicks placed, hatched" in asked.words
    assert "reared elsewhere" not in asked.words
    assert two_boxes.submitted == []
    confirm(visitor, "/do/moved", asked)
    assert taken(two_boxes) == [("moved", "porch", 40), ("placed", "shed", 40)]
    ledger = fold([*two_boxes.entries, *two_boxes.submitted])
    assert {box: ledger.batches[i].root for box, i in ledger.open.items()} == {
        "porch": 1,
        "shed": 1,
    }
    for half in two_boxes.submitted:
        asked = visitor.get(f"/do/undo/{half.number}")
        assert "Porch: 40 moved out." in asked.words
        assert "Shed: 40 meat chicks placed" in asked.words
    first, second = (half.number for half in two_boxes.submitted)
    confirm(visitor, f"/do/undo/{first}", asked)
    assert taken(two_boxes)[2:] == [("undo", None, second), ("undo", None, first)]


@pytest.mark.parametrize(
    ("into", "says"),
    [
        ("porch", "Which other box: choose one."),
        ("barn", "Which other box: choose one."),
        ("shed", "and one box has one target"),
    ],
)
def test_of_a_split_that_cannot_be_nothing_is_written(
    two_boxes: FakeApi, visitor: Visitor, into: str, says: str
):
    ducks = replace(two_boxes.entries[0], number=0, brooder="shed", kind="duck")
    two_boxes.entries.append(
        replace(ducks, number=len(two_boxes.entries) + 1, hatched="2026-02-08")
    )
    for sure in ({}, {"sure": "yes", "once": "a"}):
        refused = visitor.send("/do/moved", brooder="porch", count="40", into=into, **sure)
        assert refused.status == 422
        assert says in refused.words
        assert two_boxes.submitted == []


def test_placing_says_what_the_floor_should_be_before_it_is_written(
    served: Served, visitor: Visitor
):
    served.api.entries = []
    form = {"brooder": "porch", "kind": "broiler", "count": "50", "hatched": "2026-02-10"}
    asked = visitor.send("/do/place", **form)
    assert "Porch: 50 meat chicks placed, hatched 2026-02-10." in asked.words
    assert "the floor should be 95.0 °F now" in asked.words
    assert "1 to 3 days old" in asked.words  # is that really the hatch date?
    confirm(visitor, "/do/place", asked)
    assert served.api.submitted[0].hatched == "2026-02-10"


def test_a_time_is_in_the_clock_of_the_site(served: Served, visitor: Visitor):
    asked = visitor.send("/do/loss", brooder="porch", count="1", at="2026-02-09T20:00")
    assert "Mon 9 Feb, 20:00" in asked.words
    confirm(visitor, "/do/loss", asked)
    assert served.api.submitted[0].at == NIGHT - 6 * 3600


def test_changing_ones_mind_brings_the_form_back_filled_in(served: Served, visitor: Visitor):
    asked = visitor.send("/do/loss", brooder="porch", count="2", note="wet")
    form = {**hidden(asked), "change": "yes"}
    back = visitor.send_form("/do/loss", form, {})
    assert 'value="2"' in back.body
    assert ">wet</textarea>" in back.body
    assert served.api.submitted == []


def test_the_services_own_objection_is_said_in_the_form(served: Served, visitor: Visitor):
    asked = visitor.send("/do/loss", brooder="porch", count="2")
    served.api.objects_to = "The journal cannot be written."
    answer = confirm(visitor, "/do/loss", asked)
    assert answer.status == 422
    assert "The journal cannot be written." in answer.words
    served.api.objects_to = None
    assert confirm(visitor, "/do/loss", asked).status == 303  # and may be tried again


def test_an_entry_can_be_taken_back_once(served: Served, visitor: Visitor):
    asked = visitor.get("/do/undo/2")
    assert "Porch: 2 lost. Piled in the corner." in asked.words
    confirm(visitor, "/do/undo/2", asked)
    assert [(e.entry, e.undoes) for e in served.api.submitted] == [(EntryKind.UNDO, 2)]
    again = visitor.get("/do/undo/2")
    assert again.status == 409
    assert "taken back already" in again.words
    assert "100 of 100 in the box" in visitor.get("/do").words
    assert visitor.get("/do/undo/77").status == 404


def test_an_entry_that_others_rest_on_is_not_taken_back(served: Served, visitor: Visitor):
    answer = visitor.get("/do/undo/1")
    assert answer.status == 409
    assert "rests on it" in answer.words


def test_contacts_are_tried_only_when_asked_and_the_result_is_said(
    served: Served, visitor: Visitor
):
    asked = visitor.get("/do/contacts")
    assert served.api.tried == []
    answer = visitor.send_form("/do/contacts", {**hidden(asked), "contact": ""}, {})
    assert "My phone: sent in 0.4 s." in answer.words
    assert "Barn siren: not reached. No answer within 20 s. See its address" in answer.words
    assert "/set-up/step/contacts?about=barn%20siren" in answer.body
    visitor.send_form("/do/contacts", {**hidden(asked), "contact": ""}, {})
    assert served.api.tried == [None]


def test_acknowledging_asks_first(served: Served, visitor: Visitor):
    there = f"/alarm/{quote(served.api.status().all_alarms[0].occurrence, safe='')}/acknowledge"
    asked = visitor.get(there)
    assert "seeing to it" in asked.words
    assert served.api.submitted == []
    assert confirm(visitor, there, asked).headers["location"] == there
    (entry,) = served.api.submitted
    assert (entry.entry, entry.brooder, entry.alarm) == ("acknowledge", "porch", "heat-loss")
    assert "Somebody answered at 02:00. No more repeats." in visitor.get(there).words


def test_the_same_trouble_in_two_boxes_is_answered_once(served: Served, visitor: Visitor):
    cold = alarm(AlarmName.CHILL)
    lost = alarm(AlarmName.HEAT_LOSS)
    shed = (alarm(AlarmName.HEAT_LOSS, box="shed"), alarm(AlarmName.CHILL, box="shed"))
    hot = (alarm(AlarmName.OVERHEAT, box="barn"),)
    porch = brooder(alarms=(lost, cold))
    served.show(status(porch, brooder("shed", alarms=shed), brooder("barn", alarms=hot)))
    there = f"/alarm/{quote(lost.occurrence, safe='')}/acknowledge"
    asked = visitor.get(there)
    assert "The same trouble in 2 boxes" in asked.words
    confirm(visitor, there, asked)
    said = [(entry.brooder, entry.alarm) for entry in served.api.submitted]
    assert said == [("porch", "chill"), ("shed", "chill")], "the worst of each; the barn is too hot"


def test_an_alarm_that_is_over_is_said_to_be_over(visitor: Visitor):
    answer = visitor.get("/alarm/porch%2Fcold%2F1/acknowledge")
    assert answer.status == 410
    assert "over" in answer.words


def test_putting_aside_needs_a_time_and_a_reason(served: Served, visitor: Visitor):
    there = f"/alarm/{quote(served.api.status().all_alarms[0].occurrence, safe='')}/shelve"
    asked = visitor.get(there)
    form = hidden(asked)
    missing = visitor.send_form(there, form, {})
    assert missing.status == 422
    assert "Say why" in missing.words
    too_long = visitor.send_form(there, {**form, "minutes": "9999", "reason": "tired"}, {})
    assert too_long.status == 422
    done = visitor.send_form(there, {**form, "minutes": "30", "reason": "cleaning out"}, {})
    assert done.status == 303
    (entry,) = served.api.submitted
    assert (entry.entry, entry.minutes, entry.note) == (EntryKind.SHELVE, 30.0, "cleaning out")


def test_what_is_put_aside_can_be_watched_again(served: Served, visitor: Visitor):
    until = {"state": AlarmState.SHELVED, "shelved_until": NIGHT + 600}
    cold, chill = alarm(AlarmName.COLD, **until), alarm(AlarmName.CHILL, **until)
    served.show(status(brooder(alarms=(cold, chill, alarm(AlarmName.HOT)))))
    asked = visitor.get("/do/watch-again?brooder=porch")
    assert "Put aside until 02:10: cold and dangerous cold." in asked.words
    confirm(visitor, "/do/watch-again", asked)
    assert [(e.entry, e.alarm, e.brooder) for e in served.api.submitted] == [
        (EntryKind.UNSHELVE, "cold", "porch"),
        (EntryKind.UNSHELVE, "chill", "porch"),
    ]


def test_cleaning_out_never_puts_the_fire_alarm_aside(served: Served, visitor: Visitor):
    asked = visitor.get("/do/put-aside?brooder=porch")
    form = {**hidden(asked), "minutes": "30", "reason": "cleaning out"}
    assert visitor.send_form("/do/put-aside", form, {}).status == 303
    put_aside = [e.alarm for e in served.api.submitted]
    assert put_aside == [name.value for name in CLEANING]
    assert AlarmName.OVERHEAT.value not in put_aside


@pytest.mark.parametrize(("minutes", "chill_minutes"), [("15", 15.0), ("120", 30.0)])
def test_cleaning_out_puts_dangerous_cold_aside_for_a_short_while_and_says_so(
    served: Served, visitor: Visitor, minutes: str, chill_minutes: float
):
    asked = visitor.get("/do/put-aside?brooder=porch")
    assert "Of dangerous cold you are told again after 30 minutes" in asked.words
    form = {**hidden(asked), "minutes": minutes, "reason": "cleaning out"}
    assert visitor.send_form("/do/put-aside", form, {}).status == 303
    aside = {e.alarm: e.minutes for e in served.api.submitted}
    assert aside.pop("chill") == chill_minutes
    assert set(aside.values()) == {float(minutes)}


def test_the_plan_before_the_order_is_asked_and_answered_without_readings(visitor: Visitor):
    assert "/do/plan" in visitor.get("/do").body
    asked = "/do/plan?brooder=porch&kind=broiler&ask=yes"
    plan = visitor.get(f"{asked}&count=115&low=20&length=5+ft&width=5+ft&heat=lamp+250,+plate+60")
    assert plan.status == 200
    assert "115 " in plan.words
    assert "310 W" in plan.words
    assert "5 cartons with air holes" in plan.words
    for title in ("Will it do?", "Week by week", "To buy and to have ready"):
        assert title in plan.words
    none = visitor.get(f"{asked}&count=115&low=20&heat=none").words
    assert "No: the heat does not hold." in none
    tall = visitor.get(f"{asked}&count=115&low=20&heat=lamp+250&height=4+ft&walls=foam").words
    assert "rigid foam board, cover: plywood, 250 W" in tall
    open_ = visitor.get(f"{asked}&count=115&low=20&heat=lamp+250&cover=none").words
    assert "plywood or OSB, no cover, 250 W" in open_
    assert tall != visitor.get(f"{asked}&count=115&low=20&heat=lamp+250&walls=foam").words
    wrong = visitor.get(f"{asked}&count=0&low=&length=5&height=9&walls=glass&heat=stove")
    assert wrong.status == 422
    for words in (
        "How many birds: a whole number from 1",
        "The coldest night to expect",
        "A length has its unit with it",
        "It must be one of plywood",
        'stove" is no heat source; write a kind',
    ):
        assert words in wrong.words
    assert wrong.words.count("A length has its unit with it") == 2


def test_the_plan_goes_by_the_forecast_where_no_low_is_given(served: Served, visitor: Visitor):
    served.api.forecast_lows = [3.0, -7.0, 1.0]
    assert "go by the forecast: 19.4 °F" in visitor.get("/do/plan").words
    asked = "/do/plan?brooder=porch&kind=broiler&count=115&ask=yes"
    assert "19.4 °F is the coldest of the next 3 nights" in visitor.get(f"{asked}&low=").words
    assert "by the forecast, which" not in visitor.get(f"{asked}&low=20").words


def test_tonight_is_asked_in_the_growers_degrees(served: Served, visitor: Visitor):
    answer = visitor.get("/do/tonight?brooder=porch&low=14&cover=foam&watts=100&ask=yes")
    assert served.api.asked == [("porch", pytest.approx(-10.0), "foam", 100.0)]
    assert "It should hold." in answer.words
    assert "two separate supports" in answer.words
    assert "one circuit" not in answer.words
    for low in ("14F", "-10 °C"):
        visitor.get(f"/do/tonight?brooder=porch&low={quote(low)}&cover=&watts=&ask=yes")
        assert served.api.asked[-1][1] == pytest.approx(-10.0), "as in the terminal"
    many = visitor.get("/do/tonight?brooder=porch&low=14&cover=&watts=1400&ask=yes")
    assert "over the usual load of one circuit" in many.words
    wrong = visitor.get("/do/tonight?brooder=porch&low=cold&cover=&watts=&ask=yes")
    assert wrong.status == 422
    assert "A temperature, like 12 or -3" in wrong.words


def test_chicks_that_are_to_come_are_entered_with_their_day(served: Served, visitor: Visitor):
    served.api.entries = []
    assert "/do/expect?brooder=porch" in visitor.get("/do").body
    form = {"brooder": "porch", "kind": "broiler", "count": "100", "note": "from the co-op"}
    assert "The day they come, like" in visitor.send("/do/expect", **form, day="soon").words
    assert "is over already" in visitor.send("/do/expect", **form, day="2026-02-01").words
    asked = visitor.send("/do/expect", **form, day="2026-02-12")
    assert confirm(visitor, "/do/expect", asked).status == 303
    (entry,) = served.api.submitted
    assert (entry.entry, entry.count, entry.note, entry.hatched) == (
        EntryKind.EXPECTED,
        100,
        "2026-02-12; from the co-op",
        None,
    )
    assert "100 expected on 2026-02-12" in visitor.get("/do").words


def test_days_in_the_mail_stand_for_the_hatch_date_and_are_kept(served: Served, visitor: Visitor):
    served.api.entries = []
    form = {"brooder": "porch", "kind": "broiler", "count": "97", "hatched": "", "note": "weak"}
    asked = visitor.send("/do/place", **form, mail="3")
    assert "the yolk is used up" in asked.words
    confirm(visitor, "/do/place", asked)
    (entry,) = served.api.submitted
    assert (entry.hatched, entry.note) == ("2026-02-07", "3 days in the mail; weak")
    assert "Days in the mail: a whole number" in visitor.send("/do/place", **form, mail="9").words
    assert "The day they hatched" in visitor.send("/do/place", **form, mail="").words


def tap(visitor: Visitor, step: str, tick: str) -> Answer:
    screen = visitor.get("/do/arrival?brooder=porch")
    form = {**hidden(screen), "brooder": "porch", "step": step, "tick": tick}
    return visitor.send_form("/do/arrival", form, {})


def test_a_tap_ticks_a_step_of_the_arrival_and_another_takes_it_back(
    served: Served, visitor: Visitor
):
    served.api.entries = []
    done = tap(visitor, "beaks", "yes")
    assert (done.status, done.headers["location"]) == (303, "/do/arrival?brooder=porch#beaks")
    tap(visitor, "beaks", "yes")
    assert [(e.entry, e.note) for e in served.api.submitted] == [(EntryKind.CHECKED, "beaks")]
    assert visitor.get("/do/arrival?brooder=porch").body.count('<button aria-pressed="true"') == 1
    tap(visitor, "beaks", "")
    tap(visitor, "beaks", "")
    assert [e.entry for e in served.api.submitted] == [EntryKind.CHECKED, EntryKind.UNDO]
    assert '<button aria-pressed="true"' not in visitor.get("/do/arrival?brooder=porch").body
    assert tap(visitor, "singing", "yes").status == 404
    assert visitor.get("/do/arrival?brooder=shed").status == 404


def test_the_sheet_for_the_hatchery_has_what_came_and_nothing_else(
    served: Served, visitor: Visitor
):
    served.api.entries = []
    assert "No chicks have come yet" in visitor.get("/do/arrival/sheet?brooder=porch").words
    dead = visitor.send("/do/dead-on-arrival", brooder="porch", count="4", note="")
    confirm(visitor, "/do/dead-on-arrival", dead)
    placed = {"brooder": "porch", "kind": "broiler", "count": "96", "mail": "2", "hatched": ""}
    confirm(visitor, "/do/place", visitor.send("/do/place", **placed, note=""))
    sheet = visitor.get("/do/arrival/sheet?brooder=porch").words
    for words in (
        "Arrived 100: 96 alive, 4 dead on arrival",
        "Under way 2 days in the mail; hatched 8 February 2026, 2 days before",
        "Box when they came not read",
    ):
        assert words in sheet


def test_the_broker_is_said_in_the_words_of_its_own_line(served: Served, visitor: Visitor):
    """It stood there as `connected to 127.0.0.1:1883: connected`."""
    assert "Broker The built-in broker listens on 127.0.0.1:1883. Record" in visitor.get("/").words


def test_a_box_with_two_things_missing_is_named_once(served: Served, visitor: Visitor):
    lacks = [Missing("porch", words, "See.") for words in ("no floor probe", "no lamp")]
    contacts = Missing("contacts", "there are none", "Add your phone.")
    outside = Missing("outside", "nothing measures it", "Hang one.", essential=False)
    served.api.missing_tonight = [*lacks, contacts, outside]
    said = visitor.get("/").words
    assert "Missing for tonight porch, contacts Worth doing outside" in said, (
        "as the heading counts"
    )
