"""What is said of tonight where there are no birds yet, or no readings: what can be said, and never
a refusal."""

import re
from dataclasses import replace

import pytest
from support.engine_night import Night, a_brooder, a_site

from monitor.events import AlarmName, Cause, Change, ChangeKind, Facts, Priority
from monitor.site import Site
from monitor.tell.wording import for_change
from monitor.tell.wording.tonight_words import asked_lines, likely_too_cold
from monitor.tell.wording.words import Voice
from monitor.units import Unit
from monitor.watch.box_facts import outlook_facts

H = 3600.0


def asked(night: Night, site: Site, **wish: float) -> tuple[str, bool]:
    """The lines as one text, and whether it is likely to be too cold."""
    now = night.now()
    [box] = night.engine.status(now).brooders
    found = night.engine.tonight("porch", now, **wish)  # type: ignore[arg-type]
    return "\n".join(
        asked_lines(box, found, Voice(replace(site, units=Unit.CELSIUS)), now.at)
    ), likely_too_cold(box, found, now.at)


def holds_to(said: str) -> float:
    found = re.search(r"holds down to about (-?\d+\.\d) °C outside", said)
    assert found is not None, said
    return float(found[1])


def test_an_empty_box_that_was_never_heard_is_held_against_what_chicks_need_by_its_size():
    site = a_site(a_brooder())
    said, too_cold = asked(Night(site, batch=False), site)
    assert said.startswith("porch: no chicks yet. For day-old chicks the floor should be 35.0 °C")
    assert "There is no floor reading to believe" in said
    assert "Nothing is known of tonight's outside temperature" in said
    assert not too_cold, "nobody knows"
    limit_c = holds_to(said)
    colder, too_cold = asked(Night(site, batch=False), site, low_c=limit_c - 25.0)
    assert too_cold
    assert "in that cold, add about" in colder
    assert "take the birds" not in colder, "there are none"
    warmer, too_cold = asked(Night(site, batch=False), site, low_c=limit_c + 25.0)
    assert not too_cold
    assert "add about" not in warmer


def test_more_watts_let_an_empty_box_hold_in_more_cold():
    site = a_site(a_brooder())
    as_it_is, _ = asked(Night(site, batch=False), site)
    more, _ = asked(Night(site, batch=False), site, extra_watts=250.0)
    assert holds_to(more) < holds_to(as_it_is) - 3.0


def warmed(floor_c: float) -> tuple[Night, Site]:
    """An empty box whose floor was so warm from 18:00 to midnight, and 12 degC outside."""
    site = a_site(a_brooder(), outside=True)
    night = Night(site, batch=False)
    for _ in night.until(6 * H, 60):
        night.says(floor_c)
        night.says(12.0, "site/shade")
    return night, site


def test_an_empty_box_that_is_warm_is_foretold_from_its_readings():
    said, too_cold = asked(*warmed(36.0))
    assert "It is 36.0 °C now: right." in said
    assert "Chance of getting too cold" in said
    assert "Lowest on the floor about 3" in said
    assert "holds down to" not in said, "what its size says is no second answer"
    assert not too_cold


def test_an_empty_box_that_is_too_hot_is_said_to_be_and_judged_by_its_size():
    said, _ = asked(*warmed(48.0))
    assert "It is 48.0 °C now: too hot for chicks. Bring it down before they come." in said
    assert "Lowest on the floor" not in said
    assert "the floor would come down to about" in said


def test_what_was_read_hours_ago_is_not_told_as_now():
    """Where the watch is down a command answers from the record."""
    night, site = warmed(48.0)
    night.t += 3 * H
    said, _ = asked(night, site)
    assert "It was 48.0 °C when it was last read, 3 h 1 min ago: see whether" in said
    assert "°C now" not in said
    assert "too hot" not in said, "nor is it judged by a target of now"


def test_an_empty_box_that_is_cold_is_to_be_warmed_first_and_judged_by_its_size():
    said, _ = asked(*warmed(12.5))
    assert (
        "It is 12.5 °C now: too cold for chicks. Warm it for some hours before they come." in said
    )
    assert "Lowest on the floor" not in said, "with the heat off that would say nothing"
    assert "the floor would come down to about" in said


@pytest.mark.parametrize(("hatched", "steps"), [("2026-02-02", True), ("2026-02-04", False)])
def test_in_the_evening_before_a_step_both_targets_of_the_night_are_said(
    hatched: str, steps: bool
) -> None:
    site = a_site(a_brooder(), outside=True)
    night = Night(site, batch=False)
    night.placed(hatched=hatched)
    for _ in night.until(2 * H, 60):
        night.says(36.0)
        night.says(12.0 - night.t / H, "site/shade")
    said, _ = asked(night, site)
    then = "; from 00:00 on 32.2 °C, and no less than 29.4 °C" if steps else ""
    assert f"It should be 35.0 °C, and no less than 32.2 °C{then}." in said.split("\n")


def test_birds_in_a_box_that_is_not_heard_are_told_what_it_holds_by_its_size():
    site = a_site(a_brooder())
    night = Night(site, batch=False)
    night.placed(count=100)
    said, _ = asked(night, site, low_c=5.0)
    assert "There is no floor reading to believe" in said
    assert "100 birds in it, the floor would come down to about" in said


def test_birds_whose_outside_is_not_known_are_told_what_the_box_holds_by_its_size():
    site = a_site(a_brooder())
    night = Night(site, batch=False)
    night.placed(count=100)
    night.holds(35.0, for_s=60.0)
    said, too_cold = asked(night, site)
    assert "Nothing is known of tonight's outside temperature" in said
    assert holds_to(said) < 35.0
    assert not too_cold


def test_where_nothing_measures_the_outside_no_figure_of_it_is_said():
    """The floor's own course stands in for it, and is no temperature of the air."""
    site = a_site(a_brooder())
    night = Night(site)
    night.holds(35.0, for_s=4 * H, every_s=60.0)
    [box] = night.engine.status(night.now()).brooders
    assert box.outlook is not None
    facts = Facts(temp_c=35.0)
    outlook_facts(box.outlook, facts)
    cold = Change(
        at=night.now().at,
        brooder="porch",
        alarm=AlarmName.COLD_NIGHT,
        change=ChangeKind.RAISED,
        priority=Priority.WARNING,
        cause=Cause.COLD_NIGHT,
        facts=facts,
        occurrence="porch/cold-night/1",
    )
    for said in (asked(night, site)[0], for_change(cold, site).body):
        assert "Nothing measures the outside: this goes by how the floor cools." in said
        assert not re.search(r"[Oo]utside (down|it may)", said)
