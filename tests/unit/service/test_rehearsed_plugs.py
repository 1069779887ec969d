"""The rehearsed night with plugs and without: what they are worth."""

from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

from support.one_box import settings_of

from monitor.service.rehearsal import first_word
from monitor.service.rehearsed_night import NightStory, RehearsedNight, site_file
from monitor.tell.message import Message

ZONE = ZoneInfo("America/Chicago")


def told(folder: Path, *, plugs: bool) -> tuple[float, Message]:
    """Minutes after the lamp failed, and what the phone would show."""
    settings = settings_of(folder, site_file(ZONE.key, "celsius", plugs=plugs))
    night = RehearsedNight(evening=date(2026, 2, 9), zone=ZONE, story=NightStory(), plugs=plugs)
    found = first_word(settings.site, night)
    assert found is not None
    assert night.story.lamp_fails is not None
    return (found[0] - night.at(night.story.lamp_fails)) / 60.0, found[1]


def test_with_plugs_the_dead_lamp_is_told_within_a_minute_and_sooner_than_without(
    tmp_path: Path,
) -> None:
    with_plugs, said = told(tmp_path, plugs=True)
    without, _ = told(tmp_path, plugs=False)
    assert 0.0 < with_plugs <= 1.0
    assert with_plugs < without
    assert "west lamp draws 0 W" in said.body


def test_nothing_is_told_before_the_lamp_fails(tmp_path: Path) -> None:
    settings = settings_of(tmp_path, site_file(ZONE.key, "celsius", plugs=True))
    story = NightStory(lamp_fails=None, answered=None, mended=None, losses_found=None)
    night = RehearsedNight(evening=date(2026, 2, 9), zone=ZONE, story=story, plugs=True)
    assert first_word(settings.site, night) is None
