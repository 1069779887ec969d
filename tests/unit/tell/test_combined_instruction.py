"""What to do now and what to do for the night is one instruction: nobody is told to take heat away
from a box that a cold night is waiting for."""

from dataclasses import replace

import pytest
from tell_samples import FACTS, NIGHT, change, site

from monitor.events import AlarmName, Facts
from monitor.tell import wording

COLD_AHEAD = Facts(chance=0.6, lowest_c=29.0, lowest_at=NIGHT + 4 * 3600)


def said(alarm: AlarmName, **more: object) -> str:
    facts = Facts(**{**FACTS[alarm], **more})  # type: ignore[typeddict-item]
    words = wording.for_change(change(alarm, facts=facts), site())
    return "\n".join((words.title, words.body))


def test_too_hot_before_a_cold_night_opens_the_cover_and_leaves_the_lamps() -> None:
    text = said(AlarmName.HOT, **COLD_AHEAD)
    assert "Open the cover for now; leave the heat: a cold night is ahead." in text
    assert "close it up again as soon as the floor is right" in text
    assert "aise a lamp" not in text
    assert "turn one off" not in text


@pytest.mark.parametrize("alarm", [AlarmName.HOT, AlarmName.OVERHEAT])
def test_a_night_that_will_more_likely_be_right_is_not_called_cold(alarm: AlarmName) -> None:
    night = {**COLD_AHEAD, "low_c": 32.2, "lowest_c": 34.9, "lowest_low_c": 31.0}
    text = said(alarm, **night)
    assert "the night may get cold" in text
    assert "a cold night is ahead" not in text
    if alarm is AlarmName.HOT:
        assert "Tonight it may go down to 31.0 °C" in text


@pytest.mark.parametrize("cover", ["plywood", "none"])
@pytest.mark.parametrize("alarm", [AlarmName.HOT, AlarmName.OVERHEAT])
def test_what_is_told_at_two_in_the_night_does_not_wait_for_dusk(
    alarm: AlarmName, cover: str
) -> None:
    here = site()
    here = replace(here, brooders=(replace(here.brooders[0], cover=cover),))
    facts: Facts = {**FACTS[alarm], **COLD_AHEAD}
    words = wording.for_change(change(alarm, facts=facts), here)
    assert "as soon as the floor is right" in words.body or "until the floor is right" in words.body
    assert not any(word in words.body for word in ("dusk", "before dark"))


def test_too_hot_before_a_mild_night_is_what_it_was() -> None:
    assert "Raise a lamp or turn one off." in said(AlarmName.HOT)


def test_a_cold_night_ahead_of_a_box_that_is_too_hot_says_both() -> None:
    text = said(AlarmName.COLD_NIGHT, temp_c=38.4, high_c=37.8)
    assert "It is too hot now: let it cool first, then add cover or heat for the night." in text


def test_less_heat_is_for_a_morning_and_waits_for_a_mild_night() -> None:
    text = said(AlarmName.STEP_DOWN)
    assert "This morning raise the lamps a little at a time" in text
    assert "If a cold night is ahead, wait a day." in text
