"""Birds for whom no alarm of cold can come are told of, urgently, for as long as it is so."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from support.engine_night import Night, a_brooder, a_probe, a_site

from monitor.events import AlarmName, ChangeKind, EntryKind, Facts, Priority
from monitor.site import Place
from monitor.watch.engine import Engine


def unwatched(engine: Engine, night: Night) -> list[tuple[str | None, str]]:
    """Where it is said now, and why."""
    return [
        (alarm.brooder, alarm.facts["reason"])
        for alarm in engine.status(night.now()).all_alarms
        if alarm.alarm is AlarmName.UNWATCHED and alarm.active and alarm.priority is Priority.URGENT
    ]


def box_out(night: Night) -> None:
    night.entry(EntryKind.OUT_OF_SERVICE, brooder="porch")


def floor_probe_out(night: Night) -> None:
    night.entry(EntryKind.OUT_OF_SERVICE, brooder="porch", probe="porch/floor")


@pytest.mark.parametrize("act", [box_out, floor_probe_out])
def test_birds_in_what_is_out_of_service_are_said_to_be_unwatched_until_it_is_back(
    act: Callable[[Night], None],
) -> None:
    night = Night()
    night.holds(35.0, for_s=600)
    assert unwatched(night.engine, night) == []
    act(night)
    assert [box for box, _ in unwatched(night.engine, night)] == ["porch"]
    again = Engine(night.site, night.now())
    again.restore(night.engine.kept())
    again.look_again(night.now())
    assert unwatched(again, night) == unwatched(night.engine, night), "after a restart too"
    probe = "porch/floor" if act is floor_probe_out else None
    night.entry(EntryKind.IN_SERVICE, brooder="porch", probe=probe)
    assert unwatched(night.engine, night) == []


def test_an_empty_box_out_of_service_is_no_news_until_birds_come() -> None:
    night = Night(batch=False)
    box_out(night)
    assert night.told() == []
    night.placed()
    assert night.told() == ["porch/unwatched"]


@pytest.mark.parametrize("answer", ["placed", "moved"])
def test_birds_that_are_no_longer_known_are_asked_for_until_somebody_says(answer: str) -> None:
    night = Night(a_site(a_brooder("porch"), a_brooder("shed")), batch=False)
    night.placed("shed")
    night.changes += night.engine.fault(AlarmName.UNWATCHED, True, night.now(), Facts())
    assert [box for box, _ in unwatched(night.engine, night)] == ["porch"]
    again = Engine(night.site, night.now())
    again.restore(night.engine.kept())
    again.look_again(night.now())
    assert [box for box, _ in unwatched(again, night)] == ["porch"]
    night.engine = again
    if answer == "placed":
        night.placed("porch")
    else:
        night.entry(EntryKind.MOVED, brooder="porch")  # all: there are none
    assert unwatched(night.engine, night) == []
    assert night.changes[-1].change is ChangeKind.CLEARED


def test_a_box_that_the_configuration_lost_is_named_with_its_birds() -> None:
    night = Night(a_site(a_brooder("porch"), a_brooder("shed")))
    other = Engine(a_site(a_brooder("Porch"), a_brooder("shed")), night.now())
    other.restore(night.engine.kept())
    other.look_again(night.now())
    [(where, why)] = unwatched(other, night)
    assert where is None
    assert why.startswith("100 birds are in porch")


def test_birds_whose_last_floor_probe_was_taken_away_are_said_to_be_unwatched() -> None:
    night = Night()
    box = replace(a_brooder(), probes=(a_probe("porch", "lamp", Place.UNDER_HEAT),))
    other = Engine(a_site(box), night.now())
    other.restore(night.engine.kept())
    other.look_again(night.now())
    assert [box for box, _ in unwatched(other, night)] == ["porch"]
    back = Engine(night.site, night.now())
    back.restore(other.kept())
    back.look_again(night.now())
    assert unwatched(back, night) == []


def test_a_box_whose_birds_are_unknown_is_asked_for_under_its_new_name_too() -> None:
    night = Night(batch=False)
    night.changes += night.engine.fault(AlarmName.UNWATCHED, True, night.now(), Facts())
    renamed = Engine(a_site(a_brooder("Porch")), night.now())
    renamed.restore(night.engine.kept())
    renamed.look_again(night.now())
    assert [box for box, _ in unwatched(renamed, night)] == ["Porch"]
