"""Alarm state and siren on retained topics."""

import json

from tell_samples import NIGHT, chilled, site

from monitor.events import Entry, EntryKind, Moment, Reading
from monitor.tell.status_topics import cleared_topics, is_ours, topics_of
from monitor.watch.engine import Engine


def by_topic(status: object) -> dict[str, str]:
    said = topics_of(status)  # type: ignore[arg-type]
    assert all(retain for _, _, retain in said)
    return {topic: payload for topic, payload, _ in said}


def test_all_well_is_said_too_so_that_a_light_can_be_green():
    said = by_topic(Engine(site(), Moment(NIGHT, NIGHT)).status(Moment(NIGHT, NIGHT)))
    assert json.loads(said["brooder/alarms/porch"]) == {"state": "normal", "alarms": []}
    assert json.loads(said["brooder/alarms"]) == {"state": "normal", "alarms": []}
    assert said["brooder/siren"] == "off"


def test_an_urgent_alarm_sounds_the_siren_until_somebody_answers():
    engine, status, at = chilled()
    said = by_topic(status)
    assert said["brooder/siren"] == "on"
    porch = json.loads(said["brooder/alarms/porch"])
    assert porch["state"] == "urgent"
    assert {"alarm": "chill", "state": "unacknowledged"}.items() <= porch["alarms"][0].items()
    assert json.loads(said["brooder/alarms/shed"])["state"] == "normal"
    now = Moment(at, at)
    engine.entry(Entry(at=at, entry=EntryKind.ACKNOWLEDGE, brooder="porch", number=2, by="me"), now)
    said = by_topic(engine.status(now))
    assert said["brooder/siren"] == "off"
    porch = json.loads(said["brooder/alarms/porch"])
    assert porch["state"] == "urgent"  # it is not over
    assert porch["alarms"][0]["by"] == "me"


def test_the_siren_is_off_when_it_is_over_though_nobody_answered():
    engine, _, at = chilled()
    for _ in range(10):
        at += 30.0
        engine.reading(Reading(at, at, "porch/floor", 34.0))
    assert by_topic(engine.status(Moment(at, at)))["brooder/siren"] == "off"


def test_payloads_do_not_change_while_the_alarms_do_not():
    engine, status, at = chilled()
    engine.reading(Reading(at + 30, at + 30, "porch/floor", 24.5))
    assert topics_of(engine.status(Moment(at + 30, at + 30))) == topics_of(status)


def test_our_own_topics_are_known_from_those_of_probes():
    for topic in ("brooder/status", "brooder/siren", "brooder/alarms/porch", "brooder/told"):
        assert is_ours(topic)
    for topic in ("brooder/porch/floor", "brooder/outside", "shed/brooder/siren", "siren"):
        assert not is_ours(topic)
    assert is_ours("farm/a/siren", "farm/a")


def test_a_brooder_taken_out_of_use_leaves_no_retained_message():
    assert cleared_topics(["shed"]) == [("brooder/alarms/shed", "", True)]
